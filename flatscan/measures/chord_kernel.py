"""The compiled gap search: O(n) walking per line in practice, at worst O(n log n) hull work.

Importing this module needs numba; :mod:`flatscan.measures.chords` falls back on the plain twin.

One line holds readings z at whole positions x. Only chords (i, R(i)) matter, R(i) being the farthest
reading within the window to which the slope from i is greatest: any other chord from i can be replaced
by a higher one. R comes from the upper hull within a block of one window's width and a running upper
hull of what follows it; the envelope of the kept chords is found with one stack, because two
overlapping kept chords cross once, the earlier being higher on the left.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

import flatscan.threads  # noqa: F401 - for its effect

Array = NDArray[Any]
#: Offsets, window, longest hole (readings): see ``line_family.LineFamily``. The first line is at -greatest offset.
Lines = tuple[Array, int, int]

#: Neighbouring lines gathered together, so that each step reads one cache line.
LINES_AT_ONCE = 16


@njit(cache=True)
def _best_reach(  # noqa: PLR0912 - split, it would no longer be one loop over the line
    x: Array, z: Array, a: int, b: int, w: int, reach: Array, slope: Array, stack: Array, edge: Array
) -> None:
    i0 = a
    while i0 < b:
        limit = x[i0] + w
        end = i0 + 1
        while end < b and x[end] < limit:
            end += 1
        # Within the block, right to left: hull edges chain to the right.
        reach[end - 1] = end - 1
        slope[end - 1] = -np.inf
        for i in range(end - 2, i0 - 1, -1):
            c = i + 1
            s = (z[c] - z[i]) / (x[c] - x[i])
            while slope[c] >= s:
                c = reach[c]
                s = (z[c] - z[i]) / (x[c] - x[i])
            reach[i] = c
            slope[i] = s
        # Beyond the block: tangent to the hull of what the window has reached so far.
        top = -1
        t = 0
        e = end
        for i in range(i0, end):
            limit = x[i] + w
            while e < b and x[e] <= limit:
                s = 0.0
                while top >= 0:
                    q = stack[top]
                    s = (z[e] - z[q]) / (x[e] - x[q])
                    if top > 0 and edge[top] <= s:
                        top -= 1
                    else:
                        break
                top += 1
                stack[top] = e
                edge[top] = s
                e += 1
            if top < 0:
                continue
            t = min(t, top)
            q = stack[t]
            s = (z[q] - z[i]) / (x[q] - x[i])
            while t < top and edge[t + 1] >= s:
                t += 1
                q = stack[t]
                s = (z[q] - z[i]) / (x[q] - x[i])
            while t > 0 and edge[t] < s:
                t -= 1
                q = stack[t]
                s = (z[q] - z[i]) / (x[q] - x[i])
            if s >= slope[i]:
                reach[i] = q
                slope[i] = s
        i0 = end


@njit(cache=True)
def _paint(
    x: Array,
    z: Array,
    a: int,
    b: int,
    reach: Array,
    slope: Array,
    stack: Array,
    start: Array,
    upper: Array,
    holed: Array,
) -> None:
    top = -1
    far = -1
    for i in range(a, b):
        r = reach[i]
        if r <= far or r <= i + 1:
            continue
        far = r
        begin = float(x[i])
        while top >= 0:
            p = stack[top]
            if x[reach[p]] <= x[i]:
                break
            above = z[p] + slope[p] * (x[i] - x[p]) - z[i]
            gain = slope[i] - slope[p]
            cross = x[i] + above / gain if gain > 0.0 else float(x[reach[p]])
            if cross > start[top]:
                begin = cross
                break
            top -= 1
        top += 1
        stack[top] = i
        start[top] = begin
    k = a
    for t in range(top + 1):
        p = stack[t]
        r = reach[p]
        # A crossing that falls on a reading belongs to the chord on its left.
        last = start[t + 1] if t < top else np.inf
        bridging = x[r] - x[p] != r - p
        while k < b and x[k] <= start[t]:
            k += 1
        while k < r and x[k] <= last:
            upper[k] = z[p] + slope[p] * (x[k] - x[p])
            holed[k] = bridging
            k += 1


@njit(cache=True)
def line_uppers(values: Array, w: int, hole: int, room: tuple[Array, ...], upper: Array, holed: Array) -> None:
    """Upper chord height at each reading of one line, in place of its value.

    ``values``: inf is a wall, NaN is unseen. Unseen readings are left out and the rest keep their
    positions; a wall or more than ``hole`` unseen readings in a row end the piece.
    """
    x, z, reach, slope, stack, edge = room
    n = len(values)
    m = 0
    a = 0
    for k in range(n + 1):
        v = values[k] if k < n else np.inf
        if np.isnan(v):
            continue
        wall = np.isinf(v)
        if m > a and (wall or k - x[m - 1] - 1 > hole):
            if m - a > 2 and w > 1:  # noqa: PLR2004 - a chord with something beneath it
                _best_reach(x, z, a, m, w, reach, slope, stack, edge)
                _paint(x, z, a, m, reach, slope, stack, edge, upper, holed)
            a = m
        if not wall:
            x[m] = k
            z[m] = v
            upper[m] = v
            holed[m] = False
            m += 1
    # Back to the line's own places, right to left so that nothing is overwritten before it is read.
    for j in range(m - 1, -1, -1):
        upper[x[j]] = upper[j]
        holed[x[j]] = holed[j]


@njit(cache=True)
def extent(offsets: Array, b0: int, n_minor: int) -> tuple[int, int]:
    """Where on the grid a block of lines from b0 on lies: readings first to last.

    Reading k of line b0 + j is at major k, minor b0 + j + offsets[k].
    """
    first, last = 0, len(offsets)
    while first < last and (b0 + offsets[first] >= n_minor or b0 + LINES_AT_ONCE - 1 + offsets[first] < 0):
        first += 1
    while last > first and (b0 + offsets[last - 1] >= n_minor or b0 + LINES_AT_ONCE - 1 + offsets[last - 1] < 0):
        last -= 1
    return first, last


@njit(cache=True)
def gather(coded: Array, offsets: Array, b0: int, readings: Array, values: Array) -> None:
    """Fill ``values`` (lines, readings) for a block of lines; off the grid is wall, and so is reading -1."""
    n_minor = coded.shape[1]
    for i in range(len(readings)):
        k = readings[i]
        m0 = b0 + offsets[k]
        if k < 0:
            for j in range(LINES_AT_ONCE):
                values[j, i] = np.inf
        elif m0 >= 0 and m0 + LINES_AT_ONCE <= n_minor:
            for j in range(LINES_AT_ONCE):
                values[j, i] = coded[k, m0 + j]
        else:
            for j in range(LINES_AT_ONCE):
                m = m0 + j
                values[j, i] = coded[k, m] if 0 <= m < n_minor else np.inf


@njit(cache=True)
def room_for(n: int) -> tuple[Array, ...]:
    """Arrays that :func:`line_uppers` works in, for lines of up to n readings."""
    return (
        np.empty(n, np.int64),
        np.empty(n, np.float64),
        np.empty(n, np.int64),
        np.empty(n, np.float64),
        np.empty(n, np.int64),
        np.empty(n, np.float64),
    )


@njit(cache=True)
def _gap_block(coded: Array, lines: Lines, n: int, d: int, best: Array, way: Array, bridged: Array) -> None:
    offsets, window, hole = lines
    n_minor = coded.shape[1]
    b0 = n * LINES_AT_ONCE - offsets.max()
    first, last = extent(offsets, b0, n_minor)
    values = np.empty((LINES_AT_ONCE, last - first), np.float64)
    upper = np.empty(values.shape, np.float64)
    holed = np.empty(values.shape, np.bool_)
    gather(coded, offsets, b0, np.arange(first, last), values)
    room = room_for(last - first)
    for j in range(LINES_AT_ONCE):
        line_uppers(values[j], window, hole, room, upper[j], holed[j])
    for k in range(first, last):
        m0 = b0 + offsets[k]
        for j in range(max(0, -m0), min(LINES_AT_ONCE, n_minor - m0)):
            v = values[j, k - first]
            if np.isfinite(v):
                gap = np.float32(upper[j, k - first] - v)
                if gap > best[k, m0 + j]:
                    best[k, m0 + j] = gap
                    way[k, m0 + j] = d
                    bridged[k, m0 + j] = holed[j, k - first]


@njit(cache=True)
def gap_direction(coded: Array, lines: Lines, blocks: int, d: int, best: Array, way: Array, bridged: Array) -> None:
    """One direction of the gap map, in place, on one thread. Arrays (major, minor)."""
    for n in range(blocks):
        _gap_block(coded, lines, n, d, best, way, bridged)


@njit(cache=True, parallel=True)
def gap_direction_threads(
    coded: Array, lines: Lines, blocks: int, d: int, best: Array, way: Array, bridged: Array
) -> None:
    """As :func:`gap_direction`, on all threads: a cell is on one line only, so nothing is shared."""
    for n in prange(blocks):
        _gap_block(coded, lines, n, d, best, way, bridged)
