"""The drawings of the sheet as plain data in paper mm: the template only strokes and fills."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan import said
from flatscan.constants import MM_PER_M
from flatscan.report.marking.contour_labels import contours_drawn
from flatscan.report.marking.labels import LEADER_FROM_MM, LabelPlaces, label_size
from flatscan.report.marking.view import View, rounded
from flatscan.units import MM_PER

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.levelling.plan import Wall
    from flatscan.report.marking.clusters import Cluster
    from flatscan.report.marking.data import MarkedArea, MarkingData
    from flatscan.report.marking.view import Points

#: Scales of the whole floor on a page, 1 to so many: as large as fits.
_OVERVIEW_SCALES = (10, 15, 20, 25, 30, 40, 50, 60, 75, 100, 125, 150, 200, 250, 300, 400, 500, 750, 1000)
#: Lengths of the scale bar, m: the first that is long enough on paper.
_BARS_M = (0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
_BARS_FT = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
_LEAST_BAR_MM = 25.0
#: Grid of a true to scale drawing, floor mm: the first whose lines are far enough apart on paper.
_GRIDS_MM = (100.0, 200.0, 250.0, 500.0, 1000.0, 2000.0, 5000.0, 10_000.0)
_GRIDS_FT = (0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
_LEAST_GRID_MM = 15.0
#: Heights of letters on paper, mm.
NUMBER_MM, LETTER_MM, NAME_MM = 3.4, 2.3, 2.1
_NUMBER_BOX = (4.6, 4.6)
#: How far outside the walls their numbers stand, paper mm.
_WALL_OFF_MM = 3.6
#: Paper round the areas of a true to scale drawing, for letters.
AROUND_MM = 9.0
#: Lips and joints that are listed on the sheet and numbered on the drawings.
MOST_LISTED = 60


def overview(data: MarkingData, space_mm: tuple[float, float]) -> dict[str, Any]:
    """The whole floor with everything on it."""
    lines = [*data.outline, *(door.line for door in data.doors)]
    every = np.concatenate(lines) if lines else np.concatenate([a.corners for a in data.areas] or [np.zeros((1, 2))])
    low, high = every.min(axis=0), every.max(axis=0)
    scale = next((s for s in _OVERVIEW_SCALES if _fits((high - low) / s, space_mm)), _OVERVIEW_SCALES[-1])
    view = View(scale, low, high)
    labels = LabelPlaces(view.width, view.height)
    bars, unit_mm, unit = (_BARS_FT, MM_PER["ft"], "ft") if said.imperial() else (_BARS_M, MM_PER_M, "m")
    length = next((bar for bar in bars if bar * unit_mm / scale >= _LEAST_BAR_MM), bars[-1])
    walls = [_wall_outside(wall, view) for wall in data.walls]
    labels.keep_off(view.at((0.0, 0.0)), (10.0, 10.0))
    return {
        **_frame(view),
        "bar": {"length": round(length * unit_mm / scale, 3), "text": f"{length:g} {unit}"},
        "walls": walls,
        "origin": view.at((0.0, 0.0)),
        **_marks(data, view, labels, data.areas),
    }


def detail(data: MarkingData, cluster: Cluster) -> dict[str, Any]:
    """Some areas true to scale, with the letters of their corners, contours and a grid from corner 0."""
    around = AROUND_MM * cluster.scale
    view = View(cluster.scale, cluster.low - around, cluster.high + around)
    areas = [data.areas[k] for k in cluster.members]
    labels = LabelPlaces(view.width, view.height, _drawn(areas, view))
    corners = [_corners(area, view, labels) for area in areas]
    marks = _marks(data, view, labels, data.areas)
    return {
        **_frame(view),
        "marking": [shape for area in areas for shape in view.shapes(area.rings)],
        "corners": [corner for of_area in corners for corner in of_area],
        "walls": [wall for wall in (_wall_inside(w, view, labels) for w in data.walls) if wall is not None],
        "grid": _grid(view),
        **marks,
        "contours": contours_drawn(data.drawn_contours, view, labels),
    }


def _frame(view: View) -> dict[str, Any]:
    return {"width": round(view.width, 3), "height": round(view.height, 3), "scale": f"1:{view.scale:g}"}


def _marks(data: MarkingData, view: View, labels: LabelPlaces, areas: Sequence[MarkedArea]) -> dict[str, Any]:
    """What overview and detail both show, as far as it lies in the view."""
    numbered = [_area(area, view, labels) for area in areas]
    return {
        "outline": [part for ring in data.outline for part in view.lines([ring])],
        "areas": [area for area in numbered if area is not None],
        "zones": _zones(data, view, labels),
        "joints": [part for fill in data.fills() for part in view.lines([np.asarray(fill.line, dtype=np.float64)])],
        "lips": _lips(data, view, labels),
        "movement": view.lines([joint.line for joint in data.movement_joints]),
        "dams": view.lines([dam.line for dam in data.dams]),
        "doors": _doors(data, view, labels),
    }


def _area(area: MarkedArea, view: View, labels: LabelPlaces) -> dict[str, Any] | None:
    """One area's shapes and where its number stands."""
    import shapely

    shapes = view.shapes(area.area.rings)
    if not shapes:
        return None
    largest = max((shapely.Polygon(s[0], s[1:]) for s in shapes), key=lambda p: float(p.area))
    # The middle of the largest circle that fits (maximum inscribed circle), so that the number lies in the area.
    radius = shapely.maximum_inscribed_circle(largest, tolerance=0.2)
    middle = radius.coords[0]
    text = str(area.area.number)
    at = labels.centre((middle[0], middle[1]), _NUMBER_BOX, (3.2, 5.0, 7.0), on=True)
    return {
        "shapes": shapes,
        "action": area.area.action,
        "number": text,
        "at": at,
        "from": _leader((middle[0], middle[1]), at),
    }


