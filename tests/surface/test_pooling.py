"""Cells of few readings take in their neighbours' readings, and none is harmed by it."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.surface.cells.pooling import pooled, poor_cells

SHAPE = (37, 52)
ROW, COL = np.indices(SHAPE)
SLOPE = (0.3 * COL - 0.2 * ROW + 2.0 * np.sin(COL / 9.0)).astype(np.float32)


def capture(seed=0, share=0.03):
    """A sloping, wavy floor known to 0.1 mm, but for a few cells known to 1 mm."""
    rng = np.random.default_rng(seed)
    white = np.where(rng.random(SHAPE) < share, 1.0, 0.1).astype(np.float32)
    return (SLOPE + white * rng.standard_normal(SHAPE)).astype(np.float32), white


def test_poor_cells_become_as_good_as_their_neighbours_make_them():
    """A bug this ends: one cell known to 3.7 mm at the foot of a box, and a gap of 1.6 mm was stated as 0.0."""
    height, white = capture()
    poor = poor_cells(white)
    better, less = pooled(height, white, SLOPE)
    assert 20 < poor.sum() < 100
    # Eight neighbours known to 0.1 mm and the cell itself: 1/sqrt(8/0.01 + 1).
    lone = poor & (white == 1.0)
    assert np.median(less[lone]) == pytest.approx(1.0 / np.sqrt(801.0), rel=1e-3)
    error = (better - SLOPE)[poor] / less[poor]
    # Some 60 cells: their mean square scatters by sqrt(2/60) = 18 % about 1.
    assert np.mean(error**2) == pytest.approx(1.0, abs=0.55)


def test_good_cells_are_left_exactly_alone():
    height, white = capture(1)
    better, less = pooled(height, white, SLOPE)
    good = ~poor_cells(white)
    np.testing.assert_array_equal(better[good], height[good])
    np.testing.assert_array_equal(less[good], white[good])
    even = np.full(SHAPE, 0.3, np.float32)
    assert pooled(height, even, SLOPE)[0] is height


def test_unseen_neighbours_say_nothing_and_stay_unseen():
    height, white = capture(2, share=0.0)
    white[10, 10] = 1.0
    hole = np.zeros(SHAPE, bool)
    hole[9:12, 9:12] = True
    hole[10, 10] = False
    height[hole] = white[hole] = np.nan
    better, less = pooled(height, white, np.where(hole, np.nan, SLOPE).astype(np.float32))
    assert better[10, 10] == pytest.approx(height[10, 10], abs=1e-5)
    assert less[10, 10] == pytest.approx(1.0, rel=1e-6)
    assert np.isnan(better[hole]).all()


def test_nothing_seen_is_no_trouble():
    nothing = np.full((3, 4), np.nan, np.float32)
    assert not poor_cells(nothing).any()
