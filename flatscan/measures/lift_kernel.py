"""The compiled lift: raises a floor to its highest chords less a limit, near what rose since it was last there.

Importing this module needs numba; :mod:`flatscan.measures.raiser` falls back on the plain twin.

A reading can rise only if a chord over it did, so one of that chord's contacts, no further away than the window.
Where many readings of a block of lines rose, all others within a window of them are searched like a gap map, and the
rest is left out as if it were wall: a chord whose contact rose lies wholly within. Where few did, each is tried as a
contact: of all chords from it to one side only the steepest matters, for what a less steep one spans further on, a
chord from that one's far contact spans higher.

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
#: The surface as it stands, and when each cell and each tile of it last rose: see ``raiser.Raiser``.
Heights = tuple[Array, Array, Array]
#: Of each edge: window, longest hole (readings), limit.
Edges = tuple[Array, Array, Array]
#: Lines gathered together cost about so many times less a reading than steps from single contacts.
_GATHERED_PAYS = 64


@njit(cache=True)
def _raise(heights: Heights, k: int, m: int, height: float, now: int) -> float:
    """Raise one cell to a height; the rise."""
    surface, rose, tiles = heights
    rise = height - surface[k, m]
    if not rise > LEAST_RISE_MM:
        return 0.0
    surface[k, m] = height
    rose[k, m] = now
    tiles[k // TILE, m // TILE] = now
    return float(rise)


@njit(cache=True)
def _risen(heights: Heights, since: int, offsets: Array, b0: int) -> Array:
    """(n, 2) reading and line b of what rose in a block of lines at ``since`` or later."""
    _, rose, tiles = heights
    n_minor = rose.shape[1]
    first, last = extent(offsets, b0, n_minor)
    found = np.empty(((last - first) * LINES_AT_ONCE, 2), np.int64)
    n = 0
    for k in range(first, last):
        lowest, highest = max(b0 + offsets[k], 0), min(b0 + offsets[k] + LINES_AT_ONCE, n_minor)
        row = tiles[k // TILE]
        if row[lowest // TILE] < since and row[(highest - 1) // TILE] < since:
            continue
        for m in range(lowest, highest):
            if rose[k, m] >= since:
                found[n, 0] = k
                found[n, 1] = m - offsets[k]
                n += 1
    return found[:n]


@njit(cache=True)
def _near(risen: Array, n_major: int, window: int) -> tuple[Array, Array]:
    """Find the readings of a block within a window of those that rose.

    Returns (n,) reading numbers, with -1 where the next does not follow, and how far from one that rose each is.
    """
    away = np.full(n_major, window + 1)
    for i in range(len(risen)):
        away[risen[i, 0]] = 0
    for k in range(1, n_major):
        away[k] = min(away[k], away[k - 1] + 1)
    for k in range(n_major - 2, -1, -1):
        away[k] = min(away[k], away[k + 1] + 1)
    readings = np.empty(n_major, np.int64)
    n = 0
    for k in range(n_major):
        if away[k] <= window:
            if n > 0 and readings[n - 1] != k - 1:
                readings[n] = -1
                n += 1
            readings[n] = k
            away[n] = away[k]
            n += 1
    return readings[:n], away[:n]


@njit(cache=True)
def _steepest(surface: Array, offsets: Array, b: int, k: int, step: int, window: int, hole: int) -> tuple[int, float]:
    """Of all chords from reading k of line b to one side (step -1 or 1) the steepest: its steps and rise a step."""
    n_major, n_minor = surface.shape
    start = surface[k, b + offsets[k]]
    reach, slope, unseen = 0, -np.inf, 0
    for d in range(1, window + 1):
        i = k + step * d
        if i < 0 or i >= n_major or b + offsets[i] < 0 or b + offsets[i] >= n_minor:
            break
        v = surface[i, b + offsets[i]]
        if np.isnan(v):
            unseen += 1
            if unseen > hole:
                break
            continue
        if np.isinf(v):
            break
        unseen = 0
        if v - start >= slope * d:
            reach, slope = d, (v - start) / d
    return reach, slope


@njit(cache=True)
def _lift_from(heights: Heights, offsets: Array, risen: Array, edges: Edges, now: int) -> float:
    """Raise what the steepest chords from single readings ask for; the largest rise."""
    surface = heights[0]
    most = 0.0
    for at in range(len(risen)):
        k, b = risen[at]
        for window, hole, limit in zip(*edges):  # noqa: B905 - numba has no strict
            start = surface[k, b + offsets[k]] - limit
            for step in (-1, 1):
                reach, slope = _steepest(surface, offsets, b, k, step, window, hole)
                for d in range(1, reach):
                    i = k + step * d
                    most = max(most, _raise(heights, i, b + offsets[i], start + slope * d, now))
    return most


@njit(cache=True)
def _is_straight(values: Array, limit: float) -> bool:
    """Whether no chord within these readings is more than the limit above one of them."""
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
            low = min(low, values[k] - line)
            if high - low > limit:
                return False
    return True


@njit(cache=True)
def _cut(values: Array, away: Array, window: int, limit: float, cut: Array) -> bool:
    """Copy one line with wall wherever nothing can rise; whether anything is left.

    A chord spans up to a window, so it lies whole within one of the stretches.
    """
    cut[:] = np.inf
    left = False
    done = 0
    step = max(window // 2, 1)
    for a in range(0, len(values), step):
        b = min(a + step + window, len(values))
        if not _is_straight(values[a:b], limit):
            for k in range(max(a, done), b):
                if away[k] <= window:
                    cut[k] = values[k]
            left = True
            done = b
    return left


@njit(cache=True)
def _raised(values: Array, away: Array, edges: Edges) -> Array:
    """Heights that the edges ask for along a block of lines, at least ``values``; both (lines, readings)."""
    raised = values.copy()
    n = len(away)
    cut, upper, holed = np.empty(n, np.float64), np.empty(n, np.float64), np.empty(n, np.bool_)
    room = room_for(n)
    for window, hole, limit in zip(*edges):  # noqa: B905 - numba has no strict
        for j in range(LINES_AT_ONCE):
            if not _cut(values[j], away, window, limit, cut):
                continue
            line_uppers(cut, window, hole, room, upper, holed)
            for k in range(n):
                if np.isfinite(cut[k]) and upper[k] - limit > raised[j, k]:
                    raised[j, k] = upper[k] - limit
    return raised


@njit(cache=True)
def _lift_near(heights: Heights, offsets: Array, b0: int, near: tuple[Array, Array], edges: Edges, now: int) -> float:
    """Raise what any chord within a stretch of a block of lines asks for; the largest rise."""
    readings, away = near
    values = np.empty((LINES_AT_ONCE, len(readings)), np.float64)
    gather(heights[0], offsets, b0, readings, values)
    raised = _raised(values, away, edges)
    most = 0.0
    for i in range(len(readings)):
        k = readings[i]
        for j in range(LINES_AT_ONCE):
            if raised[j, i] > values[j, i]:
                most = max(most, _raise(heights, k, b0 + j + offsets[k], raised[j, i], now))
    return most


@njit(cache=True)
def _lift_block(heights: Heights, since: int, now: int, offsets: Array, n: int, edges: Edges) -> float:
    b0 = n * LINES_AT_ONCE - offsets.max()
    risen = _risen(heights, since, offsets, b0)
    if len(risen) == 0:
        return 0.0
    windows = edges[0]
    near = _near(risen, len(offsets), windows.max())
    if len(risen) * 2 * windows.sum() < _GATHERED_PAYS * len(near[0]) * len(windows):
        return _lift_from(heights, offsets, risen, edges, now)
    return _lift_near(heights, offsets, b0, near, edges, now)


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
