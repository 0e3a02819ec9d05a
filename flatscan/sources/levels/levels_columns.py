"""Which column of a levels table means what, with the units that a second header row may state."""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING

from flatscan.errors import InputError
from flatscan.sources.levels.levels_words import Column, column, unit_named

if TYPE_CHECKING:
    from flatscan.sources.levels.levels_rows import RawTable, Row
    from flatscan.sources.levels.levels_words import TableFacts

#: A plain number with a decimal point or comma.
NUMBER = re.compile(r"^[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?$")
#: What people write into a cell that holds no reading.
UNREAD = frozenset({"", "-", "–", "n/a", "na"})
_SIGN_ADVICE = "Call the column height (grows as the floor rises) or staff (grows as it falls), or add # sign: staff"


def columns_of(table: RawTable, facts: TableFacts) -> tuple[dict[str, tuple[int, Column]], tuple[Row, ...]]:
    """Columns by meaning (x, y, height or staff), and the rows without a row of units."""
    titles = table.header.cells
    where = f"{table.place}, row {table.header.number}"
    found = [column(title) for title in titles]
    used = Counter(c.meaning for c in found if c.meaning)
    if not used and all(NUMBER.match(t) for t in titles if t):
        raise InputError(where, "the table has no header", "Add a line such as x [m], y [m], staff [mm]")
    for meaning in ("x", "y"):
        if used[meaning] == 0:
            raise InputError(where, f"no column is called {meaning}", "Call the columns x, y and height or staff")
    levels = [m for m in ("height", "staff", "reading") if used[m]]
    if not levels:
        raise InputError(where, "no column is called height or staff", _SIGN_ADVICE)
    if len(levels) > 1 or max(used.values()) > 1:
        twice = ", ".join(repr(c.title) for c in found if used[c.meaning] > 1 or c.meaning in levels)
        raise InputError(where, f"the columns {twice} compete", "Keep one column for each of x, y and the reading")
    units, rows = _unit_row(table, found)
    by_meaning = {
        c.meaning: (i, Column(c.meaning, units.get(i, c.unit), c.title)) for i, c in enumerate(found) if c.meaning
    }
    if "reading" in by_meaning:
        if facts.sign is None:
            title = by_meaning["reading"][1].title
            raise InputError(where, f"column {title!r} does not say whether it grows as the floor rises", _SIGN_ADVICE)
        by_meaning[facts.sign] = by_meaning.pop("reading")
    elif facts.sign is not None and facts.sign not in by_meaning:
        raise InputError(where, f"column {levels[0]!r} contradicts # sign: {facts.sign}", "Correct one of them")
    return by_meaning, rows


def _unit_row(table: RawTable, found: list[Column]) -> tuple[dict[int, str], tuple[Row, ...]]:
    """Units from a second header row (``m; m; mm``), if there is one, and the rows after it."""
    if not table.rows:
        return {}, ()
    cells = table.rows[0].cells
    meant = [i for i, c in enumerate(found) if c.meaning and i < len(cells)]
    units = {i: u for i in meant if (u := unit_named(cells[i].strip("[]()"))) is not None}
    if not units or len(units) < len(meant):
        return {}, table.rows
    return units, table.rows[1:]