def _leader(point: tuple[float, float], at: tuple[float, float]) -> tuple[float, float] | None:
    """Where a thin line to the label starts; None where it stands near enough."""
    return (round(point[0], 3), round(point[1], 3)) if math.dist(point, at) > LEADER_FROM_MM else None


def _corners(area: MarkedArea, view: View, labels: LabelPlaces) -> list[dict[str, Any]]:
    found = []
    for text, corner in zip(area.letters, area.corners, strict=True):
        point = view.at(corner)
        at = labels.centre(point, label_size(text, LETTER_MM))
        found.append({"text": text, "point": point, "at": at, "from": _leader(point, at)})
    return found


def _drawn(areas: Sequence[MarkedArea], view: View) -> tuple[Any, ...]:
    """The marking outlines, as lines and as what lies in them, for letters to keep off."""
    import shapely

    rings = [[view.on_paper(ring) for ring in area.rings] for area in areas]
    shapes = (
        shapely.union_all([shapely.LineString(ring) for of_area in rings for ring in of_area]),
        shapely.union_all([shapely.Polygon(of_area[0], of_area[1:]) for of_area in rings]),
    )
    for shape in shapes:
        shapely.prepare(shape)
    return shapes


def _lips(data: MarkingData, view: View, labels: LabelPlaces) -> list[dict[str, Any]]:
    """A wedge at each lip's worst place, its point to the low side, and its number."""
    found = []
    for number, lip in data.lips()[:MOST_LISTED]:
        if not view.shows(lip.at):
            continue
        point = view.at(lip.at)
        away = np.asarray(lip.high_at) - np.asarray(lip.at)
        far = math.hypot(*away)
        turn = (away[0] / far, -away[1] / far) if far > 0.0 else (0.0, -1.0)
        labels.keep_off(point, (2.4, 2.4))
        at = labels.centre(point, label_size(f"L{number}", NAME_MM))
        found.append({"point": point, "high": (round(turn[0], 4), round(turn[1], 4)), "text": f"L{number}", "at": at})
    return found


def _zones(data: MarkingData, view: View, labels: LabelPlaces) -> list[dict[str, Any]]:
    import shapely

    found = []
    for zone in data.zones:
        for shape in view.shapes(zone.rings):
            spot = shapely.Polygon(shape[0], shape[1:]).representative_point()
            name = "" if zone.kind == "remove_tiles" else zone.name
            at = labels.centre((spot.x, spot.y), label_size(name, NAME_MM), (3.0, 4.5), on=True) if name else None
            found.append({"shape": shape, "kind": zone.kind, "name": name, "at": at})
    return found


