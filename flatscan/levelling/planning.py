"""The stage: every way to make the floor meet its limits, side by side, and the one to choose."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.caveats import caveat
from flatscan.constants import MM2_PER_M2
from flatscan.judgement.places import place_in_words
from flatscan.levelling.binding.constraints import bounds_of
from flatscan.levelling.choice.doors import doors_of
from flatscan.levelling.choice.recommendation import recommend
from flatscan.levelling.frame import Frame
from flatscan.levelling.joints.lip_work import lip_ramps, lips_to_grind
from flatscan.levelling.marking.areas import areas_of, fill_labels, grind_areas_of, volumes_by_area
from flatscan.levelling.plan import LevellingPlan
from flatscan.levelling.possible import accounts_of, simulated_floors
from flatscan.levelling.proof import finished_mm, prove, worst_over
from flatscan.levelling.quantities import method_of, quantity_l
from flatscan.levelling.targets import targets_of
from flatscan.levelling.ways import NOT_WORTH_GRINDING, ways
from flatscan.progress import SILENT

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.levelling.basis import Basis
    from flatscan.levelling.plan import Area, Method, MethodName, Product, Proof, Proposal
    from flatscan.levelling.ways import Way
    from flatscan.progress import Progress
    from flatscan.sources.survey.survey import Survey
    from flatscan.surface.surface import Surface

#: Simulated floors behind an interval: as many as this many cells times targets allow, within the two bounds.
_CELLS_FOR_ALL_DRAWS = 20_000_000
FEWEST_DRAWS, MOST_DRAWS = 10, 20
_LEAST_TOLD_L = 0.005
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
    judged = _all_judged_again(ways(frame, worst_gap=worst_over(before), progress=progress), frame)
    worked = _without_vain_grinding(_counted(judged, frame, rng=rng, progress=progress))
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


@dataclass(frozen=True, slots=True, eq=False)
class _Worked:
    """A way with its areas, its litres on every drawn floor, (draws, areas + 1), and what it takes in all."""

    way: Way
    labels: NDArray[np.int32]
    draws_l: NDArray[np.float64]
    method: Method


def draws_for(cells: int, targets: int) -> int:
    """How many floors are drawn: fewer on large grids, where each takes seconds."""
    return int(np.clip(_CELLS_FOR_ALL_DRAWS // max(1, cells * max(1, targets)), FEWEST_DRAWS, MOST_DRAWS))


def _frame(basis: Basis, product: Product, survey: Survey | None, margin_mm: float) -> Frame:
    bounds = bounds_of(survey, basis, product)
    ramps_mm, lips_left = lip_ramps(basis.surface, bounds, basis.joint_work, product)
    return Frame(
        basis=basis,
        bounds=bounds,
        limits=targets_of(basis.gap_limits),
        targets=targets_of(basis.gap_limits, margin_mm=margin_mm),
        product=product,
        doors=doors_of(() if survey is None else survey.doors, basis.doors_mm),
        ramps_mm=ramps_mm,
        lips_left=lips_left,
        lips_to_grind=lips_to_grind(basis.surface, bounds, basis.joint_work),
    )


def _all_judged_again(candidates: Iterable[Way], frame: Frame) -> list[tuple[Way, Proof | None]]:
    judged: list[tuple[Way, Proof | None]] = []
    for way in candidates:
        # Where nothing is worth grinding two ways are one.
        same = next((proof for other, proof in judged if other.again is way.again), None)
        judged.append(_judged_again(way, frame) if same is None else (way, same))
    return judged


def _judged_again(way: Way, frame: Frame) -> tuple[Way, Proof | None]:
    """The way with its floor judged again; one that leaves a limit unmet is not possible.

    A fill that meets its limits by construction and fails here is a mistake of ours, which must not be printed.
    """
    proposal, surface = way.proposal, frame.basis.surface
    if proposal.why_not or proposal.name == "lift_tiles":
        return way, None
    proof = prove(
        finished_mm(surface, proposal, frame.bounds),
        surface,
        frame.bounds,
        frame.limits,
        frame.rule,
        lips_left=() if way.covers_lips else frame.lips_left,
        work=frame.basis.joint_work,
    )
    if proof.passes:
        return way, proof
    leaves = worst_over(proof)
    if leaves and proposal.name in ("patch", "grind_and_patch"):
        raise AssertionError(f"the planned {proposal.name} leaves {leaves}")
    return replace(way, proposal=replace(proposal, why_not=f"It leaves {leaves or _lip_left(frame)}")), proof


def _lip_left(frame: Frame) -> str:
    lip = frame.lips_left[0]
    return f"the lip of {lip.lip.size_text()} {place_in_words(lip.at)}, which may be neither ground nor filled against"


def _counted(
    judged: list[tuple[Way, Proof | None]], frame: Frame, *, rng: np.random.Generator, progress: Progress
) -> list[_Worked]:
    """Every way on every drawn floor, then what it takes."""
    surface = frame.basis.surface
    candidates = [way for way, _ in judged]
    labels = [fill_labels(way.proposal.fill_mm, surface.cell_mm) for way in candidates]
    draws = _draws(candidates, labels, frame, rng=rng, progress=progress)
    methods = [
        method_of(
            way.proposal,
            list(by_area.sum(axis=1)),
            frame.product,
            surface,
            accounts=accounts_of(surface),
            doors=frame.doors,
            proof=proof,
            rng=rng,
            feathered=way.feathered,
            lips=way.lips,
            lifted_m2=frame.lifted_m2,
            holes_mm=frame.bounds.void_mm,
        )
        for (way, proof), by_area in zip(judged, draws, strict=True)
    ]
    told = [
        replace(method, notes=(*method.notes, *_notes(way, of_way, frame)))
        for way, of_way, method in zip(candidates, labels, methods, strict=True)
    ]
    return [_Worked(*parts) for parts in zip(candidates, labels, draws, told, strict=True)]


def _notes(way: Way, labels: NDArray[np.int32], frame: Frame) -> tuple[str, ...]:
    """What the numbered areas do not show."""
    said = []
    specks_l = float(volumes_by_area(way.proposal.fill_mm, labels, frame.basis.surface.cell_mm)[0])
    if specks_l >= _LEAST_TOLD_L:
        said.append(
            f"{specks_l:.2f} litres of it lie outside the numbered areas, in places too small to mark: fill "
            "there what the straightedge still shows"
        )
    if frame.bounds.blocked.any() and way.proposal.name != "lift_tiles":
        said.append("Movement joints are carried through: no compound in them, and the areas end there")
    return tuple(said)


def _without_vain_grinding(worked: list[_Worked]) -> list[_Worked]:
    """Grinding that costs no less in whole bags and square metres than the patch gives way to it."""
    by_name = {one.method.name: one for one in worked}
    patch, grind = by_name["patch"], by_name["grind_and_patch"]
    costs = patch.method.cost, grind.method.cost
    if costs[0] is None or costs[1] is None or not patch.method.possible or costs[1].value < costs[0].value:
        return worked
    name: MethodName = "grind_and_patch"
    same = replace(
        patch,
        way=replace(patch.way, proposal=replace(patch.way.proposal, name=name)),
        method=replace(patch.method, name=name, notes=(NOT_WORTH_GRINDING,)),
    )
    return [same if one is grind else one for one in worked]


def _draws(
    candidates: list[Way],
    labels: list[NDArray[np.int32]],
    frame: Frame,
    *,
    rng: np.random.Generator,
    progress: Progress,
) -> list[NDArray[np.float64]]:
    """For each way (draws, areas + 1) litres that the true floor could take, column 0 outside all areas."""
    surface = frame.basis.surface
    cell_mm = surface.cell_mm
    planned = [
        volumes_by_area(way.proposal.fill_mm, of_way, cell_mm) for way, of_way in zip(candidates, labels, strict=True)
    ]
    rows: list[list[NDArray[np.float64]]] = [[] for _ in candidates]
    count = draws_for(surface.height_mm.size, len(frame.targets))
    for floor in simulated_floors(surface, count=count, rng=rng, progress=progress):
        fills: dict[Any, NDArray[np.floating]] = {}
        for number, way in enumerate(candidates):
            # Where nothing is worth grinding two ways are one.
            if way.again not in fills:
                fills[way.again] = way.again(floor.height_mm, rng)
            takes = volumes_by_area(fills[way.again], labels[number], cell_mm)
            rows[number].append(floor.could_take(planned[number], takes))
    return [np.array(of_way) for of_way in rows]


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
