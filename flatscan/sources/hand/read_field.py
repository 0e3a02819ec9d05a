"""A floor measured by hand: one CSV or XLSX table of readings becomes ``FieldReadings``.

``columns`` says what the header may hold, ``instrument_lines`` the ``#`` lines, ``row_kinds`` what a row may be,
``lengths`` how a length may be written. A station of a straightedge holds the gap, or ``c`` where the bar touches;
an empty one was not read. A table of levels alone (x, y, staff or height) is read too.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from flatscan.caveats import caveat
from flatscan.errors import InputError
from flatscan.settings import ReadSettings
from flatscan.sources.guard import fingerprint
from flatscan.sources.hand.bar_rows import CONTACT_WORDS
from flatscan.sources.hand.cells import Cells
from flatscan.sources.hand.columns import HEADER, columns_of_field, is_field_header
from flatscan.sources.hand.cross_checks import reversals
from flatscan.sources.hand.field_readings import FieldReadings
from flatscan.sources.hand.field_table import is_field_table, is_read_by_hand
from flatscan.sources.hand.gather import gather, left_out
from flatscan.sources.hand.instrument_lines import stated_by
from flatscan.sources.hand.level_rows import in_order
from flatscan.sources.hand.levels_as_field import levels_as_field, said_of_unit
from flatscan.sources.hand.row_kinds import PLANNED_KINDS, is_filled
from flatscan.sources.hand.trust import finest_step_mm, trust_in
from flatscan.sources.hand.typed import the_typed_one
from flatscan.sources.levels.levels_columns import UNREAD
from flatscan.sources.levels.levels_rows import XLSX_SUFFIXES, read_table
from flatscan.sources.levels.levels_words import has_levels_header
from flatscan.sources.table import holds_capture

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from flatscan.caveats import Caveat

__all__ = ["is_field_table", "read_field_readings", "read_levels_as_field", "sort_sources"]

#: Where this share of the placements and levels that a table lists was not read, that is told with the result.
_MUCH_UNREAD = 0.25


def read_field_readings(
    path: Path, settings: ReadSettings | None = None, *, room: NDArray[np.float64] | None = None
) -> FieldReadings:
    """Read everything a readings table holds, or a plain table of levels.

    Parameters
    ----------
    path : CSV or XLSX; the one sheet that holds data
    settings : ``unit`` serves numbers whose unit nothing else states; ``leave_out_bad_rows`` leaves out, and names,
        rows that cannot be used; ``gravity`` overrules the table
    room : corners, mm, in which places must lie where the table states no room; None: none

    Raises
    ------
    InputError
        naming row and column of what is not understood, and how many more rows are at fault
    """
    settings = settings or ReadSettings()
    table = read_table(path, kind="readings table", header=HEADER)
    is_sheet = table.delimiter is None
    if not is_field_header(table.header.cells) and has_levels_header(table.header.cells, z=is_sheet):
        return levels_as_field(path, table, settings, room=room)
    stated = stated_by(table.comments, table.place, settings.unit)
    stated = stated if stated.outline is not None else replace(stated, outline=room)
    columns = columns_of_field(table, stated.place_unit or settings.unit)
    rows = [Cells(table, columns, stated, row, settings.unit) for row in table.rows]
    filled = [cells for cells in rows if is_filled(cells)]
    if not filled:
        what = f"no value is filled in: all {len(rows)} rows are empty"
        advice = "Write what you read in the column value or at the stations, or leave the file out"
        raise InputError(table.place, what, advice)
    trust = trust_in(stated, _gap_step_mm(filled), _level_step_mm(filled), table.place)
    found = gather(filled, trust)
    out, doubts = left_out(found, len(filled), allowed=settings.leave_out_bad_rows)
    bars, levels = bool(found.placements or found.humps), in_order(found.levels)
    gravity = settings.gravity if settings.gravity is not None else stated.gravity
    unread, more_doubts = _unread(rows, filled)
    return FieldReadings(
        inputs=(fingerprint(path, "readings"),),
        placements=tuple(found.placements),
        humps=tuple(found.humps),
        levels=levels,
        spots=tuple(found.spots),
        steps=tuple(found.steps),
        soundings=tuple(found.soundings),
        cracks=tuple(found.cracks),
        level=trust.level() if levels else None,
        outline=stated.outline,
        gravity=gravity is not False,
        joints_searched=stated.joints_searched,
        gaps_searched=stated.gaps_searched,
        left_out=out,
        inferences=(
            *said_of_unit(settings.unit),
            *unread,
            *found.notes.sentences(),
            *_not_used(columns.unused),
            *stated.unused,
        ),
        caveats=(
            *doubts,
            *more_doubts,
            *trust.assumed(bars=bars, levels=bool(levels)),
            *reversals(found.placements),
        ),
    )


def read_levels_as_field(path: Path, settings: ReadSettings | None = None) -> FieldReadings:
    """Read a plain table of levels (x, y, staff or height) as readings; raises InputError."""
    settings = settings or ReadSettings()
    return levels_as_field(path, read_table(path), settings)


def sort_sources(paths: Sequence[Path]) -> tuple[list[Path], list[Path]]:
    """Captures, and tables of readings by hand (levels tables too), each in the order given.

    A folder whose only content of use is such a table counts as that table; of several, the one filled in. Any
    spreadsheet is taken for one, so that its reader can say what it lacks.
    """
    captures, tables = [], []
    for path in paths:
        if path.suffix.lower() == ".pdf" and path.is_file():
            what = "a printed sheet cannot be read"
            raise InputError(path, what, "Type its readings into readings.csv or readings.xlsx and give that")
        is_sheet = path.suffix.lower() in XLSX_SUFFIXES and path.is_file()
        table = path if is_sheet or is_read_by_hand(path) else _only_table_in(path)
        if table is None:
            captures.append(path)
        else:
            tables.append(table)
    return captures, tables


def _only_table_in(path: Path) -> Path | None:
    try:
        inside = sorted(p for p in path.iterdir() if not p.name.startswith(".")) if path.is_dir() else []
    except OSError:  # the reader of captures tells why it cannot be looked at
        return None
    if {"result.json", "findings.csv"} <= {p.name for p in inside}:
        what = "this is a result of flatscan check, not a capture"
        raise InputError(path, what, "Give the capture or the table of readings that it was made from")
    tables = [p for p in inside if is_read_by_hand(p)]
    if not tables or holds_capture(path):
        return None
    return the_typed_one(tables, path)


def _gap_step_mm(filled: Sequence[Cells]) -> float:
    return finest_step_mm(
        (cells, column)
        for cells in filled
        for _, column in cells.columns.stations
        if cells.cell(column).lower() not in UNREAD | CONTACT_WORDS
    )


def _level_step_mm(filled: Sequence[Cells]) -> float:
    column = filled[0].columns.by_meaning.get("value")
    if column is None:
        return 0.0
    return finest_step_mm((cells, column) for cells in filled if cells.text("what").lower() in ("staff", "height"))


def _unread(rows: Sequence[Cells], filled: Sequence[Cells]) -> tuple[tuple[str, ...], tuple[Caveat, ...]]:
    """What to say of rows without a reading: a sheet lists its places beforehand, and not all are read."""
    count = len(rows) - len(filled)
    if not count:
        return (), ()
    sentence = f"{count} of {len(rows)} rows hold no reading and were left out"
    planned = [cells for cells in rows if cells.text("what").lower() in PLANNED_KINDS and cells.is_read("x")]
    missing = len({cells.row for cells in planned} - {cells.row for cells in filled})
    if missing < max(1.0, _MUCH_UNREAD * len(planned)):
        return (sentence,), ()
    percent = 100.0 * missing / len(planned)
    return (sentence,), (caveat("rows_not_read", percent=percent, count=missing, total=len(planned)),)


def _not_used(titles: tuple[str, ...]) -> tuple[str, ...]:
    return (f"Columns not used: {', '.join(titles)}",) if titles else ()
