"""The header of a readings table: which column means what, in which unit, and which are stations of the bar."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from flatscan.errors import InputError
from flatscan.sources.hand.lengths import LengthError, UnitMissingError, parse_length
from flatscan.sources.levels.levels_words import split_title

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.sources.levels.levels_rows import RawTable

#: What a header may call a column, besides its own name; spaces, hyphens and underscores are alike.
_OTHER_WORDS = {"no": "number", "nr": "number", "setup": "set_up", "unit_u": "u", "east": "x", "north": "y"}
#: Columns that hold a place or a length along the floor: their unit may come from ``# place unit``.
PLACE_COLUMNS = frozenset({"x", "y", "to_x", "to_y", "edge"})
#: Columns that hold what was read: their unit may come from ``# unit``.
READING_COLUMNS = frozenset({"value", "u"})
TEXT_COLUMNS = frozenset({
    "number", "what", "rule", "set_up", "line", "joint", "where", "instrument", "resolves", "note", "turned", "time",
})  # fmt: skip
#: No other table has these; one of so many whose column what or x goes by another name is told so.
_ITS_OWN = frozenset({"to_x", "to_y", "rule", "joint", "edge", "value"})
_ENOUGH = 3
#: A header that serves most tables, for advice.
HEADER = "what, x_m, y_m, to_x_m, to_y_m, joint, edge_m, value_mm, u_mm, 0.25 m, 0.50 m, note"
_STATION = re.compile(r"(?:(?:gap|station)?\s*at|station|gap)\s+", re.IGNORECASE)
_STARTS_LIKE_A_NUMBER = re.compile(r"[\d.,½¼¾⅛⅜⅝⅞⅓⅔]")


@dataclass(frozen=True, slots=True)
class FieldColumn:
    """A column: where it is, the unit its title states, and the title as written."""

    index: int
    unit: str | None
    title: str


@dataclass(frozen=True, slots=True)
class FieldColumns:
    """Columns by meaning; ``stations``: (distance from the start in mm, column), rising; titles of no use."""

    by_meaning: dict[str, FieldColumn]
    stations: tuple[tuple[float, FieldColumn], ...]
    unused: tuple[str, ...]

    def title(self, meaning: str) -> str:
        """What the table calls a column, or what it should."""
        found = self.by_meaning.get(meaning)
        unit = "m" if meaning in PLACE_COLUMNS else "mm" if meaning in READING_COLUMNS else ""
        return found.title if found else f"{meaning}_{unit}".rstrip("_")


def meaning_of(title: str) -> tuple[str, str | None]:
    """What a title means ("" for nothing known) and the unit it states.

    >>> meaning_of("to_x_ft"), meaning_of("Value [in]"), meaning_of("set-up"), meaning_of("colour")
    (('to_x', 'ft'), ('value', 'in'), ('set_up', None), ('', None))
    """
    text, unit = split_title(title)
    word = re.sub(r"[\s_-]+", "_", text.strip().lower()).strip("_.")
    word = _OTHER_WORDS.get(word, word)
    return (word, unit) if word in PLACE_COLUMNS | READING_COLUMNS | TEXT_COLUMNS else ("", None)


def is_field_header(titles: Sequence[str]) -> bool:
    """Whether a header names what was read, and where; or so many columns of its own that it must be meant as one."""
    meanings = {meaning_of(title)[0] for title in titles}
    return {"what", "x"} <= meanings or len(meanings & _ITS_OWN) >= _ENOUGH


def columns_of_field(table: RawTable, place_unit: str | None) -> FieldColumns:
    """The table's columns by meaning.

    Parameters
    ----------
    place_unit : serves the stations whose title states no unit

    Raises
    ------
    InputError
        naming the header's row, for columns that are missing, given twice or in an unknown unit
    """
    where = f"{table.place}, row {table.header.number}"
    found: dict[str, FieldColumn] = {}
    stations: list[tuple[float, FieldColumn]] = []
    unused = []
    for index, title in enumerate(table.header.cells):
        meaning, unit = meaning_of(title)
        if meaning:
            if unit is not None and unit.startswith("?"):
                advice = "Use one of mm, cm, m, in, ft"
                raise InputError(f"{where}, column {title!r}", f"{unit[1:]!r} is not a unit of length", advice)
            if meaning in found:
                raise _twice(where, found[meaning].title, title, meaning)
            found[meaning] = FieldColumn(index, unit, title)
        elif is_station(title):
            stations.append((_station_mm(title, place_unit, where), FieldColumn(index, None, title)))
        elif title:
            unused.append(title)
    stations.sort(key=lambda station: station[0])
    for (here, first), (there, second) in pairwise(stations):
        if there - here < 0.5:  # noqa: PLR2004 - mm, finer than any station is set out
            raise _twice(where, first.title, second.title, f"the station at {here:g} mm")
    _check_needed(found, stations, where)
    return FieldColumns(found, tuple(stations), tuple(unused))


def is_station(title: str) -> bool:
    """Whether a title, which means nothing else, is a distance along the bar."""
    return bool(_STARTS_LIKE_A_NUMBER.match(_STATION.sub("", title, count=1)))


def _station_mm(title: str, place_unit: str | None, where: str) -> float:
    text = _STATION.sub("", title.replace("_", " "), count=1).strip("[]() ")
    here = f"{where}, column {title!r}"
    try:
        at_mm = parse_length(text, place_unit).mm
    except UnitMissingError as error:
        advice = f"Write it in the title, such as {text} m, or add a line # place unit: m"
        raise InputError(here, "nothing states the unit of this station", advice) from error
    except LengthError as error:
        raise InputError(here, f"as a station, {error.what}", "Write titles such as 0.25 m or 10 in") from error
    if at_mm < 0.0:
        raise InputError(
            here, "a station cannot lie before the start", "Write its distance from x, y towards to_x, to_y"
        )
    return at_mm


def _twice(where: str, first: str, second: str, meaning: str) -> InputError:
    if first == second:
        return InputError(where, f"two columns are called {first}", "Keep one of them")
    return InputError(where, f"the columns {first!r} and {second!r} both give {meaning}", "Keep one of them")


def _check_needed(found: dict[str, FieldColumn], stations: list[tuple[float, FieldColumn]], where: str) -> None:
    for name in ("what", "x", "y"):
        if name not in found:
            title = f"{name}_m" if name in PLACE_COLUMNS else name
            raise InputError(where, f"no column is called {title}", f"Write a header such as {HEADER}")
    if "value" not in found and not stations:
        what = "no column is called value_mm, and none is a station of a straightedge, such as 0.25 m"
        raise InputError(where, what, f"Write a header such as {HEADER}")
