"""The floor is found among larger, lower and steeper planes, whichever way the capture lies."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.settings import SurfaceSettings
from flatscan.surface import find_surface
from flatscan.surface.finding.floor import Cloud, find_floor_plane

UP = np.array([0.0, 0.0, 1.0])
REACH = 30.0
TABLE = (1200, 4300), (500, 3300)


def _found(points, up=UP, **more):
    return find_floor_plane(Cloud(points, **more), up, np.random.default_rng(5), reach_mm=REACH)


def _assert_is_floor(plane, up=UP, height=0.0):
    # The waves and the noise of these rooms stay within 4 mm; a plane through part of them may tilt by
    # 8 mm over 3 m; anything else in the rooms is 100 mm away or square to the floor.
    assert plane is not None
    assert np.rad2deg(np.arccos(min(1.0, plane.normal @ up))) < 0.3
    assert abs(plane.offset_mm - height) < 10.0


@pytest.fixture(scope="module")
def bare(rooms):
    """Walls and a floor with 3 mm waves, 5.3 m x 3.7 m, no ceiling."""
    rng = np.random.default_rng(1)
    floor = rooms.floor(rng, rooms.OBLONG, 1500, lambda x, y: 3 * np.sin(x / 500) * np.cos(y / 700))
    return np.vstack([floor, rooms.walls(rng, rooms.OBLONG, 1000)]) + rng.normal(0, 0.5, (1, 3))


def test_table_and_ceiling_larger_than_the_floor_that_is_seen(rooms, bare):
    rng = np.random.default_rng(2)
    points = rooms.hidden(bare, (0, 5300), (0, 3000), below=100.0)
    points = np.vstack(
        [points, rooms.sheet(rng, *TABLE, 740, 2500), rooms.sheet(rng, (0, 5300), (0, 3700), 2500, 2500)]
    )
    plane = _found(points)
    _assert_is_floor(plane)
    # 5.3 m x 0.7 m of floor, and the feet of 18 m of walls in cells of 0.1 m, against a table of 8.7 m² and a
    # ceiling of 19.6 m².
    assert 3.7 < plane.area_m2 < 3.7 + 1.8
    _assert_is_floor(_found(points, viewpoints_mm=np.array([[2600.0, 3500.0, 1600.0]])))


def test_small_pit_and_lower_storey_do_not_win(rooms, bare):
    rng = np.random.default_rng(3)
    points = np.vstack(
        [bare, rooms.sheet(rng, (0, 900), (0, 900), -150, 1500), rooms.sheet(rng, (6000, 7500), (0, 1200), -2800, 1500)]
    )
    _assert_is_floor(_found(points))


def test_lower_half_of_a_split_floor_wins_and_the_upper_is_told(rooms, bare):
    rng = np.random.default_rng(4)
    points = np.vstack(
        [rooms.hidden(bare, (2500, 5300), (0, 3700), below=100), rooms.sheet(rng, (2500, 5300), (0, 3700), 160, 1500)]
    )
    plane = _found(points)
    _assert_is_floor(plane)
    assert any(area > 9.0 and height == pytest.approx(160, abs=5) for area, height in plane.other_levels)


def test_ceiling_alone_is_no_floor(rooms):
    rng = np.random.default_rng(6)
    points = np.vstack([rooms.sheet(rng, (0, 5300), (0, 3700), 2500, 1500), rooms.walls(rng, rooms.OBLONG, 1000)])
    points = points[points[:, 2] > 700]
    assert _found(points) is None
    assert _found(points, viewpoints_mm=np.array([[2600.0, 1800.0, 1500.0]])) is None


def test_walls_alone_are_no_floor(rooms):
    rng = np.random.default_rng(6)
    assert _found(rooms.walls(rng, rooms.OBLONG, 1000)) is None


def _furnished(rooms, bare):
    rng = np.random.default_rng(7)
    things = [
        rooms.block(rng, (600 + 900 * k, 1100 + 900 * k), (700 + 500 * k, 1100 + 500 * k), 450 + 80 * k, 2500)
        for k in range(4)
    ]
    # A bicycle and a heap of things lie on no plane.
    heap = rng.normal((4300, 2500, 350), (250, 250, 130), (1500, 3))
    return np.vstack([bare, *things, heap, rooms.sheet(rng, (0, 5300), (0, 3700), 2500, 1500)])


@pytest.mark.parametrize("axes", [(0, 1, 2), (2, 0, 1), (1, 2, 0)], ids=["z-up", "y-up", "x-up"])
def test_up_unknown(rooms, bare, axes):
    """Cyclic shifts of the axes are rotations, so right-handed rooms stay right-handed."""
    inverse = np.argsort(axes)
    points = _furnished(rooms, bare)[:, inverse]
    up = np.zeros(3)
    up[int(np.flatnonzero(inverse == 2)[0])] = 1.0
    if axes != (1, 2, 0):
        plane = _found(points, None)
        _assert_is_floor(plane, up)
        assert plane.up_reason
    # With a camera that looks down from the middle of the room there is no doubt for any axis.
    camera = np.array([[2600.0, 1900.0, 1500.0]])[:, inverse]
    plane = _found(points, None, viewpoints_mm=camera, looks=-0.9 * up[None] + 0.43 * np.roll(up, 1)[None])
    _assert_is_floor(plane, up)


def test_bare_slab_without_any_hint_takes_the_files_axis(rooms):
    rng = np.random.default_rng(8)
    plane = _found(rooms.floor(rng, rooms.OBLONG, 1500), None)
    _assert_is_floor(plane)


@pytest.mark.parametrize("share", [0.1, 0.25])
def test_rubble_on_one_side_does_not_lift_the_plane(rooms, share):
    """Rubble 5 to 50 mm up: plain least squares would be off by share x 27 mm; the surface must not be."""
    rng = np.random.default_rng(9)
    points = np.vstack([rooms.floor(rng, rooms.OBLONG, 3000), rooms.walls(rng, rooms.OBLONG, 1000)])
    loose = (rng.random(len(points)) < share) & (points[:, 2] == 0)
    points[loose, 2] += rng.uniform(5, 50, loose.sum())
    surface = find_surface(rooms.scan(points, rng), SurfaceSettings(), seed_rng=np.random.default_rng(0))
    corner = np.linalg.inv(surface.floor_from_scan) @ [2000, 1500, 0, 1]
    # Cells of a few points keep some of the rubble; a fifth of what least squares would show.
    assert abs(corner[2]) < share * 27 / 5
    assert np.rad2deg(np.arccos(surface.floor_from_scan[2, 2])) < 0.02
