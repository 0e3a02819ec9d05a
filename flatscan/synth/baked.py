"""A floor of rectangles laid out for compiled loops: what it is at a point, and where a ray meets it."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit

from flatscan.synth.rectangles import RectangleField

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.synth.floor import InventedFloor

#: What a point is.
FACE, ROUND, GROUT, MORTAR, SIDE, WALL = range(6)
#: The large shape is read between nodes this far apart: a 1.5 m wave of 2 mm differs by 5e-4 mm.
_SHAPE_STEP_MM = 12.5
_BEYOND_MM = 400.0
#: A step across a cell's side that lands in the neighbour.
_ACROSS_MM = 1e-3
#: Steps along the floor; halvings that take one below 1e-3 mm.
_STEP_MM = 0.1
_HALVINGS = 7
_MOST_STEPS = 4000
#: A ray that lands this far below the tile beside it has met the tile's side.
_SIDE_MM = 0.02


class Baked(NamedTuple):
    """The field (see ``RectangleField``) in few arrays, and the large shape on a grid.

    ``tile`` (n, 14): cell 0-3, wall 4-7, depth 8, offset 9, slopes 10 and 11, mortar 12, and in 13 how far the
    highest face around rises above this one's lowest place.
    """

    cos: float
    sin: float
    pivot_x: float
    pivot_y: float
    edges_x: NDArray[np.float64]
    edges_y: NDArray[np.float64]
    lookup: NDArray[np.int64]
    tile: NDArray[np.float64]
    radius: float
    shape: NDArray[np.float64]
    shape_x: float
    shape_y: float
    top_mm: float
    deepest_mm: float
    outline: NDArray[np.float64]


class Spot(NamedTuple):
    """Relief above the large shape, the cell, what it is, its side (0 −x, 1 −y, 2 +x, 3 +y), mm to both walls."""

    relief: float
    cell: int
    code: int
    side: int
    near: float
    far: float


def bake(floor: InventedFloor) -> Baked:
    """Lay the floor out. Its tiles must be rectangles."""
    field = floor.tiles
    if not isinstance(field, RectangleField):
        raise TypeError("photos are made of fields of rectangles (see tiled_scene)")
    low, high = floor.outline_mm.min(axis=0) - _BEYOND_MM, floor.outline_mm.max(axis=0) + _BEYOND_MM
    x, y = (np.arange(low[k], high[k] + _SHAPE_STEP_MM, _SHAPE_STEP_MM) for k in (0, 1))
    tile = np.column_stack(
        [
            field.cell_mm, field.wall_mm, field.depth_mm, field.offset_mm, field.slope_x, field.slope_y,
            field.mortar, _rise(field),
        ]
    )  # fmt: skip
    return Baked(
        float(np.cos(field.turn_rad)), float(np.sin(field.turn_rad)), *field.pivot_mm, field.edges_x, field.edges_y,
        field.lookup, tile, field.radius_mm, floor.shape_mm(x[None, :], y[:, None]), float(low[0]), float(low[1]),
        field.highest_mm, field.lowest_mm, np.array(floor.outline_mm),
    )  # fmt: skip


def _rise(field: RectangleField) -> NDArray[np.float64]:
    """(n,) how far the highest place of the faces that touch each one lies above its own lowest; 0 at least."""
    cell = field.cell_mm
    reach = 0.55 * (
        np.abs(field.slope_x) * (cell[:, 2] - cell[:, 0]) + np.abs(field.slope_y) * (cell[:, 3] - cell[:, 1])
    )
    touch = np.ones((len(cell), len(cell)), dtype=bool)
    for low, high in ((0, 2), (1, 3)):
        touch &= cell[:, None, low] < cell[None, :, high] + 1e-3
        touch &= cell[:, None, high] > cell[None, :, low] - 1e-3
    highest = np.where(touch, (field.offset_mm + reach)[None, :], -np.inf).max(axis=1)
    return np.asarray(np.maximum(highest - (field.offset_mm - reach), 0.0), dtype=np.float64)


@njit(cache=True, error_model="numpy", forceinline=True)
def shape_at(b: Baked, x: float, y: float) -> float:
    """Large shape at a place of the room."""
    rows, cols = b.shape.shape
    fx = min(max((x - b.shape_x) / _SHAPE_STEP_MM, 0.0), cols - 1.001)
    fy = min(max((y - b.shape_y) / _SHAPE_STEP_MM, 0.0), rows - 1.001)
    i, j = int(fx), int(fy)
    fx -= i
    fy -= j
    low = b.shape[j, i] * (1.0 - fx) + b.shape[j, i + 1] * fx
    value: float = low * (1.0 - fy) + (b.shape[j + 1, i] * (1.0 - fx) + b.shape[j + 1, i + 1] * fx) * fy
    return value


@njit(cache=True, error_model="numpy", forceinline=True)
def _before(edges: NDArray[np.float64], value: float) -> int:
    """Index of the last edge not above ``value``, within the grid."""
    low, high = 0, len(edges)
    while low < high:
        middle = (low + high) // 2
        if edges[middle] <= value:
            low = middle + 1
        else:
            high = middle
    return min(max(low - 1, 0), len(edges) - 2)


@njit(cache=True, error_model="numpy", forceinline=True)
def cell_of(b: Baked, u: float, v: float) -> int:
    """Cell of a place of the field's frame."""
    value: int = b.lookup[_before(b.edges_y, v), _before(b.edges_x, u)]
    return value


