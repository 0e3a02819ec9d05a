"""The room as a tape found it beside the floor that was measured: of how much of it nothing is said."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan import said

if TYPE_CHECKING:
    from flatscan.report.report import Report

#: Less than this share of the room is no more than two tapes differ by.
_LEAST_SHARE = 0.02


def room_line(report: Report) -> str:
    """How large the taped room is, and how much of it no height speaks of; "" where none was taped or all was seen."""
    outline = None if report.survey is None else report.survey.site.outline_mm
    if outline is None:
        return ""
    from shapely import Polygon

    surface = report.surface
    room_m2 = float(Polygon(outline).area) / 1e6
    rest_m2 = room_m2 - float(surface.seen.sum()) * surface.cell_mm**2 / 1e6
    if rest_m2 <= _LEAST_SHARE * room_m2:
        return ""
    source = "read" if surface.kind == "readings" else "captured"
    strip = " or lies in the strip along the walls" if surface.strip_mm > 0.0 else ""
    return (
        f"The room measured by tape is {said.area(room_m2)}; {said.area(rest_m2)} of it was not {source}{strip}: "
        "nothing here speaks of it"
    )
