"""Edges of a fill that run out to nothing on the floor around it."""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from types import ModuleType

    from numpy.typing import NDArray


def run_out(
    floor_mm: NDArray[np.float64],
    core_mm: NDArray[np.float64],
    step_mm: NDArray[np.float64] | float,
    open_to: NDArray[np.bool_],
    drop_mm: float,
) -> NDArray[np.float64]:
    """Return the least thickness that is nowhere below a fill and whose upright edges run out.

    Each cell of the core has an edge of at most ``step_mm`` to run out; what lies thicker is no edge, but a hole whose
    sides the floor itself makes. An edge h falls by no more than ``drop_mm`` a cell, for each of the eight neighbours
    at distances 1 and sqrt(2) cells: a chamfer (Borgefors 1986), so it is up to 8 % narrower than the slope says where
    it runs out between the eight ways. Where the floor beside stands higher than the fill there is nothing to run out
    to: ``h_k >= min(h_l - drop · distance, z_l + f_l - z_k)``, f the greater of core and edge.

    Parameters
    ----------
    floor_mm, core_mm : (rows, cols) float64; NaN is not seen and neither gets an edge nor lets one pass
    step_mm : (rows, cols) or one for all: the thickest edge
    open_to : (rows, cols) bool, cells an edge may reach; the others keep their fill
    drop_mm : greatest fall from a cell to the next along a row
    """
    core = np.where(open_to & ~np.isnan(floor_mm), core_mm, np.nan)
    edge = np.minimum(core, step_mm)
    kernel = _kernel()
    if kernel is None:
        _run_out_plain(floor_mm, core, edge, drop_mm)
    else:
        kernel.run_out(floor_mm, core, edge, drop_mm)
    return np.where(np.isnan(edge), core_mm, np.maximum(core, edge))


def _run_out_plain(
    floor: NDArray[np.float64], core: NDArray[np.float64], edge: NDArray[np.float64], drop: float
) -> None:
    """Do the kernel's work in numpy alone, a cell further a round: for machines without numba, and as its twin."""
    rows, cols = core.shape
    while True:
        edges, tops = (np.full((rows + 2, cols + 2), -np.inf) for _ in range(2))
        edges[1:-1, 1:-1] = np.where(np.isnan(edge), -np.inf, edge)
        tops[1:-1, 1:-1] = np.where(np.isnan(edge), -np.inf, floor + np.maximum(core, edge))
        highest = np.full(core.shape, -np.inf)
        for dr, dc in ((0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (1, -1), (-1, 1), (-1, -1)):
            beside = (slice(1 + dr, 1 + dr + rows), slice(1 + dc, 1 + dc + cols))
            lower = np.minimum(edges[beside] - drop * math.hypot(dr, dc), tops[beside] - floor)
            np.fmax(highest, lower, out=highest)
        higher = highest > edge
        if not higher.any():
            return
        edge[higher] = highest[higher]


@cache
def _kernel() -> ModuleType | None:
    """The compiled sweep; None where numba is missing or has nowhere to keep its cache."""
    try:
        from flatscan.levelling.filling import feather_kernel
    except (ImportError, RuntimeError):
        return None
    return feather_kernel
