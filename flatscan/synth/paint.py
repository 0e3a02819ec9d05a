"""What an invented room looks like in a photo: tiles, grout, stains and plain shading. Looks only, no truth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.synth.rays import FLOOR, WALL, Hits
from flatscan.synth.shape import Waves, draw_waves

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.synth.floor import InventedFloor

_TILE_RGB = np.array([0.72, 0.66, 0.56])
_GROUT_RGB = np.array([0.36, 0.34, 0.32])
_WALL_RGB = np.array([0.82, 0.81, 0.78])
_SOLID_RGB = np.array([0.45, 0.52, 0.60])
#: A window on one side and light from everywhere.
_SUN = np.array([0.45, 0.25, 0.86])
_AMBIENT = 0.45
_GAMMA = 2.2


@dataclass(frozen=True, slots=True, eq=False)
class Paint:
    """Tones of the floor. ``tile_tone``: (16, 16) factors that repeat over the field; mottle and stains are waves."""

    tile_tone: NDArray[np.float64]
    mottle: Waves
    stains: Waves


def draw_paint(rng: np.random.Generator) -> Paint:
    """Choose tones by chance."""
    return Paint(
        1.0 + 0.06 * rng.standard_normal((16, 16)),
        draw_waves(rng, wavelength_mm=45.0, spread=2.5, components=10),
        draw_waves(rng, wavelength_mm=700.0, spread=1.8, components=8),
    )


def colours(
    floor: InventedFloor, paint: Paint, point_mm: NDArray[np.float64], hits: Hits, pixel_mm: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Display RGB (n, 3), 0 to 1, of what rays met; ``pixel_mm`` (n,) is a pixel's size there, to soften edges."""
    rgb = np.tile(_SOLID_RGB, (len(point_mm), 1))
    rgb[hits.surface == WALL] = _WALL_RGB
    normal = hits.normal.copy()
    on_floor = np.flatnonzero((hits.surface == FLOOR) & np.isfinite(point_mm).all(axis=1))
    x, y = point_mm[on_floor, 0], point_mm[on_floor, 1]
    rgb[on_floor] = _floor_rgb(floor, paint, x, y, pixel_mm[on_floor])
    normal[on_floor] = _floor_normal(floor, x, y, pixel_mm[on_floor])
    light = _AMBIENT + (1.0 - _AMBIENT) * np.clip(normal @ (_SUN / np.linalg.norm(_SUN)), 0.0, 1.0)
    rgb *= light[:, None]
    rgb[~np.isfinite(hits.distance)] = 0.9
    return np.asarray(np.clip(rgb, 0.0, 1.0) ** (1.0 / _GAMMA), dtype=np.float64)


def _floor_rgb(
    floor: InventedFloor,
    paint: Paint,
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    pixel_mm: NDArray[np.float64],
) -> NDArray[np.float64]:
    tone = 1.0 + 0.035 * paint.mottle.height_mm(x, y) - 0.10 * np.clip(paint.stains.height_mm(x, y) - 0.8, 0.0, 2.0)
    if floor.tiles is None:
        return np.asarray(tone[:, None] * (_GROUT_RGB + 0.2), dtype=np.float64)
    at = floor.tiles.place(x, y)
    tone *= paint.tile_tone[at.row % 16, at.col % 16]
    on_tile = np.clip(0.5 + floor.tiles.wall_distance_mm(at) / pixel_mm, 0.0, 1.0)[:, None]
    return np.asarray(on_tile * tone[:, None] * _TILE_RGB + (1.0 - on_tile) * _GROUT_RGB, dtype=np.float64)


def _floor_normal(
    floor: InventedFloor, x: NDArray[np.float64], y: NDArray[np.float64], pixel_mm: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Normals at the scale of a pixel, by differences."""
    half = pixel_mm / 2.0
    fall_x = (floor.height_mm(x - half, y) - floor.height_mm(x + half, y)) / pixel_mm
    fall_y = (floor.height_mm(x, y - half) - floor.height_mm(x, y + half)) / pixel_mm
    normal = np.stack([fall_x, fall_y, np.ones_like(fall_x)], axis=1)
    return np.asarray(normal / np.linalg.norm(normal, axis=1)[:, None], dtype=np.float64)
