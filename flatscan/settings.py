"""Every choice that changes a number, in frozen records that go into the result file."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from flatscan.units import UnitSystem  # noqa: TC001 - the result's schema is built from these names

#: Two ends, floor-frame mm.
Segment = tuple[tuple[float, float], tuple[float, float]]
Paper = Literal["a4", "letter"]
UpAxis = Literal["x", "y", "z", "-x", "-y", "-z"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadSettings:
    """How to read what the file leaves unsaid. ``None`` means: the file says, or infer and print."""

    unit: str | None = None
    up: UpAxis | None = None
    #: True: the up axis is truly vertical (a levelled instrument). None: as the format promises.
    gravity: bool | None = None
    #: Depth image counts per metre (5000 in the TUM RGB-D layout). None: stated or inferred.
    depth_per_m: float | None = None
    camera_file: str | None = None
    #: Points sampled per square metre of mesh.
    mesh_points_per_m2: float = 40_000.0
    #: Seed of the places where a mesh is sampled.
    mesh_seed: int = 20_260_101
    #: True: rows of a readings table that cannot be used are left out and named; False: they are an error.
    leave_out_bad_rows: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceSettings:
    """How the floor is found and gridded. All lengths in mm."""

    #: None: chosen from the point density and the noise, and printed.
    cell_mm: float | None = None
    #: Strip along walls left out of the judgement (skirting, sealant).
    skirting_mm: float = 30.0
    #: Points this far off the floor are not floor.
    band_mm: float = 60.0
    #: Below this share of the outline seen, the capture is refused.
    least_seen_share: float = 0.3
    #: Standard uncertainty of a bend over the whole capture the data cannot show. None: by sensor class.
    systematic_mm: float | None = None
    #: Floors drawn from what readings by hand allow.
    realisations: int = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureSettings:
    """Where and how the straightedge is laid."""

    edges_mm: tuple[float, ...] = (200.0, 1000.0, 2000.0, 3000.0)
    directions: int = 12
    #: The edge bridges a hole up to this, and up to a quarter of its length, whichever is less.
    bridge_mm: float = 100.0
    #: Simulated captures behind each noise correction and interval.
    draws: int = 20
    #: Worst places reported for each edge length.
    spots_per_edge: int = 5
    #: Lines to read F-numbers along; empty: laid out by the rules.
    lines_mm: tuple[Segment, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class JointSettings:
    """How joints are looked for and measured."""

    #: False: joints are not looked for.
    find: bool = True
    #: Stations are no further apart than this along a joint.
    station_mm: float = 50.0
    #: Length and width of the tiles where the person knows them. None: measured.
    tile_mm: tuple[float, float] | None = None
    #: How far the rounding or bevel of a tile's edge reaches in from its side. None: not known.
    tile_edge_mm: float | None = None
    #: Pixel of the floor picture. None: as fine as the photos or points allow.
    pixel_mm: float | None = None
    #: Hand readings to take in: the next-readings file, filled in.
    readings_file: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgeSettings:
    """The decision rule (JCGM 106)."""

    #: Chance needed to call a value over or within.
    confidence: float = 0.95
    #: A whole floor may be called within only if less than this share of it was not seen.
    most_unseen_share: float = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelSettings:
    """Levelling choices. Product figures live in the product record (levelling.product)."""

    #: Plan to this much below the limit.
    margin_mm: float = 0.0
    product_file: str | None = None
    #: What binds the levelling: zones, doors, movement joints (see sources.survey).
    survey_file: str | None = None
    #: The way of levelling to draw. None: the recommended one.
    method: str | None = None
    paper: Paper = "a4"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceSettings:
    """What a person says of the room, to be drawn on the map."""

    #: Direction of north, degrees anticlockwise from the map's right (floor-frame x).
    north_deg: float | None = None
    #: Both ends of each door.
    doors_mm: tuple[Segment, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """All of them, with the seed that makes a run repeatable."""

    read: ReadSettings = field(default_factory=ReadSettings)
    surface: SurfaceSettings = field(default_factory=SurfaceSettings)
    measure: MeasureSettings = field(default_factory=MeasureSettings)
    joints: JointSettings = field(default_factory=JointSettings)
    judge: JudgeSettings = field(default_factory=JudgeSettings)
    level: LevelSettings = field(default_factory=LevelSettings)
    place: PlaceSettings = field(default_factory=PlaceSettings)
    #: Names or files of limit sets. Empty: those of the survey file's covering, else those over old tiles.
    limits: tuple[str, ...] = ()
    #: What people read; the files for machines stay metric.
    units: UnitSystem = "metric"
    seed: int = 20_260_101
