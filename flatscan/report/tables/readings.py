"""readings.csv: every reading that had a say beside the surface, and every placement judged by itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.constants import MM_PER_M
from flatscan.report.tables.tables import as_csv, fine, mm
from flatscan.report.words.field_words import row_words
from flatscan.report.words.judged_placements import judged_placements

if TYPE_CHECKING:
    from flatscan.report.report import Report
    from flatscan.report.tables.tables import Cell
    from flatscan.report.words.judged_placements import JudgedPlacement

HEADER = (
    "what", "row", "number", "x_m", "y_m", "read_mm", "surface_mm", "u_mm", "left_over_u",
    "contacts_apart_mm", "limit_mm", "limit_id", "verdict", "note",
)  # fmt: skip
#: The gap that one laying of the bar shows by itself.
BY_ITSELF = "placement gap"


def has_readings(report: Report) -> bool:
    """Whether there is anything to list."""
    return report.surface.fit is not None or bool(report.measurement.placements)


def field_csv(report: Report) -> str:
    """One row per reading in the order of the file, then one per placement.

    ``surface_mm``: what the surface makes of the same reading. ``u_mm``: one standard uncertainty of the reading;
    ``left_over_u``: what is left between the two, in such u. A ``placement gap`` is the largest gap that the bar shows
    by itself between two contacts, with the limit it was held against and the surface's gap of the same chord.
    """
    return as_csv(
        HEADER, [*_readings(report), *(_placement(one) for one in judged_placements(report) if one.tells_gap)]
    )


def _readings(report: Report) -> list[list[Cell]]:
    fit, words = report.surface.fit, dict(row_words(report))
    if fit is None:
        return []
    rows: list[list[Cell]] = []
    for i, number in enumerate(fit.number):
        row, (x, y) = int(fit.row[i]), fit.at_mm[i].tolist()
        read, says, u = (float(a[i]) for a in (fit.read_mm, fit.fitted_mm, fit.u_mm))
        left = round((read - says) / u, 2) + 0.0 if u > 0.0 else None
        place = [_metres(x), _metres(y)]
        rows.append(
            [
                words.get((row, number), "reading"),
                row,
                number,
                *place,
                fine(read),
                fine(says),
                fine(u),
                left,
                *[None] * 5,
            ]
        )
    return rows


def _placement(one: JudgedPlacement) -> list[Cell]:
    figure, finding = one.figure, one.finding
    return [
        BY_ITSELF,
        figure.row,
        figure.number,
        *(_metres(v) for v in figure.at),
        fine(figure.gap.value),
        None if figure.surface is None else fine(figure.surface.value),
        fine(figure.gap.u),
        None,
        mm(figure.span_mm),
        None if finding is None else fine(finding.limit_mm),
        "" if finding is None else finding.limit_id,
        "no limit" if finding is None else finding.verdict,
        "the surface disagrees" if one.conflict else "",
    ]


def _metres(v_mm: float) -> float:
    return round(v_mm / MM_PER_M, 3) + 0.0
