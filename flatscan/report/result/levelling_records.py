"""Records of ``result.json`` and ``levelling.json`` for the levelling plan; ``result_levelling`` fills them.

Fields without a default were in the first files of this version; those with one were added later.
"""

# ruff: noqa: TC001 - the schema is built from these names when the program runs
from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

from flatscan.levelling.joints.joint_work import WorkWord
from flatscan.levelling.plan import MethodName
from flatscan.report.result.measured import XY, Line, NotNegative, QuantityRecord, Rings, Share

Count = Annotated[int, Meta(ge=0)]


class IntervalRecord(Struct, frozen=True, kw_only=True):
    """95 % intervals of a method's quantities."""

    volume_l: tuple[float, float]
    bags: tuple[int, int]


class PercentilesRecord(Struct, frozen=True, kw_only=True):
    """One floor of ten that agrees with the capture needs less than p10, half of them less than p50, nine p90."""

    p10: NotNegative
    p50: NotNegative
    p90: NotNegative


class CostPartRecord(Struct, frozen=True, kw_only=True):
    """One part of a cost, in the cost's currency."""

    name: str
    value: float


class CostRecord(Struct, frozen=True, kw_only=True):
    """What a method costs by the product file's prices; the parts add up to value. currency "": not said."""

    value: NotNegative
    currency: str
    percentiles: PercentilesRecord
    parts: list[CostPartRecord]


class DoorRecord(Struct, frozen=True, kw_only=True):
    """How far the finished floor rises at a door: mean and most along it. most_allowed_mm null: not said."""

    door: str
    mean_mm: float
    max_mm: float
    most_allowed_mm: float | None


class GapAfterRecord(Struct, frozen=True, kw_only=True):
    """Largest gap of the planned floor under one edge, and where; as planned, on the best estimate of the floor."""

    edge_mm: float
    limit_mm: float
    gap_mm: NotNegative
    at: XY | None


class ProofRecord(Struct, frozen=True, kw_only=True):
    """The planned floor measured and judged again, cell by cell, on the grid that the old floor was measured on.

    passes: every gap limit is met, and no joint and no lip stays over. open: what stays undecided, in words.
    """

    passes: bool
    gaps: list[GapAfterRecord]
    joints_over: Count
    lips_over: Count
    open: list[str]


class MethodRecord(Struct, frozen=True, kw_only=True):
    """One way of levelling. cost null: no price was given.

    bags: whole bags that the expected volume takes. buy: whole bags to buy so that nine floors of ten are done;
    keep_sealed: how many of those to keep sealed until they are needed. why_not: why it cannot be done within the
    limits and bounds, "": it can (possible). volume_p_l, bags_p: null where they were not worked out.
    area_m2, mean_mm, max_mm and min_mm are of the planned fill. ground_l, ground_m2: what is ground off, and over how
    much floor. lifted_m2: old tiles taken up. holes_mm: thickest compound in the holes of tiles that come out, with the
    fill above it; holes_m2: their area that no fill covers. primer_kg, walk_on_h and cover_h: null where the product
    file does not say. cover_h: hours until the new floor may go over it. layers: pours or coats of the thickest place.
    edges_mm: width of the edge that runs out thinner than the least layer. bound: the least that any plan of this kind
    can cost, as proven, over the cost of this one: no more than 1 - bound of its cost could be saved; null: not worked
    out. proof null: not worked out.
    """

    name: MethodName
    volume_l: QuantityRecord
    mass_kg: QuantityRecord
    bags: Count
    cost: CostRecord | None
    area_m2: float
    mean_mm: float
    max_mm: float
    interval: IntervalRecord
    possible: bool = True
    why_not: str = ""
    min_mm: float = 0.0
    volume_p_l: PercentilesRecord | None = None
    bags_p: PercentilesRecord | None = None
    buy: Count = 0
    keep_sealed: Count = 0
    ground_l: NotNegative = 0.0
    ground_m2: NotNegative = 0.0
    lifted_m2: NotNegative = 0.0
    holes_mm: NotNegative = 0.0
    holes_m2: NotNegative = 0.0
    primer_kg: NotNegative | None = None
    layers: Count = 0
    walk_on_h: NotNegative | None = None
    cover_h: NotNegative | None = None
    doors: list[DoorRecord] = []
    edges_mm: NotNegative = 0.0
    bound: Share | None = None
    proof: ProofRecord | None = None
    notes: list[str] = []


class WallRecord(Struct, frozen=True, kw_only=True):
    """A straight stretch of wall, numbered as on the drawings (W1, W2)."""

    number: int
    start: XY
    end: XY


