"""Places, lines and outlines in a survey file: metres on the map, from corner 0, turned into floor-frame mm."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from flatscan.sources.survey.section import finite, kind_of
from flatscan.units import MM_PER

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.measurement import Point
    from flatscan.sources.survey.section import Section

#: No floor reaches further from its corner; a larger number is most likely in mm.
_FURTHEST_M = 1000.0
#: More than a person writes down.
_MOST_PLACES = 1000
_LEAST_AREA_MM2 = 100.0
_FEWEST_CORNERS = 3
_PLACE = "Write each place as [x, y] in metres from corner 0 of the map, with a point for decimals"


def places_mm(section: Section, key: str) -> tuple[Point, ...] | None:
    """A list of places; None where the key is not there. At least one, or ``InputError``."""
    if key not in section.values:
        return None
    return _places(section, key, section.values[key])


def line_mm(section: Section, key: str) -> tuple[Point, ...] | None:
    """One line through two or more places, no two in a row the same; None where the key is not there."""
    return None if key not in section.values else _line(section, key, section.values[key])


def lines_mm(section: Section, key: str) -> tuple[tuple[Point, ...], ...]:
    """A list of lines; one line alone need not stand in a list of its own. Empty where the key is not there."""
    value = section.values.get(key, [])
    if _depth(value) == 2:  # noqa: PLR2004 - a list of places is one line
        return (_line(section, key, value),)
    if not isinstance(value, list):
        raise section.refuse(
            f"{key} is {kind_of(value)}, not a list of lines", f"Write {key} = [[[0, 2.4], [5.1, 2.4]]]"
        )
    if len(value) > _MOST_PLACES:
        raise section.refuse(f"{key} has {len(value)} lines", f"Give {_MOST_PLACES} at most")
    return tuple(_line(section, f"{key}, line {k}", one) for k, one in enumerate(value, start=1))


def place_mm(section: Section, key: str) -> Point | None:
    """One place; None where the key is not there."""
    return _place(section, key, section.values[key]) if key in section.values else None


def outline_mm(section: Section, key: str, what: str = "zone") -> NDArray[np.float64] | None:
    """(k, 2) float64 corners of the polygon round ``what``, not closed; None where the key is not there.

    Raises ``InputError`` for fewer than three corners, sides that cross, and corners all on one line.
    """
    corners = places_mm(section, key)
    if corners is None:
        return None
    import shapely

    if len(corners) > 1 and corners[0] == corners[-1]:
        corners = corners[:-1]
    if len(set(corners)) < _FEWEST_CORNERS:
        raise section.refuse(f"{key} has {len(set(corners))} corners", f"Give three or more, in order round the {what}")
    if shapely.MultiPoint(corners).convex_hull.area < _LEAST_AREA_MM2:
        raise section.refuse(f"{key} lie on one line and enclose nothing", "Give the corners of an area, in metres")
    if not shapely.LinearRing(corners).is_simple:
        raise section.refuse(f"the sides between the {key} cross each other", f"Give them in order round the {what}")
    return np.array(corners, dtype=np.float64)


def _line(section: Section, name: str, value: object) -> tuple[Point, ...]:
    places = _places(section, name, value)
    if len(places) < 2:  # noqa: PLR2004 - two ends
        raise section.refuse(f"{name} has one place, and a line needs two", "Give both its ends, [[x, y], [x, y]]")
    for number, (one, other) in enumerate(pairwise(places), start=1):
        if one == other:
            what = f"places {number} and {number + 1} of {name} are the same"
            raise section.refuse(what, "Give two places that are apart")
    return places


def _places(section: Section, name: str, value: object) -> tuple[Point, ...]:
    if not isinstance(value, list) or not value:
        raise section.refuse(f"{name} is {_instead(value)}, not a list of places", _PLACE)
    if all(finite(part) is not None for part in value):
        raise section.refuse(f"{name} is a list of numbers, not of places", f"{_PLACE}, and [ ] round them all")
    if len(value) > _MOST_PLACES:
        raise section.refuse(f"{name} has {len(value)} places", f"Give {_MOST_PLACES} at most")
    return tuple(_place(section, f"place {k} of {name}", one) for k, one in enumerate(value, start=1))


def _place(section: Section, name: str, value: object) -> Point:
    if not isinstance(value, list):
        raise section.refuse(f"{name} is {kind_of(value)}, not two numbers", _PLACE)
    if len(value) != 2:  # noqa: PLR2004 - x and y
        hint = ", and use a point, not a comma, for decimals" if len(value) in (3, 4) else ""
        raise section.refuse(f"{name} has {len(value)} numbers, not two", f"Write [x, y] in metres{hint}")
    for part in value:
        number = finite(part)
        if number is None:
            raise section.refuse(f"{name} holds {kind_of(part)} in place of a number", _PLACE)
        if not abs(number) <= _FURTHEST_M:
            raise section.refuse(f"{name} holds {number:g}, further than any floor reaches", "Give metres, not mm")
    return float(value[0]) * MM_PER["m"], float(value[1]) * MM_PER["m"]


def _depth(value: object) -> int:
    """How deep lists are nested at the first element: 1 for a place, 2 for a line, 3 for lines."""
    depth = 0
    while isinstance(value, list) and value:
        depth, value = depth + 1, value[0]
    return depth


def _instead(value: object) -> str:
    return "empty" if value == [] else kind_of(value)
