"""The tables as CSV: unit in every header, one row per thing, safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
import math
import re
from typing import TYPE_CHECKING

from flatscan.report.words.drawn import letters_of
from flatscan.report.words.levelling_places import area_place
from flatscan.report.words.levelling_words import most_rise_mm, takes_known
from flatscan.report.words.plain_text import clean
from flatscan.report.words.traced import from_readings
from flatscan.report.words.wording import length, under_edge

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from flatscan.levelling.plan import LevellingPlan, Method
    from flatscan.quantity import Quantity
    from flatscan.report.report import Report

Cell = str | float | int | bool | None
#: A spreadsheet runs a cell that starts with one of these (OWASP, CSV injection).
_STARTS = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"
#: Where the comma is the decimal sign, spreadsheets part cells at semicolons: what begins a formula after one; numbers
#: do not.
_PARTED = re.compile(rf';(?=[\s"]*[{re.escape(_STARTS)}])(?!\s*[-+]?[\d.]+(?:\s+[-+]?[\d.]+)*\s*(?:;|$))')


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


def areas_csv(plan: LevellingPlan) -> str:
    """Areas to level, numbered as on the map, with a box to find them by and the outline as x y pairs.

    ``walls``: how far the outline to mark out reaches from two walls, in metres; empty where none are known.
    """
    header = (
        "number", "action", "area_m2", "volume_litre", "u_litre", "mean_mm", "max_mm",
        "x_from_mm", "x_to_mm", "y_from_mm", "y_to_mm", "outline_xy_mm", "min_mm", "walls",
    )  # fmt: skip
    rows: list[list[Cell]] = []
    for area in plan.areas:
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
                round(area.min_mm, 2),
                "" if area.marked is None else area_place(area),
            ]
        )
    return as_csv(header, rows)


def methods_csv(plan: LevellingPlan) -> str:
    """Every way of levelling side by side, those that cannot be done with the reason why.

    ``p10``, ``p50``, ``p90``: one, five and nine floors of ten need no more. ``largest_gaps``: of the planned floor,
    each with its edge and limit.
    """
    header = (
        "way", "planned", "possible", "why_not", "p10_litre", "p50_litre", "p90_litre", "mass_kg", "buy_bags",
        "keep_sealed_bags", "area_m2", "min_mm", "mean_mm", "max_mm", "ground_litre", "ground_m2", "lifted_m2",
        "primer_kg", "layers", "walk_on_h", "cover_h", "most_rise_at_doors_mm", "cost", "p10_cost", "p90_cost",
        "currency", "passes", "largest_gaps", "holes_mm", "holes_m2",
    )  # fmt: skip
    return as_csv(header, [_method_row(method, plan) for method in plan.methods])


def _method_row(method: Method, plan: LevellingPlan) -> list[Cell]:
    cost, proof = method.cost, method.proof
    rise = most_rise_mm(method) if takes_known(method) else None
    money: list[Cell] = [None, None, None, ""]
    if cost is not None:
        money = [round(cost.value, 2), round(cost.p10_p50_p90[0], 2), round(cost.p10_p50_p90[2], 2), cost.currency]
    gaps = [] if proof is None else proof.gaps
    takes: list[Cell] = [None] * 6
    if takes_known(method):
        percentiles = [round(litres, 2) for litres in method.volume_p_l]
        takes = [*percentiles, round(method.mass_kg.value, 2), method.buy, method.keep_sealed]
    return [
        method.name,
        _yes(method.name == plan.chosen),
        _yes(method.possible),
        method.why_not,
        *takes,
        round(method.area_m2, 3),
        round(method.min_mm, 2),
        round(method.mean_mm, 2),
        round(method.max_mm, 2),
        round(method.ground_l, 2),
        round(method.ground_m2, 3),
        round(method.lifted_m2, 3),
        None if method.primer_kg is None else round(method.primer_kg, 2),
        method.layers,
        _hours(method.walk_on_h),
        _hours(method.cover_h),
        None if rise is None else round(rise, 2),
        *money,
        None if proof is None else _yes(proof.passes),
        "; ".join(f"{gap.gap_mm:.3f} mm {under_edge(gap.edge_mm)}, limit {length(gap.limit_mm)}" for gap in gaps),
        round(method.holes_mm, 2),
        round(method.holes_m2, 3),
    ]


def _hours(hours: float | None) -> float | None:
    return None if hours is None else round(hours, 1)


def _yes(so: bool) -> str:
    return "yes" if so else "no"


def safe_text(text: str) -> str:
    """Text that a spreadsheet shows and does not run.

    >>> safe_text("=1+1"), safe_text("lip")
    ("'=1+1", 'lip')
    """
    return f"'{text}" if text.lstrip(" ").startswith(tuple(_STARTS)) else text


def safe_cell(text: str) -> str:
    """The same for a text of people's: on one line, without control signs, and where a semicolon parts cells too.

    >>> safe_cell("lip;=1+1"), safe_cell("-12 3.5; -4 5")
    ("lip;'=1+1", "'-12 3.5; -4 5")
    """
    return safe_text(_PARTED.sub(";'", clean(" ".join(text.splitlines()))))


def as_csv(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """A table with every text made safe."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(header)
    writer.writerows([safe_cell(cell) if isinstance(cell, str) else cell for cell in row] for row in rows)
    return buffer.getvalue()


def _value(q: Quantity) -> list[Cell]:
    return [fine(q.value), fine(q.u)]


def mm(value: float) -> float:
    """A length or a coordinate, to 0.1 mm."""
    return round(float(value), 1) + 0.0


def fine(value: float) -> float | None:
    """A measured value, to 0.001; None for what is not finite."""
    return round(float(value), 3) + 0.0 if math.isfinite(value) else None
