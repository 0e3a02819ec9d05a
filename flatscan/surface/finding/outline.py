"""The floor's outline: rings in floor-frame millimetres, straight where the walls are straight."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.surface.finding.occupancy import Occupancy

#: A side of this many cells or more can be told to be straight.
_SIDE_CELLS = 6.0
#: It is, when it leaves its axis by no more than this many cells over its whole length.
_STRAY_CELLS = 1.5
#: Shorter pieces between two square sides are a corner that the cells cut off.
_CHAMFER_CELLS = 4.5
#: Pieces between two sides on one line that leave it by no more than this are the cells' raggedness.
_RAGGED_CELLS = 3.0
#: A dent up to this long before a wall that this share of it shows is floor that something hid.
_DENT_MM, _WALL_SHARE = 1500.0, 0.8
_LEAST_WALL_POINTS = 12
#: Rings of fewer cells are not worth a hole.
_LEAST_RING_CELLS = 4.0
#: Snapping may change the area by this share at most, else the ring stays as it was.
_MOST_CHANGE = 0.08


@dataclass(frozen=True, slots=True)
class _Side:
    """A straight side: ``axis`` 0 runs along x at y = ``at_mm``, 1 along y at x = ``at_mm``; None keeps its ends."""

    axis: int | None
    at_mm: float
    start: tuple[float, float]
    end: tuple[float, float]

    @property
    def length_mm(self) -> float:
        return float(np.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1]))


def rings(mask: NDArray[np.bool_], cells: Occupancy) -> tuple[NDArray[np.float64], ...]:
    """Closed rings (k, 2) around the True cells of a mask: the exterior, then holes, last point = first point."""
    from skimage.measure import find_contours

    padded = np.pad(mask, 1).astype(np.float32)
    found = []
    for contour in find_contours(padded, 0.5, fully_connected="low"):  # type: ignore[no-untyped-call]
        # Contours run through cell centres; the padding moved them by one.
        xy = (contour[:, ::-1] - 0.5) * cells.cell_mm + np.asarray(cells.origin_mm)
        found.append(xy)
    found.sort(key=lambda ring: -abs(area_mm2(ring)))
    least = _LEAST_RING_CELLS * cells.cell_mm**2
    return tuple(ring for i, ring in enumerate(found) if i == 0 or abs(area_mm2(ring)) >= least)


def area_mm2(ring_mm: NDArray[np.float64]) -> float:
    """Signed area of a closed ring (shoelace), positive anticlockwise."""
    x, y = (ring_mm - ring_mm[0]).T
    return float(0.5 * (x[:-1] @ y[1:] - x[1:] @ y[:-1]))


def straightened(ring_mm: NDArray[np.float64], cell_mm: float, wall_xy_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """The ring with its jogs of a cell taken out and its axis-parallel sides laid on the walls.

    Parameters
    ----------
    ring_mm : (k, 2) closed ring from cells of ``cell_mm``, in a frame whose axes run along the walls
    wall_xy_mm : (n, 2) points of vertical faces, seen from above; may be empty

    A side that leaves its axis by less than 1.5 cells is straight. It lies where the wall points along it
    have their median, else where the cells end. All other sides stay as simplified (Douglas and Peucker,
    one cell). The ring comes back as it was where this would change its area by more than 8 %.
    """
    from shapely.geometry import LinearRing, Polygon

    simple = np.asarray(LinearRing(ring_mm).simplify(1.1 * cell_mm).coords)
    if len(simple) < 4:  # noqa: PLR2004 - a triangle at least
        return ring_mm
    simple = _start_at_long_side(simple)
    sides = _merged([_side(a, b, ring_mm, cell_mm, wall_xy_mm) for a, b in pairwise(simple)], cell_mm, wall_xy_mm)
    snapped = _corners(sides)
    if len(snapped) < 4 or not Polygon(snapped).is_valid:  # noqa: PLR2004
        return np.asarray(simple)
    if abs(abs(area_mm2(snapped)) / abs(area_mm2(ring_mm)) - 1.0) > _MOST_CHANGE:
        return np.asarray(simple)
    return snapped


def longest_side(
    ring_mm: NDArray[np.float64], wall_xy_mm: NDArray[np.float64], cell_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Ends of the longest side; sides with a wall along them go before sides where only the view ended."""
    best = max(
        pairwise(ring_mm),
        key=lambda side: (
            len(_along(side[0], side[1], wall_xy_mm, 3.0 * cell_mm)) >= _LEAST_WALL_POINTS,
            float(np.linalg.norm(side[1] - side[0])),
        ),
    )
    return best[0], best[1]


