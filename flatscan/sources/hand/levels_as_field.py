"""A plain table of levels (x, y, staff or height) as readings by hand: every row a level reading.

Header and lines as in ``levels_words``; besides, columns ``set_up``, ``line``, ``time``, ``number``, ``u`` and
``note``, and the lines of ``instrument_lines``. Cells may hold fractions and feet and inches.
"""

from __future__ import annotations

import contextlib
import math
from dataclasses import replace
from typing import TYPE_CHECKING

from flatscan.constants import MM_PER_M
from flatscan.errors import InputError
from flatscan.sources.guard import fingerprint
from flatscan.sources.hand.cells import FARTHEST_M, Cells
from flatscan.sources.hand.columns import FieldColumn, FieldColumns, meaning_of
from flatscan.sources.hand.field_readings import FieldReadings
from flatscan.sources.hand.gather import gather, left_out
from flatscan.sources.hand.instrument_lines import stated_by
from flatscan.sources.hand.level_rows import in_order, places_once
from flatscan.sources.hand.trust import finest_step_mm, trust_in
from flatscan.sources.levels.levels_columns import columns_of
from flatscan.sources.levels.levels_words import TableFacts, column_mm

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from flatscan.settings import ReadSettings
    from flatscan.sources.hand.gather import Sign
    from flatscan.sources.hand.instrument_lines import Stated
    from flatscan.sources.levels.levels_rows import RawTable
    from flatscan.sources.levels.levels_words import Column

#: Map coordinates are counted from whole multiples of this.
_MAP_STEP_MM = 10.0 * MM_PER_M
#: Columns of a readings table that a table of levels may have as well.
_ALSO = frozenset({"number", "set_up", "line", "time", "u", "note"})


def levels_as_field(
    path: Path, table: RawTable, settings: ReadSettings, *, room: NDArray[np.float64] | None = None
) -> FieldReadings:
    """Read the rows; raises InputError naming row and column. ``room``: its outline where the table states none."""
    facts = table.levels_facts()
    by_meaning, table_rows = columns_of(table, facts)
    sign: Sign = "staff" if "staff" in by_meaning else "height"
    columns = _columns(table, by_meaning, sign)
    stated = stated_by(table.comments, table.place, settings.unit)
    stated = replace(
        stated,
        place_unit=stated.place_unit or stated.unit,
        outline=room if stated.outline is None else stated.outline,
        level_step_mm=facts.resolution_mm or stated.level_step_mm,
        level_repeat_mm=stated.level_repeat_mm if facts.sigma_mm is None else facts.sigma_mm,
    )
    rows = [Cells(table, columns, stated, row, settings.unit) for row in table_rows]
    origin_mm = _map_origin_mm([cells for cells in rows if cells.is_read("value")]) if stated.outline is None else None
    if origin_mm is not None:
        stated = replace(stated, origin_mm=origin_mm)
        rows = [Cells(table, columns, stated, row, settings.unit) for row in table_rows]
    filled = [cells for cells in rows if cells.is_read("value")]
    if not filled:
        what = f"no value is filled in: all {len(rows)} rows are empty"
        raise InputError(table.place, what, f"Write what you read in the column {columns.title('value')}")
    step_mm = finest_step_mm((cells, columns.by_meaning["value"]) for cells in filled)
    trust = replace(trust_in(stated, 0.0, step_mm, table.place), level_sigma_mm=facts.sigma_mm)
    if facts.sigma_mm is not None:  # the step is part of it: nothing is assumed
        trust = replace(trust, stated=replace(stated, level_step_mm=trust.level_step_mm))
    gathered = gather(filled, trust, sign)
    gathered.levels, repeated, twice = places_once(gathered.levels)
    gathered.leave_out(twice)
    out, doubts = left_out(gathered, len(filled), allowed=settings.leave_out_bad_rows)
    levels = in_order(gathered.levels)
    unread = len(rows) - len(filled)
    gravity = settings.gravity if settings.gravity is not None else facts.gravity
    return FieldReadings(
        inputs=(fingerprint(path, "levels"),),
        levels=levels,
        level=trust.level(),
        outline=stated.outline,
        gravity=gravity is not False,
        left_out=out,
        inferences=(
            *_said_of_unit(settings.unit, columns, stated),
            *_said_of_map(origin_mm),
            *((f"{unread} of {len(rows)} rows hold no reading and were left out",) if unread else ()),
            *((f"{repeated} rows repeat another one exactly and count once",) if repeated else ()),
            *((f"Columns not used: {', '.join(columns.unused)}",) if columns.unused else ()),
            *stated.unused,
        ),
        caveats=(*doubts, *trust.assumed(bars=False, levels=True)),
    )


def said_of_unit(unit: str | None) -> tuple[str, ...]:
    """The sentence to print where the option --unit serves."""
    return () if unit is None else (f"Numbers whose unit the table does not state were read in {unit} (--unit)",)


def _said_of_unit(unit: str | None, columns: FieldColumns, stated: Stated) -> tuple[str, ...]:
    units = [c.unit for meaning, c in columns.by_meaning.items() if meaning in ("x", "y", "value")]
    if unit is not None and (stated.unit or all(units)):
        return (f"--unit {unit} not used: the table states the unit of every column",)
    return said_of_unit(unit)


def _map_origin_mm(rows: Sequence[Cells]) -> tuple[float, float] | None:
    """Where places are written as map coordinates, whole tens of metres to count them from; else None."""
    places = []
    for cells in rows:
        with contextlib.suppress(InputError):  # told when the row itself is read
            places.append((cells.length("x").mm, cells.length("y").mm))
    if not places or min(max(abs(x), abs(y)) for x, y in places) <= FARTHEST_M * MM_PER_M:
        return None
    x0, y0 = (_MAP_STEP_MM * math.floor(min(axis) / _MAP_STEP_MM) for axis in zip(*places, strict=True))
    return x0, y0


def _said_of_map(origin_mm: tuple[float, float] | None) -> tuple[str, ...]:
    if origin_mm is None:
        return ()
    x, y = (f"{value / MM_PER_M:.0f}" for value in origin_mm)
    return (f"Places are map coordinates; here they are counted from x {x} m, y {y} m",)


def _columns(table: RawTable, by_meaning: dict[str, tuple[int, Column]], sign: Sign) -> FieldColumns:
    """The columns under the names the rows of a readings table go by: the level reading is its ``value``."""
    where = f"{table.place}, row {table.header.number}"
    for _, column in by_meaning.values():
        if (column.unit or "").startswith("?"):
            column_mm(column, TableFacts(), None, where)  # says which units there are
    found = {
        "value" if meaning == sign else meaning: FieldColumn(index, column.unit, column.title)
        for meaning, (index, column) in by_meaning.items()
    }
    for index, title in enumerate(table.header.cells):
        meaning, unit = meaning_of(title)
        if meaning in _ALSO and meaning not in found:
            found[meaning] = FieldColumn(index, unit, title)
    unused = tuple(t for i, t in enumerate(table.header.cells) if t and i not in {c.index for c in found.values()})
    return FieldColumns(found, (), unused)
