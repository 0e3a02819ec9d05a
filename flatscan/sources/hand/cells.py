"""The cells of one row of a readings table, read by what their column means; mistakes name row and column."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from flatscan.constants import MM_PER_M
from flatscan.errors import InputError
from flatscan.sources.hand.columns import PLACE_COLUMNS, FieldColumn
from flatscan.sources.hand.lengths import Length, LengthError, UnitMissingError, parse_length
from flatscan.sources.levels.levels_columns import UNREAD
from flatscan.units import mm_per

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flatscan.sources.hand.columns import FieldColumns
    from flatscan.sources.hand.instrument_lines import Stated
    from flatscan.sources.levels.levels_rows import RawTable, Row

#: Also what spreadsheets make of 1/8: 8-Jan or Jan-08.
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}|\d{1,2}[./]\d{1,2}[./]\d{2,4}$|\d{1,2}[-.][ ]?[A-Za-z]{3}$|[A-Za-z]{3}-\d{2}$")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ufffd]")
_BELOW = ("<", "≤")
#: Further than this from a wall is not a room: another unit was meant.
FARTHEST_M = 500.0
#: Tapes sag and walls are not straight: so far beyond the outline a place still counts as in the room.
_PACED_MM = 50.0


class Cells:
    """One row's cells by meaning. ``number`` is what the sheet calls the row."""

    def __init__(self, table: RawTable, columns: FieldColumns, stated: Stated, row: Row, unit: str | None) -> None:
        self.row, self.columns, self._stated, self._unit = row.number, columns, stated, unit
        self._place, self._cells, self._table = table.place, row.cells, table

    def check(self) -> None:
        """Refuse a row with more cells than the header, and one with characters no keyboard writes."""
        width = len(self._table.header.cells)
        # An empty cell too many counts as well: 0,5 without quotes would else be read as 0 with u 5.
        if len(self._cells) > width and (self._table.delimiter == "," or any(self._cells[width:])):
            raise InputError(
                f"{self._place}, row {self.row}",
                f"has {len(self._cells)} cells where the header has {width}",
                "Write decimal points, or separate the cells by semicolons",
            )
        for title, cell in zip(self._table.header.cells, self._cells, strict=False):
            if _CONTROL.search(cell):
                where = f"{self._place}, row {self.row}, column {title!r}"
                raise InputError(where, "holds a character that cannot be read", "Type the cell again")

    @property
    def number(self) -> str:
        """The sheet's number of this row, else its line."""
        return self.text("number") or f"row {self.row}"

    def text(self, meaning: str) -> str:
        """The cell's words, "" where it is empty or there is no such column."""
        column = self.columns.by_meaning.get(meaning)
        return "" if column is None else " ".join(self.cell(column).removeprefix("'").split())

    def cell(self, column: FieldColumn) -> str:
        """The cell as written, without spaces around it."""
        return self._cells[column.index].strip() if column.index < len(self._cells) else ""

    def is_read(self, meaning: str) -> bool:
        """Whether something was filled in."""
        return self.text(meaning).lower() not in UNREAD

    def wrong(self, column: str | FieldColumn, what: str, advice: str) -> InputError:
        """The error for a cell."""
        title = column.title if isinstance(column, FieldColumn) else self.columns.title(column)
        return InputError(f"{self._place}, row {self.row}, column {title!r}", what, advice)

    def rows_with(self, other: int) -> str:
        """Where this row and another one stand, for messages."""
        return f"{self._place}, rows {other} and {self.row}"

    def length(self, meaning: str) -> Length:
        """The length in a column; raises InputError where it is missing."""
        column = self.columns.by_meaning.get(meaning)
        if column is None:
            what = f"a {self.text('what')} needs it, and no column is called so"
            raise self.wrong(meaning, what, "Add the column")
        return self.length_in(column, is_place=meaning in PLACE_COLUMNS)

    def length_in(self, column: FieldColumn, *, is_place: bool = False) -> Length:
        """The length in a cell, its unit from the cell, else the title, else a ``#`` line, else the option."""
        text = self.cell(column)
        if text.startswith("="):
            raise self.wrong(column, f"holds the formula {text}", "Replace formulas by their values")
        if not text:
            advice = "Fill it in, or empty the row's value" if "value" in self.columns.by_meaning else "Fill it in"
            raise self.wrong(column, "the cell is empty", advice)
        if _DATE.match(text):
            advice = "Format the column as text and write the number again"
            raise self.wrong(column, f"holds a date, {text}", advice)
        unit = column.unit or (self._stated.place_unit if is_place else self._stated.unit) or self._unit
        try:
            return parse_length(text, unit)
        except UnitMissingError as error:
            example, line = ("m", "# place unit: m") if is_place else ("mm", "# unit: mm")
            titled = column in self.columns.by_meaning.values()  # a station's title states where it is, not what
            where = "in the column's title or in the cell" if titled else "in the cell"
            advice = f"Write it {where}, such as {text} {example}, or add a line {line}"
            raise self.wrong(column, error.what, advice) from error
        except LengthError as error:
            raise self.wrong(column, error.what, error.advice) from error

    def reading_in(self, column: FieldColumn, most_mm: float) -> tuple[Length, bool]:
        """A size that was read, and whether only a bound was written, ``<0.05``."""
        text = self.cell(column)
        if not text.startswith(_BELOW):
            return self._size(column, self.length_in(column), most_mm), False
        try:
            unit = column.unit or self._stated.unit or self._unit
            bound = parse_length(text.lstrip("<≤= "), unit)
        except LengthError as error:
            advice = "Write < and a plain number of millimetres"
            raise self.wrong(column, f"{text!r} is not understood", advice) from error
        if not 0.0 < bound.mm <= most_mm:
            raise self.wrong(column, f"{text!r} is not understood", "Write < and a plain number of millimetres")
        return bound, True

    def size(self, meaning: str, most_mm: float) -> Length:
        """A length that cannot be negative."""
        found = self.length(meaning)
        return self._size(self.columns.by_meaning[meaning], found, most_mm)

    def _size(self, column: FieldColumn, found: Length, most_mm: float) -> Length:
        if found.mm < 0.0:
            advice = "Write sizes without a sign; a lip's side does not matter"
            if column.title != self.columns.title("value") and column.title != self.columns.title("u"):
                advice = "A gap runs down from the bar; where the floor is higher than the bar, lay it on that place"
            raise self.wrong(column, f"{found.mm:g} is negative", advice)
        if found.mm > most_mm:
            raise self.wrong(column, f"{found.mm:g} mm is too large for a reading there", "Check it and its unit")
        return found

    def place_mm(self, x: str = "x", y: str = "y") -> tuple[float, float]:
        """A place on the floor; refused where it lies outside the room that was stated."""
        at = (self._coordinate(x), self._coordinate(y))
        self._check_inside(at, (x, y))
        return at

    def _coordinate(self, meaning: str) -> float:
        value_mm = self.length(meaning).mm - self._stated.origin_mm[meaning in ("y", "to_y")]
        if abs(value_mm) > FARTHEST_M * MM_PER_M:
            raise self.wrong(meaning, f"{value_mm / MM_PER_M:g} m is no place in a room", "Write metres from the wall")
        return value_mm

    def _check_inside(self, at: tuple[float, float], names: tuple[str, str]) -> None:
        outline = self._stated.outline
        if outline is None or _beyond_mm(outline, at) <= _PACED_MM:
            return
        turned = _beyond_mm(outline, (at[1], at[0])) <= _PACED_MM
        x, y = (self.columns.title(name) for name in names)
        advice = f"Check it; were {x} and {y} swapped?" if turned else "Check it; were two columns swapped?"
        for axis, name in enumerate(names):
            low, high = float(outline[:, axis].min()), float(outline[:, axis].max())
            if not low - _PACED_MM <= at[axis] <= high + _PACED_MM:
                unit = self.columns.by_meaning[name].unit or self._stated.place_unit or "m"
                here, first, last = (f"{value / mm_per(unit):.4g}" for value in (at[axis], low, high))
                reach = f"which reaches from {first} to {last} {unit}"
                raise self.wrong(name, f"{here} {unit} lies beyond the room, {reach}", advice)
        where = f"{self._place}, row {self.row}, columns {x!r} and {y!r}"
        place = f"x {at[0] / MM_PER_M:g}, y {at[1] / MM_PER_M:g} m"
        raise InputError(where, f"{place} lies outside the room's outline", advice)


def _beyond_mm(outline: NDArray[np.float64], at: tuple[float, float]) -> float:
    """How far a place lies outside an outline, 0 within."""
    from shapely.geometry import Point, Polygon

    return float(Polygon(outline).distance(Point(at)))
