"""Occupancy against its plain twin, the rules for faces, and the outline's parts."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.surface.finding import occupancy as module
from flatscan.surface.finding.footprint import footprint
from flatscan.surface.finding.occupancy import Occupancy, occupancy
from flatscan.surface.finding.outline import area_mm2, rings, straightened
from flatscan.surface.finding.thinning import thin


def _cells(floor, tall=None, thing=None, face=None, cell_mm=25.0):
    none = np.zeros(floor.shape, bool)
    tall = none if tall is None else tall
    face = tall if face is None else face
    return Occupancy(
        (0.0, 0.0), cell_mm, floor.astype(np.int32) * 5, none, none if thing is None else thing, face, tall
    )


def test_compiled_pass_is_the_plain_one():
    rng = np.random.default_rng(1)
    points = rng.uniform((-200, -300, -300), (900, 1500, 2300), (20_000, 3)).astype(np.float32)
    angle = 0.3
    to = np.eye(4)
    to[:2, :2] = [[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]]
    to[:3, 3] = (13.0, -7.0, 31.0)
    low, high = (-100.0, -250.0), (700.0, 1300.0)
    from flatscan.surface.finding.occupancy_kernel import count_and_slice

    cols, rows = 32, 62
    fast = count_and_slice(points, to, *low, rows, cols, 25.0, 60.0)
    plain = module._count_plain(points, to, low, (rows, cols), 25.0, 60.0)
    # Sums in another order may move a point across a border; none of these 20 000 is that near to one.
    assert np.array_equal(fast[0], plain[0])
    assert np.array_equal(fast[2], plain[2])
    # float32 sums of a few dozen squares of up to 3600.
    assert np.allclose(fast[1], plain[1], atol=0.05)
    whole = occupancy(points, to, low, high, cell_mm=25.0, band_mm=60.0)
    assert whole.floor.shape == (rows, cols)
    assert whole.floor.sum() == plain[0].sum() > 500


@pytest.mark.parametrize(
    ("heights", "expected"),
    [
        ([0], "floor"),
        ([-59, 59], "floor"),
        ([-61, 61], ""),
        ([740], "thing"),
        ([740, 810], "thing"),
        ([150, 250, 350], "face"),
        ([150, 350, 550], "thing"),
        (range(150, 1500, 100), "face"),
        (range(150, 1600, 100), "face tall"),
        (range(150, 2600, 200), "thing"),
        ([1650], ""),
        ([2500], ""),
    ],
)
def test_what_stands_over_a_cell(heights, expected):
    points = np.array([(12.0, 37.0, z) for z in heights], np.float32)
    cells = occupancy(points, np.eye(4), (0.0, 0.0), (75.0, 50.0), cell_mm=25.0, band_mm=60.0)
    found = {name for name in ("floor", "thing", "face", "tall") if getattr(cells, name)[1, 0]}
    assert found == set(expected.split())
    assert not cells.floor[0].any()
    assert not cells.face[:, 1:].any()


def test_hole_is_filled_column_is_not_and_walls_keep_rooms_apart():
    floor = np.zeros((60, 90), bool)
    floor[5:55, 5:50] = True
    floor[5:55, 53:80] = True
    tall = np.zeros_like(floor)
    tall[:, 50:53] = True
    floor[20:30, 15:25] = False
    column = np.s_[40:46, 30:36]
    floor[column] = False
    tall[40, 30:36] = tall[40:46, 30] = True
    found = footprint(_cells(floor, tall))
    assert found.mask[20:30, 15:25].all()
    # Two faces of the column were seen: its hull is at least the triangle they span.
    assert not found.mask[40, 30:36].any()
    assert not found.mask[40:46, 30].any()
    assert not found.mask[:, 53:].any()
    assert found.left_out_m2 == pytest.approx(50 * 27 * 0.025**2)


def test_thin_pole_is_no_column():
    floor = np.ones((60, 60), bool)
    tall = np.zeros_like(floor)
    tall[30:32, 30:32] = True
    assert footprint(_cells(floor & ~tall, tall)).mask[30:32, 30:32].all()


def test_things_beyond_what_was_seen_do_not_enlarge_the_floor():
    floor = np.zeros((60, 90), bool)
    floor[5:55, 5:50] = True
    thing = np.zeros_like(floor)
    thing[5:55, 50:70] = True
    thing[20:40, 20:30] = True
    floor[20:40, 20:30] = False
    found = footprint(_cells(floor, thing=thing))
    assert found.mask.sum() == 50 * 45


def test_nothing_at_all():
    found = footprint(_cells(np.zeros((7, 12), bool)))
    assert not found.mask.any()


def test_ring_of_a_mask_has_the_masks_area():
    mask = np.zeros((30, 50), bool)
    mask[3:20, 4:40] = True
    mask[10:15, 20:29] = False
    outer, hole = rings(mask, _cells(mask))
    # Contours cut a cell's corner by half a diagonal: an eighth of a cell at each of the four corners.
    assert abs(area_mm2(outer)) == pytest.approx((17 * 36 - 4 / 8) * 625)
    assert abs(area_mm2(hole)) == pytest.approx((5 * 9 + 4 / 8) * 625, rel=0.03)
    assert outer.min(axis=0) == pytest.approx((100.0, 75.0))
    assert outer.max(axis=0) == pytest.approx((1000.0, 500.0))


def test_sides_lie_on_the_walls_not_on_the_cells():
    mask = np.zeros((60, 90), bool)
    mask[10:50, 10:80] = True
    rng = np.random.default_rng(2)
    mask[50, 10:80] = rng.random(70) < 0.4
    mask[9, 30:60] = True
    x = rng.uniform(250, 2000, 400)
    walls = np.vstack(
        [np.stack([x, 1263.0 + rng.normal(0, 3, 400)], axis=1), np.stack([x, 236.0 + rng.normal(0, 3, 400)], axis=1)]
    )
    out = straightened(rings(mask, _cells(mask))[0], 25.0, walls)
    assert len(out) == 5
    # Medians of 400 points of 3 mm: 0.2 mm.
    assert out[:, 1].min() == pytest.approx(236.0, abs=1.0)
    assert out[:, 1].max() == pytest.approx(1263.0, abs=1.0)
    assert out[:, 0].min() == pytest.approx(250.0, abs=1.0)
    assert out[:, 0].max() == pytest.approx(2000.0, abs=1.0)


def test_thinning_gives_a_dense_spot_no_more_say():
    rng = np.random.default_rng(3)
    even = rng.uniform((0, 0, 0), (8000, 8000, 1), (300_000, 3))
    spot = rng.normal((2000, 3000, 0), (50, 50, 0.1), (700_000, 3))
    points = np.vstack([even, spot]).astype(np.float32)
    rows = thin(points, np.random.default_rng(0), most=50_000)
    assert len(rows) <= 50_000
    assert np.array_equal(rows, np.unique(rows))
    near = np.linalg.norm(points[rows, :2] - (2000, 3000), axis=1) < 150
    # The spot covers 0.1 % of the area and holds 70 % of the points.
    assert near.mean() < 0.01
