"""The compiled feather: raster sweeps there and back until nothing changes. Importing this module needs numba."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

import flatscan.threads  # noqa: F401 - for its effect

Array = NDArray[Any]


@njit(cache=True)
def _sweep(fill: Array, drop: float, back: bool) -> bool:
    """One raster sweep, each cell from the four neighbours before it; whether anything rose. NaN never does."""
    rows, cols = fill.shape
    aslant = drop * np.sqrt(2.0)
    step = -1 if back else 1
    changed = False
    for i in range(rows):
        r = rows - 1 - i if back else i
        for j in range(cols):
            c = cols - 1 - j if back else j
            best = fill[r, c]
            if 0 <= c - step < cols and fill[r, c - step] - drop > best:
                best = fill[r, c - step] - drop
            if i > 0:
                for at in range(max(c - 1, 0), min(c + 2, cols)):
                    lower = fill[r - step, at] - (drop if at == c else aslant)
                    best = lower if lower > best else best  # not max: it would keep NaN, or make one
            if best > fill[r, c]:
                fill[r, c] = best
                changed = True
    return changed


@njit(cache=True)
def run_out(fill: Array, drop: float) -> None:
    """Raise (rows, cols) float64 in place; NaN is left out. Two sweeps do unless walls send an edge back."""
    _sweep(fill, drop, False)
    while _sweep(fill, drop, True) and _sweep(fill, drop, False):
        pass
