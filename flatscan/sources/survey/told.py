"""What a survey records, in words: one line for a reading, a crack, a door, a zone, in the units of the run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan import said
from flatscan.sources.survey.kinds import BASE, METHOD, ZONE
from flatscan.sources.survey.site import MOISTURE_UNIT

if TYPE_CHECKING:
    from flatscan.measures.measurement import Point
    from flatscan.sources.survey.site import Moisture, SeenCrack, Tapped
    from flatscan.sources.survey.survey import Door, Zone

_LONG_TEXT = 72


def place(at_mm: Point) -> str:
    """A place on the map.

    >>> place((1200.0, 800.0))
    'at 1.20, 0.80 m'
    """
    return f"at {said.tapes(*at_mm)}"


def reading(moisture: Moisture) -> str:
    """A moisture reading with all that was written down of it."""
    spread = f" ± {moisture.plus_minus:g}" if moisture.plus_minus is not None else ""
    unit = MOISTURE_UNIT[moisture.method]
    parts = [f"{moisture.value:g}{spread} {unit} ({METHOD[moisture.method][0]})"]
    if moisture.base is not None:
        parts.append(BASE[moisture.base][0])
    if moisture.depth_mm is not None:
        parts.append(f"{said.length(moisture.depth_mm)} deep")
    if moisture.beneath_tiles is not None:
        parts.append("beneath the tiles" if moisture.beneath_tiles else "through the covering")
    if moisture.at_mm is not None:
        parts.append(place(moisture.at_mm))
    if moisture.limit is not None:
        parts.append(f"limit {moisture.limit:g} {unit} by {moisture.limit_source}")
    return ", ".join(parts)


def crack(seen: SeenCrack) -> str:
    """A crack with its course."""
    parts = ["from " + " to ".join(said.tapes(*at) for at in (seen.line_mm[0], seen.line_mm[-1]))]
    if seen.width_mm is not None:
        parts.append(f"{said.length(seen.width_mm)} wide")
    if seen.moves is not None:
        parts.append("it moves" if seen.moves else "it does not move")
    return ", ".join(parts)


def count(tapped: Tapped, number: int | None, at_mm: tuple[Point, ...]) -> str:
    """Of the tiles tapped, how many; "" where nobody counted."""
    if number is None and not at_mm:
        return ""
    of = f" of {tapped.tiles} tapped" if tapped.tiles is not None else ""
    if number is None:
        return f"{len(at_mm)} or more{of}"
    return f"{number}{of}" + (f" (place noted of {len(at_mm)})" if at_mm else "")


def door(one: Door) -> str:
    """A door's line and the rise that it allows."""
    rise = one.greatest_build_up_mm
    ends = " to ".join(said.tapes(*at) for at in one.line_mm)
    return f"from {ends}" + ("" if rise is None else f", rise of {said.length(rise)} at most")


def zone(one: Zone) -> str:
    """A zone's rule."""
    words = ZONE[one.kind][0]
    return words if one.value_mm is None else f"{words}, {said.length(one.value_mm)}"


def in_short(text: str) -> str:
    """The beginning of a longer text, on one line.

    >>> in_short("two lines" + chr(10) + "of a note")
    'two lines of a note'
    """
    line = " ".join(text.split())
    return line if len(line) <= _LONG_TEXT else f"{line[:_LONG_TEXT].rpartition(' ')[0] or line[:_LONG_TEXT]} ..."


def yes_no(value: bool | None, yes: str = "yes", no: str = "no") -> str:
    """The words for it; "" where it was not recorded."""
    if value is None:
        return ""
    return yes if value else no
