"""The record this stage hands on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.judgement.verdict import Point
    from flatscan.levelling.binding.bounds import Bounds
    from flatscan.levelling.joints.joint_work import JointWork
    from flatscan.quantity import Quantity

MethodName = Literal["patch", "flood", "screed", "skim", "grind_and_patch", "lift_tiles"]
#: Every way, in the order of the tables.
METHOD_NAMES: tuple[MethodName, ...] = ("patch", "grind_and_patch", "skim", "screed", "flood", "lift_tiles")
Percentiles = tuple[float, float, float]


def method_named(name: str | None) -> MethodName | None:
    """The way of that name; None for none, and for a name that is none."""
    return next((known for known in METHOD_NAMES if known == name), None)


@dataclass(frozen=True, slots=True, eq=False)
class Dam:
    """A stop for a pour: ``line`` (k, 2) float64 floor-frame mm, how high above the old floor it stands, and why."""

    line: NDArray[np.float64]
    height_mm: float
    where: str


@dataclass(frozen=True, slots=True, eq=False)
class Pour:
    """One region that is poured level by itself. ``level_mm`` above the lowest place of the region, as measured."""

    rings: tuple[NDArray[np.float64], ...]
    level_mm: float
    area_m2: float
    volume_l: float


@dataclass(frozen=True, slots=True, eq=False)
class Proposal:
    """One way of levelling, worked out on the best estimate of the floor.

    Attributes
    ----------
    fill_mm, grind_mm : (rows, cols) float32 on the surface's grid, 0: nothing; NaN: not seen. The finished floor is
        height + fill - grind
    why_not : one sentence with the place where it cannot be done within the limits and bounds; "": it can
    extra_l : litres that no cell shows: joints, holes of tiles that come out
    edges_mm : width of the edge that runs out thinner than the product's least layer; 0: none
    bound : lower bound of what any plan of this kind costs, over this plan's cost, 0 to 1; None: not worked out
    notes : sentences for people
    """

    name: MethodName
    fill_mm: NDArray[np.float32]
    grind_mm: NDArray[np.float32]
    why_not: str = ""
    extra_l: tuple[tuple[str, Quantity], ...] = ()
    edges_mm: float = 0.0
    bound: float | None = None
    dams: tuple[Dam, ...] = ()
    pours: tuple[Pour, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class GapAfter:
    """The largest gap of the planned floor under one edge, and where; all as planned, on the best estimate."""

    edge_mm: float
    limit_mm: float
    gap_mm: float
    at: Point | None


@dataclass(frozen=True, slots=True, eq=False)
class Proof:
    """The planned floor through gap and judgement again, at full resolution.

    ``share``: (rows, cols) float32, the largest gap of the planned floor as a share of its limit, 0 to 1 and more;
    NaN: not seen. ``open``: what the plan leaves over or undecided, in words.
    """

    gaps: tuple[GapAfter, ...]
    joints_over: int
    lips_over: int
    share: NDArray[np.float32]
    open: tuple[str, ...] = ()

    @property
    def passes(self) -> bool:
        """Every limit is met."""
        return self.joints_over == 0 and self.lips_over == 0 and all(g.gap_mm <= g.limit_mm for g in self.gaps)


@dataclass(frozen=True, slots=True)
class Cost:
    """What it costs, in the product file's currency. ``parts`` (name, value) add up to ``value``."""

    value: float
    p10_p50_p90: Percentiles
    parts: tuple[tuple[str, float], ...]
    currency: str


@dataclass(frozen=True, slots=True)
class DoorRise:
    """How far the finished floor rises at a door: mean and most along it, mm; ``most_allowed_mm`` where it was said."""

    door: str
    mean_mm: float
    max_mm: float
    most_allowed_mm: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Area:
    """One place to level. ``rings``: (k, 2) float64 floor-frame mm, closed, exterior first, then holes.

    ``area_m2``, ``mean_mm`` and ``max_mm`` are of the planned fill; ``volume_l`` also holds what the capture may
    not have shown, so it can be more than area times mean.
    """

    number: int
    rings: tuple[NDArray[np.float64], ...]
    area_m2: float
    volume_l: Quantity
    mean_mm: float
    max_mm: float
    action: str
    #: How it is marked out: None where no two walls are known.
    marked: MarkedOut | None = None
    min_mm: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Wall:
    """A straight stretch of wall, numbered on the drawings (W1, W2, …), floor-frame mm."""

    number: int
    start: Point
    end: Point


@dataclass(frozen=True, slots=True, eq=False)
class MarkedOut:
    """Each corner of an area's marking outline by its distances from two walls that are known and not parallel.

    ``from_mm``: a ring's (k, 2) float64 distances from the first and the second wall, mm, square to them, positive
    into the room, the corners in the ring's order, the last not repeated. ``check_mm``: distance between the two
    corners furthest apart. ``rings``: the outline that is marked out, (k, 2) float64 floor-frame mm, closed: few
    corners, and the whole of the area lies in it.
    """

    walls: tuple[Wall, Wall]
    from_mm: tuple[NDArray[np.float64], ...]
    check_mm: float
    rings: tuple[NDArray[np.float64], ...] = ()


