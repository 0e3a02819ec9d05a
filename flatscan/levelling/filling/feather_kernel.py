"""The compiled feather: raster sweeps there and back until nothing changes. Importing this module needs numba."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

import flatscan.threads  # noqa: F401 - for its effect

Array = NDArray[Any]


@njit(cache=True)
def _sweep(floor: Array, core: Array, edge: Array, drop: float, back: bool) -> bool:
    """One raster sweep, each cell from the four neighbours before it; whether anything rose. NaN never does."""
    rows, cols = core.shape
    aslant = drop * np.sqrt(2.0)
    step = -1 if back else 1
    changed = False
    for i in range(rows):
        r = rows - 1 - i if back else i
        for j in range(cols):
            c = cols - 1 - j if back else j
            best = edge[r, c]
            if 0 <= c - step < cols:
                lower = _reaches(floor, core, edge, drop, (r, c - step), (r, c))
                best = lower if lower > best else best  # not max: it would keep NaN, or make one
            if i > 0:
                for at in range(max(c - 1, 0), min(c + 2, cols)):
                    lower = _reaches(floor, core, edge, drop if at == c else aslant, (r - step, at), (r, c))
                    best = lower if lower > best else best
            if best > edge[r, c]:
                edge[r, c] = best
                changed = True
    return changed


@njit(cache=True)
def _reaches(
    floor: Array, core: Array, edge: Array, fall: float, start: tuple[int, int], end: tuple[int, int]
) -> float:
    """Thickness that an edge has left in the next cell, which may stand too high for any."""
    left = edge[start] - fall
    if not left > 0.0:  # NaN, too
        return -np.inf
    room = floor[start] + max(core[start], edge[start]) - floor[end]
    return float(left if left < room else room)


@njit(cache=True)
def run_out(floor: Array, core: Array, edge: Array, drop: float) -> None:
    """Raise the (rows, cols) float64 ``edge`` in place; NaN is left out. Two sweeps do unless walls send it back."""
    _sweep(floor, core, edge, drop, False)
    while _sweep(floor, core, edge, drop, True) and _sweep(floor, core, edge, drop, False):
        pass
