"""The straight walls of a room, and how a place is found from two of them with two tapes."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.levelling.plan import MarkedOut, Wall

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.judgement.verdict import Point

#: A shorter stretch is no wall to measure from.
LEAST_WALL_MM = 400.0
#: Corners of the outline that lie closer than this to a straight line are its noise.
_STRAIGHT_MM = 25.0
#: What the noise breaks off a wall is shorter than this.
_STUB_MM = 100.0
#: Two stretches that differ by less than this in direction are one wall.
_ONE_WALL_RAD = math.radians(2.0)
#: Least and most angle between two walls that places are marked out from.
_LEAST_SINE = math.sin(math.radians(60.0)) - 1e-9
#: A stretch shorter than this may be a corner that the capture cut off.
_SURE_WALL_MM = 1000.0
#: What stands in the way of measuring square to a wall, in mm of tape that one would rather lay.
_PAST_ITS_END, _BEHIND_IT, _THROUGH_A_WALL = 3.0, 20.0, 20_000.0
#: The tape ends this far before the wall when looking for other walls in its way, mm.
_AT_THE_WALL_MM = 50.0


def walls_of(outline: Sequence[NDArray[np.float64]]) -> tuple[Wall, ...]:
    """Straight stretches of the floor's edge of ``LEAST_WALL_MM`` and more, numbered anticlockwise from corner 0.

    ``outline``: rings, (k, 2) float64 floor-frame mm, closed or not, the exterior first; columns are no walls. The
    floor lies to the left of each wall. The first is the bottom wall, from corner 0 on. Each is the line that fits the
    outline's sides between two corners best (total least squares, the sides weighted by their length).
    """
    if not outline or len(outline[0]) < 3:  # noqa: PLR2004 - a triangle is the least room
        return ()
    ring = _from_corner_0(np.asarray(outline[0], dtype=np.float64))
    stretches = [_fitted(ring[a : b + 1]) for a, b in itertools.pairwise(_bends(ring))]
    return tuple(
        Wall(number, _point(start), _point(end)) for number, (start, end) in enumerate(_united(stretches), start=1)
    )


def marked_out(rings: Sequence[NDArray[np.float64]], walls: Sequence[Wall]) -> MarkedOut | None:
    """Each corner by its distances from two walls; None where there are no two at 60 to 120 degrees.

    Of all such pairs the one that takes least tape: near walls, whose stretch lies beside the corners, which nothing
    hides, as square to each other as can be (a slip of the tape grows by 1 / sin of the angle between them).
    ``rings``: closed, (k, 2) float64 floor-frame mm.
    """
    corners = np.concatenate([ring[:-1] for ring in rings])
    pair = nearest_pair(corners, walls)
    if pair is None:
        return None
    _, _, far = furthest_corners(corners)
    return MarkedOut(pair, tuple(distances_mm(ring[:-1], pair) for ring in rings), far, tuple(rings))


def nearest_pair(points: NDArray[np.float64], walls: Sequence[Wall]) -> tuple[Wall, Wall] | None:
    """The two walls to measure ``points`` (k, 2) from, the lower number first; None where there are no two."""
    tape = {wall.number: _tape_mm(points, wall, walls) for wall in walls}
    best, pair = math.inf, None
    for one, other in itertools.combinations(walls, 2):
        sine = abs(_cross(_along(one), _along(other)))
        if sine < _LEAST_SINE:
            continue
        cost = (tape[one.number] + tape[other.number]) / sine
        if cost < best:
            best, pair = cost, (one, other)
    return pair


def distances_mm(points: NDArray[np.float64], pair: tuple[Wall, Wall]) -> NDArray[np.float64]:
    """(k, 2) distances of ``points`` (k, 2), square to both walls, positive on the floor's side."""
    return np.column_stack([_square_to(points, wall) for wall in pair])


def place_mm(distances: NDArray[np.float64], pair: tuple[Wall, Wall]) -> NDArray[np.float64]:
    """The (k, 2) floor-frame positions that (k, 2) distances from two walls mark: the inverse of ``distances_mm``."""
    normals = np.array([_inward(wall) for wall in pair])
    offsets = np.array([_inward(wall) @ np.asarray(wall.start) for wall in pair])
    return np.asarray(np.linalg.solve(normals, (distances + offsets).T).T, dtype=np.float64)


def furthest_corners(corners: NDArray[np.float64]) -> tuple[int, int, float]:
    """The two of (k, 2) corners that lie furthest apart, and how far, mm: for checking with one tape."""
    apart = np.hypot(*(corners[:, None] - corners[None]).transpose(2, 0, 1))
    first, second = divmod(int(np.argmax(apart)), len(corners))
    return first, second, float(apart[first, second])