@dataclass(frozen=True, slots=True)
class Method:
    """Quantities of one way of levelling. ``bags`` is what to buy, ``bags_interval`` its 95 % range.

    ``area_m2``, ``mean_mm`` and ``max_mm`` are of the planned fill; ``volume_l`` also holds what the capture may
    not have shown, so it can be more than area times mean.
    """

    name: MethodName
    volume_l: Quantity
    volume_interval_l: tuple[float, float]
    mass_kg: Quantity
    bags: int
    bags_interval: tuple[int, int]
    area_m2: float
    mean_mm: float
    max_mm: float
    min_mm: float = 0.0
    #: "": it can be done within the limits and bounds.
    why_not: str = ""
    volume_p_l: Percentiles = (0.0, 0.0, 0.0)
    bags_p: tuple[int, int, int] = (0, 0, 0)
    #: What to buy so that nine floors of ten are done, and how many of those to keep sealed until needed.
    buy: int = 0
    keep_sealed: int = 0
    ground_l: float = 0.0
    ground_m2: float = 0.0
    lifted_m2: float = 0.0
    primer_kg: float | None = None
    cost: Cost | None = None
    layers: int = 0
    walk_on_h: float | None = None
    cover_h: float | None = None
    doors: tuple[DoorRise, ...] = ()
    proof: Proof | None = None
    bound: float | None = None
    edges_mm: float = 0.0
    notes: tuple[str, ...] = ()
    #: Thickest compound in the holes of tiles that come out, the fill above it counted in, and the area of those holes
    #: that no fill covers; 0: no tile comes out. ``max_mm`` and ``area_m2`` are without the holes.
    holes_mm: float = 0.0
    holes_m2: float = 0.0

    @property
    def primed_m2(self) -> float:
        """What compound lies on: the filled areas and the holes beside them."""
        return self.area_m2 + self.holes_m2

    @property
    def possible(self) -> bool:
        """It can be done within the limits and bounds."""
        return not self.why_not


@dataclass(frozen=True, slots=True)
class Product:
    """A levelling compound's data sheet and what the work costs. ``source`` is shown beside every use.

    ``kg_per_m2_mm``: powder, which is also kilograms per litre of fill. ``feather_mm_per_m``: steepest edge it may run
    out in. ``layer_per_lift_mm``: most in one pour. ``coat_mm``: thickness of a thin coat over the whole floor. Prices
    are without a unit but ``currency``; None: not known. ``fill_price_per_m2``, ``grind_price_per_m2_mm`` and
    ``lift_price_per_m2`` are work.
    """

    name: str
    kg_per_m2_mm: float
    bag_kg: float
    least_layer_mm: float
    greatest_layer_mm: float | None
    waste_share: float
    source: str
    layer_per_lift_mm: float | None = None
    feather_mm_per_m: float = 20.0
    coat_mm: float = 1.5
    primer_kg_per_m2: float | None = None
    walk_on_h: float | None = None
    #: Hours until the new floor may go over it: at once, and for each mm of the thickest layer.
    cover_h: float | None = None
    cover_h_per_mm: float = 0.0
    greatest_grind_mm: float = 3.0
    currency: str = ""
    bag_price: float | None = None
    primer_price_per_kg: float | None = None
    fill_price_per_m2: float | None = None
    grind_price_per_m2_mm: float | None = None
    lift_price_per_m2: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class LevellingPlan:
    """Every way side by side, and the chosen one as it is marked out.

    ``fill_mm``, ``grind_mm``, ``areas``, ``dams`` and ``pours`` are of the chosen way: (rows, cols) float32 on the
    surface's grid, 0 where nothing is needed, NaN: not seen. ``methods`` in the order of ``METHOD_NAMES``.
    """

    methods: tuple[Method, ...]
    areas: tuple[Area, ...]
    fill_mm: NDArray[np.float32]
    product: Product
    #: (edge_mm, limit_mm) pairs the fill meets.
    targets: tuple[tuple[float, float], ...]
    caveats: tuple[Caveat, ...]
    #: What the patch takes outside all numbered areas: specks, and what the estimate does not show.
    #: The areas and this add up to the patch's volume.
    scattered_l: Quantity | None = None
    #: Simulated floors behind the quantities.
    draws: int = 0
    grind_mm: NDArray[np.float32] | None = None
    #: The way the areas, the drawings and the after-map are of; None: no way is possible, or nothing is to be done.
    chosen: MethodName | None = None
    #: Three sentences: which way, why, what would change that.
    recommendation: tuple[str, ...] = ()
    joint_work: JointWork | None = None
    dams: tuple[Dam, ...] = ()
    pours: tuple[Pour, ...] = ()
    bounds: Bounds | None = None
    #: The floor as it is, laid with the same edges as the planned one; None: not worked out.
    before: Proof | None = None