class MarkingRecord(Struct, frozen=True, kw_only=True):
    """How an area is marked out from two walls.

    polygon: the outline to mark out; it has few corners, and the whole area lies in it. from_mm: for each ring the
    distances of its corners from the first and the second wall, square to them, in the ring's order, the last not
    repeated. check_mm: distance between the two corners furthest apart.
    """

    walls: tuple[WallRecord, WallRecord]
    polygon: list[list[XY]]
    from_mm: list[list[tuple[float, float]]]
    check_mm: float


class AreaRecord(Struct, frozen=True, kw_only=True):
    """One place to level, numbered as on the map. marking null: no two walls are known to measure from."""

    number: int
    polygon: Rings
    area_m2: float
    volume_l: QuantityRecord
    mean_mm: float
    max_mm: float
    action: str
    min_mm: float = 0.0
    marking: MarkingRecord | None = None


class ProductRecord(Struct, frozen=True, kw_only=True):
    """The levelling compound's figures and where they come from; null: not known.

    kg_per_m2_mm: powder for each m2 and mm. layer_per_lift_mm: most in one pour. feather_mm_per_m: steepest edge that
    it may run out in. coat_mm: thickness of a thin coat. cover_h and cover_h_per_mm: hours until the new floor may go
    over it, at once and for each mm. greatest_grind_mm: most that is ground off. Prices are in currency; those per m2
    and per m2 and mm are of work.
    """

    name: str
    kg_per_m2_mm: float
    bag_kg: float
    least_layer_mm: float
    greatest_layer_mm: float | None
    waste_share: float
    source: str
    layer_per_lift_mm: float | None = None
    feather_mm_per_m: float | None = None
    coat_mm: float | None = None
    primer_kg_per_m2: float | None = None
    walk_on_h: float | None = None
    cover_h: float | None = None
    cover_h_per_mm: float | None = None
    greatest_grind_mm: float | None = None
    currency: str = ""
    bag_price: float | None = None
    primer_price_per_kg: float | None = None
    fill_price_per_m2: float | None = None
    grind_price_per_m2_mm: float | None = None
    lift_price_per_m2: float | None = None


class TargetRecord(Struct, frozen=True, kw_only=True):
    """A limit that the levelled floor meets."""

    edge_mm: float
    limit_mm: float


class JointFillRecord(Struct, frozen=True, kw_only=True):
    """One joint to fill flush. length_mm: what of it is over, or (word not_decided) may be.

    width and depth null: measured nowhere on it; the volume is then reckoned from other joints or as wide as can be
    (guessed).
    """

    id: str
    line: Line
    length_mm: NotNegative
    width: QuantityRecord | None
    depth: QuantityRecord | None
    volume: QuantityRecord
    word: WorkWord
    guessed: bool


class LipDownRecord(Struct, frozen=True, kw_only=True):
    """One lip to take down, or (word not_decided) that may be. at: its worst place; high_at: on the high tile."""

    id: str
    line: Line
    at: XY
    high_at: XY
    length_mm: NotNegative
    lip: QuantityRecord
    limit_mm: float
    word: WorkWord


class DamRecord(Struct, frozen=True, kw_only=True):
    """A stop for a pour, and how high above the old floor it stands."""

    line: Line
    height_mm: float
    where: str


class PourRecord(Struct, frozen=True, kw_only=True):
    """A region that is poured level by itself. level_mm: above its own lowest place, as measured."""

    polygon: Rings
    level_mm: float
    area_m2: NotNegative
    volume_l: NotNegative


class JointsInAllRecord(Struct, frozen=True, kw_only=True):
    """What all joints of the floor hold together; unmeasured_m: length of those with neither width nor depth."""

    volume: QuantityRecord
    length_m: NotNegative
    unmeasured_m: NotNegative


class LevellingRecord(Struct, frozen=True, kw_only=True):
    """The plan: every way side by side; areas, dams and pours are of the chosen one.

    chosen null: no way is possible, or nothing is to be done. recommendation: which way, why, and what would change
    that. scattered_l: what the chosen way takes outside all numbered areas. draws: simulated floors behind the
    quantities. all_joints null: joints were not measured.
    """

    methods: list[MethodRecord]
    areas: list[AreaRecord]
    product: ProductRecord
    targets: list[TargetRecord]
    chosen: MethodName | None = None
    recommendation: list[str] = []
    joints_to_fill: list[JointFillRecord] = []
    lips_to_take_down: list[LipDownRecord] = []
    all_joints: JointsInAllRecord | None = None
    dams: list[DamRecord] = []
    pours: list[PourRecord] = []
    scattered_l: QuantityRecord | None = None
    draws: Count = 0