@njit(cache=True, error_model="numpy", forceinline=True)
def face_at(b: Baked, c: int, u: float, v: float) -> float:
    """Face of cell ``c`` carried on to a place of the field's frame."""
    du = u - 0.5 * (b.tile[c, 0] + b.tile[c, 2])
    dv = v - 0.5 * (b.tile[c, 1] + b.tile[c, 3])
    value: float = b.tile[c, 9] + b.tile[c, 10] * du + b.tile[c, 11] * dv
    return value


@njit(cache=True, error_model="numpy", forceinline=True)
def spot_at(b: Baked, u: float, v: float, hint: int) -> Spot:
    """What the floor is at a place of the field's frame; ``hint``: a cell that it probably lies in."""
    c = hint
    if not (b.tile[c, 0] <= u < b.tile[c, 2] and b.tile[c, 1] <= v < b.tile[c, 3]):
        c = cell_of(b, u, v)
    left, below, right, above = u - b.tile[c, 4], v - b.tile[c, 5], b.tile[c, 6] - u, b.tile[c, 7] - v
    if below < above:
        near, side = below, 1
    else:
        near, side = above, 3
    if near >= 0 and left < near:
        near, side = left, 0
    if near >= 0 and right < near:
        near, side = right, 2
    face = face_at(b, c, u, v)
    if b.tile[c, 12] > 0.0:
        return Spot(face, c, MORTAR, side, near, 0.0)
    if near >= b.radius:
        return Spot(face, c, FACE, side, near, 0.0)
    if near >= 0:
        short = b.radius - near
        return Spot(face - b.radius + np.sqrt(b.radius**2 - short**2), c, ROUND, side, near, 0.0)
    beyond_u, beyond_v = u, v
    out = -_ACROSS_MM if side < 2 else _ACROSS_MM  # noqa: PLR2004
    if side % 2 == 0:
        beyond_u = b.tile[c, side] + out
    else:
        beyond_v = b.tile[c, side] + out
    other = cell_of(b, beyond_u, beyond_v)
    there = face_at(b, other, u, v)
    if b.tile[other, 12] > 0.0:
        return Spot(there, c, MORTAR, side, 0.0, 0.0)
    across = (u - b.tile[other, 6], v - b.tile[other, 7], b.tile[other, 4] - u, b.tile[other, 5] - v)
    grout = min(face, there) - 0.5 * (b.tile[c, 8] + b.tile[other, 8])
    return Spot(grout, c, GROUT, side, -near, max(across[side], 0.0))


@njit(cache=True, error_model="numpy", forceinline=True)
def in_field(b: Baked, x: float, y: float) -> tuple[float, float]:
    """Place of the field's frame from one of the room."""
    dx, dy = x - b.pivot_x, y - b.pivot_y
    return b.pivot_x + b.cos * dx + b.sin * dy, b.pivot_y - b.sin * dx + b.cos * dy


@njit(cache=True, error_model="numpy", forceinline=True)
def inside_at(b: Baked, x: float, y: float) -> bool:
    """Whether a place lies within the walls: even-odd rule."""
    odd = False
    n = len(b.outline)
    for k in range(n):
        ax, ay, bx, by = b.outline[k, 0], b.outline[k, 1], b.outline[(k + 1) % n, 0], b.outline[(k + 1) % n, 1]
        if (ay > y) != (by > y) and x < ax + (y - ay) * (bx - ax) / (by - ay):
            odd = not odd
    return odd


