"""The gap search for short windows: every chord tried, many lines and places at once in vector registers.

O(n·w), but each step is one multiply, one add and two comparisons on a whole register of readings, without a
branch: below ``LONGEST_WINDOW`` readings it is several times faster than the hull walk of
:mod:`flatscan.measures.chord_kernel`. It keeps neither direction nor holes: what simulated captures need.

For a chord that starts at reading i, only the steepest that passes k matters at k, so with s falling from w
to 2 the running maximum S of the slopes to i + s is that of all chords over k = i + s - 1, and
``U[k] = max(U[k], z[i] + (s - 1)·S)``. Importing this module needs numba.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

import flatscan.threads  # noqa: F401 - for its effect

Array = NDArray[Any]

#: Beyond this many readings the hull walk is faster (measured; see ``tests/benchmarks/bench_gap.py``).
LONGEST_WINDOW = 200
#: Neighbouring lines worked on together: with the longest usual line they stay in the first cache.
LINES_AT_ONCE = 8
#: Stands for an unseen reading: never a contact, and far within float32's range of 3e38 after any chord.
UNSEEN = np.float32(-1e18)


@njit(cache=True)
def _gather(coded: Array, offsets: Array, b0: int, z: Array) -> tuple[int, int]:
    """Fill ``z`` (readings x lines, flat) with a block of lines; its first and last reading on the grid."""
    n_minor = coded.shape[1]
    first, last = 0, coded.shape[0]
    while first < last and (b0 + offsets[first] >= n_minor or b0 + LINES_AT_ONCE - 1 + offsets[first] < 0):
        first += 1
    while last > first and (b0 + offsets[last - 1] >= n_minor or b0 + LINES_AT_ONCE - 1 + offsets[last - 1] < 0):
        last -= 1
    for k in range(first, last):
        row = coded[k]
        m0 = b0 + offsets[k]
        part = z[(k - first) * LINES_AT_ONCE : (k - first + 1) * LINES_AT_ONCE]
        if m0 >= 0 and m0 + LINES_AT_ONCE <= n_minor:
            part[:] = row[m0 : m0 + LINES_AT_ONCE]
        else:
            for j in range(LINES_AT_ONCE):
                part[j] = row[m0 + j] if 0 <= m0 + j < n_minor else UNSEEN
    return first, last


@njit(cache=True)
def _part(z: Array, n: int, hole: int, room: Array) -> bool:
    """Steps from each reading to the end of its unbroken piece; whether any line has more than one piece.

    Walls (NaN) and runs of more than ``hole`` unseen readings part a line. Walls become unseen.
    """
    parted = False
    for j in range(LINES_AT_ONCE):
        end = -1  # last reading seen of the piece; -1 before the first
        run = 0
        for k in range(n - 1, -1, -1):
            at = k * LINES_AT_ONCE + j
            wall = np.isnan(z[at])
            if wall:
                z[at] = UNSEEN
                run = hole + 1
            elif z[at] == UNSEEN:
                run += 1
            else:
                if end < 0 or run > hole:
                    parted = parted or end >= 0
                    end = k
                run = 0
            room[at] = np.float32(end - k)
    return parted


@njit(cache=True)
def _upper_chords(z: Array, n: int, window: int, slope: Array, upper: Array) -> None:
    """Height of the highest chord over every reading of unparted lines; arrays (readings x lines), flat."""
    size = n * LINES_AT_ONCE
    for s in range(min(window, n - 1), 1, -1):
        inverse = np.float32(1.0 / s)
        along = np.float32(s - 1)
        end = z[s * LINES_AT_ONCE : size]
        middle = upper[(s - 1) * LINES_AT_ONCE : size - LINES_AT_ONCE]
        for p in range(len(end)):
            to = (end[p] - z[p]) * inverse
            steepest = max(to, slope[p])
            slope[p] = steepest
            middle[p] = max(middle[p], z[p] + along * steepest)


@njit(cache=True)
def _upper_chords_of_pieces(z: Array, n: int, window: int, room: Array, slope: Array, upper: Array) -> None:
    """As :func:`_upper_chords`, no chord longer than the piece its first reading lies on."""
    size = n * LINES_AT_ONCE
    for s in range(min(window, n - 1), 1, -1):
        steps = np.float32(s)
        inverse = np.float32(1.0 / s)
        along = np.float32(s - 1)
        end = z[s * LINES_AT_ONCE : size]
        middle = upper[(s - 1) * LINES_AT_ONCE : size - LINES_AT_ONCE]
        for p in range(len(end)):
            to = (end[p] - z[p]) * inverse if steps <= room[p] else UNSEEN
            steepest = max(to, slope[p])
            slope[p] = steepest
            middle[p] = max(middle[p], z[p] + along * steepest)


@njit(cache=True)
def _one_direction(coded: Array, offsets: Array, laid: Array, broken: bool, work: Array, best: Array) -> None:
    """Raise ``best`` (major, minor) to the gaps of one direction."""
    z, room, slope, upper = work[0], work[1], work[2], work[3]
    b_least, window, hole, blocks = laid[0], laid[1], laid[2], laid[3]
    n_minor = coded.shape[1]
    for n in range(blocks):
        b0 = b_least + n * LINES_AT_ONCE
        first, last = _gather(coded, offsets, b0, z)
        if last - first <= 2:  # noqa: PLR2004 - nothing between two contacts
            continue
        parted = broken and _part(z, last - first, hole, room)
        for p in range((last - first) * LINES_AT_ONCE):
            upper[p] = z[p]
            slope[p] = UNSEEN
        if parted:
            _upper_chords_of_pieces(z, last - first, window, room, slope, upper)
        else:
            _upper_chords(z, last - first, window, slope, upper)
        for k in range(first, last):
            row = best[k]
            m0 = b0 + offsets[k]
            at = (k - first) * LINES_AT_ONCE
            if m0 >= 0 and m0 + LINES_AT_ONCE <= n_minor:
                part = row[m0 : m0 + LINES_AT_ONCE]
                for j in range(LINES_AT_ONCE):
                    part[j] = max(part[j], upper[at + j] - z[at + j])
            else:
                for j in range(max(0, -m0), min(LINES_AT_ONCE, n_minor - m0)):
                    row[m0 + j] = max(row[m0 + j], upper[at + j] - z[at + j])


@njit(cache=True)
def _one_field(coded: Array, offsets: Array, laid: Array, broken: bool, best: Array) -> None:
    work = np.empty((4, offsets.shape[1] * LINES_AT_ONCE), np.float32)
    for d in range(len(laid)):
        _one_direction(coded, offsets[d], laid[d], broken, work, best)


@njit(cache=True)
def gap_fields(coded: Array, offsets: Array, laid: Array, broken: bool, best: Array) -> None:
    """Raise ``best`` to the gap maps of several height maps, on one thread.

    Parameters
    ----------
    coded : (fields, major, minor) float32 heights; NaN is a wall, ``UNSEEN`` is unseen
    offsets : (directions, readings) int64, as in ``line_family.LineFamily``
    laid : (directions, 4) int64: first line, window, longest hole, blocks of lines
    broken : whether there is a wall or an unseen reading
    best : (fields, major, minor) float32, changed in place; of no meaning where nothing is seen
    """
    for f in range(len(coded)):
        _one_field(coded[f], offsets, laid, broken, best[f])


@njit(cache=True, parallel=True)
def gap_fields_threads(coded: Array, offsets: Array, laid: Array, broken: bool, best: Array) -> None:
    """As :func:`gap_fields`, one field to a thread at a time."""
    for f in prange(len(coded)):
        _one_field(coded[f], offsets, laid, broken, best[f])
