"""The floor from straight above as a bare picture that the page lays under its marks."""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.report.picture import floor
from flatscan.report.picture.floor_photo import MOST_PIXELS, shown_pixels

if TYPE_CHECKING:
    from flatscan.surface.picture.floor_picture import FloorPicture

#: Longest side in pixels, and largest file: the next quality where the one before is too large.
_MOST_PIXELS, MOST_BYTES = 1600, 900_000
_QUALITY = (82, 68, 50, 35)


def place_of_photo(picture: FloorPicture) -> dict[str, Any]:
    """Where :func:`photo_jpg` lies: outer corner nearest to the floor's own, size of a pixel, and its first row's side.

    ``flipped``: the picture's first row is the far one (largest y), as pictures are stored.
    """
    first, second = _steps(picture)
    height, width = (math.ceil(math.ceil(side / first) / second) for side in picture.tone.shape)
    return {
        "origin_mm": [float(x) for x in picture.origin_mm],
        "mm_per_pixel": first * second * picture.pixel_mm,
        "width": width,
        "height": height,
        "flipped": True,
    }


def photo_jpg(picture: FloorPicture) -> bytes:
    """JPEG of the pixels that :func:`place_of_photo` tells of, first row the far one."""
    from PIL import Image

    _, step = _steps(picture)
    shown = shown_pixels(picture)
    pixels = np.stack([floor.block_mean(shown[..., band], step) for band in range(3)], axis=2)
    image = Image.fromarray(np.rint(pixels[::-1] * 255.0).astype(np.uint8))
    buffer = io.BytesIO()
    for quality in _QUALITY:
        buffer = io.BytesIO()
        image.save(buffer, format="JPEG", quality=quality)
        if buffer.tell() <= MOST_BYTES:
            break
    return buffer.getvalue()


def _steps(picture: FloorPicture) -> tuple[int, int]:
    """Sides of the square blocks that ``shown_pixels`` makes one of, and of those that are made one after it."""
    first = floor.block_step(picture.tone.shape, MOST_PIXELS)
    shown = tuple(math.ceil(side / first) for side in picture.tone.shape)
    return first, floor.block_step(shown, _MOST_PIXELS)
