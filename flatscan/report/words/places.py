"""Places and directions as a person finds them: two tapes from the corner marked 0 on the map."""

from __future__ import annotations

from flatscan import said
from flatscan.judgement.places import heading, place_in_words

__all__ = ["FRAME_TEXT", "NO_MAP_TEXT", "box", "heading", "point"]

FRAME_TEXT = "Left and bottom wall as on the map; both tapes start at the corner marked 0"
NO_MAP_TEXT = "Left and bottom wall as on the map that --out draws; both tapes start at its corner 0"


def point(at: tuple[float, float]) -> str:
    """A place as two tape measures from corner 0, to the centimetre.

    >>> point((2104.0, 950.0))
    '2.10 m from the left wall, 0.95 m from the bottom wall'
    """
    return place_in_words(at)


def box(low: tuple[float, float], high: tuple[float, float]) -> str:
    """A rectangle as two pairs of tape measures.

    >>> box((800.0, 600.0), (1900.0, 1500.0))
    '0.80 to 1.90 m from the left wall, 0.60 to 1.50 m from the bottom wall'
    """
    x, y = (said.tapes(a, b, between=" to ") for a, b in zip(low, high, strict=True))
    return f"{x} from the left wall, {y} from the bottom wall"
