"""Floors read with a level and a staff alone: heights, fall, reach and doubt of the surface made from them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flatscan.errors import InputError
from flatscan.settings import SurfaceSettings
from flatscan.sources.hand.field_readings import FieldReadings, Level, LevelReading
from flatscan.surface.readings.build import surface_from_readings
from flatscan.surface.readings.reach import reach_mm

SETTINGS = SurfaceSettings(cell_mm=250.0, realisations=60)
LEVEL = Level(step_mm=0.0, repeat_mm=0.1, tilt_mm_per_m=0.0, drift_mm=0.0)


def _grid(rows, cols, dx, dy=None):
    y, x = np.meshgrid(np.arange(rows) * (dy or dx), np.arange(cols) * dx, indexing="ij")
    return np.stack([x, y], axis=-1).reshape(-1, 2)


def _surface(xy, z, *, u_mm=0.05, settings=SETTINGS, **more):
    levels = tuple(
        LevelReading(k + 2, str(k), (float(x), float(y)), float(h), u_mm, order=k)
        for k, ((x, y), h) in enumerate(zip(xy, z, strict=True))
    )
    field = FieldReadings((), levels=levels, level=LEVEL, **more)
    return surface_from_readings(field, settings, rng=np.random.default_rng(0))


def _bumps(x, y):
    """Not a plane, not symmetric: swapped or mirrored axes show."""
    return 5 * np.sin(x / 900 + 0.3) * np.cos(y / 1300) + 0.002 * x


def _turned(xy, degrees):
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    return xy @ np.array([[c, s], [-s, c]])


def _cells(surface):
    """Places of the cells, their heights, and the true floor's plane-free heights under a function of both."""
    row, col = np.nonzero(surface.inside)
    return np.stack(surface.xy_mm(row, col), axis=1), surface.estimate_mm[row, col], surface.white_mm[row, col]


def _less_plane(xy, z):
    design = np.column_stack([xy, np.ones(len(z))])
    return z - design @ np.linalg.lstsq(design, z, rcond=None)[0]


@pytest.mark.parametrize("degrees", [0.0, 31.0, 90.0, 222.0])
def test_an_odd_grid_however_it_lies_shows_the_floor(degrees):
    xy = _grid(7, 12, 500.0)
    surface = _surface(_turned(xy, degrees), _bumps(*xy.T))
    at, height, u = _cells(surface)
    truth = _less_plane(at, _bumps(*_turned(at, -degrees).T))
    # Waves of 5.6 m and 8.2 m on readings 0.5 m apart: what a cubic of h = 0.5 m misses of 5 mm in 5.6 m is
    # 5 (2 pi h / 5.6 m)^4 / 384 = 0.001 mm; bilinear cells of 0.25 m miss 5 (2 pi 0.25 / 5.6)^2 / 8 = 0.05 mm;
    # readings scatter by nothing. Beyond the outermost whole square of nodes the floor goes on straight: over half a
    # cell, or one and a half at a slanting side, 5 mm (2 pi / 5.6 m)² misses 0.05 or 0.44 mm of its bend.
    slanting = degrees not in (0.0, 90.0)
    assert np.abs(height - truth).max() < (0.6 if slanting else 0.3)
    assert np.sqrt(np.mean((height - truth) ** 2)) < 0.08
    assert u.max() < 0.5
    # 33 nodes of 0.5 m less their borders: 5.5 x 3.0 m. Cells astride a slanting side: half of them count.
    assert surface.area_m2 == pytest.approx(5.5 * 3.0, rel=0.03 if slanting else 1e-9)
    assert surface.kind == "readings"
    assert {"readings_spacing"} <= {c.name for c in surface.caveats}
    assert not {c.name for c in surface.caveats} & {"partly_seen", "bend_not_seen", "slope_not_read"}


def test_fall_has_the_right_size_and_sign():
    """Falls 4 mm/m towards +x and 3 mm/m towards -y: 5 mm/m. Not against gravity there is none."""
    xy = _grid(7, 12, 500.0)
    fallen = -0.004 * xy[:, 0] + 0.003 * xy[:, 1]
    surface = _surface(xy, fallen)
    assert surface.slope.fall.value == pytest.approx(5.0, abs=0.01)
    assert math.cos(surface.slope.direction_rad) == pytest.approx(0.8, abs=0.01)
    assert math.sin(surface.slope.direction_rad) == pytest.approx(-0.6, abs=0.01)
    assert np.nanmax(np.abs(surface.estimate_mm)) < 0.02
    assert _surface(xy, fallen, gravity=False).slope is None


def test_a_high_place_is_high():
    xy = _grid(7, 12, 500.0)
    z = np.where((xy == [2000.0, 1000.0]).all(axis=1), 4.0, 0.0)
    surface = _surface(xy, z)
    highest = np.unravel_index(np.nanargmax(surface.estimate_mm), surface.estimate_mm.shape)
    assert np.hypot(*np.subtract(surface.xy_mm(*highest), (2000.0, 1000.0))) < 250.0


