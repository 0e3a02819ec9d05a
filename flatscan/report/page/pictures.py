"""The page's pictures, made smaller together where the page would else be too large to send."""

from __future__ import annotations

import base64

from flatscan.report.record.pictures import fitted

#: Whole page; letters and data leave the pictures what is left of it.
MOST_PAGE_BYTES = 6_000_000
#: However large the data is, pictures of less cannot be read.
_LEAST_BYTES = 600_000
_MOST_PIXELS = 2500
#: base64 writes three bytes as four letters.
_LETTERS_PER_BYTE = 4.0 / 3.0


def as_letters(pictures: dict[str, bytes], other_letters: int) -> dict[str, str]:
    """Each picture as base64; "" for none. All are scaled alike where together they are too large.

    Parameters
    ----------
    pictures : PNG or JPEG by name; b"" for one that there is not
    other_letters : what else the page holds
    """
    room = max(_LEAST_BYTES, (MOST_PAGE_BYTES - other_letters) / _LETTERS_PER_BYTE)
    share = room / max(1, sum(map(len, pictures.values())))
    if share < 1.0:
        pictures = {
            name: fitted(picture, most_pixels=_MOST_PIXELS, most_bytes=int(share * len(picture)))
            for name, picture in pictures.items()
        }
    return {name: base64.b64encode(picture).decode() for name, picture in pictures.items()}
