"""Edges of a fill that run out to nothing on the floor around it."""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from types import ModuleType

    from numpy.typing import NDArray


def run_out(fill_mm: NDArray[np.float64], open_to: NDArray[np.bool_], drop_mm: float) -> NDArray[np.float64]:
    """Return the least thickness that is nowhere below a fill and falls by no more than so much a cell.

    ``f_k >= f_l - drop · distance`` for each of the eight neighbours, distances 1 and sqrt(2) cells: a chamfer
    (Borgefors 1986), so an edge is up to 8 % narrower than the slope says where it runs out between the eight ways.

    Parameters
    ----------
    fill_mm : (rows, cols) float64; NaN is not seen and neither gets an edge nor lets one pass
    open_to : (rows, cols) bool, cells an edge may reach; the others keep their fill
    drop_mm : greatest fall from a cell to the next along a row
    """
    edged = np.where(open_to, fill_mm, np.nan)
    kernel = _kernel()
    if kernel is None:
        _run_out_plain(edged, drop_mm)
    else:
        kernel.run_out(edged, drop_mm)
    return np.where(np.isnan(edged), fill_mm, edged)


def _run_out_plain(fill: NDArray[np.float64], drop: float) -> None:
    """Do the kernel's work in numpy alone, a cell further a round: for machines without numba, and as its twin."""
    rows, cols = fill.shape
    while True:
        around = np.full((rows + 2, cols + 2), -np.inf)
        around[1:-1, 1:-1] = np.where(np.isnan(fill), -np.inf, fill)
        highest = np.full(fill.shape, -np.inf)
        for dr, dc in ((0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (1, -1), (-1, 1), (-1, -1)):
            beside = around[1 + dr : 1 + dr + rows, 1 + dc : 1 + dc + cols]
            np.maximum(highest, beside - drop * math.hypot(dr, dc), out=highest)
        higher = highest > fill
        if not higher.any():
            return
        fill[higher] = highest[higher]


@cache
def _kernel() -> ModuleType | None:
    """The compiled sweep; None where numba is missing or has nowhere to keep its cache."""
    try:
        from flatscan.levelling import feather_kernel
    except (ImportError, RuntimeError):
        return None
    return feather_kernel
