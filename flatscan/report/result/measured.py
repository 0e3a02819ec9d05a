"""Records of ``result.json`` for what was measured; ``result_records`` holds the rest and the whole."""

# ruff: noqa: TC001 - the schema is built from these names when the program runs
from __future__ import annotations

from typing import Annotated

from msgspec import UNSET, Meta, Struct, UnsetType

from flatscan.sources.scan import ScanKind

Share = Annotated[float, Meta(ge=0.0, le=1.0)]
XY = Annotated[tuple[float, float], Meta(description="x, y in floor-frame mm")]
Line = Annotated[list[XY], Meta(min_length=2)]
Rings = Annotated[list[list[XY]], Meta(min_length=1, description="exterior ring first, then holes")]
NotNegative = Annotated[float, Meta(ge=0.0)]


class QuantityRecord(Struct, frozen=True, kw_only=True):
    """A measured value with u, one standard uncertainty; null: not known. budget: the parts of u in the same unit."""

    value: float
    u: NotNegative | None
    unit: str
    budget: dict[str, NotNegative] | UnsetType = UNSET


class PlaneRecord(Struct, frozen=True, kw_only=True):
    """The reference plane in the scan's own coordinates (mm): normal . p = offset_mm; heights grow along normal."""

    normal: tuple[float, float, float]
    offset_mm: float


class NoiseRecord(Struct, frozen=True, kw_only=True):
    """What the capture adds to a cell's height: standard uncertainties in mm, and how they were estimated."""

    white_mm: NotNegative
    correlated_mm: NotNegative
    length_mm: float
    systematic_mm: NotNegative
    how: str


class SlopeRecord(Struct, frozen=True, kw_only=True):
    """Fall of the reference plane against gravity; direction is downhill, anticlockwise from x."""

    fall: QuantityRecord
    direction_deg: float


class SurfaceRecord(Struct, frozen=True, kw_only=True):
    """The height map; height_sigma_mm is the typical standard uncertainty of one cell. slope null: gravity unknown."""

    kind: ScanKind
    area_m2: NotNegative
    seen_share: Share
    cell_mm: float
    height_sigma_mm: NotNegative
    slope: SlopeRecord | None
    plane: PlaneRecord
    floor_from_scan: list[list[float]]
    outline: list[list[XY]]
    noise: NoiseRecord
    inferences: list[str]


class FlatnessRecord(
    Struct, frozen=True, kw_only=True, rename={"fltt": "FLTt", "fltp": "FLTp", "fltv": "FLTv", "fltq": "FLTq",
                                               "fltt_minimum_zone": "FLTt_minimum_zone"}
):  # fmt: skip
    """ISO 12781 parameters about the least-squares plane, and FLTt about the minimum-zone plane."""

    fltt: QuantityRecord
    fltp: QuantityRecord
    fltv: QuantityRecord
    fltq: QuantityRecord
    fltt_minimum_zone: QuantityRecord


class GapRecord(Struct, frozen=True, kw_only=True):
    """A worst place under a straightedge. gap: corrected for noise; raw_mm: before that.

    noise_floor_mm: what this capture would itself show on a perfectly flat floor (null: not simulated).
    bridges_hole: the floor between the contacts was not seen everywhere, the value is a lower bound.
    from_readings: numbers of the readings by hand nearest to it, of a floor made from or corrected by such.
    """

    edge_mm: float
    gap: QuantityRecord
    raw_mm: float
    noise_floor_mm: NotNegative | None
    at: XY
    contacts: tuple[XY, XY]
    span_mm: float
    direction_deg: float
    bridges_hole: bool
    from_readings: list[str] = []


class HumpRecord(Struct, frozen=True, kw_only=True):
    """The edge balanced on a crest: half the clearance of its free ends. Not a gap."""

    edge_mm: float
    clearance: QuantityRecord
    at: XY
    direction_deg: float


class ProfileRecord(Struct, frozen=True, kw_only=True):
    """A line of readings with its F-numbers (E1155 kind)."""

    start: XY
    end: XY
    step_mm: float
    readings: int
    ff: QuantityRecord | None
    fl: QuantityRecord | None


class FNumbersRecord(Struct, frozen=True, kw_only=True):
    """Overall F-numbers with 95 % intervals; fl is null without gravity."""

    ff: QuantityRecord | None
    fl: QuantityRecord | None
    ff_interval: tuple[float, float] | None
    fl_interval: tuple[float, float] | None
    lines: list[ProfileRecord]
    notes: list[str]
