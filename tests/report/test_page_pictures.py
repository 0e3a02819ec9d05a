"""Pictures give way so that the page can be sent."""

from __future__ import annotations

import base64
import io

import numpy as np
from PIL import Image

from flatscan.report.page.pictures import MOST_PAGE_BYTES, as_letters


def noise(form: str, side: int = 1100) -> bytes:
    """A picture that packs badly."""
    buffer = io.BytesIO()
    pixels = np.random.default_rng(1).integers(0, 255, (side, side, 3), dtype=np.uint8)
    Image.fromarray(pixels).save(buffer, form)
    return buffer.getvalue()


def test_small_pictures_stay_as_they_are() -> None:
    letters = as_letters({"map": b"\x89PNG picture", "floor": b""}, 1_000_000)
    assert base64.b64decode(letters["map"]) == b"\x89PNG picture"
    assert letters["floor"] == ""


def test_large_ones_share_what_the_data_leaves() -> None:
    pictures = {"map": noise("PNG"), "floor": noise("JPEG", 1700), "after": b""}
    assert sum(map(len, pictures.values())) > 4_500_000
    letters = as_letters(pictures, 2_500_000)
    assert sum(map(len, letters.values())) <= MOST_PAGE_BYTES - 2_500_000
    sizes = [Image.open(io.BytesIO(base64.b64decode(letters[name]))).size for name in ("map", "floor")]
    assert all(min(size) > 500 for size in sizes)
