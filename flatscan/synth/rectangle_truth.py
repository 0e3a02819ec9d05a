"""Where the joints of a field of rectangles run, and how wide and deep they are."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from flatscan.synth.rectangles import X0, X1, Y0, Y1

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely import LineString, Polygon

    from flatscan.synth.rectangles import RectangleField

_SAME_SIDE_MM = 1e-5
#: What a wall leaves of a joint is not worth a name below this.
_LEAST_MM = 1.0
#: A tile must show this far beyond its joint to be one.
_SHOWS_MM = 2.0


class Piece(NamedTuple):
    """Joint between two tiles along its centre line, room frame; both walls stand beside it all the way."""

    first: int
    second: int
    start_mm: tuple[float, float]
    end_mm: tuple[float, float]
    width_mm: float
    depth_mm: float


def pieces(field: RectangleField, outline_mm: NDArray[np.float64]) -> list[Piece]:
    """All joints between tiles, as far as they lie within the outline."""
    from shapely import LineString, Polygon, get_parts, prepare

    room = Polygon(outline_mm)
    prepare(room)
    found = []
    for first, second, line, width in (*_between(field, (X0, X1, Y0, Y1)), *_between(field, (Y0, Y1, X0, X1))):
        along = np.column_stack(field.room_from_field(line[:, 0], line[:, 1]))
        for part in get_parts(room.intersection(LineString(along))):
            if part.length >= _LEAST_MM and _seen(room, part, width):
                ends = np.asarray(part.coords)
                # The walls' cut may turn a line round.
                if (ends[-1] - ends[0]) @ (along[1] - along[0]) < 0:
                    ends = ends[::-1]
                depth = float(field.joint_depth_mm(np.array(first), np.array(second)))
                found.append(Piece(first, second, _point(ends[0]), _point(ends[-1]), width, depth))
    return found


def _seen(room: Polygon, line: LineString, width_mm: float) -> bool:
    """Both tiles show within the room beside some place of their joint; else it is a tile against a wall."""
    from shapely.affinity import translate

    (ax, ay), (bx, by) = line.coords[0], line.coords[-1]
    out = (0.5 * width_mm + _SHOWS_MM) / line.length
    for sign in (-1.0, 1.0):
        # Where the line lies within the room moved one way, the room has a place the other way from the line.
        line = line.intersection(translate(room, sign * out * (ay - by), sign * out * (bx - ax)))
    return bool(line.length >= _LEAST_MM)


def _between(
    field: RectangleField, sides: tuple[int, int, int, int]
) -> list[tuple[int, int, NDArray[np.float64], float]]:
    """Pairs of tiles side by side: (first, second, centre line (2, 2) in the field's frame, width)."""
    low, high, start, end = sides
    cell, wall = field.cell_mm, field.wall_mm
    touch = np.abs(cell[:, None, high] - cell[None, :, low]) < _SAME_SIDE_MM
    from_mm = np.maximum(wall[:, None, start], wall[None, :, start])
    to_mm = np.minimum(wall[:, None, end], wall[None, :, end])
    touch &= (to_mm > from_mm) & ~field.mortar[:, None] & ~field.mortar[None, :]
    found = []
    for first, second in np.argwhere(touch):
        across = (wall[first, high], wall[second, low])
        line = np.full((2, 2), 0.5 * (across[0] + across[1]))
        line[:, 1 if low == X0 else 0] = from_mm[first, second], to_mm[first, second]
        found.append((int(first), int(second), line, float(across[1] - across[0])))
    return found


def _point(xy: NDArray[np.float64]) -> tuple[float, float]:
    return float(xy[0]), float(xy[1])
