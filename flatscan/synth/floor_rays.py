"""Where rays meet the floor: exact on an almost flat height field with vertical joint walls.

The large shape changes slowly, so a fixed-point iteration finds where a ray crosses it. Tiles stay within
a few millimetres of it, so the true meeting lies in a short window around that crossing. If the window
stays on one flat face, the same iteration on that face ends the job; else the window is marched in steps
finer than any joint and the first change of sign is halved down (at a joint's wall it closes on the wall).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from flatscan.synth.floor import InventedFloor

    Height = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]]

#: A ray is at the floor when it is this close in height.
_CLOSE_MM = 1e-9
_MOST_ITERATIONS = 40
#: Marching step along the floor; a joint narrower than this at the grout could be stepped over.
_STEP_MM = 0.4
_MOST_STEPS = 400
#: Halvings that take one marching step below 1e-9 mm.
_HALVINGS = 30


def meet_floor(
    floor: InventedFloor, origin_mm: NDArray[np.float64], direction: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Distance to the floor, in units of the direction's length; inf for rays that do not fall.

    ``origin_mm``, ``direction``: (n, 3) float64, origins above the floor.
    """
    distance = np.full(len(direction), np.inf)
    falls = np.flatnonzero(direction[:, 2] < 0)
    origin, along = origin_mm[falls], direction[falls]
    start = -origin[:, 2] / along[:, 2]
    crossing = _iterate(floor.shape_mm, origin, along, start)
    if floor.tiles is not None:
        crossing = _meet_tiles(floor, origin, along, crossing)
    distance[falls] = crossing
    return distance


def _points(
    origin: NDArray[np.float64], along: NDArray[np.float64], t: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    return origin[:, 0] + t * along[:, 0], origin[:, 1] + t * along[:, 1], origin[:, 2] + t * along[:, 2]


def _iterate(
    height: Height, origin: NDArray[np.float64], along: NDArray[np.float64], start: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Fixed point of z(t) = height: converges while the floor is much less steep than the ray."""
    t = start.copy()
    active = np.arange(len(t))
    for _ in range(_MOST_ITERATIONS):
        o, a = origin[active], along[active]
        x, y, z = _points(o, a, t[active])
        above = z - height(x, y)
        t[active] -= above / a[:, 2]
        active = active[np.abs(above) > _CLOSE_MM]
        if len(active) == 0:
            return t
    raise ValueError(f"{len(active)} rays are too nearly level for this floor")


def _meet_tiles(
    floor: InventedFloor, origin: NDArray[np.float64], along: NDArray[np.float64], crossing: NDArray[np.float64]
) -> NDArray[np.float64]:
    tiles = floor.tiles
    assert tiles is not None  # noqa: S101 - the caller looked
    # The window is widened by a quarter for the large shape's own slope against the ray.
    before = 1.25 * (max(tiles.highest_mm, 0.0) + 0.1) / -along[:, 2]
    after = 1.25 * (0.1 - min(tiles.lowest_mm, 0.0)) / -along[:, 2]
    first, last = crossing - before, crossing + after
    xa, ya, _ = _points(origin, along, first)
    xb, yb, _ = _points(origin, along, last)
    at_a, at_b = tiles.place(xa, ya), tiles.place(xb, yb)
    one_face = (at_a.row == at_b.row) & (at_a.col == at_b.col)
    for at in (at_a, at_b):  # a face is convex: both ends on it, all of the window on it
        one_face &= tiles.wall_distance_mm(at) > tiles.radius_mm
    easy, hard = np.flatnonzero(one_face), np.flatnonzero(~one_face)
    result = crossing.copy()
    result[easy] = _iterate(floor.face_mm, origin[easy], along[easy], crossing[easy])
    if len(hard):
        result[hard] = _march(floor, origin[hard], along[hard], first[hard], last[hard])
    return result


def _march(
    floor: InventedFloor,
    origin: NDArray[np.float64],
    along: NDArray[np.float64],
    first: NDArray[np.float64],
    last: NDArray[np.float64],
) -> NDArray[np.float64]:
    """First point of each window where the ray is no longer above the floor, then halved down."""
    run_mm = (last - first) * np.hypot(along[:, 0], along[:, 1])
    steps = np.clip(np.ceil(run_mm / _STEP_MM), 1, _MOST_STEPS)
    step = (last - first) / steps
    upper = last.copy()
    shape_first, shape_slope = _chord_of_shape(floor, origin, along, first, last)
    active = np.arange(len(first))
    for k in range(1, int(steps.max()) + 1):
        t = first[active] + k * step[active]
        x, y, z = _points(origin[active], along[active], t)
        assert floor.tiles is not None  # noqa: S101
        below = z < shape_first[active] + k * step[active] * shape_slope[active] + floor.tiles.relief_mm(x, y)
        upper[active[below]] = t[below]
        active = active[~below & (k < steps[active])]
        if len(active) == 0:
            break
    lower = upper - step
    # The chord was only good for finding the bracket; the exact height may lie a little to either side.
    upper += 0.05 * step
    lower -= 0.05 * step
    for _ in range(_HALVINGS):
        middle = 0.5 * (lower + upper)
        x, y, z = _points(origin, along, middle)
        above = z > floor.height_mm(x, y)
        lower = np.where(above, middle, lower)
        upper = np.where(above, upper, middle)
    return np.asarray(0.5 * (lower + upper), dtype=np.float64)


def _chord_of_shape(
    floor: InventedFloor,
    origin: NDArray[np.float64],
    along: NDArray[np.float64],
    first: NDArray[np.float64],
    last: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The large shape along each window as a straight line: height at its start, rise per unit of t."""
    xa, ya, _ = _points(origin, along, first)
    xb, yb, _ = _points(origin, along, last)
    start = floor.shape_mm(xa, ya)
    return start, (floor.shape_mm(xb, yb) - start) / (last - first)
