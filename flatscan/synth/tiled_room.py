"""Invent a tiled floor of any pattern: cut, tilted, lipped, worn, repaired, with the truth kept exact."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.synth.floor import make_floor
from flatscan.synth.outline import rectangle
from flatscan.synth.patterns import Pattern, cells_of, snapped, without
from flatscan.synth.rectangles import X0, X1, Y0, Y1, RectangleField
from flatscan.synth.scene import Scene

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.synth.patterns import Box
    from flatscan.synth.shape import Bay, Tilt

#: Joints are never drawn thinner or shallower than this share of what was asked.
_LEAST_SHARE = 0.3
#: The field reaches this far beyond the walls.
_BEYOND_MM = 20.0
#: Cut pieces of tile narrower than this are filled with mortar instead.
_SLIVER_MM = 18.0
#: A broken tile has lost between these shares of itself.
_LOST = (0.25, 0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair:
    """An area laid anew with other tiles, in rows that do not follow the old ones.

    Attributes
    ----------
    box_mm : x0, y0, x1, y1 in the tiles' frame; its sides go to the nearest sides of old tiles
    size_mm : the new tiles
    raised_mm : new faces above the old ones
    """

    box_mm: Box
    size_mm: tuple[float, float]
    raised_mm: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class _Laid:
    """Cells (n, 4) with what is chosen by place: ``raised_mm`` (n,), ``mortar`` (n,) bool."""

    cell_mm: NDArray[np.float64]
    raised_mm: NDArray[np.float64]
    mortar: NDArray[np.bool_]


def tiled_scene(
    rng: np.random.Generator,
    *,
    pattern: Pattern = "stack",
    size_mm: tuple[float, float] = (200.0, 200.0),
    outline_mm: NDArray[np.float64] | None = None,
    joint_mm: float = 4.0,
    joint_sd_mm: float = 0.4,
    depth_mm: float = 2.0,
    depth_sd_mm: float = 0.0,
    radius_mm: float = 0.5,
    lip_sd_mm: float = 0.2,
    tilt_sd_mm_per_m: float = 0.5,
    turn_rad: float = 0.0,
    shift: float = 0.25,
    tilt: Tilt | None = None,
    waves_rms_mm: float = 0.0,
    bays: tuple[Bay, ...] = (),
    bad: tuple[tuple[float, float, float], ...] = (),
    wide: tuple[tuple[float, float, float], ...] = (),
    missing: tuple[tuple[float, float], ...] = (),
    broken: tuple[tuple[float, float], ...] = (),
    repairs: tuple[Repair, ...] = (),
    wall_mm: float = 2500.0,
) -> Scene:
    """Invent a room with a tiled floor.

    Parameters
    ----------
    rng : all chance comes from here
    pattern, size_mm, shift : see ``patterns.cells_of``; sizes are wall to wall at the nominal joint
    outline_mm : (k, 2) the room; 2.2 × 1.7 m if None
    joint_mm, joint_sd_mm : width between tile walls and its spread from joint to joint
    depth_mm, depth_sd_mm : from the lower tile edge to the grout
    lip_sd_mm, tilt_sd_mm_per_m : spread of the faces' heights (a lip has √2 times that) and of their tilts
    turn_rad : the tiles against the room's walls
    tilt, waves_rms_mm, bays : the floor's large shape
    bad : (x, y, lip): the tile at this place of the room sits exactly ``lip`` mm above all around it
    wide : (x, y, width): the joints round the tile at this place are ``width`` mm, but for the spread
    missing, broken : (x, y): the tile at this place, or a part of it, is lost and filled with mortar
    repairs : areas of other tiles
    """
    outline = rectangle(2200.0, 1700.0) if outline_mm is None else outline_mm
    floor = make_floor(outline, rng=rng, tilt=tilt, waves_rms_mm=waves_rms_mm, bays=bays)
    pivot = tuple(float(value) for value in 0.5 * (outline.min(axis=0) + outline.max(axis=0)))
    box = _box_in_field(outline, (pivot[0], pivot[1]), turn_rad)
    cells = cells_of(pattern, box, (size_mm[0] + joint_mm, size_mm[1] + joint_mm), shift, rng)
    laid = _Laid(cells, np.zeros(len(cells)), np.zeros(len(cells), dtype=bool))
    for repair in repairs:
        laid = _repaired(laid, repair, joint_mm, rng)
    field = _drawn(
        laid, rng, pivot=(pivot[0], pivot[1]), turn_rad=turn_rad, joint=(joint_mm, joint_sd_mm),
        depth=(depth_mm, depth_sd_mm), radius_mm=radius_mm, lip_sd_mm=lip_sd_mm, slope_sd=tilt_sd_mm_per_m / 1000.0,
    )  # fmt: skip
    for x, y in broken:
        field = _with_broken(field, x, y, joint_mm, rng)
    mortar = field.mortar.copy()
    mortar[[_tile_at(field, x, y) for x, y in missing]] = True
    field = _with_mortar(field, mortar)
    for x, y, width in wide:
        field = _with_wide(field, x, y, width)
    for x, y, lip in bad:
        field = _with_bad(field, x, y, lip)
    return Scene(replace(floor, tiles=field), wall_mm=wall_mm)


def _box_in_field(outline_mm: NDArray[np.float64], pivot: tuple[float, float], turn_rad: float) -> Box:
    away = outline_mm - np.array(pivot)
    cos, sin = np.cos(turn_rad), np.sin(turn_rad)
    turned = np.array(pivot) + away @ np.array([[cos, -sin], [sin, cos]])
    low, high = turned.min(axis=0) - _BEYOND_MM, turned.max(axis=0) + _BEYOND_MM
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _repaired(laid: _Laid, repair: Repair, joint_mm: float, rng: np.random.Generator) -> _Laid:
    box = snapped(laid.cell_mm, repair.box_mm)
    kept, of = without(laid.cell_mm, box)
    new = cells_of("stack", box, (repair.size_mm[0] + joint_mm, repair.size_mm[1] + joint_mm), 0.0, rng)
    new[:, [X0, X1]] = np.clip(new[:, [X0, X1]], box[X0], box[X1])
    new[:, [Y0, Y1]] = np.clip(new[:, [Y0, Y1]], box[Y0], box[Y1])
    return _Laid(
        np.concatenate([kept, new]),
        np.concatenate([laid.raised_mm[of], np.full(len(new), repair.raised_mm)]),
        np.concatenate([laid.mortar[of], np.zeros(len(new), dtype=bool)]),
    )


def _drawn(
    laid: _Laid,
    rng: np.random.Generator,
    *,
    pivot: tuple[float, float],
    turn_rad: float,
    joint: tuple[float, float],
    depth: tuple[float, float],
    radius_mm: float,
    lip_sd_mm: float,
    slope_sd: float,
) -> RectangleField:
    """Tiles in the cells: each side stands back by half a joint, by chance a little more or less."""
    n = len(laid.cell_mm)
    # The two sides of a joint are independent, so that its width has the spread asked for.
    half = 0.5 * joint[0] + joint[1] / np.sqrt(2.0) * rng.standard_normal((n, 4))
    half = np.maximum(half, 0.5 * joint[0] * _LEAST_SHARE)
    wall = laid.cell_mm + half * np.array([1.0, 1.0, -1.0, -1.0])
    small = np.minimum(wall[:, X1] - wall[:, X0], wall[:, Y1] - wall[:, Y0]) < _SLIVER_MM
    least = max(depth[0] * _LEAST_SHARE, radius_mm + 0.05)
    if depth[0] < least:
        raise ValueError("depth_mm must exceed the edge radius")
    # A joint's depth is the mean of its two tiles', hence √2 times the spread.
    drawn = np.maximum(depth[0] + np.sqrt(2.0) * depth[1] * rng.standard_normal(n), least)
    field = RectangleField(
        pivot_mm=pivot,
        turn_rad=turn_rad,
        cell_mm=laid.cell_mm,
        wall_mm=wall,
        depth_mm=drawn,
        offset_mm=laid.raised_mm + lip_sd_mm * rng.standard_normal(n),
        slope_x=slope_sd * rng.standard_normal(n),
        slope_y=slope_sd * rng.standard_normal(n),
        radius_mm=radius_mm,
        mortar=laid.mortar,
    )
    return _with_mortar(field, laid.mortar | small)


def _with_mortar(field: RectangleField, mortar: NDArray[np.bool_]) -> RectangleField:
    """Mortar fills its cell and has no edge of its own: its walls stand outside the cell."""
    wall = field.wall_mm.copy()
    beyond = (field.radius_mm + 1.0) * np.array([-1.0, -1.0, 1.0, 1.0])
    wall[mortar] = field.cell_mm[mortar] + beyond
    return replace(field, wall_mm=wall, mortar=mortar)


def _tile_at(field: RectangleField, x_mm: float, y_mm: float) -> int:
    return int(field.place(np.array([x_mm]), np.array([y_mm])).row[0])


def _with_broken(
    field: RectangleField, x_mm: float, y_mm: float, joint_mm: float, rng: np.random.Generator
) -> RectangleField:
    """One end of the tile's longer side is lost; the rest keeps its face."""
    tile = _tile_at(field, x_mm, y_mm)
    cell = field.cell_mm[tile]
    lengthwise = cell[X1] - cell[X0] >= cell[Y1] - cell[Y0]
    low, high = (X0, X1) if lengthwise else (Y0, Y1)
    cut = cell[high] - rng.uniform(*_LOST) * (cell[high] - cell[low])
    cells, walls = (np.concatenate([array, array[tile][None]]) for array in (field.cell_mm, field.wall_mm))
    cells[tile, high] = cells[-1, low] = cut
    walls[tile, high] = cut - 0.5 * joint_mm
    grown: dict[str, Any] = {
        name: np.concatenate([getattr(field, name), getattr(field, name)[tile][None]])
        for name in ("depth_mm", "offset_mm", "slope_x", "slope_y")
    }
    middle = 0.5 * (cell[low] + cell[high])
    slope = grown["slope_x" if lengthwise else "slope_y"][tile]
    # Faces are planes about the middles of their cells, which have moved.
    for index in (tile, -1):
        grown["offset_mm"][index] += slope * (0.5 * (cells[index, low] + cells[index, high]) - middle)
    mortar = np.append(field.mortar, True)
    return _with_mortar(replace(field, cell_mm=cells, wall_mm=walls, mortar=mortar, **grown), mortar)