def test_truth_lies_within_the_stated_uncertainty_between_readings_too():
    """24 floors: the root mean square of error over u is 1 where u is right; careful is allowed, bold is not."""
    ratios = []
    for seed in range(24):
        rng = np.random.default_rng(seed)
        xy = _grid(6, 8, 500.0) + rng.uniform(-120, 120, (48, 2))
        wave, phase = rng.uniform(900.0, 2500.0, 2), rng.uniform(0.0, 6.0, 2)
        amplitude = rng.uniform(0.5, 4.0)

        def floor(x, y, wave=wave, phase=phase, amplitude=amplitude):
            return (
                amplitude * np.sin(2 * np.pi * x / (2.0 * wave[0]) + phase[0]) * np.cos(np.pi * y / wave[1] + phase[1])
            )

        surface = _surface(xy, floor(*xy.T) + rng.normal(0, 0.3, 48), u_mm=0.3)
        at, height, u = _cells(surface)
        ratios.append(np.mean(((height - _less_plane(at, floor(*at.T))) / u) ** 2))
    # The floors' own ratios scatter by their few waves: the mean of 24 is known to about 10 %.
    assert 0.6 < math.sqrt(np.mean(ratios)) < 1.15


def test_the_middle_between_readings_is_known_less_well():
    xy = _grid(5, 6, 1000.0)
    rng = np.random.default_rng(3)
    z = rng.normal(0.0, 2.0, 30)
    surface = _surface(xy, z, u_mm=0.2)

    def u_near(places):
        col, row = ((places - surface.origin_mm) // surface.cell_mm).astype(int).T
        return float(np.mean(surface.white_mm[row, col]))

    inner = xy[(xy > 0.0).all(axis=1) & (xy < (5000.0, 4000.0)).all(axis=1)]
    # A cell's centre is up to 177 mm from a reading, on a floor of 2 mm every metre; the middle is 707 mm away. 60
    # draws know one standard deviation to 9 %, the mean of a dozen to 3 %.
    assert u_near(inner + 500.0) > 1.25 * u_near(inner + 10.0)


def test_missing_places_are_floor_and_the_corner_of_an_l_is_not():
    grid = _grid(7, 12, 500.0).reshape(7, 12, 2)
    keep = np.ones((7, 12), bool)
    keep[3, 5] = keep[3, 6] = False  # enclosed
    keep[0, 4] = False  # one at the border, between two
    keep[4:, 9:] = False  # the bite of an L
    xy = grid[keep]
    surface = _surface(xy, _bumps(*xy.T))
    # 66 squares of 0.25 m², less those with a corner in the bite; half a square at its inner corner lies between
    # three places that were read. Cells astride that slanting half count whole or not: two cells of 0.0625 m².
    assert surface.area_m2 == pytest.approx((66 - 9 + 0.5) * 0.25, abs=0.13)
    assert surface.seen.sum() == surface.inside.sum()
    x0, y0 = surface.origin_mm
    assert surface.inside[0].sum() == 22  # nor does the place missed at the border bite into it
    assert surface.inside[int((1500.0 - y0) // 250.0), int((2750.0 - x0) // 250.0)]
    assert not surface.inside[int((2600.0 - y0) // 250.0), int((5000.0 - x0) // 250.0)]


def test_the_reach_of_scattered_places():
    """Places set out by eye: the L is not filled, every place lies within, and a full rectangle is its own hull."""
    rng = np.random.default_rng(6)
    xy = _grid(9, 14, 400.0) + rng.uniform(-110, 110, (126, 2))
    corner = xy[~((xy[:, 0] > 2600) & (xy[:, 1] > 1700))]
    from shapely import covers, multipoints
    from shapely.geometry import Polygon

    reach = Polygon(reach_mm(corner))
    assert reach.is_valid
    assert covers(reach.buffer(1.5), multipoints(corner))
    # 8 x 13 squares of 0.16 m² less the bite of some 3.0 x 1.7 m, borders a tenth of a metre out or in.
    assert reach.area / 1e6 == pytest.approx(5.2 * 3.2 - 2.75 * 1.6, rel=0.07)
    assert Polygon(reach_mm(_grid(4, 12, 300.0, 1200.0))).area == pytest.approx(3300.0 * 3600.0)


def test_the_outline_that_was_stated_holds():
    room = np.array([[-100.0, -100.0], [5600.0, -100.0], [5600.0, 3100.0], [-100.0, 3100.0], [-100.0, -100.0]])
    xy = _grid(7, 12, 500.0)
    surface = _surface(xy, _bumps(*xy.T), outline=room, settings=SurfaceSettings(realisations=8, cell_mm=100.0))
    assert surface.area_m2 == pytest.approx(5.7 * 3.2)


@pytest.mark.parametrize(
    "xy",
    [
        _grid(1, 12, 500.0),
        _grid(1, 12, 500.0) + np.random.default_rng(0).normal(0, 1, (12, 2)),
        _grid(1, 2, 500.0),
        np.repeat([[1.0, 2.0]], 6, axis=0),
        np.repeat(_grid(1, 3, 700.0), 2, axis=0),
    ],
    ids=["line", "nearly a line", "two", "one place", "three on a line twice"],
)
def test_readings_that_are_no_floor(xy):
    with pytest.raises(InputError):
        _surface(xy, np.zeros(len(xy)))


def test_the_instruments_height_and_far_coordinates_are_of_no_matter():
    xy = _grid(7, 12, 500.0)
    near = _surface(xy, _bumps(*xy.T))
    raised = _surface(xy, _bumps(*xy.T) - 1234.0)
    # 1.2 m of staff in float64: 1e-13 of it; the plane is solved for with the rest, and loses as much again.
    np.testing.assert_allclose(raised.estimate_mm, near.estimate_mm, atol=1e-4)
    far = _surface(xy + np.array([60_000.0, 90_000.0]), _bumps(*xy.T))
    np.testing.assert_allclose(far.estimate_mm, near.estimate_mm, atol=1e-3)
