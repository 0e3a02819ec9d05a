"""A floor as seen from straight above, by formula: for tests that need a picture and no camera."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.synth.tile_paint import place_rgb, shade

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.synth.floor import InventedFloor
    from flatscan.synth.tile_paint import TilePaint

_GAMMA = 2.2
#: Light on white paper.
_LIGHT = 1.25
_ROWS_AT_ONCE = 256


def plan_picture(
    floor: InventedFloor,
    paint: TilePaint,
    *,
    pixel_mm: float,
    blur_px: float,
    noise: float,
    rng: np.random.Generator,
    shadows: bool = False,
) -> NDArray[np.uint8]:
    """Picture (rows, cols, 3) of the room's bounding box, gamma 2.2; row 0 at the least y, column 0 at the least x.

    Edges between tile and grout lie at the tiles' walls, softened by the pixel, then by the lens.

    Parameters
    ----------
    blur_px : sigma of the lens, pixels
    noise : standard deviation of a channel in 8-bit steps at middle grey; it grows with the root of the light
    shadows : strips of soft shadow across the floor
    """
    low, high = floor.outline_mm.min(axis=0), floor.outline_mm.max(axis=0)
    cols, rows = np.ceil((high - low) / pixel_mm - 1e-9).astype(int)
    x_mm, y_mm = (low[k] + (np.arange(n) + 0.5) * pixel_mm for k, n in enumerate((cols, rows)))
    linear = np.empty((rows, cols, 3), dtype=np.float32)
    for first in range(0, rows, _ROWS_AT_ONCE):
        y = y_mm[first : first + _ROWS_AT_ONCE]
        spot = np.tile(x_mm, (len(y), 1)), np.tile(y[:, None], (1, cols))
        band = place_rgb(paint, floor, *spot, pixel_mm)
        linear[first : first + len(y)] = band * shade(paint, *spot)[..., None] if shadows else band
    linear *= _LIGHT
    if blur_px > 0:
        from cv2 import BORDER_REPLICATE, GaussianBlur

        linear = np.asarray(GaussianBlur(linear, (0, 0), blur_px, borderType=BORDER_REPLICATE), dtype=np.float32)
    return developed(linear, noise, rng)


def developed(linear: NDArray[np.float32], noise: float, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Linear light as 8-bit values. ``noise``: standard deviation at middle grey (128), in 8-bit steps.

    Shot noise grows with the root of linear light L; the gamma curve L^(1/2.2) turns a spread s of L into
    s · 255/2.2 · L^(1/2.2 − 1).
    """
    grey = np.float32((128.0 / 255.0) ** _GAMMA)
    light = np.clip(linear, 0.0, 1.0)
    if noise > 0:
        steepness = np.float32(255.0 / _GAMMA) * grey ** np.float32(1.0 / _GAMMA - 1.0)
        spread = np.float32(noise) / steepness
        light = light + spread * np.sqrt(light / grey) * rng.standard_normal(light.shape, dtype=np.float32)
        light = np.clip(light, 0.0, 1.0)
    return np.asarray(np.rint(255.0 * light ** np.float32(1.0 / _GAMMA)), dtype=np.uint8)
