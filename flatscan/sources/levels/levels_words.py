"""The words a levels table may use in its header and in its ``# key: value`` lines.

Columns: ``x`` (or ``east``), ``y`` (or ``north``) and one of ``height`` (``z``, ``elevation``; grows as
the floor rises) or ``staff`` (``rod``; a reading on a staff standing on the floor, grows as the floor
falls). A column called ``reading`` needs a line ``# sign: height`` or ``# sign: staff``. A unit follows in
brackets or after an underscore: ``x [m]``, ``reading_mm``, ``height (in)``. Other columns are not used.

Lines, anywhere above or in the table:

    # unit: mm                     of every column that does not say its own
    # sign: staff                  or height: what a column called reading means
    # reading sigma_mm: 0.5        one standard uncertainty of one reading
    # instrument resolution_mm: 1  smallest step the reading was written in
    # gravity: no                  heights are not from a level (yes is the rule)
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from flatscan.errors import InputError
from flatscan.units import LENGTH_UNITS, mm_per

if TYPE_CHECKING:
    from collections.abc import Sequence

Sign = Literal["height", "staff"]

COLUMN_WORDS: dict[str, tuple[str, ...]] = {
    "x": ("x", "east"),
    "y": ("y", "north"),
    "height": ("height", "z", "elevation"),
    "staff": ("staff", "staff reading", "rod", "rod reading"),
    "reading": ("reading",),
}
_MEANING_OF = {word: meaning for meaning, words in COLUMN_WORDS.items() for word in words}
_UNIT_WORDS = {"millimetre": "mm", "millimeter": "mm", "metre": "m", "meter": "m", "inch": "in", "foot": "ft"}
_BRACKETED = re.compile(r"^(.*?)\s*[\[(]\s*([^\])]+?)\s*[\])]$")
_LINE = re.compile(r"^#+\s*([^:=]+?)\s*[:=]\s*(.+?)\s*$")
#: First words of the lines above: a line that starts so and is not understood is a typing error.
_FIRST_WORDS = ("unit", "sign", "reading", "instrument", "gravity")
_LINE_ADVICE = "Write it like: # unit: mm, # sign: staff, # reading sigma_mm: 0.5, # gravity: yes"


@dataclass(frozen=True, slots=True)
class Column:
    """What a header cell says: ``meaning`` is a key of COLUMN_WORDS or "" (not used), unit or None."""

    meaning: str
    unit: str | None
    title: str


@dataclass(frozen=True, slots=True)
class TableFacts:
    """What the ``#`` lines state; None: unstated."""

    unit: str | None = None
    sign: Sign | None = None
    sigma_mm: float | None = None
    resolution_mm: float | None = None
    gravity: bool | None = None


def unit_named(text: str) -> str | None:
    """The length unit a word means, or None.

    >>> unit_named("MM"), unit_named("inch"), unit_named("kg")
    ('mm', 'in', None)
    """
    word = text.strip().lower().rstrip(".")
    word = _UNIT_WORDS.get(word, _UNIT_WORDS.get(word.removesuffix("s"), word))
    return word if word in LENGTH_UNITS else None


def column(title: str) -> Column:
    """Meaning and unit of a header cell.

    >>> column("Reading_mm").meaning, column("x [m]").unit, column("note").meaning
    ('reading', 'm', '')
    """
    text, unit = split_title(title)
    meaning = _meaning(text)
    return Column(meaning, unit if meaning or not (unit or "").startswith("?") else None, title.strip())


def is_level(title: str) -> bool:
    """Whether a header cell names a level reading.

    >>> is_level("staff [mm]"), is_level("x [m]"), is_level("value_mm")
    (True, False, False)
    """
    return column(title).meaning in ("height", "staff", "reading")


def split_title(title: str) -> tuple[str, str | None]:
    """A header cell without its unit, and the unit; ``?word`` for what stands in brackets and is no unit.

    >>> split_title("x [m]"), split_title("u_mm"), split_title("to x"), split_title("x (kg)")
    (('x', 'm'), ('u', 'mm'), ('to x', None), ('x', '?kg'))
    """
    text = title.strip()
    bracketed = _BRACKETED.match(text)
    if bracketed:
        return bracketed[1], unit_named(bracketed[2]) or f"?{bracketed[2]}"
    head, cut, tail = text.replace(" ", "_").rpartition("_")
    unit = unit_named(tail) if cut else None
    return (text, None) if unit is None else (head, unit)


def _meaning(text: str) -> str:
    return _MEANING_OF.get(text.strip().lower().replace("_", " "), "")


def has_levels_header(titles: Sequence[str], *, z: bool = False) -> bool:
    """Whether a header names x, y and a level reading; ``z``: a column so called is one (a cloud has it too)."""
    columns = [column(t) for t in titles]
    meanings = {c.meaning for c in columns if z or c.title.strip().lower() != "z"}
    return {"x", "y"} <= meanings and bool(meanings & {"height", "staff", "reading"})


def facts_with(facts: TableFacts, line: str, where: str) -> TableFacts:
    """``facts`` with what one ``#`` line adds; free comments add nothing. Raises InputError."""
    match = _LINE.match(line)
    words = line.lstrip("# \t").lower().split()
    if match is None:
        return facts
    key, value = " ".join(match[1].lower().split()), match[2]
    known = {
        "unit": lambda: replace(facts, unit=_unit(value, where)),
        "sign": lambda: replace(facts, sign=_sign(value, where)),
        "reading sigma_mm": lambda: replace(facts, sigma_mm=_length(value, where)),
        "instrument resolution_mm": lambda: replace(facts, resolution_mm=_length(value, where)),
        "gravity": lambda: replace(facts, gravity=_yes(value, where)),
    }
    if key in known:
        return known[key]()
    if words and words[0].rstrip(":=") in _FIRST_WORDS:
        raise InputError(where, f"the line {line.strip()!r} is not understood", _LINE_ADVICE)
    return facts


def column_mm(found: Column, facts: TableFacts, asked_unit: str | None, where: str) -> float:
    """Millimetres per unit of a column: its own unit, else the table's, else the option's; raises InputError."""
    if found.unit is not None and found.unit.startswith("?"):
        raise InputError(where, f"{found.unit[1:]!r} is not a length unit", f"Use one of {', '.join(LENGTH_UNITS)}")
    unit = found.unit or facts.unit or asked_unit
    if unit is None:
        raise InputError(
            where,
            f"the unit of column {found.title!r} is not stated",
            f"Write it in the header, e.g. {found.title} [mm], or add a line # unit: mm, or state --unit",
        )
    return mm_per(unit)


def _unit(value: str, where: str) -> str:
    unit = unit_named(value)
    if unit is None:
        raise InputError(where, f"{value!r} is not a length unit", f"Use one of {', '.join(LENGTH_UNITS)}")
    return unit


def _sign(value: str, where: str) -> Sign:
    word = value.strip().lower()
    if word == "staff":
        return "staff"
    if word == "height":
        return "height"
    raise InputError(where, f"sign {value!r} is not understood", "Write # sign: staff or # sign: height")


def _yes(value: str, where: str) -> bool:
    word = value.strip().lower()
    if word not in {"yes", "no"}:
        raise InputError(where, f"gravity {value!r} is not understood", "Write # gravity: yes or # gravity: no")
    return word == "yes"


def _length(value: str, where: str) -> float:
    try:
        length = float(value.replace(",", "."))
    except ValueError:
        length = math.nan
    if not (math.isfinite(length) and length > 0.0):
        raise InputError(where, f"{value!r} is not a positive length", "Write a plain number of millimetres")
    return length
