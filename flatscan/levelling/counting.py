"""Every way on every floor that may be the true one, and what it takes in all."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan import said
from flatscan.levelling.joints.lifting import waiting_tiles
from flatscan.levelling.marking.areas import fill_labels, volumes_by_area
from flatscan.levelling.possible import accounts_of, simulated_floors
from flatscan.levelling.quantities import method_of
from flatscan.levelling.ways import NOT_WORTH_GRINDING

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.levelling.frame import Frame
    from flatscan.levelling.plan import Method, MethodName, Proof
    from flatscan.levelling.ways import Way
    from flatscan.progress import Progress

#: Simulated floors behind an interval: as many as this many cells times targets allow, within the two bounds.
_CELLS_FOR_ALL_DRAWS = 20_000_000
FEWEST_DRAWS, MOST_DRAWS = 10, 20
_LEAST_TOLD_L = 0.005


@dataclass(frozen=True, slots=True, eq=False)
class Worked:
    """A way with its areas, its litres on every drawn floor, (draws, areas + 1), and what it takes in all."""

    way: Way
    labels: NDArray[np.int32]
    draws_l: NDArray[np.float64]
    method: Method


def draws_for(cells: int, targets: int) -> int:
    """How many floors are drawn: fewer on large grids, where each takes seconds."""
    return int(np.clip(_CELLS_FOR_ALL_DRAWS // max(1, cells * max(1, targets)), FEWEST_DRAWS, MOST_DRAWS))


def counted(
    judged: list[tuple[Way, Proof | None]], frame: Frame, *, rng: np.random.Generator, progress: Progress
) -> list[Worked]:
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
    return [Worked(*parts) for parts in zip(candidates, labels, draws, told, strict=True)]


def _notes(way: Way, labels: NDArray[np.int32], frame: Frame) -> tuple[str, ...]:
    """What the numbered areas do not show."""
    told = []
    specks_l = float(volumes_by_area(way.proposal.fill_mm, labels, frame.basis.surface.cell_mm)[0])
    if specks_l >= _LEAST_TOLD_L:
        told.append(
            f"{said.volume(specks_l, 2)} of it lie outside the numbered areas, in places too small to mark: fill "
            "there what the straightedge still shows"
        )
    told += [
        f"The limit of {said.length(limit_mm)} under {said.reach(edge_mm)} is not in this plan: heights every "
        f"{said.cell(frame.basis.surface.cell_mm)} do not show so short an edge. Lay it by hand when the work is done"
        for edge_mm, limit_mm in frame.too_short
    ]
    waiting = waiting_tiles(frame.basis)
    if waiting and way.proposal.name != "lift_tiles":
        told.append(waiting)
    if frame.bounds.blocked.any() and way.proposal.name != "lift_tiles":
        told.append("Movement joints are carried through: no compound in them, and the areas end there")
    return tuple(told)


def without_vain_grinding(worked: list[Worked]) -> list[Worked]:
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
