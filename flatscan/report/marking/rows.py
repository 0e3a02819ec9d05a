"""The rows of the sheet's tables, in words: units in the headers, measured values with their uncertainty."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan import said
from flatscan.levelling.marking.walls import distances_mm, furthest_corners, nearest_pair
from flatscan.report.marking.data import name_of
from flatscan.report.marking.drawing import MOST_LISTED
from flatscan.report.words import places, wording

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.verdict import Point
    from flatscan.levelling.joints.joint_work import JointFill, LipDown
    from flatscan.levelling.plan import Area, Wall
    from flatscan.quantity import Quantity
    from flatscan.report.marking.data import MarkedArea, MarkingData, NamedPlace

#: Corners in one table, at most.
_CORNERS_IN_ONE = 14
_NOT_MEASURED = "not measured"
_ZONE_TEXT = {
    "no_fill": "no compound",
    "no_grind": "nothing is ground",
    "keep_slope": "keeps its slope",
    "fixed_height": "finished height above the old floor:",
    "greatest_build_up": "greatest build-up:",
    "remove_tiles": "tiles come out, hole to fill flush:",
}


def area_rows(data: MarkingData) -> list[list[str]]:
    """Number, what to do, m², litres, mean, thickest, thinnest mm."""
    return [_area_row(marked.area) for marked in data.areas]


def corner_tables(marked: MarkedArea) -> list[dict[str, Any]]:
    """Each corner's two distances in m, in pieces that fit beside each other; the last has one to check."""
    if marked.marked is not None:
        heads = [f"W{wall.number}" for wall in marked.marked.walls]
        distances = np.concatenate(marked.marked.from_mm)
    else:
        heads = ["left", "bottom"]
        distances = marked.corners
    letters = marked.letters
    corners = [[text, *(_metres(v) for v in pair)] for text, pair in zip(letters, distances, strict=True)]
    pieces = -(-len(corners) // _CORNERS_IN_ONE)
    size = -(-len(corners) // pieces)
    first, second, far = furthest_corners(marked.corners)
    check = f"check {letters[first]} to {letters[second]}: {_metres(far)}{_unit()}"
    return [
        {
            "title": f"Area {marked.area.number}" + (", more" if k else ""),
            "note": "" if k else f"(to {marked.area.action})",
            "heads": heads,
            "rows": corners[k * size : (k + 1) * size],
            "check": check if k == pieces - 1 else "",
        }
        for k in range(pieces)
    ]


def joints_sentence(data: MarkingData) -> str:
    """How many metres of joint there are to fill; "" for none."""
    over_mm = sum(fill.length_mm for fill in data.fills())
    return f"Joints to fill: {said.run(over_mm)} in all." if over_mm else ""


def lips_sentence(data: MarkingData) -> str:
    """How many lips there are to take down; "" for none."""
    down = len(data.lips())
    return f"{down} {'lip' if down == 1 else 'lips'} to take down." if down else ""


def open_sentence(data: MarkingData) -> str:
    """Joints and lips that are not decided, "" for none: no work is ordered on them before they are read by hand."""
    open_mm = sum(fill.length_mm for fill in data.fills("not_decided"))
    lips = len(data.lips("not_decided"))
    told = [f"{said.run(open_mm)} {'more ' if data.fills() else ''}of joint"] if open_mm else []
    told += [f"{lips} {'more ' if data.lips() else ''}{'lip' if lips == 1 else 'lips'}"] if lips else []
    if not told:
        return ""
    one = len(told) == 1 and lips <= 1
    verb, them = ("is", "it") if one else ("are", "them")
    return f"{' and '.join(told)} {verb} not decided: read {them} by hand first (joint_work.csv lists {them})."


def joint_table(data: MarkingData) -> dict[str, Any]:
    """The joints to fill, the longest first; more than ``MOST_LISTED`` are in the table file."""
    fills = sorted(data.fills(), key=lambda fill: -fill.length_mm)
    return {
        "rows": [_joint_row(fill) for fill in fills[:MOST_LISTED]],
        "more": max(0, len(fills) - MOST_LISTED),
        "sum": joints_sentence(data),
        "guessed": any(fill.guessed for fill in fills[:MOST_LISTED]),
    }


def lip_table(data: MarkingData) -> dict[str, Any]:
    """The lips to take down, worst first, each found from two walls."""
    lips = data.lips()
    return {
        "rows": [_lip_row(number, lip, data.walls) for number, lip in lips[:MOST_LISTED]],
        "more": max(0, len(lips) - MOST_LISTED),
    }


def pour_rows(data: MarkingData) -> list[list[str]]:
    """Each level pour: number, m², litres, water level above the region's lowest place in mm."""
    return [
        [
            str(k),
            _square(pour.area_m2),
            said.number(pour.volume_l, "l", 1),
            said.number(pour.level_mm, "mm", 1),
        ]
        for k, pour in enumerate(data.pours, start=1)
    ]


def dam_rows(data: MarkingData) -> list[list[str]]:
    """Each dam: where, from, to, length in m, height in mm."""
    return [
        [
            name_of(dam.where),
            _place(dam.line[0]),
            _place(dam.line[-1]),
            _metres(_length(dam.line)),
            said.number(dam.height_mm, "mm", 0),
        ]
        for dam in data.dams
    ]


def zone_rows(data: MarkingData) -> list[list[str]]:
    """Zones of the survey file and tiles that come out: name, rule, from where to where in x and in y, m."""
    return [_zone_row(zone) for zone in data.zones]


def from_walls(at: Point, walls: Sequence[Wall]) -> tuple[tuple[Wall, float], tuple[Wall, float]] | None:
    """A place's distances from the two walls it is best found from, mm; None where there are no two."""
    point = np.asarray([at], dtype=np.float64)
    pair = nearest_pair(point, walls)
    if pair is None:
        return None
    one, other = distances_mm(point, pair)[0]
    return (pair[0], float(one)), (pair[1], float(other))


def high_side(lip: LipDown) -> str:
    """Towards which side of the drawing the tile stands high.

    >>> from flatscan.levelling.joints.joint_work import LipDown
    >>> from flatscan.quantity import Quantity
    >>> line = ((0.0, 0.0), (900.0, 0.0))
    >>> high_side(LipDown("a", (400.0, 0.0), line, (400.0, 100.0), 900.0, "over", Quantity(2.0, 0.3, "mm"), 1.0))
    'top'
    """
    dx, dy = lip.high_at[0] - lip.at[0], lip.high_at[1] - lip.at[1]
    return places.heading(math.atan2(dy, dx))


def _area_row(area: Area) -> list[str]:
    # What is ground is what the plan says, so it has no uncertainty of measurement.
    litres = (
        wording.size(area.volume_l)
        if area.action == "fill"
        else f"{said.number(area.volume_l.value, 'l', 2)} {said.unit('l')}, as planned"
    )
    thickness = [said.number(value, "mm", 1) for value in (area.mean_mm, area.max_mm, area.min_mm)]
    return [str(area.number), area.action, _square(area.area_m2), litres, *thickness]


def _joint_row(fill: JointFill) -> list[str]:
    return [
        name_of(fill.joint),
        _place(fill.line[0]),
        _place(fill.line[-1]),
        _metres(fill.length_mm),
        _measured(fill.width),
        _measured(fill.depth),
        wording.size(fill.volume) + (" *" if fill.guessed else ""),
    ]


def _lip_row(number: int, lip: LipDown, walls: Sequence[Wall]) -> list[str]:
    found = from_walls(lip.at, walls)
    place = (
        ", ".join(f"W{wall.number} {_metres(far)}" for wall, far in found)
        if found is not None
        else f"left {_metres(lip.at[0])}, bottom {_metres(lip.at[1])}"
    )
    size, limit = wording.size(lip.lip), wording.length(lip.limit_mm)
    return [f"L{number}", name_of(lip.joint), place, size, limit, high_side(lip)]


def _zone_row(zone: NamedPlace) -> list[str]:
    low, high = zone.rings[0].min(axis=0), zone.rings[0].max(axis=0)
    rule = _ZONE_TEXT.get(zone.kind, zone.kind.replace("_", " "))
    value = "" if zone.value_mm is None else f" {wording.length(zone.value_mm)}"
    return [zone.name, rule + value, *(f"{_metres(a)} to {_metres(b)}" for a, b in zip(low, high, strict=True))]


def _square(area_m2: float) -> str:
    return said.number(area_m2, "m²", 1 if said.imperial() else 2)


def _unit() -> str:
    """Behind figures that carry none of their own."""
    return "" if said.imperial() else " m"


def _measured(value: Quantity | None) -> str:
    return _NOT_MEASURED if value is None else wording.size(value)


def _place(at: Any) -> str:
    return f"{_metres(at[0])} , {_metres(at[1])}"


def _length(line: Any) -> float:
    return float(np.hypot(*np.diff(np.asarray(line), axis=0).T).sum())


def _metres(length_mm: float) -> str:
    """Short, for a table whose heading names the unit."""
    return said.marks(float(length_mm))
