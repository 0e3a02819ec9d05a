"""Outline and masks of invented rooms: shape, area, columns, things on the floor, and where a tape finds the origin."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.settings import SurfaceSettings
from flatscan.surface import find_surface
from flatscan.surface.finding.outline import area_mm2

SETTINGS = SurfaceSettings(cell_mm=20.0)
#: Walls are met by the median of hundreds of points of 0.5 mm noise: a side is off by less than this.
SIDE_MM = 5.0
#: Rooms do not start at the scan's origin.
AWAY = np.array([1700.0, -900.0, 60.0])


def _surface(rooms, points, settings=SETTINGS, **more):
    scan = rooms.scan(points, np.random.default_rng(1), **more)
    return find_surface(scan, settings, seed_rng=np.random.default_rng(0))


def _in_room(surface, degrees=0.0, away=AWAY):
    """Room coordinates (n, 2) of every cell's centre, for rooms turned by ``degrees``."""
    row, col = np.indices(surface.inside.shape)
    x0, y0 = surface.origin_mm
    xyz = np.stack(
        [x0 + (col + 0.5) * surface.cell_mm, y0 + (row + 0.5) * surface.cell_mm, 0.0 * row, 1.0 + 0.0 * row], axis=-1
    ).reshape(-1, 4)
    xy = (xyz @ np.linalg.inv(surface.floor_from_scan).T)[:, :2] - away[:2]
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    return xy @ np.array([[c, -s], [s, c]])


def _outline_m2(surface):
    outer, *holes = surface.outline
    return (abs(area_mm2(outer)) - sum(abs(area_mm2(h)) for h in holes)) / 1e6


def _overlap(one, other):
    return (one & other).sum() / (one | other).sum()


@pytest.fixture(scope="module")
def l_room(rooms):
    rng = np.random.default_rng(31)
    return np.vstack([rooms.floor(rng, rooms.L_SHAPE, 12_000), rooms.walls(rng, rooms.L_SHAPE, 1500)])


@pytest.mark.parametrize("degrees", [0.0, 27.0, 201.0])
def test_l_shape_stays_an_l_however_it_is_turned(rooms, l_room, degrees):
    surface = _surface(rooms, rooms.turned(l_room, degrees) + AWAY)
    true_m2 = rooms.area_m2(rooms.L_SHAPE)
    perimeter_m = 2 * (5.3 + 3.7)
    # Sides off by 5 mm and a frame turned by 0.02° (2 mm over 5 m, told as jogs of cells): perimeter x 7 mm.
    assert _outline_m2(surface) == pytest.approx(true_m2, abs=perimeter_m * 0.007)
    assert len(surface.outline) == 1
    assert len(surface.outline[0]) == 7  # six corners, the first again
    # Centres of 20 mm cells that no strip of 30 mm touches lie 40 mm in.
    shrunk = ((40, 40), (5260, 40), (5260, 2360), (3160, 2360), (3160, 3660), (40, 3660))
    truth = rooms.within(shrunk, _in_room(surface, degrees)).reshape(surface.inside.shape)
    # Cells whose centre is within 5 mm of a border may fall either way: perimeter x 10 mm of 17 m².
    assert _overlap(truth, surface.inside) > 1 - 18 * 0.010 / 17
    assert surface.seen_share > 0.99


@pytest.mark.parametrize("degrees", [0.0, 27.0, 201.0])
def test_origin_is_a_corner_and_x_runs_along_the_longest_wall(rooms, l_room, degrees):
    surface = _surface(rooms, rooms.turned(l_room, degrees) + AWAY)
    scan_from_floor = np.linalg.inv(surface.floor_from_scan)
    corners = np.c_[np.array(rooms.L_SHAPE, float), np.zeros((6, 2))]
    corners = rooms.turned(corners[:, :3], degrees) + AWAY
    assert np.linalg.norm(corners[:, :2] - scan_from_floor[:2, 3], axis=1).min() < 2 * SIDE_MM
    x_axis = scan_from_floor[:3, 0]
    wall = rooms.turned(np.array([[1.0, 0, 0]]), degrees)[0]
    assert np.rad2deg(np.arccos(abs(x_axis @ wall))) < 0.05
    assert np.linalg.det(surface.floor_from_scan[:3, :3]) == pytest.approx(1.0)
    assert surface.outline[0].min() > -SIDE_MM
    assert surface.outline[0][:, 0].max() == pytest.approx(5300, abs=2 * SIDE_MM)
    assert surface.outline[0][:, 1].max() == pytest.approx(3700, abs=2 * SIDE_MM)