def _doors(data: MarkingData, view: View, labels: LabelPlaces) -> list[dict[str, Any]]:
    found = []
    for door in data.doors:
        parts: list[Points] = view.lines([door.line])
        for part in parts[:1]:
            middle = tuple(np.mean([part[0], part[-1]], axis=0))
            at = labels.centre((middle[0], middle[1]), label_size(door.name, NAME_MM), (2.6, 4.0))
            found.append({"line": part, "name": door.name, "at": at})
    return found


def _wall_outside(wall: Wall, view: View) -> dict[str, Any]:
    """Number and length beside the middle of a wall, outside the room (which lies to its left)."""
    (ax, ay), (bx, by) = view.at(wall.start), view.at(wall.end)
    length = math.hypot(bx - ax, by - ay)
    # Paper y runs down, so the room, left of the wall on the floor, lies to the right of it as numbers go.
    out = (-(by - ay) / length, (bx - ax) / length)
    at = ((ax + bx) / 2.0 + _WALL_OFF_MM * out[0], (ay + by) / 2.0 + _WALL_OFF_MM * out[1])
    angle = math.degrees(math.atan2(by - ay, bx - ax))
    # Read from below or from the right.
    angle = (angle + 90.0) % 180.0 - 90.0
    return {
        "at": rounded(np.array([at]))[0],
        "number": f"W{wall.number}",
        "length": said.tape(math.dist(wall.start, wall.end), fine=True) if length > 22.0 else "",  # noqa: PLR2004 - there is room to write it
        "angle": round(-90.0 if angle == 90.0 else angle, 2),  # noqa: PLR2004
        "line": [view.at(wall.start), view.at(wall.end)],
    }


def _wall_inside(wall: Wall, view: View, labels: LabelPlaces) -> dict[str, Any] | None:
    parts = view.lines([np.array([wall.start, wall.end])])
    if not parts:
        return None
    (ax, ay), (bx, by) = parts[0][0], parts[0][-1]
    text = f"W{wall.number}"
    size = label_size(text, NUMBER_MM)
    # Outside the room where the drawing shows some of it, as on the plan of the whole floor.
    way = np.array([-(by - ay), bx - ax]) / max(1e-9, math.hypot(bx - ax, by - ay))
    spots = [np.array([ax, ay]) + share * np.array([bx - ax, by - ay]) for share in (0.5, 0.35, 0.65, 0.2, 0.8)]
    at = labels.free(np.array(spots) + _WALL_OFF_MM * way, size)
    if at is None:
        at = labels.centre((float(spots[0][0]), float(spots[0][1])), size, (3.0, 4.5))
    return {"at": at, "number": text, "length": "", "angle": 0.0, "line": parts[0]}


def _grid(view: View) -> dict[str, Any]:
    """Lines at whole distances from the left and the bottom wall, with those distances in metres or feet."""
    unit_mm = MM_PER["ft"] if said.imperial() else MM_PER_M
    steps = tuple(g * unit_mm for g in _GRIDS_FT) if said.imperial() else _GRIDS_MM
    step = next((g for g in steps if g / view.scale >= _LEAST_GRID_MM), steps[-1])
    xs, ys = (
        np.arange(math.ceil(low / step), math.floor(high / step) + 1) * step
        for low, high in zip(view.low, view.high, strict=True)
    )
    places = 2 if step < 0.5 * unit_mm else 1  # quarters need two decimals
    return {
        "x": [(round(float(x - view.low[0]) / view.scale, 3), f"{x / unit_mm + 0.0:.{places}f}") for x in xs],
        "y": [(round(float(view.high[1] - y) / view.scale, 3), f"{y / unit_mm + 0.0:.{places}f}") for y in ys],
    }


def _fits(size: Any, space: Sequence[float]) -> bool:
    return bool(np.all(np.asarray(size) <= np.asarray(space)))
