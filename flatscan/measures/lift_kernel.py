"""The compiled lift: raises a floor to its highest chords less a limit, near what rose since it was last there.

Importing this module needs numba; :mod:`flatscan.measures.raiser` falls back on the plain twin.

A reading can rise only if a chord over it did, so one of that chord's contacts, no further away than the window.
All else on a line is left out as if it were wall: a chord whose contact rose lies wholly within a window of it, so no
such chord is lost, and what is left out has been visited since it last changed.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from flatscan.measures.chord_kernel import LINES_AT_ONCE, Lines, extent, gather, uppers
from flatscan.measures.chords_plain import LEAST_RISE_MM, TILE

Array = NDArray[Any]
#: Heights needed so far, the present surface, when each tile last rose: see ``raiser.Raiser``.
Heights = tuple[Array, Array, Array]


@njit(cache=True)
def _near_risen(rose: Array, since: int, lines: Lines, place: tuple[int, int, int], n_minor: int, near: Array) -> bool:
    """Mark the readings of a block within a window of a tile that rose at ``since`` or later; whether there are any."""
    first, last, b0 = place
    window = lines[2]
    at = -window - 1
    marked = 0
    for k in range(last - first):
        m0 = b0 + lines[0][first + k]
        row = rose[(first + k) // TILE]
        lowest, highest = max(m0, 0), min(m0 + LINES_AT_ONCE, n_minor) - 1
        if row[lowest // TILE] >= since or row[highest // TILE] >= since:
            for i in range(max(marked, k - window), k):
                near[i] = True
            at = k
            marked = k + 1
        near[k] = k - at <= window
    return marked > 0


@njit(cache=True)
def _lift_block(heights: Heights, since: int, now: int, lines: Lines, n: int, limit: float) -> float:
    needed, surface, rose = heights
    n_minor = surface.shape[1]
    place = extent(lines, n, n_minor)
    first, last, b0 = place
    near = np.empty(last - first, np.bool_)
    if not _near_risen(rose, since, lines, place, n_minor, near):
        return 0.0
    values = np.empty((LINES_AT_ONCE, last - first), np.float64)
    upper = np.empty(values.shape, np.float64)
    holed = np.empty(values.shape, np.bool_)
    gather(surface, lines[0], place, values)
    for k in range(last - first):
        if not near[k]:
            values[:, k] = np.inf
    uppers(values, last - first, lines, upper, holed)
    most = 0.0
    for k in range(first, last):
        m0 = b0 + lines[0][k]
        for j in range(max(0, -m0), min(LINES_AT_ONCE, n_minor - m0)):
            v = values[j, k - first]
            if not np.isfinite(v):
                continue
            height = upper[j, k - first] - limit
            rise = height - needed[k, m0 + j]
            if rise > LEAST_RISE_MM:
                needed[k, m0 + j] = height
                most = max(most, rise)
                if height > v:
                    surface[k, m0 + j] = height
                    rose[k // TILE, (m0 + j) // TILE] = now
    return most


@njit(cache=True)
def lift_direction(heights: Heights, visited: Array, now: int, lines: Lines, limit: float) -> float:
    """Lift along one direction, in place; the largest rise. Arrays (major, minor).

    ``visited``: (blocks of lines,) when each was last visited; it becomes ``now``.
    """
    most = 0.0
    for n in range(len(visited)):
        most = max(most, _lift_block(heights, visited[n], now, lines, n, limit))
        visited[n] = now
    return most


@njit(cache=True, parallel=True)
def lift_direction_threads(heights: Heights, visited: Array, now: int, lines: Lines, limit: float) -> float:
    """As :func:`lift_direction`, on all threads: a cell is on one line only; a tile gets the same stamp from all."""
    rises = np.zeros(len(visited))
    for n in prange(len(visited)):
        rises[n] = _lift_block(heights, visited[n], now, lines, n, limit)
        visited[n] = now
    return float(rises.max())