def test_column_is_a_hole_of_the_outline_and_a_box_a_hole_of_the_data(rooms):
    rng = np.random.default_rng(32)
    column, box = ((1500, 1900), (1200, 1500)), ((3300, 3900), (2000, 2500))
    points = np.vstack([rooms.floor(rng, rooms.OBLONG, 12_000), rooms.walls(rng, rooms.OBLONG, 1500)])
    points = rooms.hidden(rooms.hidden(points, *column), *box, below=50)
    points = np.vstack([points, rooms.block(rng, *column, 2500, 3000, lid=False), rooms.block(rng, *box, 400, 3000)])
    surface = _surface(rooms, points)
    assert len(surface.outline) == 2
    # A face's cells of 25 mm lie astride it: each side of the hole is out by up to a cell and a half.
    hole = surface.outline[1]
    assert abs(area_mm2(hole)) / 1e6 == pytest.approx(0.4 * 0.3, abs=2 * (0.4 + 0.3) * 0.0375)
    assert not surface.inside[int(1350 / 20), int(1700 / 20)]
    row, col = int(2250 / 20), int(3600 / 20)
    assert surface.inside[row, col]
    assert not surface.seen[row, col]
    # Nothing of the box's feet is left as floor.
    near = surface.height_mm[int(1900 / 20) : int(2600 / 20), int(3200 / 20) : int(4000 / 20)]
    assert np.nanmax(np.abs(near)) < 2.0
    # 12 000 points a square metre leave exp(-4.8) = 0.8 % of the 20 mm cells empty; the box is 1.6 %.
    assert surface.seen_share == pytest.approx(1 - 0.016 - 0.008, abs=0.007)


def test_sofa_before_a_wall_does_not_bite_into_the_floor(rooms):
    rng = np.random.default_rng(33)
    sofa = (1500, 3500), (2800, 3700)
    points = np.vstack([rooms.floor(rng, rooms.OBLONG, 8000), rooms.walls(rng, rooms.OBLONG, 1500)])
    points = np.vstack([rooms.hidden(points, *sofa, below=420), rooms.block(rng, *sofa, 420, 3000)])
    surface = _surface(rooms, points)
    assert _outline_m2(surface) == pytest.approx(5.3 * 3.7, abs=18 * 0.007)
    assert len(surface.outline[0]) == 5
    assert not surface.seen[int(3300 / 20), int(2500 / 20)]
    assert {c.name for c in surface.caveats} >= {"partly_seen"}


def test_two_views_with_an_unseen_strip_are_one_floor(rooms):
    rng = np.random.default_rng(34)
    points = np.vstack([rooms.floor(rng, rooms.OBLONG, 8000), rooms.walls(rng, rooms.OBLONG, 1500)])
    points = rooms.hidden(points, (2500, 2900), (-10, 3710))
    surface = _surface(rooms, points, SurfaceSettings(cell_mm=40.0))
    # The strip's ends may be rounded: bridged by disks of up to 500 mm.
    assert _outline_m2(surface) == pytest.approx(5.3 * 3.7, abs=0.25)
    assert surface.seen_share == pytest.approx(1 - 0.4 / 5.3, abs=0.02)


def test_floor_without_walls_ends_where_it_was_seen(rooms):
    rng = np.random.default_rng(35)
    surface = _surface(rooms, rooms.turned(rooms.floor(rng, rooms.L_SHAPE, 8000), 12.0))
    # Cells of 25 mm, filled when anything falls in them: up to a cell too wide on each side.
    assert _outline_m2(surface) == pytest.approx(rooms.area_m2(rooms.L_SHAPE), abs=18 * 0.025)
    assert surface.outline[0][:, 0].max() == pytest.approx(5300, abs=50)


def test_skirting_margin_is_as_set(rooms, l_room):
    wide = _surface(rooms, l_room, SurfaceSettings(cell_mm=20.0, skirting_mm=150.0))
    none = _surface(rooms, l_room, SurfaceSettings(cell_mm=20.0, skirting_mm=0.0))
    # L: perimeter x strip, less a strip² at each of 5 outer corners, plus one at the inner corner.
    expected = 18.0 * 0.15 - 4 * 0.15**2
    assert none.area_m2 - wide.area_m2 == pytest.approx(expected, abs=18 * 0.010)


def test_view_that_ends_in_a_slant_keeps_its_slant(rooms):
    rng = np.random.default_rng(36)
    corners = ((0, 0), (4200, 0), (3100, 2900), (900, 2900))
    surface = _surface(rooms, rooms.floor(rng, corners, 8000))
    perimeter = 4.2 + 2.2 + 2 * np.hypot(1.1, 2.9)
    assert _outline_m2(surface) == pytest.approx(rooms.area_m2(corners), abs=perimeter * 0.025)
