"""How a text file lays out its points: header, separator, decimal sign and columns, from its first lines."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass

from flatscan.sources.clouds.number_rows import NumberFormat
from flatscan.units import LENGTH_UNITS

_SAMPLE_LINES = 200
_COMMENT = ("#", "//", "%", "!")
_NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?|[-+]?(nan|inf)", re.IGNORECASE)
_COMMA_NUMBER = re.compile(r"[-+]?\d+(,\d+)?([eE][-+]?\d+)?|[-+]?(nan|inf)", re.IGNORECASE)
_UNIT_IN_NAME = re.compile(r"[\[(_ ](mm|cm|m|in|ft)[\])]?$", re.IGNORECASE)
#: A unit in brackets, whose blanks must not part it from its name where blanks separate columns.
_UNIT_APART = re.compile(r"(?<=\w)[ \t]*[\[(][ \t]*(mm|cm|m|in|ft)[ \t]*[\])]", re.IGNORECASE)
_LEAST_COLUMNS = 3
_MOST_COLOUR = 255

_SPELLINGS: dict[str, tuple[str, ...]] = {
    "x": ("x", "easting", "east", "e", "posx", "xpos", "coordx", "xcoord", "xcoordinate", "rechtswert", "px"),
    "y": ("y", "northing", "north", "n", "posy", "ypos", "coordy", "ycoord", "ycoordinate", "hochwert", "py"),
    "z": ("z", "elevation", "elev", "posz", "zpos", "coordz", "zcoord", "zcoordinate", "altitude", "pz"),
    "red": ("r", "red", "diffusered"),
    "green": ("g", "green", "diffusegreen"),
    "blue": ("b", "blue", "diffuseblue"),
}


@dataclass(frozen=True, slots=True)
class TextLayout:
    """Where the numbers are.

    ``columns`` holds x, y, z and, where there, red, green, blue; ``skip_lines`` come before the
    first row; ``declared`` is a point count on a line of its own; ``unit`` is named in the header;
    ``step`` is one unit of the last decimal place written (0: exponents); ``named`` is whether a
    header names the columns.
    """

    form: NumberFormat
    columns: tuple[int, ...]
    skip_lines: int
    declared: int | None
    unit: str | None
    step: float
    named: bool


def sniff_layout(text: str) -> TextLayout | None:
    """The layout of a cloud of points, or None when the first lines are not rows of x, y, z.

    Parameters
    ----------
    text : the start of the file; a last line that may be cut off is not used
    """
    lines = text.splitlines()
    lines = lines[:-1] if len(lines) > 1 and not text.endswith("\n") else lines
    first = _first_row(lines)
    if first is None:
        return None
    form = _number_format(lines[first])
    rows = [_split(line, form) for line in lines[first : first + _SAMPLE_LINES] if line.strip()]
    names, unit = _names(lines[:first], form)
    columns = _columns(names, rows)
    if columns is None:
        return None
    return TextLayout(form, columns, first, _declared(lines[:first]), unit, _step(rows, columns, form), bool(names))


def _first_row(lines: list[str]) -> int | None:
    """Index of the first line of three or more numbers; None when text comes where rows should be."""
    for index, line in enumerate(lines):
        form = _number_format(line)
        tokens = _split(line, form)
        pattern = _COMMA_NUMBER if form.decimal_comma else _NUMBER
        if len(tokens) >= _LEAST_COLUMNS and all(pattern.fullmatch(t) for t in tokens[:_LEAST_COLUMNS]):
            return index
    return None


def _number_format(line: str) -> NumberFormat:
    """Separator and decimal sign of one row: a comma is a separator unless another one is there."""
    for delimiter in (";", "\t"):
        if delimiter in line:
            return NumberFormat(delimiter, decimal_comma="," in line)
    if "," not in line:
        return NumberFormat()
    words = line.split()
    if len(words) >= _LEAST_COLUMNS and all(_COMMA_NUMBER.fullmatch(w) for w in words):
        return NumberFormat(decimal_comma=True)
    return NumberFormat(",")


def _split(line: str, form: NumberFormat) -> list[str]:
    return [token.strip().strip('"') for token in line.strip().split(form.delimiter)]


def _declared(head: list[str]) -> int | None:
    counts = [int(line) for line in head if line.strip().isdecimal()]
    return counts[-1] if counts else None


def _plain(token: str) -> str:
    """A column name without unit, quotes and punctuation: ``"X [m]"`` and ``x_mm`` are x."""
    bare = _UNIT_IN_NAME.sub("", token.strip().strip('"').strip())
    return re.sub(r"[^a-z]", "", bare.lower())


def _names(head: list[str], form: NumberFormat) -> tuple[list[str], str | None]:
    """Column names from the last header or comment line that names an x, with the unit they carry."""
    for line in reversed(head):
        bare = _UNIT_APART.sub(r"[\1]", line.strip())
        for mark in _COMMENT:
            bare = bare.removeprefix(mark)
        # A header may use another separator than the rows, as in "# x y z" over comma rows.
        for delimiter in dict.fromkeys((form.delimiter, ",", ";", "\t", None)):
            tokens = [token.strip() for token in bare.strip().split(delimiter)]
            names = [_plain(token) for token in tokens]
            has = {axis: any(name in _SPELLINGS[axis] for name in names) for axis in "xyz"}
            if has["x"] and has["y"] and not has["z"]:
                return names, None
            if all(has.values()):
                at_x = next(token for token, name in zip(tokens, names, strict=True) if name in _SPELLINGS["x"])
                unit = _UNIT_IN_NAME.search(at_x.strip('"'))
                found = unit.group(1).lower() if unit else None
                return names, found if found in LENGTH_UNITS else None
    return [], None


def _columns(names: list[str], rows: list[list[str]]) -> tuple[int, ...] | None:
    if names:
        place = {
            field: next((i for i, name in enumerate(names) if name in spellings), None)
            for field, spellings in _SPELLINGS.items()
        }
        xyz = tuple(place[axis] for axis in "xyz")
        if None in xyz:
            return None
        rgb = tuple(place[c] for c in ("red", "green", "blue"))
        found = xyz if None in rgb else xyz + rgb
        return tuple(i for i in found if i is not None)
    start = 1 if _counts_up(rows) else 0
    width = len(rows[0])
    if width < start + _LEAST_COLUMNS:
        return None
    xyz_columns = (start, start + 1, start + 2)
    # x y z r g b, or x y z intensity r g b as many scanners write it.
    for first in (start + 3, start + 4):
        if width == first + 3 and all(_is_colour(token) for row in rows for token in row[first : first + 3]):
            return (*xyz_columns, first, first + 1, first + 2)
    return xyz_columns


def _counts_up(rows: list[list[str]]) -> bool:
    """Whether the first column numbers the points."""
    firsts = [row[0] for row in rows]
    if len(rows) < _LEAST_COLUMNS or len(rows[0]) <= _LEAST_COLUMNS or not all(t.isdecimal() for t in firsts):
        return False
    return all(int(b) - int(a) == 1 for a, b in itertools.pairwise(firsts))


def _is_colour(token: str) -> bool:
    return token.isdecimal() and int(token) <= _MOST_COLOUR


def _step(rows: list[list[str]], columns: tuple[int, ...], form: NumberFormat) -> float:
    """One unit in the last decimal place that the coordinates are written with."""
    sign = "," if form.decimal_comma else "."
    tokens = [row[c] for row in rows for c in columns[:3] if c < len(row)]
    if any("e" in token.lower() for token in tokens):
        return 0.0
    places = max((len(token.partition(sign)[2]) for token in tokens), default=0)
    return float(10.0**-places)
