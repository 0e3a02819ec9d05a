"""The next-readings file, filled in by hand: a CSV or XLSX table becomes hand readings."""

from __future__ import annotations

import difflib
import math
import re
from typing import TYPE_CHECKING, get_args

from flatscan.constants import MM_PER_M
from flatscan.errors import InputError
from flatscan.quantity import Quantity
from flatscan.sources.hand.hand_reading import HandReading, HandWhat
from flatscan.sources.hand.instruments import STEPS_PER_U, USUAL_STEP_MM, hand_u_mm
from flatscan.sources.levels.levels_rows import read_table

if TYPE_CHECKING:
    from pathlib import Path

    from flatscan.sources.levels.levels_rows import RawTable, Row

KINDS: tuple[HandWhat, ...] = get_args(HandWhat)
_HEADER = "what, x_m, y_m, joint, edge_m, value_mm, u_mm, note"
_NEEDED = ("what", "x_m", "y_m", "value_mm")
_KNOWN = (*_NEEDED, "number", "joint", "edge_m", "where", "instrument", "resolves", "u_mm", "note")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)")
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_UNREAD = {"", "-", "–", "n/a", "na"}
_OTHER_UNITS = ('"', "”", "″", "'", "cm", "in", "inch", "m", "ft", "µm", "um")
#: Further than this from a wall is not a room, larger than this is not a gap, a joint or a lip: another unit was meant.
_FARTHEST_M = 500.0
_LARGEST_MM = 200.0
#: Nobody reads a lip or a joint this badly; a decimal comma that cut a cell in two looks so.
_LARGEST_U_MM = 2.0
_EDGES_M = (0.05, 20.0)


def read_hand_readings(path: Path) -> tuple[HandReading, ...]:
    """Read the filled-in rows; rows without a value are left out.

    A value is in mm, with a decimal point or comma; ``<0.05`` means between 0 and that. ``u_mm`` may say one standard
    uncertainty; left empty, it follows from what the instrument resolves and its reader (``instruments.hand_u_mm``).

    Raises
    ------
    InputError
        naming row and column, for what is not understood, and where no row has a value
    """
    table = read_table(path, kind="readings table", header=_HEADER)
    columns = _columns(table)
    filled = []
    for row in table.rows:
        cells = _Cells(table, columns, row)
        if cells.text("value_mm").lower() not in _UNREAD:
            filled.append(_reading(cells))
    if not filled:
        raise InputError(
            table.place,
            f"no value is filled in: all {len(table.rows)} rows have an empty value_mm",
            "Write what you read in the column value_mm, or leave the file out",
        )
    return tuple(filled)


def _columns(table: RawTable) -> dict[str, int]:
    titles = [re.sub(r"[\s_\[\]()]+", "_", title.lower()).strip("_") for title in table.header.cells]
    where = f"{table.place}, row {table.header.number}"
    for name in _KNOWN:
        if titles.count(name) > 1:
            raise InputError(where, f"two columns are called {name}", "Keep one of them")
    for name in _NEEDED:
        if name not in titles:
            stem = name.partition("_")[0]
            other = next((t for t in titles if t.partition("_")[0] == stem and t not in _KNOWN), None)
            said = f"no column is called {name}" + (f", only {other}" if other else "")
            raise InputError(where, said, f"Write a header such as {_HEADER}")
    return {title: i for i, title in enumerate(titles) if title in _KNOWN}


class _Cells:
    """The cells of one row by column, and where they are, for messages."""

    def __init__(self, table: RawTable, columns: dict[str, int], row: Row) -> None:
        self.row, self._columns, self._place = row.number, columns, table.place
        # An empty cell too many counts as well: 0,5 without quotes would else be read as 0 with u 5.
        if len(row.cells) > len(table.header.cells) and (
            table.delimiter == "," or any(row.cells[len(table.header.cells) :])
        ):
            raise InputError(
                f"{table.place}, row {row.number}",
                f"has {len(row.cells)} cells where the header has {len(table.header.cells)}",
                "Write decimal points, or separate the cells by semicolons",
            )
        self._cells = row.cells

    def text(self, name: str) -> str:
        index = self._columns.get(name)
        found = "" if index is None or index >= len(self._cells) else self._cells[index].strip()
        return found.removeprefix("'") if name in ("joint", "note", "instrument", "resolves", "what") else found

    def wrong(self, name: str, what: str, advice: str) -> InputError:
        return InputError(f"{self._place}, row {self.row}, column {name!r}", what, advice)

    def number(self, name: str) -> float:
        text = self.text(name)
        if text.startswith("="):
            raise self.wrong(name, f"holds the formula {text}", "Replace formulas by their values")
        bare = text.removesuffix("mm").strip() if name.endswith("_mm") else text
        if _NUMBER.fullmatch(bare):
            return float(bare.replace(",", "."))
        if not text:
            raise self.wrong(name, "the cell is empty", "Fill it in, or empty the row's value_mm")
        if _DATE.match(text):
            raise self.wrong(name, f"holds a date, {text}", "Format the column as text and write the number again")
        found = _NUMBER.findall(bare)
        rest = _NUMBER.sub("", bare).strip().lower()
        if name.endswith("_mm") and len(found) == 1 and rest in _OTHER_UNITS:
            raise self.wrong(name, f"{text!r} is not in mm", "Write the plain number of millimetres")
        if len(found) > 1 and not re.search(r"\d[.,]\d+[.,]", bare):
            raise self.wrong(name, f"{text!r} holds two numbers", "Write one, or a row for each")
        unit = "millimetres" if name.endswith("_mm") else "metres"
        raise self.wrong(name, f"{text!r} is not a number", f"Write a plain number of {unit}")


