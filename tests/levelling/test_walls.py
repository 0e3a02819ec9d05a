"""Walls found in an outline, and corners marked out from two of them: the tape leads back to the corner."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatscan.levelling.marking.walls import (
    LEAST_WALL_MM,
    distances_mm,
    furthest_corners,
    marked_out,
    nearest_pair,
    place_mm,
    walls_of,
)
from flatscan.levelling.plan import Wall

ROOM = np.array([(0, 0), (5200, 0), (5200, 3100), (0, 3100)], dtype=np.float64)
#: An L: the corner at (2600, 2500) juts into the room.
L_ROOM = np.array([(0, 0), (6000, 0), (6000, 4500), (2600, 4500), (2600, 2500), (0, 2500)], dtype=np.float64)


def closed(ring: np.ndarray) -> np.ndarray:
    return np.concatenate([ring, ring[:1]])


def turned(points: np.ndarray, angle: float) -> np.ndarray:
    c, s = math.cos(angle), math.sin(angle)
    return points @ np.array([[c, s], [-s, c]])


def box(x: float, y: float, width: float, height: float) -> np.ndarray:
    return closed(np.array([(x, y), (x + width, y), (x + width, y + height), (x, y + height)], dtype=np.float64))


@pytest.mark.parametrize("shift", range(4))
@pytest.mark.parametrize("backwards", [False, True])
def test_walls_are_numbered_anticlockwise_from_corner_0(shift: int, backwards: bool) -> None:
    ring = closed(np.roll(ROOM[::-1] if backwards else ROOM, shift, axis=0))
    walls = walls_of([ring])
    assert [(w.number, w.start, w.end) for w in walls] == [
        (1, (0.0, 0.0), (5200.0, 0.0)),
        (2, (5200.0, 0.0), (5200.0, 3100.0)),
        (3, (5200.0, 3100.0), (0.0, 3100.0)),
        (4, (0.0, 3100.0), (0.0, 0.0)),
    ]


def test_a_ragged_outline_gives_straight_walls() -> None:
    """Four walls, each within what 6 mm of noise on 40 and more points along it leaves of its place and direction."""
    rng = np.random.default_rng(7)
    sides = []
    for a, b in zip(ROOM, np.roll(ROOM, -1, axis=0), strict=True):
        along = (b - a) / math.dist(a, b)
        steps = np.arange(0.0, math.dist(a, b), 60.0)
        noise = rng.normal(0.0, 6.0, len(steps)) * (steps > 0)
        sides.append(a + steps[:, None] * along + noise[:, None] * np.array([-along[1], along[0]]))
    walls = walls_of([closed(np.concatenate(sides))])
    assert len(walls) == 4
    for wall, a, b in zip(walls, ROOM, np.roll(ROOM, -1, axis=0), strict=True):
        # 6 mm / sqrt(40) is 1 mm for the middle; the ends of a fitted line have twice that: 5 of them is 10 mm.
        assert math.dist(wall.start, a) < 30.0
        inward = np.array([-(b - a)[1], (b - a)[0]]) / math.dist(a, b)
        assert abs((np.array(wall.start) - a) @ inward) < 10.0
        assert abs((np.array(wall.end) - a) @ inward) < 10.0


def test_short_stretches_are_no_walls() -> None:
    niche = np.array([(0, 0), (2000, 0), (2000, -300), (2350, -300), (2350, 0), (5200, 0), (5200, 3100), (0, 3100)])
    walls = walls_of([closed(niche.astype(np.float64))])
    assert [round(math.dist(w.start, w.end)) for w in walls] == [2000, 2850, 3100, 5200, 3100]
    assert all(math.dist(w.start, w.end) >= LEAST_WALL_MM for w in walls)


def test_a_wall_cut_by_where_the_ring_starts_is_one_wall() -> None:
    ring = closed(np.array([(-900, 10), (4000, 10), (4000, 3000), (-3000, 3000), (-3000, 10)], dtype=np.float64))
    assert len(walls_of([ring])) == 4


def test_a_round_room_and_no_outline_have_no_walls_to_measure_from() -> None:
    angle = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    circle = closed(700.0 * np.column_stack([np.cos(angle), np.sin(angle)]))
    assert walls_of([circle]) == ()
    assert walls_of([]) == ()
    two_parallel = (Wall(1, (0.0, 0.0), (5000.0, 0.0)), Wall(2, (5000.0, 2000.0), (0.0, 2000.0)))
    assert marked_out([box(100, 100, 500, 500)], two_parallel) is None
    assert marked_out([box(100, 100, 500, 500)], ()) is None


def test_a_rectangle_s_distances_are_read_off() -> None:
    marked = marked_out([box(800, 600, 300, 400)], walls_of([closed(ROOM)]))
    assert marked is not None
    assert [wall.number for wall in marked.walls] == [1, 4]
    np.testing.assert_allclose(marked.from_mm[0], [(600, 800), (600, 1100), (1000, 1100), (1000, 800)], atol=1e-9)
    assert marked.check_mm == pytest.approx(500.0)  # 3, 4, 5
    assert marked.rings[0].shape == (5, 2)


def test_the_nearest_walls_are_taken() -> None:
    walls = walls_of([closed(ROOM)])
    pairs = [
        tuple(w.number for w in nearest_pair(box(x, y, 400, 300)[:-1], walls) or ())
        for x, y in [(200, 200), (4500, 200), (4500, 2600), (200, 2600)]
    ]
    assert pairs == [(1, 4), (1, 2), (2, 3), (3, 4)]


def test_in_an_l_the_near_re_entrant_walls_are_taken_and_none_through_a_wall() -> None:
    walls = walls_of([closed(L_ROOM)])  # W1 bottom, W2 right, W3 top, W4 and W5 re-entrant, W6 left
    assert len(walls) == 6
    upper = marked_out([box(2800, 3000, 600, 500)], walls)
    assert upper is not None
    # W4, half a metre off at its left, and the top; W6 is nearer to nothing and hidden, W5 lies behind.
    assert [wall.number for wall in upper.walls] == [3, 4]
    lower = marked_out([box(1200, 1900, 600, 400)], walls)
    assert lower is not None
    assert [wall.number for wall in lower.walls] == [5, 6]
    assert np.all(lower.from_mm[0] > 0)
    hidden = marked_out([box(3000, 4000, 200, 200)], [w for w in walls if w.number in {2, 3, 6}])
    assert hidden is not None
    assert [wall.number for wall in hidden.walls] == [2, 3]


def test_no_tape_goes_through_a_wall() -> None:
    """A slanting pier stands before the left wall: the far right wall is measured from, seven metres off."""
    room = [
        Wall(1, (0.0, 0.0), (9000.0, 0.0)),
        Wall(2, (9000.0, 0.0), (9000.0, 4000.0)),
        Wall(3, (9000.0, 4000.0), (0.0, 4000.0)),
        Wall(4, (0.0, 4000.0), (0.0, 0.0)),
    ]
    pier = Wall(5, (1000.0, 1400.0), (1600.0, 2000.0))
    area = [box(2000, 1600, 300, 200)]
    open_floor, beside_a_pier = marked_out(area, room), marked_out(area, [*room, pier])
    assert open_floor is not None
    assert beside_a_pier is not None
    assert [wall.number for wall in open_floor.walls] == [1, 4]
    assert [wall.number for wall in beside_a_pier.walls] == [1, 2]


@given(
    angle=st.floats(-math.pi, math.pi),
    shift=st.tuples(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6)),
    skew=st.floats(-25.0, 25.0),
    corners=st.lists(st.tuples(st.floats(100, 3500), st.floats(100, 2400)), min_size=3, max_size=24),
)
@settings(max_examples=150, deadline=None)
def test_the_two_distances_lead_back_to_the_corner(
    angle: float, shift: tuple[float, float], skew: float, corners: list[tuple[float, float]]
) -> None:
    """To 0.1 mm, however the room is turned and its walls lean; the tape's length does not hang on the frame."""
    room = ROOM.copy()
    room[2, 0] += 3100.0 * math.tan(math.radians(skew))
    ring = closed(np.array(corners))
    plain = walls_of([closed(room)])
    moved = [
        Wall(w.number, *(tuple(turned(np.array(p), angle) + shift) for p in (w.start, w.end)))  # type: ignore[arg-type]
        for w in plain
    ]
    placed = turned(ring, angle) + shift
    marked, before = marked_out([placed], moved), marked_out([ring], plain)
    assert marked is not None
    assert before is not None
    np.testing.assert_allclose(place_mm(marked.from_mm[0], marked.walls), placed[:-1], atol=0.1)
    own = tuple(w for w in moved if w.number in {x.number for x in before.walls})
    np.testing.assert_allclose(distances_mm(placed[:-1], own), before.from_mm[0], atol=0.1)  # type: ignore[arg-type]
    assert marked.check_mm == pytest.approx(before.check_mm, abs=0.01)


def test_the_check_is_the_greatest_distance_between_two_corners() -> None:
    points = np.random.default_rng(3).uniform(0, 4000, (17, 2))
    first, second, far = furthest_corners(points)
    every = [math.dist(a, b) for a in points for b in points]
    assert far == pytest.approx(max(every))
    assert math.dist(points[first], points[second]) == pytest.approx(far)
