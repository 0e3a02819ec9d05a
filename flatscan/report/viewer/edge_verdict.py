"""What may be said of an edge that a reader lays on the page, and what the page needs to say it.

The page shows the best estimate's own gap g of the line with its u. Be e the estimate's error. The gap is the largest
of linear figures of the heights, so the true one is (1) at least g plus the error of the very chord that gave g, and
(2) at most g plus the gap of e alone along that line, for ``gap(z + e) <= gap(z) + gap(e)``. Hence, of a limit T:

* *over* where the decision rule says so (JCGM 106: ``g - z u >= T``) and still does with g less ``bias_mm``, the gap
  that e alone shows along half of all lines: the deepest of many places was taken.
* *within* where the rule says so and ``g + lift_mm <= T``, the gap that e alone stays below along 95 of 100 lines, and
  the edge does not cross floor that was not seen.
* else *not decided*. No limit names a free edge, so nothing is said of one.

``bias_mm`` and ``lift_mm`` come from drawn errors of the estimate (``draw_truth``, slow bends among them; of readings
by hand their drawn floors), over all rows and columns of cells that see at least half as much floor as the best.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.judgement.decision import decide
from flatscan.measures.chords import gap_field
from flatscan.measures.laid_edge import BRIDGE_MM
from flatscan.surface.noise.draws import draw_truth

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

    from flatscan.judgement.verdict import VerdictWord
    from flatscan.quantity import Quantity
    from flatscan.surface.noise.denoise import Posterior
    from flatscan.surface.surface import Surface

#: Drawn errors of a scan's estimate: as many as so many cells make, in these bounds. Lines of one draw share its bend.
_DRAWN_CELLS, _LEAST_DRAWS, _MOST_DRAWS = 8_000_000, 4, 24
#: A coarse grid made from readings has few lines, but many floors.
_FLOORS = 40
#: Lines that see less than this share of what the best one sees say too little.
_LEAST_SEEN = 0.5
#: Lines of one draw in one direction; neighbours say nearly the same.
_MOST_LINES = 400
_LIFT_QUANTILE = 0.95


@dataclass(frozen=True, slots=True)
class EdgeRule:
    """What errors of the estimate alone show along a line, under an edge of this length; see the module."""

    edge_mm: float
    bias_mm: float
    lift_mm: float


def edge_verdict(
    gap: Quantity, limit_mm: float, rule: EdgeRule, *, confidence: float, bridges_hole: bool = False
) -> VerdictWord:
    """The word for a laid edge; never more certain than :func:`flatscan.judgement.decision.decide`."""
    _, word = decide(gap.value, gap.u, limit_mm, confidence)
    if word == "over":
        _, word = decide(max(0.0, gap.value - rule.bias_mm), gap.u, limit_mm, confidence)
        return "over" if word == "over" else "not_decided"
    if word == "within" and (bridges_hole or gap.value + rule.lift_mm > limit_mm):
        return "not_decided"
    return word


def edge_rules(
    surface: Surface, edges_mm: Iterable[float], rng: np.random.Generator, known: Posterior | None = None
) -> tuple[EdgeRule, ...]:
    """For each edge length what the estimate's errors show along a line; ``known`` as in ``draw_truth``."""
    edges = tuple(edges_mm)
    shown: dict[float, list[NDArray[np.float64]]] = {edge: [] for edge in edges}
    for error in _errors(surface, rng, known) if edges else ():
        for edge, of_edge in shown.items():
            of_edge += [_line_gaps(e, inside, surface.cell_mm, edge) for e, inside in _both_ways(error, surface)]
    return tuple(EdgeRule(edge, *_bias_and_lift(np.concatenate(of_edge))) for edge, of_edge in shown.items())


def _errors(surface: Surface, rng: np.random.Generator, known: Posterior | None) -> Iterator[NDArray[np.float32]]:
    if surface.realisations_mm is not None:
        for floor in surface.realisations_mm[:_FLOORS]:
            yield floor - surface.estimate_mm
        return
    draws = _DRAWN_CELLS // max(1, surface.height_mm.size)
    for _ in range(min(max(draws, _LEAST_DRAWS), _MOST_DRAWS)):
        yield draw_truth(surface, rng, known) - surface.estimate_mm


def _both_ways(error: NDArray[np.float32], surface: Surface) -> Iterator[tuple[NDArray[np.float32], NDArray[np.bool_]]]:
    """The grid by its rows, then by its columns; only lines that see enough."""
    for values, inside in ((error, surface.inside), (error.T, surface.inside.T)):
        seen = np.isfinite(values).sum(axis=1)
        kept = np.flatnonzero(seen >= max(1.0, _LEAST_SEEN * float(seen.max(initial=0))))
        kept = kept[:: math.ceil(max(1, kept.size) / _MOST_LINES)]
        yield np.ascontiguousarray(values[kept]), np.ascontiguousarray(inside[kept])


def _line_gaps(
    error: NDArray[np.float32], inside: NDArray[np.bool_], cell_mm: float, edge_mm: float
) -> NDArray[np.float64]:
    """(lines,) largest gap of each row."""
    if error.size == 0:
        return np.empty(0)
    field = gap_field(error, inside, cell_mm=cell_mm, edge_mm=edge_mm, directions=1, bridge_mm=BRIDGE_MM)
    return np.asarray(np.nan_to_num(field.gap_mm).max(axis=1), dtype=np.float64)


def _bias_and_lift(gaps: NDArray[np.float64]) -> tuple[float, float]:
    if gaps.size == 0:
        return 0.0, 0.0
    bias, lift = np.quantile(gaps, (0.5, _LIFT_QUANTILE))
    return float(bias), float(lift)