def _reading(cells: _Cells) -> HandReading:
    what = _what(cells)
    at = (_place_mm(cells, "x_m"), _place_mm(cells, "y_m"))
    edge_mm = None
    if what == "gap":
        edge_m = cells.number("edge_m")
        if not _EDGES_M[0] <= edge_m <= _EDGES_M[1]:
            raise cells.wrong("edge_m", f"{edge_m:g} m is no straightedge's length", "Write its length in metres")
        edge_mm = round(edge_m * MM_PER_M, 6)
    return HandReading(
        row=cells.row,
        what=what,
        at=at,
        value=_value(cells, what),
        edge_mm=edge_mm,
        joint=(cells.text("joint") or None) if what != "gap" else None,
        note=cells.text("note"),
    )


def _what(cells: _Cells) -> HandWhat:
    text = cells.text("what").lower().replace(" ", "_")
    for kind in KINDS:
        if text in (kind, kind.removeprefix("joint_")):
            return kind
    near = difflib.get_close_matches(text, KINDS, n=1)
    advice = f"Did you mean {near[0]}?" if near else f"Write one of {', '.join(KINDS)}"
    raise cells.wrong("what", f"{cells.text('what')!r} is not a thing that is read", advice)


def _place_mm(cells: _Cells, name: str) -> float:
    value_m = cells.number(name)
    if abs(value_m) > _FARTHEST_M:
        raise cells.wrong(name, f"{value_m:g} m is no place in a room", "Write metres from the wall")
    return value_m * MM_PER_M


def _value(cells: _Cells, what: HandWhat) -> Quantity:
    text = cells.text("value_mm")
    below = text.startswith(("<", "≤"))
    value = _size(cells, "value_mm") if not below else _below(cells, text)
    if cells.text("u_mm"):
        u = _size(cells, "u_mm")
        if not 0.0 < u <= _LARGEST_U_MM:
            raise cells.wrong(
                "u_mm",
                f"{u:g} mm cannot be the uncertainty of a reading by hand",
                f"Leave it empty, or write at most {_LARGEST_U_MM:g}; was a decimal comma meant?",
            )
        parts = {"stated": u}
    else:
        parts = {"instrument and reader": hand_u_mm(what, cells.text("instrument"), _step_mm(cells, what))}
    if below:  # anywhere between 0 and the bound: half of it, spread evenly (JCGM 100, 4.3.7)
        parts["only a bound"] = value / STEPS_PER_U
        value = value / 2.0
    return Quantity.from_budget(value, "mm", **parts)


def _below(cells: _Cells, text: str) -> float:
    bare = text.lstrip("<≤= ").removesuffix("mm").strip()
    if not _NUMBER.fullmatch(bare) or not 0.0 < float(bare.replace(",", ".")) <= _LARGEST_MM:
        raise cells.wrong("value_mm", f"{text!r} is not understood", "Write < and a plain number of millimetres")
    return float(bare.replace(",", "."))


def _size(cells: _Cells, name: str) -> float:
    value = cells.number(name)
    if value < 0.0:
        raise cells.wrong(name, f"{value:g} is negative", "Write sizes without a sign; a lip's side does not matter")
    if value > _LARGEST_MM or not math.isfinite(value):
        raise cells.wrong(name, f"{value:g} mm is too large to be one", "Write millimetres")
    return value


def _step_mm(cells: _Cells, what: HandWhat) -> float:
    """The step that the row says its instrument resolves, else the usual one."""
    found = re.search(r"(\d+(?:[.,]\d+)?)\s*mm", cells.text("resolves"))
    step = float(found[1].replace(",", ".")) if found else 0.0
    return step if 0.0 < step <= _LARGEST_U_MM else USUAL_STEP_MM[what]
