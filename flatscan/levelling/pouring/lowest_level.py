"""The lowest level of a pour with which its part of the floor meets the limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.levelling.pouring.breaches import gaps_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.filling.least_fill import EdgeRule
    from flatscan.levelling.targets import Target

#: Steps, all alike, from the lowest level that is tried to the highest.
LEVELS = 40
#: The tries are screened on cells of about this size.
SCREEN_CELL_MM = 20.0
#: The step between a level that fails and the next that passes is halved as often as this, at full resolution.
HALVINGS = 5
#: A pour aims this much below a limit, so that rounding to float32 does not take it over.
_AIM_BELOW_MM = 0.001


@dataclass(frozen=True, slots=True, eq=False)
class Basin:
    """One part of the floor, cut out of the grid, with what lies beside it.

    Attributes
    ----------
    height_mm : (rows, cols) float64, heights about the reference plane, of neighbouring floor that keeps its own
        height the finished ones; NaN where not seen and in movement joints
    level_mm : (rows, cols) float64, the same about a level plane
    member : (rows, cols) bool, cells that the pour covers where it is higher
    judged : (rows, cols) bool, cells held against the limits
    inside : (rows, cols) bool, where the edge can pass, other poured parts left out
    cell_steps : size of the cells, in cells of the surface
    """

    height_mm: NDArray[np.float64]
    level_mm: NDArray[np.float64]
    member: NDArray[np.bool_]
    judged: NDArray[np.bool_]
    inside: NDArray[np.bool_]
    cell_steps: int = 1

    @property
    def highest_beside_mm(self) -> float:
        """Highest place, about a level plane, of the floor that is judged with the pour; -inf: there is none."""
        beside = self.level_mm[self.judged & ~self.member]
        return float(np.fmax.reduce(beside, initial=-np.inf))

    def meets(self, level_mm: float, targets: Sequence[Target], rule: EdgeRule) -> bool:
        """With the pour at this level no gap of the part is over a limit."""
        with np.errstate(invalid="ignore"):
            rise = np.where(self.member, np.maximum(level_mm - self.level_mm, 0.0), 0.0)
        raised = self.height_mm + rise
        for edge_mm, limit_mm in targets:
            gap = gaps_of(raised, self.inside, edge_mm, rule, coarser=self.cell_steps).gap_mm
            if (gap[self.judged] > limit_mm - _AIM_BELOW_MM).any():
                return False
        return True

    def coarser(self, steps: int) -> Basin:
        """Block means of the heights; a block belongs where at least half of its cells do."""
        seen = np.isfinite(self.height_mm) & self.inside
        count = _block_sums(seen.astype(np.float64), steps)
        with np.errstate(invalid="ignore", divide="ignore"):
            height, level = (
                _block_sums(np.where(seen, h, 0.0), steps) / count for h in (self.height_mm, self.level_mm)
            )
        half = 0.5 * steps**2
        member, judged, inside = (
            _block_sums(m.astype(np.float64), steps) >= half for m in (self.member, self.judged, self.inside)
        )
        return Basin(height, level, member, judged, inside, steps)


def lowest_level(
    basin: Basin, low_mm: float, high_mm: float, targets: Sequence[Target], rule: EdgeRule
) -> float | None:
    """The lowest of some levels from ``low_mm`` to ``high_mm`` that meets the targets, then refined.

    A scan, for a higher level may fail where a lower one passes: the waterline is a bend. Levels are screened on
    ``SCREEN_CELL_MM`` cells from below; the first to pass is checked at full resolution, and where it fails there the
    scan goes on at full resolution. Then the step below the first that passes is halved, each time at full resolution.
    What is returned has passed at full resolution; a still lower level between two that were tried may pass too.
    None: no level tried passes.
    """
    steps = max(1, round(SCREEN_CELL_MM / rule.cell_mm))
    levels = [float(level) for level in np.linspace(low_mm, high_mm, LEVELS + 1)]
    first = _first_to_pass(basin.coarser(steps), levels, targets, rule) if steps > 1 else 0
    number = _first_to_pass(basin, levels, targets, rule, start=LEVELS if first is None else first)
    if number is None:
        return None
    return levels[0] if number == 0 else _halved(basin, levels[number - 1], levels[number], targets, rule)


def _first_to_pass(
    basin: Basin, levels: Sequence[float], targets: Sequence[Target], rule: EdgeRule, *, start: int = 0
) -> int | None:
    return next((n for n in range(start, len(levels)) if basin.meets(levels[n], targets, rule)), None)


def _halved(basin: Basin, fails: float, passes: float, targets: Sequence[Target], rule: EdgeRule) -> float:
    for _ in range(HALVINGS):
        middle = 0.5 * (fails + passes)
        if basin.meets(middle, targets, rule):
            passes = middle
        else:
            fails = middle
    return passes


def _block_sums(values: NDArray[np.float64], steps: int) -> NDArray[np.float64]:
    rows, cols = (-(-n // steps) * steps for n in values.shape)
    padded = np.zeros((rows, cols))
    padded[: values.shape[0], : values.shape[1]] = values
    sums: NDArray[np.float64] = padded.reshape(rows // steps, steps, cols // steps, steps).sum(axis=(1, 3))
    return sums