def _around(field: RectangleField, tile: int) -> NDArray[np.int64]:
    """Cells that touch this one, at a corner too."""
    near = field.cell_mm[tile] + 1e-3 * np.array([-1.0, -1.0, 1.0, 1.0])
    cell = field.cell_mm
    touch = (cell[:, X1] > near[X0]) & (cell[:, X0] < near[X1]) & (cell[:, Y1] > near[Y0]) & (cell[:, Y0] < near[Y1])
    touch[tile] = False
    return np.flatnonzero(touch)


def _with_wide(field: RectangleField, x_mm: float, y_mm: float, width_mm: float) -> RectangleField:
    tile = _tile_at(field, x_mm, y_mm)
    around = field.wall_mm[_around(field, tile)]
    wall = field.wall_mm.copy()
    cell = field.cell_mm[tile]
    # The neighbours' mean setback on each side is known: this tile gives the rest.
    for side, facing, sign in ((X0, X1, 1.0), (Y0, Y1, 1.0), (X1, X0, -1.0), (Y1, Y0, -1.0)):
        setback = np.abs(around[:, facing] - cell[side])
        setback = setback[setback < width_mm]
        wall[tile, side] = cell[side] + sign * (width_mm - (float(setback.mean()) if len(setback) else 0.5 * width_mm))
    return replace(field, wall_mm=wall)


def _with_bad(field: RectangleField, x_mm: float, y_mm: float, lip_mm: float) -> RectangleField:
    """The tile at (x, y) exactly ``lip_mm`` above its neighbours, which are set true."""
    tile = _tile_at(field, x_mm, y_mm)
    offset, slope_x, slope_y = field.offset_mm.copy(), field.slope_x.copy(), field.slope_y.copy()
    for array in (offset, slope_x, slope_y):
        array[_around(field, tile)] = 0.0
        array[tile] = 0.0
    offset[tile] = lip_mm
    return replace(field, offset_mm=offset, slope_x=slope_x, slope_y=slope_y)
