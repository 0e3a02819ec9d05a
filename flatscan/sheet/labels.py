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
_FROM_ENDS_MM = 3.0
#: Where a staff point's number may stand from it, paper mm.
_SHIFTS = ((2.9, -2.1), (-2.9, -2.1), (2.9, 2.1), (-2.9, 2.1))


def label_shares(bars: Sequence[tuple[Point, Point]], points: Sequence[Point]) -> list[float]:
    """For each bar (start, end; paper mm) the share of its length at which its number stands.

    A number keeps clear of those before it, of staff points, of crossing bars and of dots and arrows; where no place is
    clear it takes the one with most room.
    """
    taken = [np.array(point) for point in points]
    lines = np.array(bars, dtype=np.float64).reshape(-1, 2, 2)
    found = []
    for k, (start, end) in enumerate(lines):
        crossing = np.array([not _parallel(end - start, other[1] - other[0]) for other in lines])
        crossing[k] = False
        ends = np.delete(lines, k, axis=0).reshape(-1, 2)
        rooms = []
        for share in _SHARES:
            at = start + share * (end - start)
            to_labels = min((float(np.hypot(*(at - other))) for other in taken), default=np.inf)
            to_lines = float(_distance(at, lines[crossing]).min(initial=np.inf))
            to_ends = float(np.hypot(*(ends - at).T).min(initial=np.inf))
            rooms.append(min(to_labels / _APART_MM, to_lines / _FROM_LINES_MM, to_ends / _FROM_ENDS_MM, 1.0))
        share = _SHARES[int(np.argmax(rooms))]
        taken.append(start + share * (end - start))
        found.append(share)
    return found


def staff_label_shift(
    at: Point, walls: Sequence[tuple[Point, Point]], bars: Sequence[tuple[Point, Point]], shares: Sequence[float]
) -> Point:
    """Where a staff point's number stands from it: the corner farthest from walls, bars and their numbers."""
    lines = np.array(bars, dtype=np.float64).reshape(-1, 2, 2)
    labels = lines[:, 0] + np.array(shares)[:, None] * (lines[:, 1] - lines[:, 0])
    lines = np.concatenate([lines, np.array(walls, dtype=np.float64)])
    rooms = []
    for shift in _SHIFTS:
        place = np.add(at, shift)
        to_labels = float(np.hypot(*(labels - place).T).min(initial=np.inf))
        room = min(float(_distance(place, lines).min(initial=np.inf)), to_labels - _FROM_LINES_MM, _APART_MM)
        rooms.append(room - _APART_MM * any(_cross(np.array([at, place]), np.array(wall)) for wall in walls))
    return _SHIFTS[int(np.argmax(rooms))]


def _parallel(a: NDArray[np.float64], b: NDArray[np.float64]) -> bool:
    return bool(abs(a[0] * b[1] - a[1] * b[0]) < 0.01 * np.hypot(*a) * np.hypot(*b))


def _cross(a: NDArray[np.float64], b: NDArray[np.float64]) -> bool:
    """Whether two line segments (2, 2) cross."""

    def sides(line: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
        along, to = line[1] - line[0], points - line[0]
        return np.asarray(along[0] * to[:, 1] - along[1] * to[:, 0])

    return bool(np.prod(sides(a, b)) < 0.0 and np.prod(sides(b, a)) < 0.0)


def _distance(at: NDArray[np.float64], lines: NDArray[np.float64]) -> NDArray[np.float64]:
    """(m,) distance of a place from lines (m, 2, 2)."""
    start, along = lines[:, 0], lines[:, 1] - lines[:, 0]
    share = np.sum((at - start) * along, axis=1) / np.maximum(np.sum(along**2, axis=1), 1e-9)
    nearest = start + np.clip(share, 0.0, 1.0)[:, None] * along
    return np.asarray(np.hypot(*(nearest - at).T))
