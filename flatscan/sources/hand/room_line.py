"""The room as one line of the readings table states it: ``5.0 x 4.0 m``, or its corners one after the other."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from flatscan.sources.hand.lengths import LengthError, parse_length
from flatscan.sources.levels.levels_words import unit_named

if TYPE_CHECKING:
    from numpy.typing import NDArray

_TIMES = re.compile(r"\s*[x×]\s*|\s+by\s+", re.IGNORECASE)
_UNIT_NOTE = re.compile(r"[\[(]\s*(?:unit\s*)?([^\])]+?)\s*[\])]\s*$", re.IGNORECASE)
_LAST_UNIT = re.compile(r"([a-z]+|['\"])$", re.IGNORECASE)
_ROOM_ADVICE = "Write it like: # room: 5.0 x 4.0 m"
_OUTLINE_ADVICE = "Write it like: # outline: 0 0; 5 0; 5 4; 0 4 (unit m)"
_LEAST_SIDE_MM = 100.0
_FARTHEST_MM = 500_000.0


def room_outline(text: str, unit: str | None) -> NDArray[np.float64]:
    """(4, 2) float64 mm: corners of a rectangle from (0, 0); raises LengthError.

    >>> room_outline("5.0 x 4.0 m", None).tolist()
    [[0.0, 0.0], [5000.0, 0.0], [5000.0, 4000.0], [0.0, 4000.0]]
    """
    sides = _TIMES.split(text.strip())
    if len(sides) != 2:  # noqa: PLR2004 - length and width
        raise LengthError(f"the room {text!r} is not understood", _ROOM_ADVICE)
    last = _LAST_UNIT.search(sides[1])
    shared = (unit_named(last[1]) if last else None) or unit
    length, width = (parse_length(side, shared).mm for side in sides)
    if not all(_LEAST_SIDE_MM <= side <= _FARTHEST_MM for side in (length, width)):
        raise LengthError(f"{text!r} is no room's size", _ROOM_ADVICE)
    return np.array([(0.0, 0.0), (length, 0.0), (length, width), (0.0, width)])


def corner_outline(text: str, unit: str | None) -> NDArray[np.float64]:
    """(k, 2) float64 mm: corners in turn, the first not repeated; raises LengthError.

    >>> corner_outline("0 0; 5 0; 5 4,5 (unit m)", None).tolist()
    [[0.0, 0.0], [5000.0, 0.0], [5000.0, 4500.0]]
    """
    from shapely.geometry import Polygon

    noted = _UNIT_NOTE.search(text)
    bare = (text[: noted.start()] if noted else text).strip().rstrip(";")
    last = _LAST_UNIT.search(bare)
    shared = unit_named(noted[1]) if noted else unit_named(last[1]) if last else None
    corners = [_corner(pair, shared or unit) for pair in bare.split(";")]
    if len(corners) > 1 and corners[0] == corners[-1]:
        corners.pop()
    polygon = Polygon(corners) if len(corners) > 2 else None  # noqa: PLR2004 - a triangle at least
    if polygon is None or not polygon.is_valid or polygon.area < _LEAST_SIDE_MM**2:
        raise LengthError(f"the corners {bare!r} enclose no room, or cross", _OUTLINE_ADVICE)
    outline = np.array(corners)
    if np.ptp(outline, axis=0).max() > _FARTHEST_MM:
        raise LengthError(f"{text!r} is no room's size", _OUTLINE_ADVICE)
    return outline


def _corner(pair: str, unit: str | None) -> tuple[float, float]:
    parts = pair.split()
    if len(parts) == 1:
        parts = pair.split(",")
    if len(parts) == 3 and unit_named(parts[2]):  # noqa: PLR2004 - x y unit
        parts.pop()
    if len(parts) != 2:  # noqa: PLR2004 - x and y
        raise LengthError(f"the corner {pair.strip()!r} is not x and y", _OUTLINE_ADVICE)
    x, y = (parse_length(part.strip().removesuffix(","), unit).mm for part in parts)
    return x, y
