"""Places and directions as a person finds them: two tapes from the corner marked 0 on the map."""

from __future__ import annotations

from flatscan.constants import MM_PER_M
from flatscan.judgement.places import heading

__all__ = ["FRAME_TEXT", "NO_MAP_TEXT", "box", "heading", "point"]

FRAME_TEXT = "Left and bottom wall as on the map; both tapes start at the corner marked 0"
NO_MAP_TEXT = "Left and bottom wall as on the map that --out draws; both tapes start at its corner 0"


def point(at: tuple[float, float]) -> str:
    """A place as two tape measures from corner 0, to the centimetre.

    >>> point((2104.0, 950.0))
    '2.10 m from the left wall, 0.95 m from the bottom wall'
    """
    x, y = (round(v / MM_PER_M, 2) + 0.0 for v in at)
    return f"{x:.2f} m from the left wall, {y:.2f} m from the bottom wall"


def box(low: tuple[float, float], high: tuple[float, float]) -> str:
    """A rectangle as two pairs of tape measures.

    >>> box((800.0, 600.0), (1900.0, 1500.0))
    '0.80 to 1.90 m from the left wall, 0.60 to 1.50 m from the bottom wall'
    """
    (x0, y0), (x1, y1) = ((v / MM_PER_M for v in corner) for corner in (low, high))
    return f"{x0:.2f} to {x1:.2f} m from the left wall, {y0:.2f} to {y1:.2f} m from the bottom wall"
