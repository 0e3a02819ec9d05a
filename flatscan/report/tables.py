"""The tables as CSV: unit in every header, one row per thing, safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
import math
from typing import TYPE_CHECKING

from flatscan.report.drawn import letters_of
from flatscan.report.traced import from_readings

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from flatscan.quantity import Quantity
    from flatscan.report.report import Report

Cell = str | float | int | bool | None
#: A spreadsheet runs a cell that starts with one of these (OWASP, CSV injection).
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def gaps_csv(report: Report) -> str:
    """Worst gaps, worst first; the letter is the one on the map, ``from_readings`` are the readings nearest to it."""
    header = (
        "letter", "edge_mm", "gap_mm", "u_mm", "raw_mm", "noise_floor_mm", "x_mm", "y_mm",
        "contact1_x_mm", "contact1_y_mm", "contact2_x_mm", "contact2_y_mm", "span_mm", "direction_deg",
        "bridges_hole", "from_readings",
    )  # fmt: skip
    letters = letters_of(report)
    rows: list[list[Cell]] = []
    for index, spot in enumerate(report.measurement.gaps):
        places = [mm(v) for at in (spot.at, *spot.contacts) for v in at]
        angle = round(math.degrees(spot.direction_rad), 1)
        rows.append(
            [
                letters.get(index, ""),
                mm(spot.edge_mm),
                *_value(spot.gap),
                fine(spot.raw_mm),
                fine(spot.noise_floor_mm),
                *places,
                mm(spot.span_mm),
                angle,
                "yes" if spot.bridges_hole else "no",
                "; ".join(from_readings(spot, report.surface)),
            ]
        )
    return as_csv(header, rows)


def findings_csv(report: Report) -> str:
    """Every limit held against its value. ``u`` is one standard uncertainty, in the unit of the value."""
    header = (
        "what", "limit_id", "limit_mm", "edge_mm", "value", "u", "value_unit", "chance_over", "verdict",
        "x_mm", "y_mm", "where", "joint", "placement",
    )  # fmt: skip
    rows: list[list[Cell]] = []
    for finding in report.verdict.findings:
        value: list[Cell] = [None, None, None]
        if finding.value is not None:
            value = [*_value(finding.value), finding.value.unit]
        place: list[Cell] = [None, None] if finding.at is None else [mm(v) for v in finding.at]
        rows.append(
            [
                finding.what,
                finding.limit_id,
                fine(finding.limit_mm),
                None if finding.edge_mm is None else mm(finding.edge_mm),
                *value,
                None if finding.p_over is None else round(finding.p_over, 4),
                finding.verdict,
                *place,
                finding.where,
                finding.joint or "",
                finding.placement or "",
            ]
        )
    return as_csv(header, rows)


def areas_csv(report: Report) -> str:
    """Areas to level, numbered as on the map, with a box to find them by and the outline as x y pairs."""
    header = (
        "number", "action", "area_m2", "volume_litre", "u_litre", "mean_mm", "max_mm",
        "x_from_mm", "x_to_mm", "y_from_mm", "y_to_mm", "outline_xy_mm",
    )  # fmt: skip
    rows: list[list[Cell]] = []
    for area in report.plan.areas:
        outer = area.rings[0]
        low, high = outer.min(axis=0), outer.max(axis=0)
        outline = "; ".join(f"{x:.0f} {y:.0f}" for x, y in outer)
        rows.append(
            [
                area.number,
                area.action,
                round(area.area_m2, 3),
                *_value(area.volume_l),
                round(area.mean_mm, 2),
                round(area.max_mm, 2),
                mm(low[0]),
                mm(high[0]),
                mm(low[1]),
                mm(high[1]),
                outline,
            ]
        )
    return as_csv(header, rows)


def safe_text(text: str) -> str:
    """Text that a spreadsheet shows and does not run.

    >>> safe_text("=1+1"), safe_text("lip")
    ("'=1+1", 'lip')
    """
    return f"'{text}" if text.lstrip(" ").startswith(_FORMULA_STARTS) else text


def as_csv(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """A table with every text made safe."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(header)
    writer.writerows([safe_text(cell) if isinstance(cell, str) else cell for cell in row] for row in rows)
    return buffer.getvalue()


def _value(q: Quantity) -> list[Cell]:
    return [fine(q.value), fine(q.u)]


def mm(value: float) -> float:
    """A length or a coordinate, to 0.1 mm."""
    return round(float(value), 1) + 0.0


def fine(value: float) -> float | None:
    """A measured value, to 0.001; None for what is not finite."""
    return round(float(value), 3) + 0.0 if math.isfinite(value) else None
