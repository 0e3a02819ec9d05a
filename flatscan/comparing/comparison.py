"""The record this stage hands on: what changed between two measurements of one floor, and what that means."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flatscan.comparing.alignment import Alignment
    from flatscan.comparing.laying import Grid
    from flatscan.comparing.measured import PlannedArea
    from flatscan.judgement.verdict import Point, VerdictWord
    from flatscan.quantity import Quantity

#: Where the heights of both maps were brought together. ``unchanged_floor``: on floor that no work was planned on;
#: ``kept_places``: on
#: places that the survey keeps as they were; ``shape_only``: on the whole floor, so that the rise is not known.
DatumKind = Literal["unchanged_floor", "kept_places", "shape_only"]
#: What a place that is over or undecided now was before: ``new``: within; ``still``: over; ``unsure``: not decided.
History = Literal["new", "still", "unsure", "not_measured"]


@dataclass(frozen=True, slots=True, eq=False)
class Datum:
    """How the two height scales were brought together.

    ``share``: part of the floor seen in both that the plane was laid on; ``agrees``: part of that which agrees within
    its uncertainty; ``u_mm``: standard uncertainty of the plane over the planned areas (over the floor where there is
    none); ``why``: one sentence for people.
    """

    kind: DatumKind
    share: float
    agrees: float
    u_mm: float
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class Change:
    """A place that has certainly changed. ``rise``: mean over it; negative: it is lower now."""

    at: Point
    area_m2: float
    rise: Quantity
    most_mm: float
    planned: bool


@dataclass(frozen=True, slots=True, eq=False)
class Difference:
    """After minus before on one grid of the map after. Arrays (rows, cols), NaN or False where not seen in both.

    ``before_mm`` and ``after_mm`` float32: heights of both, brought together; ``d_mm`` float32: their difference;
    ``u_mm`` float32: its standard uncertainty in each cell; ``changed`` bool: where the difference is more than chance
    shows anywhere on the map in 19 of 20 comparisons of one unchanged floor; ``changes``: those places, largest first;
    ``threshold``: that bound in standard uncertainties; ``least_mm``: the smallest change over a hand's breadth
    that is more than chance on the typical place.
    """

    grid: Grid
    before_mm: NDArray[np.float32]
    after_mm: NDArray[np.float32]
    d_mm: NDArray[np.float32]
    u_mm: NDArray[np.float32]
    changed: NDArray[np.bool_]
    changes: tuple[Change, ...]
    threshold: float
    least_mm: float


@dataclass(frozen=True, slots=True)
class GapNow:
    """Largest gap in an area under one edge, before and now, and the word for it now; None: not measured."""

    edge_mm: float
    limit_mm: float
    before: Quantity | None
    now: Quantity | None
    verdict: VerdictWord


@dataclass(frozen=True, slots=True, eq=False)
class AreaNow:
    """One planned area as it is now.

    ``rings``: on the map after. ``placed_l``: what lies there now (came off, where it was to be ground); None: it
    cannot be known, or too little was seen. ``thickest``: None likewise. ``seen``: share of it seen in both.
    """

    planned: PlannedArea
    rings: tuple[NDArray[np.float64], ...]
    gaps: tuple[GapNow, ...]
    verdict: VerdictWord
    seen: float
    placed_l: Quantity | None
    thickest: Quantity | None
    too_thick: bool = False


@dataclass(frozen=True, slots=True)
class OpenSpot:
    """A place that is over the limit now, or not decided. ``at``: on the map after. ``area``: of the plan, if in one.

    ``before``: the gap at that place before, under the same edge; None: not measured.
    """

    what: str
    edge_mm: float | None
    limit_mm: float
    value: Quantity
    verdict: VerdictWord
    at: Point
    area: int | None
    before: Quantity | None
    history: History
    joint: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """All of it. ``placed_l`` and ``planned_l``: over all planned areas that were filled.

    ``same_limits``: both results were judged by the same limits. ``untold``: what the result after cannot tell of the
    floor as a whole, in its own words.
    """

    alignment: Alignment
    datum: Datum
    difference: Difference
    areas: tuple[AreaNow, ...]
    placed_l: Quantity | None
    planned_l: Quantity | None
    open_spots: tuple[OpenSpot, ...]
    same_limits: bool
    untold: tuple[str, ...] = ()
