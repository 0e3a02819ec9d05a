"""The ``# key: value`` lines of a readings table: units, the room, and what the instruments can be trusted for.

    # unit: mm                              of readings whose title or cell states none
    # place unit: m                         of places, distances and stations likewise
    # room: 5.0 x 4.0 m                     or  # outline: 0 0; 5 0; 5 4; 0 4 (unit m)
    # straightedge length: 2 m
    # straightedge resolution: 0.5 mm       smallest step gaps are read in
    # straightedge repeatability: 0.2 mm    one standard deviation of reading one gap again
    # straightedge straightness: 0.1 mm     standard uncertainty of its edge at mid-length
    # straightedge reversal: 0.3 mm         one gap read twice, the bar turned: half of it is the bow
    # feet height: 10 mm
    # level resolution: 1 mm                and level repeatability, level drift
    # level tilt: 0.1 mm/m                  or 1/8 in per 100 ft
    # gravity: yes                          the levels are against true gravity (yes is the rule)
    # joints searched: yes                  the whole floor was walked; the joints and lips listed are its worst
    # gaps searched: yes                    the bar was moved over the whole floor; the gaps listed are its deepest

Other lines that start with ``#`` are free comments; words in brackets at a line's end are too.
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from flatscan.constants import MM_PER_M
from flatscan.errors import InputError
from flatscan.sources.hand.lengths import LengthError, parse_length
from flatscan.sources.hand.room_line import corner_outline, room_outline
from flatscan.sources.levels.levels_words import unit_named

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_LINE = re.compile(r"#+\s*([^:=]+?)\s*[:=]\s*(.*?)\s*")
_REMARK = re.compile(r"\s*\([^()]*\)\s*$")
_PER = re.compile(r"\s+(?:per|at|in)\s+(?=\d)|\s+per\s+|(?<=[a-z'\"])\s*/\s*(?=[a-z\d])", re.IGNORECASE)

#: Lines of a length: the field it fills, whether its unit is that of places, and the most it can sensibly be, mm.
_LENGTHS: dict[str, tuple[str, bool, float]] = {
    "straightedge length": ("bar_length_mm", True, 20_000.0),
    "straightedge resolution": ("bar_step_mm", False, 20.0),
    "straightedge repeatability": ("bar_repeat_mm", False, 10.0),
    "straightedge straightness": ("bar_bow_mm", False, 20.0),
    "straightedge reversal": ("bar_reversal_mm", False, 20.0),
    "feet height": ("feet_mm", False, 200.0),
    "level resolution": ("level_step_mm", False, 50.0),
    "level repeatability": ("level_repeat_mm", False, 50.0),
    "level drift": ("level_drift_mm", False, 50.0),
}
#: These may be nothing at all: a bar that showed no difference when turned.
_MAY_BE_ZERO = {"straightedge straightness", "straightedge reversal", "level drift", "level tilt"}
_UNITS = {"unit": "unit", "place unit": "place_unit"}
_OTHERS = ("room", "outline", "level tilt", "gravity", "joints searched", "gaps searched")
_KEYS = (*_UNITS, *_LENGTHS, *_OTHERS)
_FIRST_WORDS = {key.split()[0] for key in _KEYS}
_MOST_TILT_MM_PER_M = 20.0


@dataclass(frozen=True, slots=True, eq=False)
class Stated:
    """What the lines state; None: nothing. ``rows``: the line each came from. ``unused``: lines with no use here.

    ``origin_mm``: what places are counted from, where they are written as map coordinates.
    """

    unit: str | None = None
    place_unit: str | None = None
    outline: NDArray[np.float64] | None = None
    bar_length_mm: float | None = None
    bar_step_mm: float | None = None
    bar_repeat_mm: float | None = None
    bar_bow_mm: float | None = None
    bar_reversal_mm: float | None = None
    feet_mm: float | None = None
    level_step_mm: float | None = None
    level_repeat_mm: float | None = None
    level_tilt_mm_per_m: float | None = None
    level_drift_mm: float | None = None
    gravity: bool | None = None
    joints_searched: bool = False
    gaps_searched: bool = False
    origin_mm: tuple[float, float] = (0.0, 0.0)
    rows: tuple[tuple[str, int], ...] = ()
    unused: tuple[str, ...] = ()


def stated_by(comments: tuple[tuple[int, str], ...], place: str, unit: str | None = None) -> Stated:
    """Read the lines; raises InputError naming the row of one that is not understood.

    Parameters
    ----------
    comments : row numbers and lines, ``#`` first
    place : the file, for messages
    unit : what serves where no line states a unit
    """
    found: dict[str, tuple[int, str]] = {}
    unused = []
    for row, line in comments:
        where = f"{place}, row {row}"
        match = _LINE.fullmatch(line)
        if match is None:
            continue
        key = " ".join(match[1].lower().replace("_", " ").split())
        if key in found:
            raise InputError(where, f"states {key} again, after row {found[key][0]}", "Keep one of the two lines")
        if key in _KEYS:
            found[key] = (row, match[2])
        elif "room" in key.split() and _is_room(match[2]):
            raise InputError(where, f"the line {line!r} is not understood", f"Write it like: # room: {match[2]}")
        elif key.split()[0] in _FIRST_WORDS or difflib.get_close_matches(key, _KEYS, cutoff=0.85):
            near = difflib.get_close_matches(key, _KEYS, n=1, cutoff=0.85)
            if near:
                raise InputError(where, f"the line {line!r} is not understood", f"Did you mean # {near[0]}?")
            unused.append(f"Line not used: {line}")
    if "room" in found and "outline" in found:
        raise InputError(
            f"{place}, row {found['outline'][0]}", "states an outline, and another line a room", "Keep one of the two"
        )
    stated = Stated(unused=tuple(unused), rows=tuple((key, row) for key, (row, _) in found.items()))
    for key in sorted(found, key=lambda k: k not in _UNITS):  # units first: the other lines need them
        row, text = found[key]
        try:
            stated = replace(stated, **_fields(key, text, stated, unit))
        except LengthError as error:
            raise InputError(f"{place}, row {row}, line # {key}", error.what, error.advice) from error
    return stated


def _is_room(text: str) -> bool:
    try:
        return room_outline(_REMARK.sub("", text), "m").size > 0
    except LengthError:
        return False


def _fields(key: str, text: str, stated: Stated, unit: str | None) -> dict[str, Any]:
    place_unit, reading_unit = stated.place_unit or unit, stated.unit or unit
    if key == "outline":
        return {"outline": corner_outline(text, place_unit)}
    bare = _REMARK.sub("", text)
    if key in _UNITS:
        named = unit_named(bare)
        if named is None:
            raise LengthError(f"{bare!r} is not a unit of length", "Use one of mm, cm, m, in, ft")
        return {_UNITS[key]: named}
    if key in _LENGTHS:
        field, is_place, most_mm = _LENGTHS[key]
        return {field: _size(key, bare, place_unit if is_place else reading_unit, most_mm)}
    if key == "room":
        return {"outline": room_outline(bare, place_unit)}
    if key == "level tilt":
        return {"level_tilt_mm_per_m": _tilt(bare)}
    return {key.replace(" ", "_"): _yes(key, bare)}


def _size(key: str, text: str, unit: str | None, most_mm: float) -> float:
    length_mm = parse_length(text, unit).mm
    least = 0.0 if key in _MAY_BE_ZERO else math.ulp(0.0)
    if not least <= length_mm <= most_mm:
        raise LengthError(f"{text!r} cannot be it", f"Write a length of at most {most_mm:g} mm, with its unit")
    return length_mm


def _tilt(text: str) -> float:
    """Millimetres per metre of ``0.1 mm/m`` or ``1/8 in per 100 ft``."""
    parts = _PER.split(text)
    if len(parts) != 2:  # noqa: PLR2004 - height and distance
        raise LengthError(f"{text!r} is not understood", "Write it like 0.1 mm/m or 1/8 in per 100 ft")
    distance = parts[1] if parts[1][:1].isdigit() else f"1 {parts[1]}"
    over_mm = parse_length(distance, None).mm
    tilt = parse_length(parts[0], None).mm / over_mm * MM_PER_M if over_mm > 0.0 else math.nan
    if not 0.0 <= tilt <= _MOST_TILT_MM_PER_M:
        raise LengthError(f"{text!r} is no level's tilt", "Write it like 0.1 mm/m")
    return tilt


def _yes(key: str, text: str) -> bool:
    word = text.lower()
    if word not in {"yes", "no"}:
        raise LengthError(f"{text!r} is not understood", f"Write # {key}: yes or # {key}: no")
    return word == "yes"
