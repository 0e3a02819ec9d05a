"""The room a sheet is made for: its walls, from a size or a list of corners."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.errors import SettingsError
from flatscan.sources.hand.lengths import LengthError, parse_length
from flatscan.sources.hand.room_line import room_outline
from flatscan.units import MM_PER

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

#: Smallest and largest side of a room that a sheet is made for, mm.
_SIDES_MM = (300.0, 60_000.0)
#: Corners nearer than this to where they should be are there, mm.
_NEAR_MM = 5.0
_LIKE_SIZE = "Write it like '5.0 x 4.0 m' or '16 ft x 13 ft'"
_LIKE_OUTLINE = "Write the corners in turn like '0,0 5,0 5,4 3,4 3,2.5 0,2.5', decimals with a point"


@dataclass(frozen=True, slots=True, eq=False)
class Room:
    """``outline_mm`` (k, 2) float64: its corners in turn, anticlockwise, the first one (0, 0), not repeated.

    Frame: x along a wall from corner 0, y square to it, into the room. ``size_mm``: its two sides where it is a plain
    rectangle given by them.
    """

    outline_mm: NDArray[np.float64]
    size_mm: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        self.outline_mm.setflags(write=False)

    @property
    def extent_mm(self) -> tuple[float, float]:
        """Largest width and depth."""
        width, depth = np.ptp(self.outline_mm, axis=0)
        return float(width), float(depth)

    @property
    def walls_at_corner_0_mm(self) -> tuple[float, float]:
        """Lengths of the wall along x from corner 0 and of the other one there."""
        along_x, other = self.outline_mm[1], self.outline_mm[-1]
        return float(np.hypot(*along_x)), float(np.hypot(*other))

    @property
    def area_mm2(self) -> float:
        """Area within the walls (the shoelace sum)."""
        x, y = self.outline_mm.T
        return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) / 2.0)


def room_of_size(text: str, *, bare_unit: str, option: str = "--room") -> Room:
    """A rectangular room from ``"5.0 x 4.0 m"``; its longer side becomes x. Raises SettingsError."""
    try:
        outline = room_outline(text, bare_unit)
    except LengthError:
        raise SettingsError(option, f"{text!r} is not the size of a room", _LIKE_SIZE) from None
    short, long = sorted(float(side) for side in outline[2])
    _check_sides(long, short, text, option)
    corners = np.array([(0.0, 0.0), (long, 0.0), (long, short), (0.0, short)])
    return Room(outline_mm=corners, size_mm=(long, short))


def room_of_outline(text: str, *, bare_unit: str, option: str = "--outline") -> Room:
    """A room of any shape from its corners ``"0,0 5,0 5,4 3,4 …"``, a unit at the end if any; raises SettingsError."""
    corners = _corners(text, bare_unit, option)
    if len(corners) > 1 and corners[0] == corners[-1]:
        corners = corners[:-1]
    if len(corners) < 3:  # noqa: PLR2004 - the least that enclose a floor
        raise SettingsError(option, f"{len(corners)} corners enclose no floor", _LIKE_OUTLINE)
    outline = np.array(corners, dtype=np.float64)
    _check_shape(outline, text, option)
    if _signed_area(outline) < 0.0:
        outline = outline[::-1]
    return Room(outline_mm=_from_corner_0(outline, option))


def _corners(text: str, bare_unit: str, option: str) -> list[tuple[float, float]]:
    body, unit = text.strip(), bare_unit
    ending = re.search(r"\s*\(?\s*(?:unit\s+)?(mm|cm|m|in|ft)\s*\)?$", body, re.IGNORECASE)
    if ending:
        body, unit = body[: ending.start()], ending[1].lower()
    pairs = [p.split() for p in body.split(";")] if ";" in body else [p.split(",") for p in body.split()]
    try:
        return [(parse_length(x, unit).mm, parse_length(y, unit).mm) for x, y in (pair for pair in pairs if pair)]
    except ValueError:  # of which a LengthError is one
        raise SettingsError(option, f"{text!r} is not a list of corners", _LIKE_OUTLINE) from None


def _check_sides(long: float, short: float, text: str, option: str) -> None:
    if short < _SIDES_MM[0] or long > _SIDES_MM[1]:
        least, most = (side / MM_PER["m"] for side in _SIDES_MM)
        raise SettingsError(
            option, f"{text!r} is no usable size of a room", f"Give sides between {least:g} and {most:g} m"
        )


def _check_shape(outline: NDArray[np.float64], text: str, option: str) -> None:
    from shapely import Polygon
    from shapely.validation import explain_validity

    width, depth = np.ptp(outline, axis=0)
    _check_sides(max(width, depth), min(width, depth), text, option)
    polygon = Polygon(outline)
    if not polygon.is_valid or polygon.area < _SIDES_MM[0] ** 2:
        place = re.search(r"\[(\S+) (\S+)\]", explain_validity(polygon))
        near = (
            "" if place is None else " near {:.2f}, {:.2f} m".format(*(float(v) / MM_PER["m"] for v in place.groups()))
        )
        raise SettingsError(option, f"the outline crosses itself{near}", "Give the corners in turn, each once")


def _signed_area(outline: NDArray[np.float64]) -> float:
    x, y = outline.T
    return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) / 2.0)


def _from_corner_0(outline: NDArray[np.float64], option: str) -> NDArray[np.float64]:
    """The corners from (0, 0) on. A person must find that corner and lay a tape along one of its walls."""
    advice = "Measure all corners from one inward corner of the room, x along one of its walls"
    nearest = int(np.argmin(np.hypot(*outline.T)))
    if np.hypot(*outline[nearest]) > _NEAR_MM:
        raise SettingsError(option, "no corner of the room is at 0,0", advice)
    turned = np.roll(outline, -nearest, axis=0)
    after, before = turned[1], turned[-1]
    if after[0] * before[1] - after[1] * before[0] <= 0.0:
        raise SettingsError(option, "0,0 is a corner that juts into the room", advice)
    if not _lies_along_x(after):
        raise SettingsError(option, "x does not run along a wall from 0,0, with the room to the left of it", advice)
    return np.ascontiguousarray(turned)


def _lies_along_x(to: Sequence[float] | NDArray[np.float64]) -> bool:
    return bool(to[0] > 0.0 and abs(math.atan2(to[1], to[0])) * math.hypot(*to) <= _NEAR_MM)
