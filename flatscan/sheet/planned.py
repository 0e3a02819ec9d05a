"""A layout as if it had been read, to ask beforehand what it will tell: places and uncertainties, no values."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.sheet.instruments import assumed_bar, assumed_level
from flatscan.sources.hand.field_readings import FieldReadings, LevelReading, Placement
from flatscan.sources.hand.instruments import STEPS_PER_U

if TYPE_CHECKING:
    from flatscan.sheet.layout import Layout
    from flatscan.sheet.request import SheetRequest


def planned_readings(request: SheetRequest, layout: Layout) -> FieldReadings:
    """The readings that a filled-in sheet would hold; all gaps and heights are 0 and stand for nothing."""
    bar, level = assumed_bar(request), assumed_level(request.units)
    at = np.array(layout.stations_mm)
    placements = tuple(
        Placement(
            row=p.number,
            number=str(p.number),
            start=p.start,
            end=p.end,
            rule="resting",
            at_mm=at.copy(),
            gap_mm=np.zeros(len(at)),
            contact=np.zeros(len(at), dtype=bool),
            u_mm=np.full(len(at), np.hypot(bar.step_mm / STEPS_PER_U, bar.repeat_mm)),
            bar=bar,
        )
        for p in layout.placements
    )
    u_mm = float(np.hypot(level.step_mm / STEPS_PER_U, level.repeat_mm))
    levels = tuple(
        LevelReading(len(placements) + k, f"S{point.number}", point.at, 0.0, u_mm, set_up="1", order=k)
        for k, point in enumerate(layout.staff)
    )
    return FieldReadings(
        inputs=(), placements=placements, levels=levels, level=level, outline=request.room.outline_mm.copy()
    )
