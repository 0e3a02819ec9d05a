"""The detail a photo shows, laid coarsely on the ground: what photos are held against each other by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.picture.choice import MOST_VIEW_TAN
from flatscan.surface.picture.rectify_kernel import pixel_places

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.surface.picture.ground import Ground, MapGrid
    from flatscan.surface.picture.overlaps import Look
    from flatscan.surface.picture.posed_photo import PosedPhoto

#: Darker and brighter light than this says nothing of detail.
_LEAST_LIGHT, _MOST_LIGHT = 0.003, 0.97
#: Detail is the logarithm of light less its mean over about this distance each way.
_SURROUNDINGS_MM = 25.0
#: Detail stronger than this counts little more: a joint is deep and looks different from its two sides.
_FAINT = 0.02
_SMOOTH_PIXELS = 0.8
#: Places along each side of a photo that tell where it lies on the floor.
_ALONG = 9


@dataclass(frozen=True, slots=True, eq=False)
class LaidTone:
    """Detail of one photo on a window of the floor.

    ``detail`` (rows, cols) float32, 0 where not seen; ``seen`` (rows, cols) bool; ``row``, ``col``: where on the
    lattice of ``pixel_mm`` from ``origin_mm`` (x, y) the window begins.
    """

    detail: NDArray[np.float32]
    seen: NDArray[np.bool_]
    row: int
    col: int
    pixel_mm: float
    origin_mm: tuple[float, float]


def laid_tone(
    photo: PosedPhoto, look: Look, ground: Ground, grid: MapGrid, draw: NDArray[np.bool_], per_cell: int
) -> LaidTone | None:
    """The photo's detail on the cells of the map that it shows; None where it shows none.

    Parameters
    ----------
    look : its pixels about as large as the lattice's
    draw : (rows, cols) bool of the map
    per_cell : pixels of the lattice along a cell
    """
    import cv2

    window = _window(photo, grid)
    if window is None:
        return None
    row, rows, col, cols = window
    chosen = np.full(grid.shape, -1, np.int32)
    part = (slice(row, row + rows), slice(col, col + cols))
    chosen[part][draw[part]] = 0
    f = look.factor
    places, bounds = pixel_places(
        np.array(window) * per_cell,
        *grid.origin_mm,
        grid.cell_mm / per_cell,
        chosen,
        0,
        per_cell,
        ground.height_mm,
        *ground.origin_mm,
        ground.cell_mm,
        np.linalg.inv(photo.floor_from_camera),
        np.array([photo.fx / f, photo.fy / f, (photo.cx + 0.5) / f - 0.5, (photo.cy + 0.5) / f - 0.5]),
        np.array(photo.lens),
        photo.fold_r2,
    )
    if not bounds[0] <= bounds[1]:
        return None
    u, v = places
    nan = float("nan")
    light = np.asarray(
        cv2.remap(look.tone, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=nan), dtype=np.float32
    )
    pixel_mm = grid.cell_mm / per_cell
    seen = (light > _LEAST_LIGHT) & (light < _MOST_LIGHT)
    if not seen.any():
        return None
    return LaidTone(_detail(light, seen, pixel_mm), seen, row * per_cell, col * per_cell, pixel_mm, grid.origin_mm)


def _detail(light: NDArray[np.float32], seen: NDArray[np.bool_], pixel_mm: float) -> NDArray[np.float32]:
    import cv2

    tone = np.log(np.where(seen, light, np.float32(1.0)))
    side = 2 * round(_SURROUNDINGS_MM / pixel_mm) + 1
    total = cv2.blur(tone, (side, side), borderType=cv2.BORDER_CONSTANT)
    share = cv2.blur(seen.astype(np.float32), (side, side), borderType=cv2.BORDER_CONSTANT)
    off = tone - total / np.maximum(share, 1e-6)
    detail = np.where(seen, off / np.sqrt(off**2 + _FAINT**2), 0.0).astype(np.float32)
    # A joint is little wider than a pixel: unsmoothed, shifts would lean towards whole pixels.
    smooth = cv2.GaussianBlur(detail, (0, 0), _SMOOTH_PIXELS)
    return np.asarray(np.where(seen, smooth, 0.0), dtype=np.float32)


def _window(photo: PosedPhoto, grid: MapGrid) -> tuple[int, int, int, int] | None:
    """First row, rows, first column, columns of the map's cells that the photo can show."""
    import cv2

    width, height = photo.size
    u, v = np.linspace(0.0, width - 1.0, _ALONG), np.linspace(0.0, height - 1.0, _ALONG)
    pixels = np.array([(a, b) for a in u for b in v])
    matrix = np.array([[photo.fx, 0.0, photo.cx], [0.0, photo.fy, photo.cy], [0.0, 0.0, 1.0]])
    ray = cv2.undistortPoints(pixels[:, None], matrix, np.array(photo.lens))[:, 0]
    ray = np.column_stack([ray, np.ones(len(ray))]) @ photo.floor_from_camera[:3, :3].T
    above = float(photo.position_mm[2])
    if above <= 0.0 or not (ray[:, 2] < 0.0).any():
        return None
    flat = np.linalg.norm(ray[:, :2], axis=1)
    away = np.where(ray[:, 2] < 0.0, flat / np.maximum(-ray[:, 2], 1e-9), np.inf)
    away = np.minimum(away, MOST_VIEW_TAN) * above
    at = photo.position_mm[:2] + ray[:, :2] / np.maximum(flat, 1e-9)[:, None] * away[:, None]
    low = np.floor((at.min(axis=0) - grid.origin_mm) / grid.cell_mm).astype(int) - 1
    high = np.ceil((at.max(axis=0) - grid.origin_mm) / grid.cell_mm).astype(int) + 1
    col, row = np.maximum(low, 0).tolist()
    cols, rows = (np.minimum(high, grid.shape[::-1]) - (col, row)).tolist()
    return (row, rows, col, cols) if rows > 0 and cols > 0 else None
