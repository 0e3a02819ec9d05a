"""The compiled lift: raises a floor to its highest chords less a limit, near what rose since it was last there.

Importing this module needs numba; :mod:`flatscan.measures.raiser` falls back on the plain twin.

A reading can rise only if a chord over it did, so one of that chord's contacts, no further away than the window.
All else on a line is left out as if it were wall: a chord whose contact rose lies wholly within a window of it, so no
such chord is lost, and what is left out has been visited since it last changed.

Nor can it rise where the line is nearly straight: about any straight line, a chord is no higher than the highest
reading of a stretch that holds it, and no reading lower than the lowest.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from flatscan.measures.chord_kernel import LINES_AT_ONCE, extent, gather, line_uppers, room_for
from flatscan.measures.chords_plain import LEAST_RISE_MM, TILE

Array = NDArray[Any]
#: Heights needed so far, the present surface, when each tile last rose: see ``raiser.Raiser``.
Heights = tuple[Array, Array, Array]
#: Of each edge: window, longest hole (readings), limit.
Edges = tuple[Array, Array, Array]


@njit(cache=True)
def _near_risen(rose: Array, since: int, offsets: Array, b0: int, n_minor: int, window: int) -> tuple[Array, Array]:
    """Find the readings of a block within a window of a tile that rose at ``since`` or later.

    Returns (n,) reading numbers, with -1 where the next does not follow, and how far from such a tile each is.
    """
    first, last = extent(offsets, b0, n_minor)
    away = np.empty(last - first, np.int64)
    nearest = first - window - 1
    for k in range(first, last):
        m0 = b0 + offsets[k]
        row = rose[k // TILE]
        if row[max(m0, 0) // TILE] >= since or row[(min(m0 + LINES_AT_ONCE, n_minor) - 1) // TILE] >= since:
            nearest = k
        away[k - first] = k - nearest
    for i in range(last - first - 2, -1, -1):
        away[i] = min(away[i], away[i + 1] + 1)
    readings = np.empty(last - first, np.int64)
    n = 0
    for k in range(first, last):
        if away[k - first] <= window:
            if n > 0 and readings[n - 1] != k - 1:
                readings[n] = -1
                n += 1
            readings[n] = k
            away[n] = away[k - first]
            n += 1
    return readings[:n], away[:n]


@njit(cache=True)
def _is_straight(values: Array, lowest: Array, limit: float) -> bool:
    """Whether no chord within these readings is more than the limit above ``lowest``, itself nowhere above them."""
    a, b = 0, len(values) - 1
    while a < b and not np.isfinite(values[a]):
        a += 1
    while b > a and not np.isfinite(values[b]):
        b -= 1
    slope = (values[b] - values[a]) / max(b - a, 1)
    high, low = values[a], np.inf
    for k in range(a + 1, b):
        if np.isfinite(values[k]):
            line = slope * (k - a)
            high = max(high, values[k] - line)
            low = min(low, lowest[k] - line)
            if high - low > limit:
                return False
    return True


@njit(cache=True)
def _cut(values: Array, lowest: Array, away: Array, window: int, limit: float, cut: Array) -> bool:
    """Copy one line with wall wherever nothing can rise; whether anything is left.

    A chord spans up to a window, so it lies whole within one of the stretches.
    """
    cut[:] = np.inf
    left = False
    done = 0
    step = max(window // 2, 1)
    for a in range(0, len(values), step):
        b = min(a + step + window, len(values))
        if not _is_straight(values[a:b], lowest[a:b], limit):
            for k in range(max(a, done), b):
                if away[k] <= window:
                    cut[k] = values[k]
            left = True
            done = b
    return left


@njit(cache=True)
def _raised(values: Array, lowest: Array, away: Array, edges: Edges) -> Array:
    """Heights that the edges ask for along a block of lines, at least ``lowest``; all (lines, readings)."""
    raised = lowest.copy()
    n = len(away)
    cut, upper, holed = np.empty(n, np.float64), np.empty(n, np.float64), np.empty(n, np.bool_)
    room = room_for(n)
    for window, hole, limit in zip(*edges):  # noqa: B905 - numba has no strict
        for j in range(LINES_AT_ONCE):
            if not _cut(values[j], lowest[j], away, window, limit, cut):
                continue
            line_uppers(cut, window, hole, room, upper, holed)
            for k in range(n):
                if np.isfinite(cut[k]) and upper[k] - limit > raised[j, k]:
                    raised[j, k] = upper[k] - limit
    return raised


@njit(cache=True)
def _lift_block(heights: Heights, since: int, now: int, offsets: Array, n: int, edges: Edges) -> float:
    needed, surface, rose = heights
    n_minor = surface.shape[1]
    b0 = n * LINES_AT_ONCE - offsets.max()
    readings, away = _near_risen(rose, since, offsets, b0, n_minor, edges[0].max())
    if len(readings) == 0:
        return 0.0
    values = np.empty((LINES_AT_ONCE, len(readings)), np.float64)
    lowest = np.empty(values.shape, np.float64)
    gather(surface, offsets, b0, readings, values)
    gather(needed, offsets, b0, readings, lowest)
    raised = _raised(values, lowest, away, edges)
    most = 0.0
    for i in range(len(readings)):
        k = readings[i]
        for j in range(LINES_AT_ONCE):
            rise = raised[j, i] - lowest[j, i]
            if rise > LEAST_RISE_MM:
                m = b0 + j + offsets[k]
                needed[k, m] = raised[j, i]
                most = max(most, rise)
                if raised[j, i] > values[j, i]:
                    surface[k, m] = raised[j, i]
                    rose[k // TILE, m // TILE] = now
    return most


@njit(cache=True)
def lift_direction(heights: Heights, visited: Array, now: int, offsets: Array, edges: Edges) -> float:
    """Lift along one direction, in place; the largest rise. Arrays (major, minor).

    ``visited``: (blocks of lines,) when each was last visited; it becomes ``now``.
    """
    most = 0.0
    for n in range(len(visited)):
        most = max(most, _lift_block(heights, visited[n], now, offsets, n, edges))
        visited[n] = now
    return most


@njit(cache=True, parallel=True)
def lift_direction_threads(heights: Heights, visited: Array, now: int, offsets: Array, edges: Edges) -> float:
    """As :func:`lift_direction`, on all threads: a cell is on one line only; a tile gets the same stamp from all."""
    rises = np.zeros(len(visited))
    for n in prange(len(visited)):
        rises[n] = _lift_block(heights, visited[n], now, offsets, n, edges)
        visited[n] = now
    return float(rises.max())