def _tape_mm(points: NDArray[np.float64], wall: Wall, walls: Sequence[Wall]) -> float:
    """Mean length of tape from the wall to the points, what makes it hard or wrong counted as more tape."""
    start, along = np.asarray(wall.start), _along(wall)
    length = math.dist(wall.start, wall.end)
    square = _square_to(points, wall)
    at = (points - start) @ along
    past = np.maximum(np.maximum(-at, at - length), 0.0)
    unsure = max(0.0, _SURE_WALL_MM - length)
    tape = np.abs(square) + _PAST_ITS_END * past + _BEHIND_IT * np.maximum(-square, 0.0)
    return float(tape.mean()) + unsure + _THROUGH_A_WALL * _hidden(points, wall, at, walls)


def _hidden(points: NDArray[np.float64], wall: Wall, at: NDArray[np.float64], walls: Sequence[Wall]) -> float:
    """Share of the points whose tape to the wall would go through another wall."""
    import shapely

    others = [shapely.LineString([other.start, other.end]) for other in walls if other.number != wall.number]
    if not others:
        return 0.0
    feet = np.asarray(wall.start) + at[:, None] * _along(wall) + _AT_THE_WALL_MM * _inward(wall)
    tapes = shapely.linestrings(np.stack([points, feet], axis=1))
    return float(np.mean(shapely.crosses(tapes, shapely.union_all(others))))


def _from_corner_0(ring: NDArray[np.float64]) -> NDArray[np.float64]:
    """The ring closed, anticlockwise, its first corner the one nearest to the frame's origin."""
    if np.array_equal(ring[0], ring[-1]):
        ring = ring[:-1]
    x, y = ring.T
    if float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) < 0.0:
        ring = ring[::-1]
    ring = np.roll(ring, -int(np.argmin(np.hypot(*ring.T))), axis=0)
    return np.concatenate([ring, ring[:1]])


def _bends(ring: NDArray[np.float64]) -> list[int]:
    """Rows of the closed ring where it bends, the first and the last included (Douglas and Peucker)."""
    import shapely

    kept = np.asarray(shapely.LinearRing(ring).simplify(_STRAIGHT_MM, preserve_topology=False).coords)
    bends, row = [0], 0
    for corner in kept[1:-1]:
        row += 1 + int(np.argmax(np.all(ring[row + 1 :] == corner, axis=1)))
        bends.append(row)
    return [*bends, len(ring) - 1]


def _fitted(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Both ends of the line that fits the sides of a chain (k, 2) best: the chain's own ends where it is straight."""
    if len(points) == 2:  # noqa: PLR2004 - one side is its own line
        return points[0], points[1]
    sides = np.hypot(*np.diff(points, axis=0).T)
    middles = (points[1:] + points[:-1]) / 2.0
    centre = np.average(middles, axis=0, weights=sides)
    # Second moments of the sides themselves, not of their middles only.
    spread = (middles - centre).T @ ((middles - centre) * sides[:, None])
    spread += (np.diff(points, axis=0).T * sides / 12.0) @ np.diff(points, axis=0)
    along = np.linalg.eigh(spread)[1][:, -1]
    return tuple(centre + ((end - centre) @ along) * along for end in (points[0], points[-1]))


def _united(stretches: list[tuple[Any, Any]]) -> list[tuple[Any, Any]]:
    """Those long enough to be walls; neighbours on one line put together again."""
    kept: list[tuple[Any, Any]] = []
    for stretch in stretches:
        if kept and _one_wall(kept[-1], stretch):
            kept[-1] = (kept[-1][0], stretch[1])
        elif math.dist(*stretch) >= _STUB_MM:
            kept.append(stretch)
    if len(kept) > 1 and _one_wall(kept[-1], kept[0]):
        kept[0] = (kept.pop()[0], kept[0][1])
    return [stretch for stretch in kept if math.dist(*stretch) >= LEAST_WALL_MM]


def _one_wall(before: tuple[Any, Any], after: tuple[Any, Any]) -> bool:
    """The second goes on where the first ends, or a hand's breadth further, in its direction and on its line."""
    one, other = (end - start for start, end in (before, after))
    turn = abs(math.atan2(_cross(one, other), float(one @ other)))
    step = after[0] - before[1]
    aside = abs(_cross(one / math.hypot(*one), step))
    return turn < _ONE_WALL_RAD and aside < _STRAIGHT_MM and math.hypot(*step) < 2.0 * _STUB_MM


def _square_to(points: NDArray[np.float64], wall: Wall) -> NDArray[np.float64]:
    return np.asarray((points - np.asarray(wall.start)) @ _inward(wall), dtype=np.float64)


def _along(wall: Wall) -> NDArray[np.float64]:
    way = np.asarray(wall.end, dtype=np.float64) - np.asarray(wall.start, dtype=np.float64)
    return np.asarray(way / math.hypot(*way), dtype=np.float64)


def _inward(wall: Wall) -> NDArray[np.float64]:
    x, y = _along(wall)
    return np.array([-y, x])


def _cross(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    return float(one[0] * other[1] - one[1] * other[0])


def _point(at: NDArray[np.float64]) -> Point:
    return float(at[0]), float(at[1])
