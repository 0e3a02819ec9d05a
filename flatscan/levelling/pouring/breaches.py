"""Where a finished floor of poured parts is over its limits, and which parts have a hand in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.judgement.places import place_in_words
from flatscan.levelling.binding.bounds import WHOLE_FLOOR
from flatscan.levelling.pouring.regions import OWN, leaves_own_height
from flatscan.measures.chords import contacts_at, gap_field

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.binding.bounds import Bounds
    from flatscan.levelling.filling.least_fill import EdgeRule
    from flatscan.levelling.pouring.regions import Regions
    from flatscan.levelling.targets import Target
    from flatscan.measures.chords import GapField
    from flatscan.surface.surface import Surface


@dataclass(frozen=True, slots=True)
class Breach:
    """The largest gap of one part of the floor that is over a limit.

    ``parts``: labels of ``Regions`` that the edge rests on, crosses or shows the gap in; ``OWN`` among them where it
    touches floor that keeps its own height. ``cell``: (row, col) of the gap. ``own_cell``: one of that floor's cells
    under the edge.
    """

    parts: frozenset[int]
    cell: tuple[int, int]
    edge_mm: float
    limit_mm: float
    gap_mm: float
    own_cell: tuple[int, int] | None = None

    def words(self, surface: Surface, bounds: Bounds) -> str:
        """How large, under which edge, beside what, where."""
        beside = ""
        if self.own_cell is not None:
            own = (r.name for r in bounds.rules if leaves_own_height(r) and r.mask[self.own_cell])
            names = [name for name in own if name != WHOLE_FLOOR]
            beside = f" beside '{names[0]}', which keeps its height" if names else " beside floor that keeps its height"
        return (
            f"a gap of {said.thickness(self.gap_mm)} under a {said.reach(self.edge_mm)} edge{beside}, where "
            f"{said.length(self.limit_mm)} is the limit, {place_in_words(surface.xy_mm(*self.cell))}"
        )


def gaps_of(
    height_mm: NDArray[np.floating], inside: NDArray[np.bool_], edge_mm: float, rule: EdgeRule, *, coarser: int = 1
) -> GapField:
    """Gap map under one edge. ``coarser``: cells of the grid are as many times the rule's."""
    return gap_field(
        height_mm,
        inside,
        cell_mm=coarser * rule.cell_mm,
        edge_mm=edge_mm,
        directions=rule.directions,
        bridge_mm=rule.bridge_mm,
    )


def breaches(
    finished_mm: NDArray[np.floating],
    regions: Regions,
    bounds: Bounds,
    targets: Sequence[Target],
    rule: EdgeRule,
) -> list[Breach]:
    """The worst place of each part that is over, for each target; empty: the floor meets them all.

    Floor that keeps its slope is left out: no edge passes between it and the rest, and no pour mends it.
    ``finished_mm``: (rows, cols), NaN where not seen and in movement joints.
    """
    found = []
    for edge_mm, limit_mm in targets:
        field = gaps_of(finished_mm, bounds.inside, edge_mm, rule)
        over = np.where(field.gap_mm > limit_mm, field.gap_mm, 0.0)
        over[bounds.keeps_slope] = 0.0
        for row, col in _worst_in_each(over, regions.label):
            rows, cols = _under(finished_mm, bounds, rule, edge_mm, (row, col), int(field.direction[row, col]))
            labels = regions.label[rows, cols]
            own = np.flatnonzero(labels == OWN)
            found.append(
                Breach(
                    frozenset(int(k) for k in labels if k == OWN or k > 0),
                    (row, col),
                    edge_mm,
                    limit_mm,
                    float(over[row, col]),
                    (int(rows[own[0]]), int(cols[own[0]])) if own.size else None,
                )
            )
    return found


def _worst_in_each(over: NDArray[np.floating], label: NDArray[np.int32]) -> Iterator[tuple[int, int]]:
    """Cell of the largest value above 0 in each label that has one."""
    rows, cols = np.nonzero(over)
    values, labels = over[rows, cols], label[rows, cols]
    for part in np.unique(labels):
        here = np.flatnonzero(labels == part)
        worst = here[int(np.argmax(values[here]))]
        yield int(rows[worst]), int(cols[worst])


def _under(
    finished_mm: NDArray[np.floating],
    bounds: Bounds,
    rule: EdgeRule,
    edge_mm: float,
    cell: tuple[int, int],
    direction: int,
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns of the cells between the contacts of the edge that shows a gap."""
    at = contacts_at(
        finished_mm,
        bounds.inside,
        row=cell[0],
        col=cell[1],
        direction=direction,
        cell_mm=rule.cell_mm,
        edge_mm=edge_mm,
        directions=rule.directions,
        bridge_mm=rule.bridge_mm,
    )
    if at is None:
        return np.array([cell[0]]), np.array([cell[1]])
    steps = 1 + max(abs(at.first[0] - at.second[0]), abs(at.first[1] - at.second[1]))
    rows, cols = (np.rint(np.linspace(a, b, steps)).astype(np.intp) for a, b in zip(at.first, at.second, strict=True))
    return rows, cols
