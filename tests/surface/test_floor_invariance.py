"""The same floor gives the same figures however the capture lies in its own axes."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.settings import SurfaceSettings
from flatscan.surface import find_surface

SETTINGS = SurfaceSettings(cell_mm=50.0)


def _wave(x, y):
    """Humps of 8 mm; not symmetric in anything."""
    return 5 * np.sin(x / 600 + 0.4) * np.cos(y / 430) + 3 * np.exp(-((x - 3900) ** 2 + (y - 700) ** 2) / 2e5)


@pytest.fixture(scope="module")
def room(rooms):
    rng = np.random.default_rng(11)
    points = np.vstack([rooms.floor(rng, rooms.L_SHAPE, 4000, _wave), rooms.walls(rng, rooms.L_SHAPE, 800)])
    return points + rng.normal(0, 0.3, points.shape)


def _surface(rooms, points, seed=0, **more):
    scan = rooms.scan(points, np.random.default_rng(0), sigma=0.0, **more)
    return find_surface(scan, SETTINGS, seed_rng=np.random.default_rng(seed))


@pytest.fixture(scope="module")
def plain(rooms, room):
    return _surface(rooms, room)


def _figures(surface):
    h = surface.height_mm[surface.seen]
    return np.array([h.std(), *np.percentile(h, [1, 10, 50, 90, 99])])


def _assert_same_floor(one, other):
    # A cell mean of 10 points of 0.3 mm noise moves by 0.1 mm, a moved cell border moves a 50 mm mean of
    # this wave (slope up to 5/430) by less than 0.3 mm, in either direction: percentiles over 6000 cells
    # move less than 0.15 mm.
    assert np.abs(_figures(one) - _figures(other)).max() < 0.15
    assert other.area_m2 == pytest.approx(one.area_m2, rel=0.01)
    assert other.seen_share == pytest.approx(one.seen_share, abs=0.01)


def test_heights_are_the_true_ones(plain):
    """Against the formula, at each cell's centre carried back to the room, after taking out the plane."""
    row, col = np.nonzero(plain.seen)
    xy = np.stack([plain.origin_mm[0] + (col + 0.5) * 50.0, plain.origin_mm[1] + (row + 0.5) * 50.0], axis=1)
    z = plain.height_mm[row, col]
    back = np.column_stack([xy, z, np.ones(len(z))]) @ np.linalg.inv(plain.floor_from_scan).T
    error = back[:, 2] - _wave(back[:, 0], back[:, 1])
    # Noise of a cell 0.3/sqrt(10) = 0.1 mm, random places of 10 points on a slope of up to 12 mm/m within 50 mm
    # 0.6/√12/√10 = 0.05 mm: three times their root sum for the rms.
    assert np.sqrt(np.mean(error**2)) < 0.35
    assert abs(error.mean()) < 0.05


def test_the_same_twice_differs_by_nothing(rooms, room, plain):
    again = _surface(rooms, room)
    assert np.array_equal(again.height_mm, plain.height_mm, equal_nan=True)
    assert np.array_equal(again.floor_from_scan, plain.floor_from_scan)


def test_another_seed_is_the_same_floor(rooms, room, plain):
    _assert_same_floor(plain, _surface(rooms, room, seed=99))


@pytest.mark.parametrize("degrees", [27.0, 90.0, 143.0, 270.0])
def test_turned_about_the_vertical(rooms, room, plain, degrees):
    _assert_same_floor(plain, _surface(rooms, rooms.turned(room, degrees)))


@pytest.mark.parametrize("up", [(0, 1.0, 0), (-1.0, 0, 0)])
def test_other_up_axes(rooms, room, plain, up):
    # Even permutations of axes, with signs that keep the determinant +1.
    turn = {(0, 1.0, 0): [[0, 0, 1], [1, 0, 0], [0, 1, 0]], (-1.0, 0, 0): [[0, 0, 1], [0, 1, 0], [-1, 0, 0]]}[up]
    moved = room @ np.array(turn, float)
    assert np.allclose(np.array([0, 0, 1.0]) @ np.array(turn, float), up)
    surface = _surface(rooms, moved, up=up)
    _assert_same_floor(plain, surface)


def test_far_away_in_map_coordinates(rooms, room, plain):
    far = _surface(rooms, room, origin=(4.5e8, 5.1e9, 1.2e5))
    assert np.array_equal(far.height_mm, plain.height_mm, equal_nan=True)
    shift = np.eye(4)
    shift[:3, 3] = (4.5e8, 5.1e9, 1.2e5)
    # 5e9 mm leaves double precision a grain of 1e-6 mm; products of it some 1e-5.
    assert np.allclose((far.floor_from_scan @ shift)[:3, 3], plain.floor_from_scan[:3, 3], atol=1e-3)


def test_mirrored_room(rooms, room, plain):
    _assert_same_floor(plain, _surface(rooms, room * (-1.0, 1.0, 1.0)))


def test_reordered_points(rooms, room, plain):
    order = np.random.default_rng(3).permutation(len(room))
    _assert_same_floor(plain, _surface(rooms, room[order]))
