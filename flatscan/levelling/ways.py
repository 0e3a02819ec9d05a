"""Each way of levelling, worked out on the best estimate of the floor and ready to be worked out on another."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM_PER_M
from flatscan.levelling.binding.unmet import unmet_words
from flatscan.levelling.filling.least_fill import least_fill
from flatscan.levelling.grinding import full_problem, plan_grinding
from flatscan.levelling.joints.joint_work import joint_extra
from flatscan.levelling.joints.lifting import lift
from flatscan.levelling.joints.skim import skim
from flatscan.levelling.marking.areas import fill_labels
from flatscan.levelling.plan import Proposal
from flatscan.levelling.pouring.flood import flood, flood_again
from flatscan.levelling.pouring.screed import screed, screed_again
from flatscan.levelling.quantities import volume_l
from flatscan.progress import SILENT

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from flatscan.levelling.filling.least_fill import Fill
    from flatscan.levelling.frame import Frame
    from flatscan.levelling.joints.joint_work import LipDown
    from flatscan.levelling.plan import MethodName, Product
    from flatscan.progress import Progress

NOT_WORTH_GRINDING = "Nothing is worth grinding: this is the patch"
#: Without prices a litre ground counts as this many litres of compound. Common practice, no source.
GRIND_AS_LITRES = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """A proposal, and what the same way takes on another floor that may be the true one.

    ``again``: (rows, cols) heights of that floor and a source of chance in, (rows, cols) fill out; the fall against
    gravity is drawn with it, for it is not known exactly.
    """

    proposal: Proposal
    again: Callable[[NDArray[np.floating], np.random.Generator], NDArray[np.floating]]
    #: Filled cells where an edge runs out thinner than the least layer.
    feathered: NDArray[np.bool_] | None = None
    #: It buries lips, so none is left.
    covers_lips: bool = False
    #: Lips that it grinds down.
    lips: tuple[LipDown, ...] = ()


def ways(frame: Frame, *, worst_gap: str, progress: Progress = SILENT) -> tuple[Way, ...]:
    """Every way, in the order of ``METHOD_NAMES``. ``worst_gap``: the gap that is over, in words; "": all pass."""
    patch = _patch(frame)
    return (
        patch,
        _grind_and_patch(frame, patch, progress),
        _skim(frame, worst_gap),
        _screed(frame),
        _flood(frame),
        _lift(frame),
    )


def _least(frame: Frame, height_mm: NDArray[np.floating]) -> Fill:
    """The least fill on that floor, the ramps at lips beneath it."""
    return _least_on(frame, height_mm, frame.ramps_mm)


def _least_on(frame: Frame, height_mm: NDArray[np.floating], laid_mm: NDArray[np.floating]) -> Fill:
    """The least fill on a floor on which something is laid, (rows, cols) mm, and that counted in."""
    product, bounds = frame.product, frame.bounds
    fill = least_fill(
        frame.without_joints(height_mm) + laid_mm,
        bounds.inside,
        frame.targets,
        frame.rule,
        least_layer_mm=product.least_layer_mm,
        feather_mm_per_m=product.feather_mm_per_m,
        least_mm=bounds.least_fill_mm - laid_mm,
        most_mm=bounds.most_fill_mm - laid_mm,
    )
    return replace(fill, fill_mm=fill.fill_mm + laid_mm) if laid_mm.any() else fill


def _proposal(frame: Frame, name: MethodName, fill: Fill, grind_mm: NDArray[np.floating] | None = None) -> Proposal:
    surface, bounds, product = frame.basis.surface, frame.bounds, frame.product
    why_not = ""
    if fill.beyond_most.any():
        why_not = unmet_words(surface, bounds, fill.beyond_most, fill.fill_mm - bounds.most_fill_mm)
    runs_out = product.least_layer_mm / product.feather_mm_per_m * MM_PER_M if fill.feathered.any() else 0.0
    return Proposal(
        name=name,
        fill_mm=_stored(frame, fill.fill_mm),
        grind_mm=_stored(frame, np.zeros(bounds.inside.shape) if grind_mm is None else grind_mm),
        why_not=why_not,
        extra_l=joint_extra(name, frame.basis.joint_work, frame.void_l),
        edges_mm=runs_out,
    )


def _stored(frame: Frame, thickness_mm: NDArray[np.floating]) -> NDArray[np.float32]:
    """As plans keep it: 0 in movement joints, NaN only where the floor was not seen."""
    kept = np.asarray(thickness_mm, dtype=np.float32).copy()
    kept[frame.bounds.blocked] = 0.0
    kept[~frame.basis.surface.seen] = np.nan
    return kept


def _patch(frame: Frame) -> Way:
    fill = _least(frame, frame.floor_mm)
    return Way(
        _proposal(frame, "patch", fill),
        again=lambda height, _: _least(frame, height).fill_mm,
        feathered=fill.feathered,
        lips=frame.lips_to_grind,
    )


def _grind_and_patch(frame: Frame, patch: Way, progress: Progress) -> Way:
    """Grinding where that makes grinding and filling together cheaper; else the patch."""
    fill_price, grind_price = _litre_prices(frame.product)
    bounds = frame.bounds
    ground = plan_grinding(
        full_problem(
            frame.floor_mm,
            bounds.inside,
            frame.targets,
            frame.rule,
            fill_price_per_l=fill_price,
            grind_price_per_l=grind_price,
            most_fill_mm=bounds.most_fill_mm,
            most_grind_mm=bounds.most_grind_mm,
            least_mm=bounds.least_fill_mm,
        ),
        progress=progress,
    )
    grind_mm = _in_places(np.nan_to_num(ground.grind_mm), frame.basis.surface.cell_mm)
    fill = _least(frame, frame.floor_mm - grind_mm)
    proposal = _proposal(frame, "grind_and_patch", fill, grind_mm)

    def cost(of: Proposal) -> float:
        cell_mm = frame.basis.surface.cell_mm
        return fill_price * volume_l(of.fill_mm, cell_mm) + grind_price * volume_l(of.grind_mm, cell_mm)

    lowest = ground.lower_bound_cost
    if not grind_mm.any() or (cost(proposal) >= cost(patch.proposal) and not patch.proposal.why_not):
        same = replace(patch.proposal, name="grind_and_patch", notes=(NOT_WORTH_GRINDING,))
        return replace(patch, proposal=replace(same, bound=_share(lowest, cost(same))))
    return Way(
        replace(proposal, bound=_share(lowest, cost(proposal))),
        again=lambda height, _: _least(frame, height - grind_mm).fill_mm,
        feathered=fill.feathered,
        lips=frame.lips_to_grind,
    )


def _in_places(grind_mm: NDArray[np.float64], cell_mm: float) -> NDArray[np.float64]:
    """The grinding without the specks that no outline would be drawn round: nobody could find them."""
    return np.where(fill_labels(grind_mm, cell_mm) > 0, grind_mm, 0.0)


def _share(lowest: float, cost: float) -> float | None:
    """What no plan can cost less than, over what this one costs."""
    return min(1.0, lowest / cost) if cost > 0.0 else None


def _litre_prices(product: Product) -> tuple[float, float]:
    """What a litre filled and a litre ground cost; without both prices, in litres of compound."""
    if not product.bag_price or not product.grind_price_per_m2_mm:
        return 1.0, GRIND_AS_LITRES
    bags_per_l = product.kg_per_m2_mm * (1.0 + product.waste_share) / product.bag_kg
    # A litre is a millimetre on a square metre.
    return product.bag_price * bags_per_l, product.grind_price_per_m2_mm


def _skim(frame: Frame, worst_gap: str) -> Way:
    proposal = skim(frame.basis.surface, frame.bounds, frame.basis.joint_work, frame.product, worst=worst_gap)
    coat = proposal.fill_mm.astype(np.float64)
    return Way(proposal, again=lambda _height, _: coat, lips=frame.lips_to_grind)


def _screed(frame: Frame) -> Way:
    surface, bounds, product = frame.basis.surface, frame.bounds, frame.product
    proposal, zones_mm = _with_zones(frame, screed(surface, frame.floor_mm, bounds, frame.targets, frame.rule, product))

    def again(height_mm: NDArray[np.floating], _: np.random.Generator) -> NDArray[np.floating]:
        laid = screed_again(surface, frame.without_joints(height_mm), bounds, product, targets=frame.targets)
        return laid + zones_mm

    return Way(proposal, again=again, covers_lips=True)


def _flood(frame: Frame) -> Way:
    surface, bounds, product = frame.basis.surface, frame.bounds, frame.product
    planned = flood(surface, frame.floor_mm, bounds, frame.targets, frame.rule, product)
    proposal, zones_mm = _with_zones(frame, planned.proposal)

    def again(height_mm: NDArray[np.floating], rng: np.random.Generator) -> NDArray[np.floating]:
        slope = surface.slope
        fall = None if slope is None else float(rng.normal(slope.fall.value, slope.fall.u))
        height = frame.without_joints(height_mm)
        return flood_again(planned, surface, height, bounds, product, fall_mm_per_m=fall) + zones_mm

    return Way(proposal, again=again, covers_lips=True)


def _lift(frame: Frame) -> Way:
    proposal = lift(frame.basis.surface, frame.basis, frame.bounds, frame.product)
    nothing = proposal.fill_mm.astype(np.float64)
    return Way(proposal, again=lambda _height, _: nothing, covers_lips=True)


def _with_zones(frame: Frame, proposal: Proposal) -> tuple[Proposal, NDArray[np.float64] | float]:
    """The proposal with a patch in the zones that are not poured, and what that patch adds, (rows, cols) mm.

    The patch is that of the best estimate on whatever floor the pour is worked out again: redrawing it too would cost
    a least fill for each floor, for a part that is small.
    """
    with_extras = replace(proposal, extra_l=joint_extra(proposal.name, frame.basis.joint_work, frame.void_l))
    bounds = frame.bounds
    if proposal.why_not or not bounds.keeps_slope.any():
        return with_extras, 0.0
    poured = np.nan_to_num(proposal.fill_mm.astype(np.float64))
    whole = _least_on(frame, frame.floor_mm, poured)
    why_not = ""
    if whole.beyond_most.any():
        why_not = unmet_words(frame.basis.surface, bounds, whole.beyond_most, whole.fill_mm - bounds.most_fill_mm)
    added = np.nan_to_num(whole.fill_mm - poured)
    return replace(with_extras, fill_mm=_stored(frame, whole.fill_mm), why_not=why_not), added
