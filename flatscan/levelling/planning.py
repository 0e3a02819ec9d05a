"""The stage: every way to make the floor meet its limits, side by side, and the one to choose."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.caveats import caveat
from flatscan.constants import MM2_PER_M2
from flatscan.levelling.binding.constraints import bounds_of
from flatscan.levelling.choice.doors import doors_of
from flatscan.levelling.choice.recommendation import recommend
from flatscan.levelling.counting import counted, without_vain_grinding
from flatscan.levelling.frame import Frame
from flatscan.levelling.joints.lip_work import lip_ramps, lips_to_grind
from flatscan.levelling.judging_again import all_judged_again
from flatscan.levelling.marking.areas import areas_of, grind_areas_of
from flatscan.levelling.plan import LevellingPlan
from flatscan.levelling.proof import prove, worst_over
from flatscan.levelling.quantities import quantity_l
from flatscan.levelling.targets import laid_on, targets_of
from flatscan.levelling.ways import ways
from flatscan.progress import SILENT

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.levelling.basis import Basis
    from flatscan.levelling.plan import Area, Method, MethodName, Product, Proposal
    from flatscan.progress import Progress
    from flatscan.sources.survey.survey import Survey
    from flatscan.surface.surface import Surface

#: Where more of the floor than this was not seen, no quantity is given: it would be of another floor.
MOST_UNSEEN_SHARE = 0.3


def plan_levelling(
    basis: Basis,
    product: Product,
    *,
    rng: np.random.Generator,
    margin_mm: float = 0.0,
    survey: Survey | None = None,
    asked: MethodName | None = None,
    progress: Progress = SILENT,
) -> LevellingPlan:
    """Every way of levelling with its quantities, doubts and proof, and which to choose.

    The plan is made on the best estimate of the floor, at full resolution; quantities are the mean over simulations of
    what the true floor could need (``possible``), each worked out anew on the full grid, and the intervals are from
    their spread. ``margin_mm``: plan to this much below each limit. ``asked``: the way the person wants.

    Raises
    ------
    InputError, SettingsError
        for constraints that contradict each other or the floor, and a margin that leaves nothing of a limit
    """
    surface = basis.surface
    frame = _frame(basis, product, survey, margin_mm)
    if 1.0 - surface.seen_share > MOST_UNSEEN_SHARE:
        return _refused(frame)
    before = prove(frame.floor_mm, surface, frame.bounds, frame.limits, frame.rule)
    judged = all_judged_again(ways(frame, worst_gap=worst_over(before), progress=progress), frame)
    worked = without_vain_grinding(counted(judged, frame, rng=rng, progress=progress))
    methods = tuple(one.method for one in worked)
    chosen, sentences = recommend(methods, basis, product, asked=asked)
    drawn = next((one for one in worked if one.method.name == chosen), worked[0])
    shown = drawn.way.proposal
    areas = _areas(shown, drawn.labels, drawn.draws_l, surface) if chosen is not None else ()
    return LevellingPlan(
        methods=methods,
        areas=areas,
        fill_mm=shown.fill_mm,
        grind_mm=shown.grind_mm,
        product=product,
        targets=frame.targets,
        caveats=_caveats(surface, methods),
        scattered_l=quantity_l(list(drawn.draws_l[:, 0])),
        draws=len(drawn.draws_l),
        chosen=chosen,
        recommendation=sentences,
        joint_work=None if chosen == "lift_tiles" else basis.joint_work,
        dams=shown.dams,
        pours=shown.pours,
        bounds=frame.bounds,
        before=before,
    )


def _frame(basis: Basis, product: Product, survey: Survey | None, margin_mm: float) -> Frame:
    bounds = bounds_of(survey, basis, product)
    ramps_mm, lips_left = lip_ramps(basis.surface, bounds, basis.joint_work, product)
    laid, too_short = laid_on(basis.gap_limits, basis.surface.cell_mm)
    return Frame(
        basis=basis,
        bounds=bounds,
        limits=targets_of(laid),
        targets=targets_of(laid, margin_mm=margin_mm),
        too_short=too_short,
        product=product,
        doors=doors_of(() if survey is None else survey.doors, basis.doors_mm),
        ramps_mm=ramps_mm,
        lips_left=lips_left,
        lips_to_grind=lips_to_grind(basis.surface, bounds, basis.joint_work),
    )


def _areas(
    shown: Proposal, labels: NDArray[np.int32], draws_l: NDArray[np.float64], surface: Surface
) -> tuple[Area, ...]:
    """What is filled, then what is ground, numbered on."""
    where: dict[str, Any] = {"cell_mm": surface.cell_mm, "origin_mm": surface.origin_mm, "outline": surface.outline}
    filled = areas_of(shown.fill_mm, labels, draws_l, **where)
    return (*filled, *grind_areas_of(shown.grind_mm, first_number=len(filled) + 1, **where))


def _refused(frame: Frame) -> LevellingPlan:
    """No way and no quantity: too much of the floor was not seen."""
    surface = frame.basis.surface
    nothing = np.where(surface.seen, np.float32(0.0), np.float32(np.nan))
    doubt = caveat("too_little_seen_to_plan", unseen=100.0 * (1.0 - surface.seen_share), most=100.0 * MOST_UNSEEN_SHARE)
    return LevellingPlan(
        methods=(),
        areas=(),
        fill_mm=nothing,
        grind_mm=nothing.copy(),
        product=frame.product,
        targets=frame.targets,
        caveats=(doubt,),
        recommendation=(doubt.text, doubt.advice),
        joint_work=frame.basis.joint_work,
        bounds=frame.bounds,
    )


def _caveats(surface: Surface, methods: Sequence[Method]) -> tuple[Caveat, ...]:
    found = []
    unseen_m2 = float((surface.inside & ~surface.seen).sum()) * surface.cell_mm**2 / MM2_PER_M2
    if unseen_m2 > 0:
        found.append(caveat("unseen_not_filled", area_m2=unseen_m2))
    if surface.slope is None and any(method.name == "flood" and method.possible for method in methods):
        found.append(caveat("flood_without_gravity"))
    return tuple(found)
