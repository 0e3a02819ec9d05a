"""What a person found and read on site, beside the heights: the records of a survey file that bind no levelling.

All of it may be missing: None, an empty tuple or "" is *not recorded*, which is never the same as *in order*.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import datetime as dt

    import numpy as np
    from numpy.typing import NDArray

    from flatscan.measures.measurement import Point
    from flatscan.sources.scan import InputFile

CoveringKind = Literal["click_vinyl", "planks_on_mat", "glued_vinyl", "laminate", "parquet", "thin_tile", "other"]
MoistureMethod = Literal["carbide", "in_base_humidity", "surface_humidity", "emission", "wood_moisture"]
MoistureBase = Literal["cement_screed", "calcium_sulfate_screed", "concrete", "timber"]
HeatingKind = Literal["none", "water", "electric", "unknown"]
OldCoveringKind = Literal["ceramic_tile", "stone", "resilient_tile", "sheet", "screed", "concrete", "timber", "other"]
#: What a laboratory said of samples of the old covering and its adhesive.
AsbestosTest = Literal["not_tested", "none_found", "found"]
YesNo = bool | None

#: Unit that each way of reading moisture gives; carbide: mass of water per mass of dry sample (CM-%).
MOISTURE_UNIT: dict[MoistureMethod, str] = {
    "carbide": "CM-%",
    "in_base_humidity": "% RH",
    "surface_humidity": "% RH",
    "emission": "lb/1000 ft² in 24 h",
    "wood_moisture": "% of dry mass",
}


@dataclass(frozen=True, slots=True)
class Visit:
    """Where, when, by whom, for whom and with what the floor was looked at."""

    place: str = ""
    address: str = ""
    room: str = ""
    client: str = ""
    reference: str = ""
    date: dt.date | None = None
    measured_by: str = ""
    firm: str = ""
    instruments: tuple[str, ...] = ()
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Covering:
    """The new floor. ``limits``: names of the limit sets it asks for. ``acclimatised_since``: laid open in the room.

    ``least_hours``, ``least_c``, ``most_c``, ``most_humidity_percent``: as its data sheet says; None: the usual values.
    """

    kind: CoveringKind | None = None
    name: str = ""
    thickness_mm: float | None = None
    limits: tuple[str, ...] = ()
    acclimatised_since: dt.datetime | None = None
    acclimatised_hours: float | None = None
    least_hours: float | None = None
    least_c: float | None = None
    most_c: float | None = None
    most_humidity_percent: float | None = None


@dataclass(frozen=True, slots=True)
class Moisture:
    """One reading of the base's moisture, in the unit of its method (``MOISTURE_UNIT``).

    ``plus_minus``: expanded uncertainty (k = 2) where it is known. ``beneath_tiles``: True: taken in the base itself
    (drilled, or a tile taken up); False: through the covering; None: not said. ``limit``: what the covering's or the
    product's data sheet allows, named by ``limit_source``; None: the published limit for method and base.
    """

    method: MoistureMethod
    value: float
    base: MoistureBase | None = None
    plus_minus: float | None = None
    at_mm: Point | None = None
    depth_mm: float | None = None
    beneath_tiles: YesNo = None
    limit: float | None = None
    limit_source: str = ""


@dataclass(frozen=True, slots=True)
class Climate:
    """The room. ``held_hours``: how long it had been so when it was read."""

    air_c: float | None = None
    floor_c: float | None = None
    humidity_percent: float | None = None
    held_hours: float | None = None


@dataclass(frozen=True, slots=True)
class Heating:
    """Heating in the floor. ``surface_most_c``: hottest the surface gets in use. ``off``: it is switched off now."""

    kind: HeatingKind | None = None
    surface_most_c: float | None = None
    off: YesNo = None
    cover_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Tapped:
    """Tiles tapped one by one, and how many of them sounded hollow or are loose; ``at``: where, floor mm."""

    tiles: int | None = None
    hollow: int | None = None
    loose: int | None = None
    hollow_at_mm: tuple[Point, ...] = ()
    loose_at_mm: tuple[Point, ...] = ()


@dataclass(frozen=True, slots=True)
class SeenCrack:
    """A crack. ``moves``: it opens and closes (a plaster tell-tale broke); None: nobody knows."""

    line_mm: tuple[Point, ...]
    width_mm: float | None = None
    moves: YesNo = None
    name: str = ""


@dataclass(frozen=True, slots=True)
class Sound:
    """Is the old floor sound? ``cracks_looked_for``: somebody looked; with no ``cracks`` there are none then."""

    tapped: Tapped | None = None
    cracks_looked_for: YesNo = None
    cracks: tuple[SeenCrack, ...] = ()
    clean: YesNo = None
    contamination: tuple[str, ...] = ()
    pull_off_n_per_mm2: float | None = None
    movement_joints_carried: YesNo = None


@dataclass(frozen=True, slots=True)
class OldCovering:
    """What lies there now. ``laid_year``: None: nobody knows."""

    kind: OldCoveringKind | None = None
    name: str = ""
    laid_year: int | None = None
    adhesive: str = ""
    asbestos: AsbestosTest | None = None


@dataclass(frozen=True, slots=True)
class Note:
    """Something to remember, at a place or of the whole floor."""

    text: str
    at_mm: Point | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """A photograph for the record: ``jpeg`` is made anew from its pixels, so it carries no place, name or device."""

    file: InputFile
    caption: str
    at_mm: Point | None
    jpeg: bytes


@dataclass(frozen=True, slots=True, eq=False)
class Site:
    """Everything above. ``outline_mm``: (k, 2) float64 corners of the room as a tape found it, not closed."""

    visit: Visit
    covering: Covering
    moisture: tuple[Moisture, ...]
    climate: Climate
    heating: Heating
    sound: Sound
    old: OldCovering
    outline_mm: NDArray[np.float64] | None = None
    notes: tuple[Note, ...] = ()
    photos: tuple[Photo, ...] = ()


#: Nothing was recorded.
NO_SITE = Site(Visit(), Covering(), (), Climate(), Heating(), Sound(), OldCovering())
