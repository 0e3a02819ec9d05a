"""Where numbers stand on the plan so that none hides another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.sources.hand.field_readings import Point

#: Shares of a bar at which its number may stand, the first that is free.
_SHARES = (0.5, 0.42, 0.58, 0.35, 0.65, 0.28, 0.72, 0.2, 0.8)
#: Room that a number takes, and that it keeps from a crossing line, paper mm.
_APART_MM = 4.8
_FROM_LINES_MM = 2.2
#: Where a staff point's number may stand from it, paper mm.
_SHIFTS = ((2.9, -2.1), (-2.9, -2.1), (2.9, 2.1), (-2.9, 2.1))


def label_shares(bars: Sequence[tuple[Point, Point]], points: Sequence[Point]) -> list[float]:
    """For each bar (start, end; paper mm) the share of its length at which its number stands.

    A number keeps clear of those before it, of staff points and of crossing bars; where no place is clear it takes
    the one with most room.
    """
    taken = [np.array(point) for point in points]
    lines = np.array(bars, dtype=np.float64).reshape(-1, 2, 2)
    found = []
    for k, (start, end) in enumerate(lines):
        crossing = np.array([not _parallel(end - start, other[1] - other[0]) for other in lines])
        crossing[k] = False
        rooms = []
        for share in _SHARES:
            at = start + share * (end - start)
            to_labels = min((float(np.hypot(*(at - other))) for other in taken), default=np.inf)
            to_lines = float(_distance(at, lines[crossing]).min(initial=np.inf))
            rooms.append(min(to_labels / _APART_MM, to_lines / _FROM_LINES_MM, 1.0))
        share = _SHARES[int(np.argmax(rooms))]
        taken.append(start + share * (end - start))
        found.append(share)
    return found


def staff_label_shift(at: Point, bars: Sequence[tuple[Point, Point]], shares: Sequence[float]) -> Point:
    """Where a staff point's number stands from it: the corner farthest from bars and their numbers."""
    lines = np.array(bars, dtype=np.float64).reshape(-1, 2, 2)
    labels = lines[:, 0] + np.array(shares)[:, None] * (lines[:, 1] - lines[:, 0])
    rooms = []
    for shift in _SHIFTS:
        place = np.add(at, shift)
        to_labels = float(np.hypot(*(labels - place).T).min(initial=np.inf))
        rooms.append(min(float(_distance(place, lines).min(initial=np.inf)), to_labels - _FROM_LINES_MM, _APART_MM))
    return _SHIFTS[int(np.argmax(rooms))]


def _parallel(a: NDArray[np.float64], b: NDArray[np.float64]) -> bool:
    return bool(abs(a[0] * b[1] - a[1] * b[0]) < 0.01 * np.hypot(*a) * np.hypot(*b))


def _distance(at: NDArray[np.float64], lines: NDArray[np.float64]) -> NDArray[np.float64]:
    """(m,) distance of a place from lines (m, 2, 2)."""
    start, along = lines[:, 0], lines[:, 1] - lines[:, 0]
    share = np.sum((at - start) * along, axis=1) / np.maximum(np.sum(along**2, axis=1), 1e-9)
    nearest = start + np.clip(share, 0.0, 1.0)[:, None] * along
    return np.asarray(np.hypot(*(nearest - at).T))
