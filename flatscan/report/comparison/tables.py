"""``open_spots.csv``: what is still open, worst first, for a spreadsheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.report.comparison.words import where
from flatscan.report.tables.tables import as_csv
from flatscan.report.words import wording

if TYPE_CHECKING:
    from flatscan.report.comparison.run import ComparisonRun

_HEAD = (
    "number", "verdict", "what", "edge_mm", "limit_mm", "value_mm", "u_mm", "before_mm", "before_u_mm", "history",
    "area", "joint", "x_mm", "y_mm", "place",
)  # fmt: skip


def open_spots_csv(run: ComparisonRun) -> str:
    """One row for each place; lengths in mm, x and y on the map after; u: one standard uncertainty."""
    rows = [
        (
            number,
            wording.VERDICT_TEXT[spot.verdict],
            spot.what,
            "" if spot.edge_mm is None else f"{spot.edge_mm:.0f}",
            f"{spot.limit_mm:g}",
            f"{spot.value.value:.2f}",
            f"{spot.value.u:.2f}",
            "" if spot.before is None else f"{spot.before.value:.2f}",
            "" if spot.before is None else f"{spot.before.u:.2f}",
            spot.history,
            "" if spot.area is None else spot.area,
            spot.joint or "",
            f"{spot.at[0]:.0f}",
            f"{spot.at[1]:.0f}",
            where(spot),
        )
        for number, spot in enumerate(run.found.open_spots, 1)
    ]
    return as_csv(_HEAD, rows)
