"""Pictures made as small as print allows, so that the record can be sent."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL.Image import Image as Picture

#: A picture of which less is left cannot be read.
_LEAST_PIXELS = 400
_STEP = 0.8
_JPEG_QUALITY = 78
#: White left around what is drawn, pixels.
_EDGE = 12


def fitted(picture: bytes, *, most_pixels: int, most_bytes: int, trim: bool = False) -> bytes:
    """The picture with no side over ``most_pixels`` and below ``most_bytes`` where possible; a PNG stays a PNG.

    ``trim``: a white border is cut off, so that more of the paper is the drawing. b"" stays b"".
    """
    if not picture:
        return b""
    from PIL import Image

    with Image.open(io.BytesIO(picture)) as opened:
        form = opened.format or "PNG"
        image = opened.convert("RGB")
    if trim:
        image = _trimmed(image)
    side = min(most_pixels, max(image.size))
    while True:
        smaller = image.copy()
        smaller.thumbnail((side, side), Image.Resampling.LANCZOS)
        written = _written(smaller, form)
        if len(written) <= most_bytes or side <= _LEAST_PIXELS:
            return written
        side = int(side * _STEP)


def _trimmed(image: Picture) -> Picture:
    from PIL import ImageOps

    box = ImageOps.invert(image).getbbox()
    if box is None:
        return image
    left, top, right, bottom = box
    wide, high = image.size
    return image.crop((max(0, left - _EDGE), max(0, top - _EDGE), min(wide, right + _EDGE), min(high, bottom + _EDGE)))


def _written(image: Picture, form: str) -> bytes:
    buffer = io.BytesIO()
    if form == "JPEG":
        image.save(buffer, "JPEG", quality=_JPEG_QUALITY, optimize=True)
    else:
        image.save(buffer, "PNG")
    return buffer.getvalue()
