"""Wherever it is laid out, a sheet determines the floor: rows both ways and something that sees twist, all inside."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon

from flatscan.errors import SettingsError
from flatscan.sheet.layout import Layout, lay_out
from flatscan.sheet.request import SheetRequest, usual_spacing_mm
from flatscan.sheet.room import Room, room_of_outline, room_of_size
from flatscan.sheet.rows import row_positions_mm

Ask = Callable[..., SheetRequest]
SIDE = st.integers(260, 900).map(lambda cm: 10.0 * cm)
L_SHAPE = "0,0 5,0 5,4 3,4 3,2.5 0,2.5"


@st.composite
def rooms(draw: st.DrawFn) -> Room:
    """Rectangles, and L-shapes both of whose arms take a 2 m bar."""
    width, depth = draw(SIDE), draw(SIDE)
    if draw(st.booleans()):
        width, depth = max(width, depth), min(width, depth)
        corners = [(0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth)]
        return Room(outline_mm=np.array(corners), size_mm=(width, depth))
    in_x = draw(st.floats(0.3, 0.7)) * width
    in_y = draw(st.floats(0.3, 0.7)) * depth
    corners = [(0.0, 0.0), (width, 0.0), (width, depth), (in_x, depth), (in_x, in_y), (0.0, in_y)]
    return Room(outline_mm=np.array(corners))


def request_for(room: Room, tools: str, spacing_mm: float = 1000.0) -> SheetRequest:
    return SheetRequest(room=room, edge_mm=2000.0, spacing_mm=min(spacing_mm, usual_spacing_mm(room, "metric")),
                        tools=tools)  # type: ignore[arg-type]  # fmt: skip


def sees_twist(layout: Layout) -> bool:
    """Twist z = x·y is unseen where all readings can be met by a plane for the staff and a line for each bar.

    The independent count: solve for the plane of the staff and each bar's own line; what is left of x·y must be more
    than nothing.
    """
    left = 0.0
    for placement in layout.placements:
        start, end = np.array(placement.start), np.array(placement.end)
        share = np.linspace(0.0, 1.0, 9)
        x, y = (start[:, None] + (end - start)[:, None] * share) / 1000.0
        left = max(left, float(np.ptp(x * y - np.polyval(np.polyfit(share, x * y, 1), share))))
    if len(layout.staff) > 3:
        x, y = np.array([point.at for point in layout.staff]).T / 1000.0
        plane = np.column_stack([np.ones_like(x), x, y])
        left = max(left, float(np.ptp(x * y - plane @ np.linalg.lstsq(plane, x * y, rcond=None)[0])))
    return left > 0.05  # a bar at 10 degrees sags 0.17 mm for 1 mm/m²; rounding to the centimetre gives 0.01


@settings(deadline=None, max_examples=40)
@given(room=rooms(), tools=st.sampled_from(["straightedge", "staff", "both"]))
def test_every_layout_lies_inside_and_determines_the_floor(room: Room, tools: str) -> None:
    layout = lay_out(request_for(room, tools))
    inside = Polygon(room.outline_mm)
    for placement in layout.placements:
        assert math.dist(placement.start, placement.end) == pytest.approx(2000.0, abs=1e-6)
        # 50 mm clear at every wall, less the tape's rounding of nothing: places are rounded inward.
        line = LineString([placement.start, placement.end])
        assert inside.contains(line)
        assert inside.exterior.distance(line) >= 50.0 - 1e-6
    for point in layout.staff:
        assert inside.exterior.distance(Point(point.at)) >= 100.0 - 1e-5
        assert inside.contains(Point(point.at))
    assert [p.number for p in layout.placements] == list(range(1, len(layout.placements) + 1))
    assert [p.number for p in layout.staff] == list(range(1, len(layout.staff) + 1))
    laid = {frozenset([p.start, p.end]) for p in layout.placements}
    assert len(laid) == len(layout.placements)
    assert len({p.at for p in layout.staff}) == len(layout.staff)
    assert sees_twist(layout)
    if tools != "staff" and room.size_mm is not None:  # both sides take the bar
        assert {"along", "across"} <= {p.family for p in layout.placements}


@settings(deadline=None, max_examples=25)
@given(room=rooms())
def test_the_bar_is_advanced_by_half_its_length_at_most(room: Room) -> None:
    rows: dict[tuple[str, float], list[float]] = {}
    for p in lay_out(request_for(room, "both")).placements:
        if p.family != "diagonal":
            k = 0 if p.family == "along" else 1
            rows.setdefault((p.family, p.start[1 - k]), []).append(min(p.start[k], p.end[k]))
    for starts in rows.values():
        steps = np.diff(sorted(starts))
        # Starts are rounded to the centimetre; a row that a wall cuts in two starts again beyond it.
        assert all(step <= 1010.0 or step > 2000.0 for step in steps)


def test_the_5_by_4_m_room_of_the_manual(ask: Ask) -> None:
    layout = lay_out(ask(room="5.0 x 4.0 m"))
    # 4 rows of 4 lays along x (0.05 to 4.95 m in steps of at most 1 m), 5 rows of 3 along y, 3 x 3 staff readings.
    assert [p.family for p in layout.placements] == ["along"] * 16 + ["across"] * 15
    assert len(layout.staff) == 9
    assert layout.placements[0].start == (50.0, 500.0)
    assert layout.placements[3].end == (4950.0, 500.0)
    assert layout.stations_mm == (0.0, 250.0, 500.0, 750.0, 1000.0, 1250.0, 1500.0, 1750.0, 2000.0)


def test_a_person_walks_little_more_than_the_rows_are_long(ask: Ask) -> None:
    layout = lay_out(ask(room="5.0 x 4.0 m"))
    middles = [np.add(p.start, p.end) / 2.0 for p in layout.placements]
    walked = sum(float(np.hypot(*(b - a))) for a, b in itertools.pairwise(middles))
    # Rows: 4 x 2.9 m and 5 x 1.9 m; between them 3 and 4 steps of 1 m; from the one lot to the other less than 2 m.
    assert walked <= 1000.0 * (4 * 2.9 + 5 * 1.9 + 7 + 2)


def test_rows_stay_within_the_spacing_of_each_other_and_half_of_it_of_walls() -> None:
    for depth in (2700.0, 3010.0, 4990.0, 5500.0):
        places = [0.0, *row_positions_mm(np.array([0.0, depth]), 1000.0, 10.0), depth]
        steps = np.diff(places)
        assert max(steps[0], steps[-1]) <= 505.0  # half a spacing and half a step of the tape
        assert steps[1:-1].max() <= 1010.0


def test_a_corridor_too_narrow_for_the_bar_is_read_along_and_aslant(ask: Ask) -> None:
    layout = lay_out(ask(room="6 x 1.2", tools="straightedge"))
    assert {p.family for p in layout.placements} == {"along", "diagonal"}
    assert sees_twist(layout)


def test_an_l_shaped_room_has_rows_in_both_arms(ask: Ask) -> None:
    layout = lay_out(ask(outline=L_SHAPE, tools="straightedge"))
    arm = Polygon([(3000, 2500), (5000, 2500), (5000, 4000), (3000, 4000)])
    seen = [p for p in layout.placements if arm.intersects(LineString([p.start, p.end]))]
    assert {"across", "diagonal"} <= {p.family for p in seen}


def test_the_longer_side_becomes_x_and_the_outline_is_turned_anticlockwise() -> None:
    assert room_of_size("4 x 5", bare_unit="m").size_mm == (5000.0, 4000.0)
    assert room_of_size("13 x 16 ft", bare_unit="m").size_mm == pytest.approx((16 * 304.8, 13 * 304.8))
    clockwise = room_of_outline("0,0 0,2.5 3,2.5 3,4 5,4 5,0", bare_unit="m")
    assert clockwise.outline_mm.tolist() == room_of_outline(L_SHAPE, bare_unit="m").outline_mm.tolist()
    assert clockwise.area_mm2 == pytest.approx(15.5e6)  # 5 x 2.5 and 2 x 1.5 m


BAD = [
    ({"room": "1.8 x 1.5"}, "--edge: a bar of 2 m cannot be laid"),
    ({"room": "5 x 4", "spacing": "4.5 m"}, "--spacing: 4.5 m is more than the room's shorter side, 4 m"),
    ({"room": "5 x 4", "spacing": "0.05 m"}, "more than a sheet can hold"),
    ({"room": "5 x 4", "paper": "a3"}, "--paper: 'a3' is not known here"),
    ({"room": "5 x 4", "tools": "laser"}, "--with: 'laser' is not known here"),
    ({"room": "five by four"}, "--room: 'five by four' is not the size of a room"),
    ({"room": "70 x 4"}, "--room: '70 x 4' is no usable size"),
    ({}, "--room: the room is not known"),
    ({"room": "5 x 4", "outline": L_SHAPE}, "--room: the room is given twice"),
    ({"outline": "0,0 5,0 0,4 5,4"}, "--outline: the outline crosses itself near 2.50, 2.00 m"),
    ({"outline": "1,1 5,1 5,4 1,4"}, "--outline: no corner of the room is at 0,0"),
    ({"outline": "0,0 0,-2 4,-2 4,3 -3,3 -3,0"}, "--outline: 0,0 is a corner that juts into the room"),
    ({"outline": "0,0 4,1 3,5 -1,4"}, "--outline: x does not run along a wall"),
    ({"outline": "0,0 5,0"}, "--outline: 2 corners enclose no floor"),
    ({"outline": "0,0 5,0 5"}, "is not a list of corners"),
    ({"room": "5 x 4", "edge": "9 m"}, "--edge: 9 m cannot be used. Give 0.2 to 6 m, with its unit"),
    ({"room": "5 x 4", "edge": "2000"}, "--edge: 2000 m cannot be used"),
    ({"room": "16 x 12", "edge": "72", "units": "imperial"}, "72 ft cannot be used. Give 0.66 to 20 ft, with its unit"),
    ({"room": "5 x 4", "spacing": "0"}, "--spacing: rows no distance apart cannot be laid"),
    ({"room": "5 x 4", "stations": 1}, "--stations: 1 stations cannot be used"),
    ({"room": "5 x 4", "title": "a\nb"}, "--title: "),
]


@pytest.mark.parametrize(("said", "sentence"), BAD, ids=[str(k) for k in range(len(BAD))])
def test_bad_input_is_one_sentence(ask: Ask, said: dict[str, str], sentence: str) -> None:
    with pytest.raises(SettingsError) as caught:
        lay_out(ask(**said))
    assert sentence in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_staff_grid_of_one_lane_in_each_arm_is_made_finer() -> None:
    # The places (0.1 to 2.5, 0.1) and (2.5, 0.1 to 2.5) m see no twist: x·y - 0.1 x - 2.5 y is the same at all of them.
    corners = [(0.0, 0.0), (2600.0, 0.0), (2600.0, 2600.0), (1625.0, 2600.0), (1625.0, 975.0), (0.0, 975.0)]
    room = Room(outline_mm=np.array(corners))
    assert sees_twist(lay_out(request_for(room, "staff")))
