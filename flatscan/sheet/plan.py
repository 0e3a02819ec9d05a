"""The plan of the room as it is drawn: everything in paper millimetres, from the upper left of the drawing."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.sheet import shown
from flatscan.sheet.labels import label_shares, staff_label_shift
from flatscan.units import MM_PER

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.sheet.layout import PlannedPlacement, StaffPoint
    from flatscan.sheet.request import SheetRequest
    from flatscan.sources.hand.field_readings import Point
    from flatscan.units import UnitSystem

#: Scales that rulers carry, or nearly: one paper unit to so many.
_SCALES: dict[UnitSystem, tuple[int, ...]] = {
    "metric": (10, 15, 20, 25, 30, 40, 50, 60, 75, 100, 125, 150, 200, 250, 300, 400, 500),
    "imperial": (12, 16, 24, 32, 48, 64, 96, 128, 192, 384),
}
#: Lengths of the scale bar in m or ft, the first that is long enough on paper, mm.
_SCALE_BARS: dict[UnitSystem, tuple[int, ...]] = {"metric": (1, 2, 4, 8), "imperial": (4, 8, 16, 32)}
_LEAST_SCALE_BAR_MM = 18.0
#: Lays of one row overlap, so they are drawn in three lanes in turn: this far to either side, paper mm.
_LANES_MM = (0.0, 1.7, -1.7)


@dataclass(frozen=True, slots=True)
class Paper:
    """The drawing's frame: floor mm to paper mm. ``left_mm``, ``top_mm``: floor position of its upper left corner."""

    scale: int
    left_mm: float
    top_mm: float

    def at(self, point: Sequence[float]) -> tuple[float, float]:
        """Paper mm of a floor position."""
        x, y = point
        return (round((x - self.left_mm) / self.scale, 3), round((self.top_mm - y) / self.scale, 3))


def plan(
    request: SheetRequest,
    placements: Sequence[PlannedPlacement],
    staff: Sequence[StaffPoint],
    *,
    room_mm: tuple[float, float],
) -> dict[str, Any]:
    """Walls, bars and staff points for the template.

    Parameters
    ----------
    room_mm : width and height of paper that there is for it
    """
    outline = request.room.outline_mm
    extent = request.room.extent_mm
    scale = _scale(extent, room_mm, request.units)
    low, high = outline.min(axis=0), outline.max(axis=0)
    paper = Paper(scale, float(low[0]), float(high[1]))
    bars = _bars(placements, paper)
    shares = label_shares(bars, [paper.at(point.at) for point in staff])
    corners = [paper.at(corner) for corner in outline]
    walls = list(zip(corners, [*corners[1:], corners[0]], strict=True))
    return {
        "width": round(extent[0] / scale, 3),
        "height": round(extent[1] / scale, 3),
        "scale": scale_text(scale, request.units),
        "bar": _scale_bar(scale, request.units),
        "outline": corners,
        "origin": paper.at((0.0, 0.0)),
        "walls": _walls(request, paper),
        "bars": [_bar_drawn(p, bar, share) for p, bar, share in zip(placements, bars, shares, strict=True)],
        "staff": [_staff_drawn(point, paper, walls, bars, shares) for point in staff],
    }


def scale_text(scale: int, units: UnitSystem) -> str:
    """``1:50``, or ``1/4 in = 1 ft (1:48)``."""
    if units == "metric":
        return f"1:{scale}"
    return f"{shown.station(12 * 25.4 / scale, 'imperial', parts=32)} = 1 ft (1:{scale})"


def _scale(extent_mm: tuple[float, float], room_mm: tuple[float, float], units: UnitSystem) -> int:
    for scale in _SCALES[units]:
        if all(length / scale <= space for length, space in zip(extent_mm, room_mm, strict=True)):
            return scale
    return _SCALES[units][-1]


def _bars(placements: Sequence[PlannedPlacement], paper: Paper) -> list[tuple[Point, Point]]:
    """Ends of each lay on paper, overlapping ones side by side."""
    found = []
    lane, before = 0, None
    for placement in placements:
        start, end = np.array(paper.at(placement.start)), np.array(paper.at(placement.end))
        along = (end - start) / math.dist(start, end)
        aside = np.array([along[1], -along[0]])
        row = (placement.family, round(float(aside @ start), 1))
        lane = (lane + 1) % len(_LANES_MM) if row == before else 0
        before = row
        shift = aside * _LANES_MM[lane] if placement.family != "diagonal" else 0.0 * aside
        found.append((_pair(start + shift), _pair(end + shift)))
    return found


def _bar_drawn(placement: PlannedPlacement, bar: tuple[Point, Point], share: float) -> dict[str, Any]:
    start, end = np.array(bar[0]), np.array(bar[1])
    return {
        "number": str(placement.number),
        "start": bar[0],
        "end": bar[1],
        "label": _pair(start + share * (end - start)),
    }


def _staff_drawn(
    point: StaffPoint,
    paper: Paper,
    walls: Sequence[tuple[Point, Point]],
    bars: Sequence[tuple[Point, Point]],
    shares: Sequence[float],
) -> dict[str, Any]:
    at = paper.at(point.at)
    return {"number": f"S{point.number}", "at": at, "shift": staff_label_shift(at, walls, bars, shares)}


def _walls(request: SheetRequest, paper: Paper) -> list[dict[str, Any]]:
    """Length of each wall and where to write it: outside, beside its middle."""
    corners = request.room.outline_mm
    found = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        start, end = np.array(paper.at(a)), np.array(paper.at(b))
        length = math.dist(start, end)
        along = (end - start) / length
        found.append(
            {
                "text": shown.side(math.dist(a, b), request.units),
                "at": _pair((start + end) / 2.0),
                # The room lies to the left of each wall, and paper y runs down.
                "out": _pair(np.array([-along[1], along[0]])),
                "length": round(length, 2),
            }
        )
    return found


def _scale_bar(scale: int, units: UnitSystem) -> dict[str, Any]:
    unit = "m" if units == "metric" else "ft"
    lengths = [(count * MM_PER[unit] / scale, f"{count} {unit}") for count in _SCALE_BARS[units]]
    length, text = next((bar for bar in lengths if bar[0] >= _LEAST_SCALE_BAR_MM), lengths[-1])
    return {"length": round(length, 3), "text": text}


def _pair(values: Any) -> tuple[float, float]:
    return (round(float(values[0]), 3), round(float(values[1]), 3))
