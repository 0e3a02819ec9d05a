"""Where the numbers of readings go on a crowded map: each at one of its own few places, never over another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.report.picture.labels import Box

#: A place later in the list is worse by so many covered points.
_LATER_COST = 0.4


def place_numbers(
    sizes: Sequence[tuple[float, float]],
    choices: Sequence[NDArray[np.float64]],
    own: Sequence[NDArray[np.float64]],
    *,
    blocked: Sequence[Box],
    drawn: NDArray[np.float64],
) -> list[Box | None]:
    """A box for each number, None where all its places are taken.

    Parameters
    ----------
    sizes : (width, height) of each number's box; inches throughout
    choices : for each (k, 2) float64, centres it may have, the best first
    own : for each (n, 2) float64, points of its own line, which it may cover
    blocked : boxes that no number may touch
    drawn : (n, 2) float64, points of all that is drawn, their own included, better not covered
    """
    taken = list(blocked)
    placed: list[Box | None] = []
    for (width, height), centres, mine in zip(sizes, choices, own, strict=True):
        half = np.array([width, height]) / 2.0
        low, high = centres - half, centres + half
        cost = _inside(low, high, drawn) - _inside(low, high, mine) + _LATER_COST * np.arange(len(centres))
        blocks = np.array(taken, dtype=np.float64).reshape(-1, 4)
        meets = (low[:, None] < blocks[None, :, 2:]) & (high[:, None] > blocks[None, :, :2])
        touched = np.asarray(meets.all(axis=2)).any(axis=1)
        cost = np.where(touched, np.inf, cost)
        best = int(np.argmin(cost))
        if not np.isfinite(cost[best]):
            placed.append(None)
            continue
        left, bottom = low[best].tolist()
        right, top = high[best].tolist()
        taken.append((left, bottom, right, top))
        placed.append(taken[-1])
    return placed


def _inside(low: NDArray[np.float64], high: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """(k,) how many of the points (n, 2) lie in each box (k, 2), (k, 2)."""
    within = (points[None] >= low[:, None]) & (points[None] <= high[:, None])
    return np.asarray(within.all(axis=2).sum(axis=1), dtype=np.float64)