@njit(cache=True, error_model="numpy", forceinline=True)
def on_faces(b: Baked, o: NDArray[np.float64], d: NDArray[np.float64], hint: int) -> float:
    """Distance to the floor with its joints bridged, near any joint only about right; the ray falls steeply."""
    t = -o[2] / d[2]
    c = hint
    for _ in range(3):
        x, y = o[0] + t * d[0], o[1] + t * d[1]
        u, v = in_field(b, x, y)
        if not (b.tile[c, 0] <= u < b.tile[c, 2] and b.tile[c, 1] <= v < b.tile[c, 3]):
            c = cell_of(b, u, v)
        t = (shape_at(b, x, y) + face_at(b, c, u, v) - o[2]) / d[2]
    value: float = t
    return value


@njit(cache=True, error_model="numpy", forceinline=True)
def _free_mm(b: Baked, spot: Spot) -> float:
    """How far along the floor nothing changes but a plane."""
    if spot.code == FACE:
        return spot.near - b.radius
    if spot.code == GROUT:
        return min(spot.near, spot.far)
    return 0.0


@njit(cache=True, error_model="numpy", forceinline=True)
def meet(b: Baked, o: NDArray[np.float64], d: NDArray[np.float64], hint: int) -> tuple[float, Spot]:
    """Distance to the floor, and what is met; ``hint``: a cell near by.

    From one plane to the next: where the ray meets the plane beneath it before that ends, it is done; else it goes on
    to the plane's end, by 0.1 mm at least, and the first step that ends beneath the floor is halved down.
    """
    x, y = o[0] - o[2] / d[2] * d[0], o[1] - o[2] / d[2] * d[1]
    level = shape_at(b, x, y)
    pace = max(np.hypot(d[0], d[1]), 1e-9)
    # The large shape changes by less than the margin along this short way.
    t = (level + b.top_mm + 0.3 - o[2]) / d[2]
    u, v = in_field(b, o[0] + t * d[0], o[1] + t * d[1])
    spot = spot_at(b, u, v, hint)
    before, last = spot, t
    for _ in range(_MOST_STEPS):
        x, y, z = o[0] + t * d[0], o[1] + t * d[1], o[2] + t * d[2]
        above = z - shape_at(b, x, y) - spot.relief
        if above <= 0.0:
            break
        before, last = spot, t
        free = _free_mm(b, spot)
        down = above / -d[2]
        if free > 0.0 and down * pace < free:
            # Planes tilt by a few mm/m: one more look at the height where the ray should be.
            t += down
            x, y = o[0] + t * d[0], o[1] + t * d[1]
            u, v = in_field(b, x, y)
            spot = spot_at(b, u, v, spot.cell)
            t -= (o[2] + t * d[2] - shape_at(b, x, y) - spot.relief) / d[2]
            return t, spot
        t += min(max(free, _STEP_MM) / pace, down + _STEP_MM)
        u, v = in_field(b, o[0] + t * d[0], o[1] + t * d[1])
        spot = spot_at(b, u, v, spot.cell)
    low, high = last, t
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        x, y = o[0] + middle * d[0], o[1] + middle * d[1]
        u, v = in_field(b, x, y)
        here = spot_at(b, u, v, spot.cell)
        if o[2] + middle * d[2] <= shape_at(b, x, y) + here.relief:
            high, spot = middle, here
        else:
            low, before = middle, here
    x, y = o[0] + high * d[0], o[1] + high * d[1]
    under = shape_at(b, x, y) + spot.relief - (o[2] + high * d[2])
    if before.code == GROUT and spot.code == ROUND and under > _SIDE_MM:
        spot = Spot(spot.relief - under, spot.cell, SIDE, spot.side, before.near, before.near + before.far)
    return high, spot


@njit(cache=True, error_model="numpy", forceinline=True)
def lit(b: Baked, x: float, y: float, z: float, light: NDArray[np.float64], cell: int) -> bool:
    """Whether nothing on the floor stands between a point and the sun."""
    pace = np.hypot(light[0], light[1])
    if pace == 0.0:
        return True
    level = shape_at(b, x, y) + b.top_mm + 0.1
    t = 0.2 * _STEP_MM / pace
    for _ in range(_MOST_STEPS):
        height = z + t * light[2]
        if height > level:
            return True
        px, py = x + t * light[0], y + t * light[1]
        u, v = in_field(b, px, py)
        spot = spot_at(b, u, v, cell)
        cell = spot.cell
        if height < shape_at(b, px, py) + spot.relief - 1e-3:
            return False
        t += max(_free_mm(b, spot), _STEP_MM) / pace
    return True
