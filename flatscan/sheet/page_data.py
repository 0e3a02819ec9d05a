"""What the printed pages hold, as plain data for the template: it only places and draws."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flatscan.sheet import shown, words
from flatscan.sheet.instruments import assumed_steps
from flatscan.sheet.plan import plan
from flatscan.sheet.table import FINDS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from flatscan.sheet.layout import Family, Layout, PlannedPlacement
    from flatscan.sheet.predicted import Outlook
    from flatscan.sheet.request import Paper, SheetRequest

#: Paper that a plan may take up on the first page and on the others, width and height in mm.
_PLAN_MM: dict[Paper, tuple[tuple[float, float], tuple[float, float]]] = {
    "a4": ((167.0, 142.0), (167.0, 222.0)),
    "letter": ((172.0, 126.0), (172.0, 205.0)),
}
#: With more placements than this each direction has a plan of its own.
_MOST_ON_ONE_PLAN = 60
#: Boxes beside each other in one line, at most, so that a figure fits in each.
_BOXES_PER_LINE = 13
_STAND_TEXT = (
    "Choose the corner to be 0 and stand in it with your back to it. "
    "The {} wall must be at your right hand, the {} wall at your left."
)
_FAMILIES: tuple[tuple[Family, str], ...] = (
    ("along", "Placements along x"),
    ("across", "Placements along y"),
    ("diagonal", "Placements aslant"),
)


def page_data(request: SheetRequest, layout: Layout, found: Outlook) -> dict[str, Any]:
    """All words and figures that hang on the room and the layout."""
    units = request.units
    return {
        "paper": "us-letter" if request.paper == "letter" else "a4",
        "title": request.title,
        "room": words.room_text(request),
        "tasks": words.tasks_text(len(layout.placements), len(layout.staff)),
        "imperial": units == "imperial",
        "unit": "mm" if units == "metric" else "inches",
        "station_unit": "metres" if units == "metric" else "inches",
        "edge": shown.side(request.edge_mm, units),
        "spacing": shown.side(request.spacing_mm, units),
        "corner": _corner_text(request),
        "expected": words.expected_text(found.expected, units),
        "wave": words.wave_text(found, request),
        "choices": [words.choice_text(choice, layout, units) for choice in found.choices],
        "plans": list(_plans(request, layout)),
        "stations": _in_lines(_stations(request, layout)),
        "groups": list(_groups(request, layout)),
        "staff": _staff_rows(request, layout),
        "steps": assumed_steps(request),
        "joints": request.joints,
        "lips": request.lips,
        "finds": {what: count for _, what, count in FINDS},
        "with_bar": bool(layout.placements),
    }


def _stations(request: SheetRequest, layout: Layout) -> list[str]:
    return [shown.station(at, request.units).rpartition(" ")[0] for at in layout.stations_mm]


def _in_lines(stations: list[str]) -> list[list[str]]:
    """Stations in as few lines of boxes as hold them, the lines as long as each other but the last."""
    if not stations:
        return []
    lines = -(-len(stations) // _BOXES_PER_LINE)
    size = -(-len(stations) // lines)
    return [stations[k : k + size] for k in range(0, len(stations), size)]


def _corner_text(request: SheetRequest) -> list[str]:
    room, units = request.room, request.units
    x_wall, y_wall = room.walls_at_corner_0_mm
    hands = (shown.side(wall, units) for wall in (x_wall, y_wall))
    return [
        _STAND_TEXT.format(*hands),
        "x is measured from corner 0 along the wall at your right, y square to it into the room.",
        "Mark the doors and the corner on the plan, so that others find it again.",
    ]


def _plans(request: SheetRequest, layout: Layout) -> Iterator[dict[str, Any]]:
    """One plan, or one for each direction, the first on page 1."""
    first, others = _PLAN_MM[request.paper]
    if len(layout.placements) <= _MOST_ON_ONE_PLAN:
        yield {"caption": "", "plan": plan(request, layout.placements, layout.staff, room_mm=first)}
        return
    parts = [(text, [p for p in layout.placements if p.family == family]) for family, text in _FAMILIES]
    parts = [(text, placements) for text, placements in parts if placements]
    for k, (text, placements) in enumerate(parts):
        staff = layout.staff if k == len(parts) - 1 else ()
        yield {
            "caption": text + (" and staff readings" if staff else ""),
            "plan": plan(request, placements, staff, room_mm=others if k else first),
        }


def _groups(request: SheetRequest, layout: Layout) -> Iterator[dict[str, Any]]:
    for family, text in _FAMILIES:
        placements = [p for p in layout.placements if p.family == family]
        if placements:
            yield {"caption": text, "rows": [_placement_row(request, p) for p in placements]}


def _placement_row(request: SheetRequest, placement: PlannedPlacement) -> dict[str, str]:
    start, end = (
        " , ".join(shown.place(v, request.units) for v in point) for point in (placement.start, placement.end)
    )
    return {"number": str(placement.number), "start": start, "end": end}


def _staff_rows(request: SheetRequest, layout: Layout) -> list[dict[str, str]]:
    points = [(f"S{point.number}", point.at, "") for point in layout.staff]
    if points:
        points.append((f"S{len(points) + 1}", points[0][1], "as S1"))
    return [
        {"number": number, "x": shown.place(at[0], request.units), "y": shown.place(at[1], request.units), "note": note}
        for number, at, note in points
    ]
