"""Levels read by hand at points of the floor: a CSV or XLSX table becomes a ``Scan``.

See ``levels_words`` for the header and the ``#`` lines. Heights come from a level, so up is z and
truly vertical unless the table says ``# gravity: no``.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.caveats import caveat
from flatscan.errors import InputError, SettingsError
from flatscan.sources.guard import fingerprint
from flatscan.sources.levels.levels_columns import NUMBER, UNREAD, columns_of
from flatscan.sources.levels.levels_rows import RawTable, Row, is_levels, read_table
from flatscan.sources.levels.levels_words import Column, TableFacts, column, column_mm
from flatscan.sources.scan import Scan

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.settings import ReadSettings

__all__ = ["is_levels", "read_levels"]

#: What reading a ruler or a staff by eye costs, one standard deviation, mm (common practice, no source).
READING_SIGMA_MM = 0.5
#: Any plane passes through three points: nothing can be said about flatness.
LEAST_READINGS = 4


def read_levels(path: Path, settings: ReadSettings) -> Scan:
    """Read a levels table; raises InputError naming row and column.

    ``settings.unit`` serves the columns whose unit neither header nor table states.
    """
    if settings.up not in {None, "z"}:
        raise SettingsError("--up", f"a levels table is read with z up, not {settings.up}", "Leave it out")
    table = read_table(path)
    facts = table.levels_facts()
    columns, rows = columns_of(table, facts)
    nodes = _nodes(table, facts, columns, rows, settings.unit)
    xyz_mm, notes = nodes.xyz_mm, list(nodes.notes)
    origin_mm = np.round(np.median(xyz_mm, axis=0))
    sigma_mm, doubts = reading_sigma(facts, nodes.step_mm)
    stated = settings.gravity if settings.gravity is not None else facts.gravity
    return Scan(
        kind="levels",
        points_mm=(xyz_mm - origin_mm).astype(np.float32),
        origin_mm=origin_mm,
        up=np.array([0.0, 0.0, 1.0]),
        gravity_known=stated is not False,
        inputs=(fingerprint(path, "levels"),),
        step_mm=facts.resolution_mm or nodes.step_mm,
        sample_sigma_mm=sigma_mm,
        inferences=tuple(notes),
        caveats=doubts,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Nodes:
    """(n, 3) float64 mm, height up; the step readings are written in; sentences to print."""

    xyz_mm: NDArray[np.float64]
    step_mm: float
    notes: tuple[str, ...]


def _nodes(
    table: RawTable,
    facts: TableFacts,
    columns: dict[str, tuple[int, Column]],
    rows: tuple[Row, ...],
    unit: str | None,
) -> _Nodes:
    level = "staff" if "staff" in columns else "height"
    header = f"{table.place}, row {table.header.number}"
    scale = {m: column_mm(c, facts, unit, header) for m, (_, c) in columns.items()}
    notes, width = [], len(table.header.cells)
    if unit is not None and (facts.unit or all(c.unit for _, c in columns.values())):
        notes.append(f"--unit {unit} not used: the table states the unit of every column")
    commas = _decimal_commas(table, columns, rows)
    if commas:
        notes.append("Commas in numbers read as decimal points")
    seen: dict[tuple[float, float], tuple[float, int]] = {}
    unread = repeated = decimals = 0
    for row in rows:
        if len(row.cells) > width and any(row.cells[width:]):
            raise InputError(
                f"{table.place}, row {row.number}",
                f"has {len(row.cells)} cells where the header has {width}",
                "With decimal commas, separate cells by semicolons or tabs",
            )
        text = {m: row.cells[i] if i < len(row.cells) else "" for m, (i, _) in columns.items()}
        if text[level].lower() in UNREAD:
            unread += 1
            continue
        value = {m: _number(text[m], table, row, columns[m][1]) * scale[m] for m in text}
        decimals = max(decimals, _decimals(text[level]))
        place = (round(value["x"], 6), round(value["y"], 6))
        height = -value[level] if level == "staff" else value[level]
        if place in seen:
            before, number = seen[place]
            if before != height:
                raise InputError(
                    f"{table.place}, rows {number} and {row.number}",
                    "give two readings for one place",
                    "Keep the right one, or their mean",
                )
            repeated += 1
            continue
        seen[place] = (height, row.number)
    if len(seen) < LEAST_READINGS:
        raise InputError(
            table.place,
            f"holds {len(seen)} readings; any plane passes through three points",
            f"Give at least {LEAST_READINGS}, better a grid",
        )
    if unread:
        notes.append(f"{unread} rows without a reading were left out")
    if repeated:
        notes.append(f"{repeated} rows repeat another one exactly and count once")
    unused = [t for t in table.header.cells if t and not column(t).meaning]
    if unused:
        notes.append(f"Columns not used: {', '.join(unused)}")
    xyz_mm = np.array([(x, y, height) for (x, y), (height, _) in seen.items()])
    return _Nodes(xyz_mm, scale[level] * 10.0**-decimals, tuple(notes))


def _decimal_commas(table: RawTable, columns: dict[str, tuple[int, Column]], rows: tuple[Row, ...]) -> bool:
    """Whether numbers carry commas; points and commas in one table are refused."""
    cells = [(row, row.cells[i]) for row in rows for i, _ in columns.values() if i < len(row.cells)]
    cells = [(row, cell) for row, cell in cells if NUMBER.match(cell)]
    with_comma = [row for row, cell in cells if "," in cell]
    with_point = [row for row, cell in cells if "." in cell]
    if with_comma and with_point:
        raise InputError(
            f"{table.place}, rows {with_point[0].number} and {with_comma[0].number}",
            "use a decimal point and a decimal comma",
            "Write all numbers one way, without thousands marks",
        )
    return bool(with_comma)


def _number(text: str, table: RawTable, row: Row, found: Column) -> float:
    where = f"{table.place}, row {row.number}, column {found.title!r}"
    if text.startswith("="):
        raise InputError(where, f"holds the formula {text}", "Replace formulas by their values")
    if not text:
        raise InputError(where, "the cell is empty", "Fill it in, or remove the row")
    if not NUMBER.match(text) or not math.isfinite(value := float(text.replace(",", "."))):
        raise InputError(where, f"{text!r} is not a number", "Write a plain number; the unit belongs in the header")
    return value


def _decimals(text: str) -> int:
    mantissa = re.split("[eE]", text)[0].replace(",", ".")
    return len(mantissa.partition(".")[2])


def reading_sigma(facts: TableFacts, step_mm: float) -> tuple[float, tuple[Caveat, ...]]:
    """Standard uncertainty of one reading: stated, else reading by eye with the step's own share.

    A step r spreads evenly over its width: r / sqrt(12) (JCGM 100, 4.3.7).
    """
    if facts.sigma_mm is not None:
        return facts.sigma_mm, ()
    resolution_mm = facts.resolution_mm or step_mm
    sigma_mm = math.hypot(READING_SIGMA_MM, resolution_mm / math.sqrt(12.0))
    return sigma_mm, (caveat("reading_sigma_assumed", sigma_mm=sigma_mm),)
