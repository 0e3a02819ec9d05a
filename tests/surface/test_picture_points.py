"""The floor picture of bare points: relief against closed forms, colours, and when there is none."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from flatscan.settings import JointSettings
from flatscan.surface.picture.build import floor_picture, height_picture
from flatscan.surface.picture.relief import filled_gaps, less_surroundings, view_level


@pytest.fixture(scope="session")
def photographed():
    path = Path(__file__).parents[1] / "oracles" / "photographed.py"
    spec = importlib.util.spec_from_file_location("photographed", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["photographed"] = module
    spec.loader.exec_module(module)
    return module


def waved(x, y):
    return 4.0 * np.sin(x / 150.0) + 3.0 * np.cos(y / 170.0)


def points_on(ground, count, rng, size=(800.0, 600.0)):
    xy = rng.uniform((0.0, 0.0), size, (count, 2))
    return np.column_stack([xy, ground(xy[:, 0], xy[:, 1])])


def joint_and_lip(x, y):
    """A joint 6 mm wide and 3 mm deep at x = 300; a lip of 2 mm at y = 300."""
    return np.where(np.abs(x - 300.0) < 3.0, -3.0, 0.0) + np.where(y > 300.0, 1.0, -1.0)


def densely(surface, count):
    """The surface with the number of points a cell that the cloud has."""
    per_cell = count * surface.cell_mm**2 / (800.0 * 600.0)
    return replace(surface, count=np.where(surface.seen, int(per_cell), 0).astype(np.int32))


def test_joints_are_valleys_and_lips_are_steps(photographed) -> None:
    """Large waves are gone, the joint's whole depth and the lip's whole step are there."""
    rng = np.random.default_rng(0)
    count = 240_000
    points = points_on(lambda x, y: waved(x, y) + joint_and_lip(x, y), count, rng)
    points[:, 2] += rng.normal(0.0, 0.2, count)
    surface = densely(photographed.surface_of(waved), count)
    picture = height_picture(photographed.scan_of(points=points, kind="cloud"), surface, JointSettings())
    assert picture.kind == "heights"
    assert picture.rgb is None
    assert picture.pixel_mm == 2.0
    across = np.nanmedian(picture.tone[60:120], axis=0)
    x = (np.arange(len(across)) + 0.5) * picture.pixel_mm
    # 0.2 mm of noise, 60 rows and 1.6 points a pixel: 0.02 mm; the surroundings keep 1/13 of the joint at most.
    assert np.median(across[np.abs(x - 300.0) < 2.5]) == pytest.approx(-3.0, abs=0.3)
    assert np.abs(across[(np.abs(x - 300.0) > 8.0) & (x > 60) & (x < 740)]).max() < 0.3
    along = np.nanmedian(picture.tone[:, 200:340], axis=1)
    y = (np.arange(len(along)) + 0.5) * picture.pixel_mm
    step = along[np.abs(y - 304.0) < 2.5].mean() - along[np.abs(y - 296.0) < 2.5].mean()
    assert step == pytest.approx(2.0, abs=0.35)


def test_views_a_few_mm_apart_leave_no_trace(photographed) -> None:
    """One view lies 5 mm above the other and tilts: where it ends there is no step, and the joint is still there."""
    rng = np.random.default_rng(1)
    count = 200_000
    points = points_on(joint_and_lip, count, rng)
    points[:, 2] += rng.normal(0.0, 0.1, count)
    view = (rng.random(count) < 0.5) & (points[:, 0] < 520.0)
    points[view, 2] += 5.0 + 0.004 * points[view, 0]
    scan = photographed.scan_of(points=points, kind="cloud", view_of_point=view.astype(np.uint16))
    picture = height_picture(scan, densely(photographed.surface_of(lambda x, y: 0 * x * y), count), JointSettings())
    # The border of the whole capture is left out with those of the views.
    across = np.nanmedian(picture.tone[40:120, 30:-30], axis=0)
    x = (np.arange(len(across)) + 30.5) * picture.pixel_mm
    assert np.abs(across[(x > 420) & (x < 620)]).max() < 0.25
    assert np.median(across[np.abs(x - 300.0) < 2.5]) == pytest.approx(-3.0, abs=0.4)


def test_level_of_a_view_is_its_own_height() -> None:
    """Blocks of 25 mm all at 7.25 mm, one empty block around: sure in the middle, not at the border."""
    count = np.pad(np.full((28, 30), 60.0), 1)
    level, trust = view_level(count, 7.25 * count)
    assert level[1:-1, 1:-1] == pytest.approx(7.25)
    assert (trust[9:20, 9:22] > 0.99).all()
    assert max(trust[1].max(), trust[:, 1].max(), trust[-2].max(), trust[:, -2].max()) < 0.1


def relief_point_by_point(points, view_of_point, surface, picture):
    """The sums behind a height picture by plain NumPy: level and trust by SciPy's interpolation between blocks."""
    rows, cols = picture.tone.shape
    total, weights = np.zeros(rows * cols), np.zeros(rows * cols)
    for view in np.unique(view_of_point):
        p = points[view_of_point == view].astype(np.float32).astype(np.float64)
        above = p[:, 2] - map_coordinates(
            surface.estimate_mm.astype(float), p[:, 1::-1].T / surface.cell_mm - 0.5, order=1, mode="nearest"
        )
        corner = np.floor(p[:, :2].min(axis=0) / 25.0) * 25.0
        col, row = np.floor((p[:, :2] - corner) / 25.0).astype(int).T + 1
        shape = (row.max() + 2, col.max() + 2)
        count, height = np.zeros(shape), np.zeros(shape)
        np.add.at(count, (row, col), 1.0)
        np.add.at(height, (row, col), above)
        at = (p[:, 1::-1] - corner[::-1]).T / 25.0 + 0.5
        level, trust = (map_coordinates(a, at, order=1) for a in view_level(count, height))
        trust[trust <= 0.02] = 0.0
        key = (p[:, 1] // picture.pixel_mm * cols + p[:, 0] // picture.pixel_mm).astype(int)
        np.add.at(total, key, trust * (above - level))
        np.add.at(weights, key, trust)
    with np.errstate(invalid="ignore"):
        relief = np.where(weights > 0, total / weights, np.nan).reshape(rows, cols).astype(np.float32)
    return filled_gaps(less_surroundings(relief, picture.pixel_mm))


def test_compiled_relief_is_the_plain_one(photographed) -> None:
    """Three views millimetres apart, their points mixed; float32 places are good to 1e-4 mm of 800."""
    rng = np.random.default_rng(8)
    count = 60_000
    points = points_on(lambda x, y: waved(x, y) + joint_and_lip(x, y), count, rng)
    view = rng.integers(0, 3, count).astype(np.uint16)
    keep = points[:, 0] < np.array([500.0, 800.0, 650.0])[view]
    points, view = points[keep], view[keep]
    points[:, 2] += np.array([2.0, -3.0, 1.0])[view] + rng.normal(0.0, 0.2, len(points))
    surface = densely(photographed.surface_of(waved, margin_mm=0.0), count)
    scan = photographed.scan_of(points=points, view_of_point=view)
    picture = height_picture(scan, surface, JointSettings())
    plain = relief_point_by_point(points, view, surface, picture)
    both = np.isfinite(picture.tone) & np.isfinite(plain)
    assert both.sum() > 0.8 * plain.size
    off = np.abs(picture.tone - plain)[both]
    # A point that rounds into the next pixel moves the mean of 41 × 41 surroundings by 3 mm / 1681 = 0.002 mm.
    assert np.median(off) < 1e-5
    assert np.quantile(off, 0.99) < 5e-3
    assert (np.isfinite(picture.tone) == np.isfinite(plain)).mean() > 0.999


def test_surroundings_ignore_what_was_not_seen() -> None:
    height = np.full((60, 70), 3.0, np.float32)
    height[:, 40:] = np.nan
    relief = less_surroundings(height, 2.0)
    assert relief[:, :40] == pytest.approx(0.0, abs=1e-5)
    assert np.isnan(relief[:, 40:]).all()


def test_single_gaps_are_filled_and_holes_stay() -> None:
    picture = np.tile(np.arange(12, dtype=np.float32), (9, 1))
    picture[4, 5] = np.nan
    picture[1:4, 8:11] = np.nan
    filled = filled_gaps(picture)
    assert filled[4, 5] == pytest.approx(5.0)
    assert np.isnan(filled[2, 9])
    same = np.isfinite(picture)
    assert (filled[same] == picture[same]).all()


def test_too_few_points_give_no_picture(photographed) -> None:
    """10 mm apart: pixels would be over 12 mm, and no joint shows in those."""
    rng = np.random.default_rng(3)
    points = points_on(waved, 4_800, rng)
    scan = photographed.scan_of(points=points, kind="cloud")
    assert height_picture(scan, densely(photographed.surface_of(waved), 4_800), JointSettings()) is None
    assert floor_picture(scan, densely(photographed.surface_of(waved), 4_800), JointSettings()) is None


def test_colours_of_points_win_over_their_heights(photographed) -> None:
    """Dark points make a joint where they are; what hangs above the floor paints nothing."""
    rng = np.random.default_rng(4)
    count = 240_000
    points = points_on(waved, count, rng)
    dark = np.abs(points[:, 0] - 300.0) < 4.0
    colour = np.where(dark[:, None], 20, (200, 180, 160)).astype(np.uint8)
    lamp = np.array([[500.0, 200.0, 900.0]]) + rng.normal(0, 10, (5000, 3))
    scan = photographed.scan_of(
        points=np.concatenate([points, lamp]),
        kind="cloud",
        colour=np.concatenate([colour, np.full((5000, 3), 255, np.uint8)]),
    )
    picture = floor_picture(scan, densely(photographed.surface_of(waved), count), JointSettings())
    assert picture.kind == "colours"
    across = np.nanmedian(picture.tone[60:120, :400], axis=0)
    x = (np.arange(len(across)) + 0.5) * picture.pixel_mm
    # 0.2126 · 0.5776 + 0.7152 · 0.4564 + 0.0722 · 0.3515, the light of sRGB 200, 180, 160.
    assert np.median(across[np.abs(x - 300) > 10]) == pytest.approx(0.4746, abs=0.002)
    assert across[np.abs(x - 300) < 2.5].max() < 0.01
    at = int(200 / picture.pixel_mm), int(500 / picture.pixel_mm)
    assert picture.rgb[at] == pytest.approx([200, 180, 160], abs=1)
    assert np.isnan(picture.view_tan).all()
    assert (picture.photo == -1).all()


def test_one_colour_shows_nothing(photographed) -> None:
    rng = np.random.default_rng(5)
    points = points_on(waved, 240_000, rng)
    scan = photographed.scan_of(points=points, kind="cloud", colour=np.full((240_000, 3), 128, np.uint8))
    surface = densely(photographed.surface_of(waved), 240_000)
    assert floor_picture(scan, surface, JointSettings()) is None
    assert height_picture(scan, surface, JointSettings()).kind == "heights"
