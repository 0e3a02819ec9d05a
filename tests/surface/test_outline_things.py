"""What lies on the floor and is thin enough to be gridded with it: told from humps, lips and steps."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.settings import SurfaceSettings
from flatscan.surface import find_surface
from flatscan.surface.cells.gridding import GridSpec
from flatscan.surface.finding.masks import inside_mask, local_surface, one_surface, things_on_floor

GRID = GridSpec((0.0, 0.0), (210, 330), 10.0)
ROW, COL = np.indices(GRID.shape)
x_mm, y_mm = (COL + 0.5) * 10.0, (ROW + 0.5) * 10.0


def _floor(seed=0, sigma=0.2):
    """2.1 m x 3.3 m with 12 mm waves that rise by up to 40 mm/m."""
    rng = np.random.default_rng(seed)
    return 6 * np.sin(x_mm / 300) * np.cos(y_mm / 400) + rng.normal(0, sigma, GRID.shape)


def _with(height, where, rise):
    return np.where(where, height + rise, height).astype(np.float32)


MAT = (np.abs(x_mm - 1500) < 350) & (np.abs(y_mm - 900) < 250)


def test_a_mat_is_found_whole_and_little_else():
    mask, things = things_on_floor(_with(_floor(), MAT, 15.0), GRID, sigma_mm=0.2)
    assert mask[MAT].all()
    # Smear of 20 mm and a cell around 0.7 m x 0.5 m.
    assert mask.sum() * 1e-4 <= (0.7 + 0.08) * (0.5 + 0.08)
    assert len(things) == 1
    assert things[0].at_mm == pytest.approx((1500, 900), abs=15)
    # The edge's height over the mean of 40 mm either side, on a wave of up to 20 mm/m across.
    assert things[0].edge_mm == pytest.approx(15.0, abs=1.5)
    assert things[0].area_m2 == pytest.approx(0.35, abs=0.02)


@pytest.mark.parametrize("turn", [0.0, 0.4])
def test_a_plank_along_the_wall_counts_its_seen_sides_only(turn):
    along = (x_mm - 1700) * np.cos(turn) + y_mm * np.sin(turn)
    across = -(x_mm - 1700) * np.sin(turn) + y_mm * np.cos(turn)
    plank = (np.abs(along) < 900) & (across < 120)
    mask, things = things_on_floor(_with(_floor(), plank, 18.0), GRID, sigma_mm=0.2)
    assert len(things) == 1
    assert mask[plank].mean() > 0.98


def test_blurred_edge_of_a_depth_sensor_is_still_an_edge():
    from scipy.ndimage import gaussian_filter

    height = gaussian_filter(_with(_floor(sigma=0.0), MAT, 18.0), 2.5).astype(np.float32)
    mask, things = things_on_floor(height, GRID, sigma_mm=0.3)
    assert len(things) == 1
    assert mask[MAT].all()


@pytest.mark.parametrize("rise", [2.0, 4.0, 6.0])
def test_lips_are_floor(rise):
    """A raised tile with a lip all round, and a whole bay that is higher by the same."""
    tile = (np.abs(x_mm - 1500) < 150) & (np.abs(y_mm - 900) < 150)
    bay = x_mm > 1600
    for where in (tile, bay):
        mask, things = things_on_floor(_with(_floor(), where, rise), GRID, sigma_mm=0.2)
        assert not mask.any()
        assert things == []


@pytest.mark.parametrize("radius", [250.0, 400.0, 700.0])
def test_humps_are_floor(radius):
    """25 mm high, as steep as 25·π/(2·250) = 157 mm/m at the least radius, but nowhere an edge."""
    r = np.hypot(x_mm - 1500, y_mm - 900)
    hump = np.where(r < radius, 12.5 * (1 + np.cos(np.pi * r / radius)), 0.0)
    if radius == 250.0:
        hump *= 0.6
    mask, _ = things_on_floor((_floor() + hump).astype(np.float32), GRID, sigma_mm=0.2)
    assert not mask.any()


def test_a_step_from_wall_to_wall_is_floor():
    mask, _ = things_on_floor(_with(_floor(), x_mm > 1500, 20.0), GRID, sigma_mm=0.2)
    assert not mask.any()


def test_dips_and_holes_are_floor():
    height = _with(_floor(), MAT, -15.0)
    assert not things_on_floor(height, GRID, sigma_mm=0.2)[0].any()


def test_a_carpet_of_more_than_the_greatest_size_is_floor():
    carpet = (np.abs(x_mm - 1600) < 900) & (np.abs(y_mm - 1000) < 600)
    assert carpet.sum() * 1e-4 > 2.0
    assert not things_on_floor(_with(_floor(), carpet, 12.0), GRID, sigma_mm=0.2)[0].any()


def test_noise_alone_shows_no_things():
    rng = np.random.default_rng(4)
    for sigma in (0.3, 2.0, 5.0):
        height = rng.normal(0, sigma, GRID.shape).astype(np.float32)
        assert not things_on_floor(height, GRID, sigma_mm=sigma)[0].any()


def test_nothing_seen():
    height = np.full(GRID.shape, np.nan, dtype=np.float32)
    mask, things = things_on_floor(height, GRID, sigma_mm=0.2)
    assert not mask.any()
    assert things == []


def test_local_surface_ignores_a_thing_and_follows_a_tilt():
    height = (0.004 * x_mm - 0.007 * y_mm).astype(np.float32)
    clean = local_surface(height, 10.0, 1550.0)
    lifted = local_surface(_with(height, MAT, 40.0), 10.0, 1550.0)
    # Half a window from the border the median of a plane is the plane.
    middle = np.s_[90:120, 90:240]
    assert np.abs(clean - height)[middle].max() < 0.3
    # 0.35 m² of a window of 2.25 m² shifts its median from the 50th to the 59th percentile: of a plane that
    # spans 1.5 m x 11 mm/m, by less than 2 mm.
    assert np.abs(lifted - clean)[middle].max() < 2.0


def test_inside_mask_against_plain_distances():
    """Twin: a cell is inside when its square keeps the strip's distance from every border (square corners)."""
    ring = np.array([(0, 0), (3000, 0), (3000, 1000), (1400, 1000), (1400, 2000), (0, 2000), (0, 0)], float)
    hole = np.array([(400, 400), (900, 400), (900, 700), (400, 700), (400, 400)], float)
    mask = inside_mask((ring, hole), GRID, skirting_mm=47.0)
    # Cells of 10 mm: a strip of 47 mm and half a cell; centres lie at 5, 15, …, so that none is on the fence.
    m = 47.0 + 5.0
    one = (x_mm > m) & (x_mm < 3000 - m) & (y_mm > m) & (y_mm < 1000 - m)
    two = (x_mm > m) & (x_mm < 1400 - m) & (y_mm > m) & (y_mm < 2000 - m)
    column = (x_mm > 400 - m) & (x_mm < 900 + m) & (y_mm > 400 - m) & (y_mm < 700 + m)
    assert np.array_equal(mask, (one | two) & ~column)


