"""The field sheet: where to read by hand next, as CSV with an empty value column that the next run takes in."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from flatscan.constants import MM_PER_M
from flatscan.report.tables.tables import safe_cell

if TYPE_CHECKING:
    from flatscan.judgement.verdict import Reading, Verdict

HEADER = (
    "number", "what", "x_m", "y_m", "joint", "edge_m", "where", "instrument", "resolves", "value_mm", "u_mm", "note",
)  # fmt: skip


def readings_csv(verdict: Verdict) -> str:
    """The next readings, the most informative first; ``value_mm``, ``u_mm`` and ``note`` are for the person.

    Jobs that give no value (floor to be cleared) are not in it. A person may add rows of their own: what, place and
    value are enough. ``u_mm`` may stay empty: then the instrument's step and its reader count.
    """
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(HEADER)
    writer.writerows(_row(r) for r in verdict.next_readings if r.kind is not None)
    return buffer.getvalue()


def _row(reading: Reading) -> list[str]:
    edge = "" if reading.edge_mm is None else f"{reading.edge_mm / MM_PER_M:.6g}"
    cells = (
        f"N{reading.number}",  # a field sheet numbers its own from 1
        reading.kind or "",
        *(f"{v / MM_PER_M + 0.0:.3f}" for v in reading.at),
        reading.joint or "",
        edge,
        reading.what,
        reading.instrument,
        reading.resolves,
    )
    numbers = {2, 3}  # a place left of the corner is a number with a minus, not a formula
    return [cell if i in numbers else safe_cell(cell) for i, cell in enumerate(cells)] + ["", "", ""]
