"""The records of ``result.json``: a public contract, version ``flatscan-result/1``.

Coordinates are floor-frame millimetres. A field may be added within a version; none is renamed or removed.
The JSON Schema is generated from these records, so their docstrings are its descriptions.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

import msgspec
from msgspec import UNSET, Meta, Struct, UnsetType

# These build the schema when the program runs, so they cannot wait for a type checker.
from flatscan.judgement.limits import LimitKind, Mark
from flatscan.judgement.verdict import AnswerCode, VerdictWord
from flatscan.levelling.plan import MethodName
from flatscan.settings import Settings
from flatscan.sources.scan import ScanKind

SCHEMA_NAME: Literal["flatscan-result/1"] = "flatscan-result/1"
SCHEMA_ID = "urn:flatscan:result:1"

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


class AnswerRecord(Struct, frozen=True, kw_only=True):
    """Can the new floor be laid over this one?"""

    code: AnswerCode
    text: str
    reasons: list[str]


class InputRecord(Struct, frozen=True, kw_only=True):
    """A file that was read."""

    path: str
    sha256: Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]
    kind: str


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


class StationRecord(Struct, frozen=True, kw_only=True):
    """One place along a joint; null: could not be measured there."""

    at: XY
    width: QuantityRecord | None
    depth: QuantityRecord | None
    lip: QuantityRecord | None


class JointRecord(Struct, frozen=True, kw_only=True):
    """A joint between tiles with its worst station's quantities."""

    id: str
    line: Line
    width: QuantityRecord | None
    wall_width: QuantityRecord | None | UnsetType = UNSET
    depth: QuantityRecord | None
    lip: QuantityRecord | None
    stations: list[StationRecord]


class LimitRecord(Struct, frozen=True, kw_only=True):
    """One limit of a set."""

    what: LimitKind
    limit_mm: float
    edge_mm: float | None
    note: str


class LimitSetRecord(Struct, frozen=True, kw_only=True):
    """A limit set with its source; mark says how far the values can be trusted."""

    id: str
    title: str
    document: str
    table: str
    year: str
    reference: str
    mark: Mark
    limits: list[LimitRecord]
    spans: list[tuple[float, float]]


class FindingRecord(Struct, frozen=True, kw_only=True):
    """One limit held against one measured value. p_over: the chance that the true value is over (JCGM 106)."""

    what: str
    limit_id: str
    limit_mm: float
    value: QuantityRecord | None
    p_over: Share | None
    verdict: VerdictWord
    at: XY | None
    where: str
    edge_mm: float | None
    contacts: tuple[XY, XY] | None


class ReadingRecord(Struct, frozen=True, kw_only=True):
    """A hand reading that would help decide."""

    at: XY
    what: str
    instrument: str
    resolves: str


class IntervalRecord(Struct, frozen=True, kw_only=True):
    """95 % intervals of a method's quantities."""

    volume_l: tuple[float, float]
    bags: tuple[int, int]


class MethodRecord(Struct, frozen=True, kw_only=True):
    """One way of levelling. bags: whole bags to buy. cost null: no price was given."""

    name: MethodName
    volume_l: QuantityRecord
    mass_kg: QuantityRecord
    bags: int
    cost: float | None
    area_m2: float
    mean_mm: float
    max_mm: float
    interval: IntervalRecord


class AreaRecord(Struct, frozen=True, kw_only=True):
    """One place to level, numbered as on the map."""

    number: int
    polygon: Rings
    area_m2: float
    volume_l: QuantityRecord
    mean_mm: float
    max_mm: float
    action: str


class ProductRecord(Struct, frozen=True, kw_only=True):
    """The levelling compound's figures and where they come from."""

    name: str
    kg_per_m2_mm: float
    bag_kg: float
    least_layer_mm: float
    greatest_layer_mm: float | None
    waste_share: float
    source: str


class TargetRecord(Struct, frozen=True, kw_only=True):
    """A limit that the levelled floor meets."""

    edge_mm: float
    limit_mm: float


class LevellingRecord(Struct, frozen=True, kw_only=True):
    """The plan."""

    methods: list[MethodRecord]
    areas: list[AreaRecord]
    product: ProductRecord
    targets: list[TargetRecord]


class CaveatRecord(Struct, frozen=True, kw_only=True):
    """A doubt that rides on the result."""

    name: str
    text: str
    advice: str


class CautionRecord(Struct, frozen=True, kw_only=True):
    """A safety caution that the suggested work calls for."""

    name: str
    text: str


class Result(Struct, frozen=True, kw_only=True):
    """The whole result of one run of flatscan. Lengths in mm, coordinates in the floor frame."""

    schema: Literal["flatscan-result/1"] = SCHEMA_NAME
    answer: AnswerRecord
    inputs: list[InputRecord]
    settings: Settings
    versions: dict[str, str]
    limits: list[LimitSetRecord]
    surface: SurfaceRecord
    flatness: FlatnessRecord
    gaps: list[GapRecord]
    humps: list[HumpRecord]
    f_numbers: FNumbersRecord | None
    joints: list[JointRecord]
    findings: list[FindingRecord]
    next_readings: list[ReadingRecord]
    levelling: LevellingRecord
    caveats: list[CaveatRecord]
    cautions: list[CautionRecord]


def result_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of ``result.json``, generated from the records above."""
    body = msgspec.json.schema(Result)
    # A default marks a field as optional, but a file without its version is not one of ours.
    top = body["$defs"]["Result"]
    top["required"] = ["schema", *(name for name in top["required"] if name != "schema")]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": SCHEMA_ID, **body}
