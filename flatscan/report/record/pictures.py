"""Pictures made as small as print allows, so that the record can be sent."""

from __future__ import annotations

import io


def fitted(picture: bytes, *, most_pixels: int, most_bytes: int) -> bytes:
    """The picture with no side over ``most_pixels`` and below ``most_bytes`` where possible; a PNG stays a PNG.

    A picture that is small enough comes back as it is; b"" stays b"".
    """
    if not picture:
        return b""
    from PIL import Image

    with Image.open(io.BytesIO(picture)) as opened:
        form = opened.format or "PNG"
        if max(opened.size) <= most_pixels and len(picture) <= most_bytes and opened.mode == "RGB":
            return picture
        image = opened.convert("RGB")
    side = min(most_pixels, max(image.size))
    while True:
        smaller = image.copy()
        smaller.thumbnail((side, side), Image.Resampling.LANCZOS)
        written = _written(smaller, form)
        if len(written) <= most_bytes or side <= _LEAST_PIXELS:
            return written
        side = int(side * _STEP)


#: A picture of which less is left cannot be read.
_LEAST_PIXELS = 400
_STEP = 0.8
_JPEG_QUALITY = 78


def _written(image: object, form: str) -> bytes:
    from PIL import Image

    if not isinstance(image, Image.Image):
        raise TypeError("not a picture")
    buffer = io.BytesIO()
    if form == "JPEG":
        image.save(buffer, "JPEG", quality=_JPEG_QUALITY, optimize=True)
    else:
        image.save(buffer, "PNG", optimize=True)
    return buffer.getvalue()