def test_mat_in_a_room_is_left_out_with_a_caveat(rooms):
    rng = np.random.default_rng(41)
    mat = (2000, 2600), (1500, 1900)
    points = rooms.hidden(rooms.floor(rng, rooms.OBLONG, 12_000), *mat)
    points = np.vstack([points, rooms.walls(rng, rooms.OBLONG, 800), rooms.block(rng, *mat, 14, 12_000)])
    surface = find_surface(rooms.scan(points, rng), SurfaceSettings(cell_mm=20.0), seed_rng=np.random.default_rng(0))
    assert "things_left_out" in {c.name for c in surface.caveats}
    row, col = int(1700 / 20), int(2300 / 20)
    assert surface.inside[row, col]
    assert np.isnan(surface.height_mm[row, col])
    assert np.nanmax(surface.height_mm) < 3.0


def test_cells_of_two_surfaces_are_not_read():
    """3 of 19 readings at +20 mm lifted a cell by 2.9 mm, and a few such cells hid every gap in their noise."""
    spread = np.full((30, 40), 0.4, np.float32)
    spread[3, 4], spread[10, 10], spread[20, 20] = 7.0, 2.5, np.nan
    one = one_surface(spread)
    assert not one[3, 4]
    assert one[10, 10]  # the two sides of a lip of 5 mm
    assert one[20, 20]  # a single reading has no spread
    assert one_surface(np.full((5, 7), 4.0, np.float32)).all()  # a noisy camera is noisy everywhere
