"""Levels tables: nodes stay nodes; what is off the grid is interpolated and says so."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.errors import InputError
from flatscan.settings import SurfaceSettings
from flatscan.sources.scan import Scan
from flatscan.surface import find_surface


def _scan(xyz, sigma=0.4, gravity=True, origin=(0.0, 0.0, 0.0)):
    return Scan(
        "levels",
        np.asarray(xyz, np.float32),
        np.asarray(origin, float),
        np.array([0.0, 0.0, 1.0]),
        gravity,
        (),
        sample_sigma_mm=sigma,
    )


def _surface(xyz, settings=None, **more):
    return find_surface(_scan(xyz, **more), settings or SurfaceSettings(), seed_rng=np.random.default_rng(0))


def _grid(rows, cols, dx, dy=None, height=None):
    y, x = np.meshgrid(np.arange(rows) * (dy or dx), np.arange(cols) * dx, indexing="ij")
    return np.stack([x, y, 0.0 * x if height is None else height(x, y)], axis=-1).reshape(-1, 3)


def _bumps(x, y):
    """Not a plane, not symmetric, mean slope zero enough; a node's own number tells it apart."""
    return 5 * np.sin(x / 900 + 0.3) * np.cos(y / 1300)


def _turned(xyz, degrees):
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    return xyz @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]])


@pytest.mark.parametrize("degrees", [0.0, 31.0, 90.0, 222.0])
def test_nodes_of_an_odd_grid_stay_as_read(degrees):
    xyz = _turned(_grid(7, 12, 500.0, height=_bumps), degrees)
    surface = _surface(xyz)
    assert surface.lattice
    assert surface.height_mm.shape == (7, 12)
    assert surface.cell_mm == pytest.approx(500.0)
    assert surface.inside.all()
    assert surface.seen.all()
    # Each node, carried back to the scan, is a reading.
    row, col = np.nonzero(surface.seen)
    at = np.stack([*surface.xy_mm(row, col), surface.height_mm[row, col], np.ones(len(row))], axis=1)
    back = (at @ np.linalg.inv(surface.floor_from_scan).T)[:, :3]
    nearest = np.linalg.norm(back[:, None] - xyz[None], axis=2).min(axis=1)
    # float32 heights and coordinates of 6 m: 0.5e-3 mm; laying the frame on a tilt of 1 mm/m moves nodes in
    # the plane by half its square, 3e-3 mm, and sideways by a height's thousandth.
    assert nearest.max() < 0.02
    assert np.allclose(surface.white_mm, 0.4)
    assert surface.area_m2 == pytest.approx(6 * 11 * 0.25)  # between the readings, not half a spacing beyond them
    names = {c.name for c in surface.caveats}
    assert "levels_spacing" in names
    assert not names & {"levels_interpolated", "partly_seen", "single_view"}


def test_set_out_by_tape_a_little_off_is_still_the_grid():
    rng = np.random.default_rng(1)
    xyz = _grid(7, 12, 500.0, height=_bumps)
    xyz[:, :2] += rng.normal(0, 8, (84, 2))
    surface = _surface(xyz)
    assert surface.height_mm.shape == (7, 12)
    assert surface.cell_mm == pytest.approx(500.0, rel=0.005)
    assert not {c.name for c in surface.caveats} & {"levels_interpolated"}


def test_fall_has_the_right_size_and_sign():
    # Falls 4 mm/m towards +x and 3 mm/m towards -y: 5 mm/m.
    surface = _surface(_grid(7, 12, 500.0, height=lambda x, y: -0.004 * x + 0.003 * y))
    assert surface.slope.fall.value == pytest.approx(5.0, abs=1e-3)
    downhill = np.array([np.cos(surface.slope.direction_rad), np.sin(surface.slope.direction_rad), 0])
    assert surface.floor_from_scan[:3, :3].T @ downhill == pytest.approx([0.8, -0.6, -0.005], abs=1e-3)
    assert np.abs(surface.height_mm).max() < 0.01
    assert _surface(_grid(7, 12, 500.0), gravity=False).slope is None


def test_missing_nodes():
    xyz = _grid(7, 12, 500.0, height=_bumps).reshape(7, 12, 3)
    keep = np.ones((7, 12), bool)
    keep[3, 5] = keep[3, 6] = False  # enclosed
    keep[0, 4] = False  # one at the border, between two
    keep[4:, 9:] = False  # the bite of an L
    surface = _surface(xyz[keep])
    holes = surface.inside & ~surface.seen
    assert holes.sum() == 3
    assert surface.inside.sum() == 84 - 9
    # Between the readings: 66 squares, less those with a corner in the bite (3 rows of 3 nodes).
    assert surface.area_m2 == pytest.approx((66 - 9) * 0.25)
    assert "partly_seen" in {c.name for c in surface.caveats}
    from flatscan.surface.finding.outline import area_mm2

    assert abs(area_mm2(surface.outline[0])) / 1e6 == pytest.approx(57 * 0.25)
    assert len(surface.outline[0]) == 7


