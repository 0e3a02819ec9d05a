"""Places on joints, counted as a person counts them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flatscan.judgement.joint_places import JointPlaces, ordinal
from flatscan.measures.joints.network import JointNetwork, JointPiece

WIDE, DEEP = 6000.0, 3500.0
#: Rows beyond, so that the bottom wall is the nearer one to count from.
UP = (2000.0, 2500.0, 3000.0)


def network(*lines) -> JointNetwork:
    pieces = tuple(JointPiece(a, b, (None, None), 1.0) for a, b in lines)
    return JointNetwork(pieces, (), None, "picture", "invented")


def rows(*ys, step=1000.0):
    return [((x, y), (x + step, y)) for y in ys for x in np.arange(0.0, WIDE, step).tolist()]


def test_ordinals():
    assert [ordinal(n) for n in (1, 10, 11, 12, 13, 21, 32, 101, 111)] == [
        "first", "tenth", "11th", "12th", "13th", "21st", "32nd", "101st", "111th",
    ]  # fmt: skip


@pytest.mark.parametrize("backwards", [False, True])
def test_rows_that_run_a_little_askew_are_one_line_each(make_surface, backwards):
    """A slant of 2 in 100 lifts a row by 120 mm from wall to wall; the next row is only 100 mm away."""
    lines = [((x, y + 0.02 * x), (x + 1000.0, y + 0.02 * (x + 1000.0))) for (x, y), _ in rows(300.0, 400.0, 500.0, *UP)]
    if backwards:
        lines = [(b, a) for a, b in lines]
    places = JointPlaces.of(network(*lines), make_surface())
    assert places.words(17, (5500.0, 610.0)).startswith(
        "third joint from the bottom wall (0.61 m from it), 5.50 m from"
    )
    assert places.words(12, (500.0, 510.0)).startswith("third joint from the bottom wall (0.51 m from it), 0.50 m from")


def test_a_piece_that_was_not_found_is_still_counted_on_a_line_that_runs_through(make_surface):
    lines = [line for line in rows(500.0, 1000.0, 1500.0, *UP) if line[0] != (2000.0, 500.0)]
    places = JointPlaces.of(network(*lines), make_surface())
    number = lines.index(((2000.0, 1500.0), (3000.0, 1500.0)))
    assert places.words(number, (2500.0, 1500.0)).startswith("third joint from the bottom wall")


def test_of_a_running_bond_only_the_joints_in_the_row_are_counted(make_surface):
    """Cross joints of the row at 500 to 1000 stand at 500, 1500, ...; those of its neighbours at 0, 1000, 2000, ..."""
    cross = [
        ((x, y), (x, y + 500.0))
        for k, y in enumerate(np.arange(0.0, DEEP, 500.0).tolist())
        for x in np.arange(1000.0 - 500.0 * (k % 2), WIDE, 1000.0).tolist()
    ]
    lines = rows(500.0, 1000.0, 1500.0, 2000.0, 2500.0, 3000.0) + cross
    places = JointPlaces.of(network(*lines), make_surface())
    number = lines.index(((1500.0, 500.0), (1500.0, 1000.0)))
    assert places.words(number, (1500.0, 750.0)) == (
        "second joint from the left wall (1.50 m from it), 0.75 m from the bottom wall"
    )


def test_a_joint_along_the_wall_is_not_counted(make_surface):
    lines = rows(0.0, 10.0, 700.0)
    places = JointPlaces.of(network(*lines), make_surface())
    assert places.words(12, (500.0, 700.0)).startswith("first joint from the bottom wall")


def test_turned_layings_fall_back_on_two_tapes(make_surface):
    places = JointPlaces.of(network(((1000.0, 1000.0), (1500.0, 1500.0))), make_surface())
    assert places.words(0, (1250.0, 1250.0)) == "1.25 m from the left wall, 1.25 m from the bottom wall"


def test_in_an_l_shaped_room_the_far_wall_is_not_guessed(make_surface):
    inside = np.ones((70, 120), dtype=bool)
    inside[35:, 60:] = False
    places = JointPlaces.of(network(*rows(500.0, 1500.0, 3000.0)), make_surface(inside=inside))
    assert places.words(12, (500.0, 3000.0)).startswith("third joint from the bottom wall (3.00 m from it)")


def test_a_door_away_from_every_wall_names_none(make_surface):
    joints = network(*rows(500.0, 1500.0))
    middle = JointPlaces.of(joints, make_surface(), doors_mm=(((3000.0, 1700.0), (3000.0, 1800.0)),))
    assert middle.door is None
    left = JointPlaces.of(joints, make_surface(), doors_mm=(((-50.0, 1000.0), (-50.0, 1900.0)),))
    assert left.words(0, (500.0, 500.0)).endswith("0.50 m from the door wall")
    assert not math.isnan(left.box[0])


def test_a_door_wall_far_away_gives_way_to_the_nearer_wall(make_surface):
    door = (((1000.0, 3500.0), (1900.0, 3500.0)),)
    lines = rows(*np.arange(300.0, DEEP, 300.0).tolist())  # 11 rows
    places = JointPlaces.of(network(*lines), make_surface(), doors_mm=door)
    assert places.words(0, (500.0, 300.0)).startswith("first joint from the bottom wall")
    assert places.words(60, (500.0, 3300.0)).startswith("first joint from the door wall (0.20 m from it)")