def _start_at_long_side(ring_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Turn the ring's numbering so that its first side is the longest and no side is split by the seam."""
    lengths = np.linalg.norm(np.diff(ring_mm, axis=0), axis=1)
    first = int(lengths.argmax())
    open_ring = np.roll(ring_mm[:-1], -first, axis=0)
    return np.vstack([open_ring, open_ring[:1]])


def _side(
    start: NDArray[np.float64],
    end: NDArray[np.float64],
    ring_mm: NDArray[np.float64],
    cell_mm: float,
    wall_xy_mm: NDArray[np.float64],
) -> _Side:
    step = np.abs(end - start)
    axis = int(step.argmin()) ^ 1  # the axis it runs along
    ends = (float(start[0]), float(start[1])), (float(end[0]), float(end[1]))
    if step.max() < _SIDE_CELLS * cell_mm or step.min() > _STRAY_CELLS * cell_mm:
        # A chamfer of less than the short length is told by its length alone.
        return _Side(None, 0.0, *ends)
    across = 1 - axis
    on_ring = _along(start, end, ring_mm, 1.5 * cell_mm)
    at = float(np.median(on_ring[:, across])) if len(on_ring) else float(0.5 * (start + end)[across])
    on_wall = _along(start, end, wall_xy_mm, max(3.0 * cell_mm, 75.0))
    if len(on_wall) >= _LEAST_WALL_POINTS and np.ptp(on_wall[:, axis]) > 0.5 * step[axis]:
        at = float(np.median(on_wall[:, across]))
    return _Side(axis, at, *ends)


def _along(
    start: NDArray[np.float64], end: NDArray[np.float64], xy_mm: NDArray[np.float64], reach_mm: float
) -> NDArray[np.float64]:
    """The points beside a side, within ``reach_mm`` of its line and between its ends."""
    length = float(np.linalg.norm(end - start))
    if len(xy_mm) == 0 or length == 0.0:
        return xy_mm[:0]
    direction = (end - start) / length
    along = (xy_mm - start) @ direction
    off = np.abs((xy_mm - start) @ (-direction[1], direction[0]))
    beside: NDArray[np.float64] = xy_mm[(off <= reach_mm) & (along > 0.02 * length) & (along < 0.98 * length)]
    return beside


def _merged(sides: list[_Side], cell_mm: float, wall_xy_mm: NDArray[np.float64]) -> list[_Side]:
    """Cut-off corners go, ragged pieces between two sides on one line go, and such sides become one."""
    kept: list[_Side] = []
    for i, side in enumerate(sides):
        before, after = sides[i - 1].axis, sides[(i + 1) % len(sides)].axis
        at_corner = before is not None and after is not None
        if side.axis is None and at_corner and side.length_mm < _CHAMFER_CELLS * cell_mm:
            continue
        _append(kept, side, cell_mm, wall_xy_mm)
    # The seam may lie within a side.
    for _ in range(len(kept)):
        if kept[0].axis is not None or len(kept) < 2:  # noqa: PLR2004 - a seam takes two sides
            break
        kept.append(kept.pop(0))
    first, rest = kept[0], kept[1:]
    _append(rest, first, cell_mm, wall_xy_mm)
    return rest


def _append(kept: list[_Side], side: _Side, cell_mm: float, wall_xy_mm: NDArray[np.float64]) -> None:
    """Add a side, or make it one with the last straight side where both lie on one line."""
    last = next((k for k in range(len(kept) - 1, -1, -1) if kept[k].axis is not None), None)
    if last is None or side.axis is None or kept[last].axis != side.axis:
        kept.append(side)
        return
    one, between = kept[last], kept[last + 1 :]
    across = 1 - side.axis
    off = max((abs(end[across] - one.at_mm) for piece in between for end in (piece.start, piece.end)), default=0.0)
    ragged = off <= _RAGGED_CELLS * cell_mm or _wall_runs_on(one, side, wall_xy_mm, cell_mm)
    if abs(one.at_mm - side.at_mm) >= _STRAY_CELLS * cell_mm or not ragged:
        kept.append(side)
        return
    at = float(np.average([one.at_mm, side.at_mm], weights=[one.length_mm, side.length_mm]))
    kept[last:] = [_Side(side.axis, at, one.start, side.end)]


def _wall_runs_on(one: _Side, other: _Side, wall_xy_mm: NDArray[np.float64], cell_mm: float) -> bool:
    """Whether wall points fill the line between two sides on it: then the dent is what hid the floor there."""
    axis = one.axis or 0
    low, high = sorted((one.end[axis], other.start[axis]))
    bins = int((high - low) / (2.0 * cell_mm)) + 1
    near = np.abs(wall_xy_mm[:, 1 - axis] - one.at_mm) < 2.0 * cell_mm
    place = np.floor((wall_xy_mm[near, axis] - low) / (2.0 * cell_mm))
    filled = len(np.unique(place[(place >= 0) & (place < bins)]))
    return high - low <= _DENT_MM and filled >= _WALL_SHARE * bins


def _corners(sides: list[_Side]) -> NDArray[np.float64]:
    """Where each side meets the next: crossings of square sides, a step between parallel ones."""
    points: list[tuple[float, float]] = []
    for i, side in enumerate(sides):
        after = sides[(i + 1) % len(sides)]
        for first, meets in ((side, after), (after, side)):
            point = [*(side.end if first is side else after.start)]
            for one in (meets, first):
                if one.axis is not None:
                    point[1 - one.axis] = one.at_mm
            points.append((point[0], point[1]))
    tidy = [p for i, p in enumerate(points) if np.hypot(p[0] - points[i - 1][0], p[1] - points[i - 1][1]) > 1e-6]  # noqa: PLR2004
    return np.asarray([*tidy, tidy[0]]) if tidy else np.empty((0, 2))
