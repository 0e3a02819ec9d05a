"""One photo drawn into the picture where it was chosen: undistorted, laid on the measured heights, seen from above."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.picture.rectify_kernel import lay, pixel_places
from flatscan.surface.picture.tones import brightened, brightness

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from flatscan.surface.picture.ground import Ground, MapGrid
    from flatscan.surface.picture.posed_photo import PosedPhoto

#: Pixels of the picture worked on at once, each way: bounds the memory and what the library can address.
_BLOCK = 2048


@dataclass(frozen=True, slots=True, eq=False)
class Canvas:
    """The picture being drawn: ``tone`` (rows, cols) float32 NaN where nothing is, ``rgb`` (rows, cols, 3) uint8."""

    tone: NDArray[np.float32]
    rgb: NDArray[np.uint8]
    grid: MapGrid
    per_cell: int

    @classmethod
    def blank(cls, grid: MapGrid, per_cell: int) -> Canvas:
        """Nothing drawn; ``per_cell`` pixels along each side of a map cell."""
        shape = (grid.shape[0] * per_cell, grid.shape[1] * per_cell)
        return cls(np.full(shape, np.nan, np.float32), np.zeros((*shape, 3), np.uint8), grid, per_cell)

    @property
    def pixel_mm(self) -> float:
        """Side of a pixel."""
        return self.grid.cell_mm / self.per_cell


def draw_photo(
    canvas: Canvas,
    photo: PosedPhoto,
    pixels: NDArray[np.uint8],
    chosen: NDArray[np.int32],
    number: int,
    ground: Ground,
    *,
    gain: float,
    shrink: int = 1,
) -> None:
    """Draw a photo into its cells.

    Parameters
    ----------
    pixels : (h, w, 3) uint8, the photo
    chosen : (r, c) number of the photo chosen at each map cell
    number : this photo's
    gain : factor on its light
    shrink : whole factor by which the photo is first made smaller (its pixels are much finer than the picture's)
    """
    import cv2

    if shrink > 1:
        pixels = _smaller(pixels, shrink)
    intrinsics = np.array(
        [photo.fx / shrink, photo.fy / shrink, (photo.cx + 0.5) / shrink - 0.5, (photo.cy + 0.5) / shrink - 0.5]
    )
    camera_from_floor = np.linalg.inv(photo.floor_from_camera)
    for window in _windows(chosen == number, canvas.per_cell):
        places, bounds = pixel_places(
            np.array(window),
            *canvas.grid.origin_mm,
            canvas.pixel_mm,
            chosen,
            number,
            canvas.per_cell,
            ground.height_mm,
            *ground.origin_mm,
            ground.cell_mm,
            camera_from_floor,
            intrinsics,
            np.array(photo.lens),
            photo.fold_r2,
        )
        part = _part(bounds, pixels.shape[:2])
        if part is None:
            continue
        places[0] -= part[1].start
        places[1] -= part[0].start
        needed = np.ascontiguousarray(pixels[part])
        light = cv2.remap(
            brightness(needed) * np.float32(gain),
            places[0],
            places[1],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=float("nan"),
        )
        looks = cv2.remap(
            brightened(needed, gain), places[0], places[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT
        )
        lay(canvas.tone, canvas.rgb, light, looks, window[0], window[2])


def _smaller(pixels: NDArray[np.uint8], factor: int) -> NDArray[np.uint8]:
    """Means of blocks; a remainder at the far borders is dropped."""
    import cv2

    height, width = (n // factor for n in pixels.shape[:2])
    whole = np.ascontiguousarray(pixels[: height * factor, : width * factor])
    return np.asarray(cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _windows(cells: NDArray[np.bool_], per_cell: int) -> Iterator[tuple[int, int, int, int]]:
    """First row, rows, first column, columns of blocks of pixels that hold all ``cells``."""
    row, col = np.nonzero(cells)
    if not len(row):
        return
    step = max(1, _BLOCK // per_cell)
    for top in range(int(row.min()), int(row.max()) + 1, step):
        for left in range(int(col.min()), int(col.max()) + 1, step):
            within = cells[top : min(top + step, row.max() + 1), left : min(left + step, col.max() + 1)]
            if within.any():
                rows, cols = within.shape
                yield top * per_cell, rows * per_cell, left * per_cell, cols * per_cell


def _part(bounds: NDArray[np.float64], shape: tuple[int, int]) -> tuple[slice, slice] | None:
    """Rows and columns of the photo that hold all places within the bounds; None when there are none."""
    if not bounds[0] <= bounds[1]:
        return None
    height, width = shape
    col0, row0 = (max(int(np.floor(low)) - 1, 0) for low in (bounds[0], bounds[2]))
    col1, row1 = min(int(np.ceil(bounds[1])) + 2, width), min(int(np.ceil(bounds[3])) + 2, height)
    if row1 <= row0 or col1 <= col0:
        return None
    return slice(row0, row1), slice(col0, col1)