def test_longer_side_along_x():
    surface = _surface(_grid(12, 7, 500.0, height=_bumps))
    assert surface.height_mm.shape == (7, 12)
    assert np.linalg.det(surface.floor_from_scan[:3, :3]) == pytest.approx(1.0)


def test_unequal_spacing_is_interpolated_onto_the_finer_one():
    """Readings every 500 mm along lines 1000 mm apart: nodes on readings keep them, those between are means."""
    xyz = _grid(4, 12, 500.0, 1000.0, height=lambda x, y: 1e-6 * x * y)
    surface = _surface(xyz, sigma=0.3)
    assert surface.cell_mm == pytest.approx(500.0)
    assert surface.height_mm.shape == (7, 12)
    assert surface.seen.all()
    assert "levels_interpolated" in {c.name for c in surface.caveats}
    assert np.allclose(surface.white_mm[::2], 0.3)
    # On a bilinear surface the mean of two readings along y is exact, so only the plane was taken off.
    flat = surface.height_mm - _surface(_grid(7, 12, 500.0, height=lambda x, y: 1e-6 * x * y)).height_mm
    row, col = np.indices(flat.shape)
    design = np.column_stack([row.ravel(), col.ravel(), np.ones(84)])
    rest = flat.ravel() - design @ np.linalg.lstsq(design, flat.ravel(), rcond=None)[0]
    assert np.abs(rest).max() < 0.01


def test_scattered_readings_know_less_between_them():
    rng = np.random.default_rng(5)
    xy = _grid(7, 12, 500.0)[:, :2] + rng.uniform(-150, 150, (84, 2))
    z = _bumps(*xy.T) + rng.normal(0, 0.3, 84)
    surface = _surface(np.column_stack([xy, z]), sigma=0.3)
    assert "levels_interpolated" in {c.name for c in surface.caveats}
    assert surface.cell_mm == pytest.approx(450, abs=100)
    # A mean of three independent readings alone would claim as little as 0.3/√3; interpolation must not.
    assert np.nanmin(surface.white_mm) >= 0.29
    row, col = np.nonzero(surface.seen)
    at = np.stack([*surface.xy_mm(row, col), surface.height_mm[row, col], np.ones(len(row))], axis=1)
    back = at @ np.linalg.inv(surface.floor_from_scan).T
    ratio = (back[:, 2] - _bumps(back[:, 0], back[:, 1])) / surface.white_mm[row, col]
    # The stated uncertainty may be careful, never bold: an rms ratio of 1.0 is what it claims.
    assert np.sqrt(np.mean(ratio**2)) < 1.1


def test_scattered_l_is_not_filled():
    rng = np.random.default_rng(6)
    xyz = _grid(9, 14, 400.0)
    xyz[:, :2] += rng.uniform(-110, 110, (126, 2))
    xyz = xyz[~((xyz[:, 0] > 2600) & (xyz[:, 1] > 1700))]
    surface = _surface(xyz)
    full = surface.inside.sum() * surface.cell_mm**2 / 1e6
    # 7 x 9 nodes and 7 x 5 nodes of 0.16 m²; interpolation ends at the outer readings, half a node in.
    assert full < 1.1 * (63 + 35) * 0.16
    assert full > 0.7 * (63 + 35) * 0.16


def test_noise_is_what_the_table_states():
    surface = _surface(_grid(7, 12, 500.0, height=_bumps), sigma=0.7)
    assert surface.noise.white_mm == pytest.approx(0.7)
    assert surface.noise.correlated_mm == 0.0


@pytest.mark.parametrize(
    "xyz",
    [
        _grid(1, 12, 500.0),
        _grid(1, 12, 500.0) + np.random.default_rng(0).normal(0, 1, (12, 3)),
        _grid(1, 2, 500.0),
        np.repeat([[1.0, 2.0, 3.0]], 6, axis=0),
        np.repeat(_grid(1, 3, 700.0), 2, axis=0),
    ],
    ids=["line", "nearly a line", "two", "one place", "three on a line twice"],
)
def test_readings_that_are_no_floor(xyz):
    with pytest.raises(InputError):
        _surface(xyz)


def test_far_coordinates():
    xyz = _grid(7, 12, 500.0, height=_bumps)
    near, far = _surface(xyz), _surface(xyz, origin=(4.1e8, 5.3e9, 8e5))
    assert np.array_equal(near.height_mm, far.height_mm)
