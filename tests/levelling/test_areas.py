"""Outlines: they hold what they should, holes included, and their compound adds up."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from flatscan.levelling.marking.areas import (
    LEAST_ISLAND_MM2,
    LEAST_LISTED_L,
    MOST_LISTED,
    areas_of,
    fill_labels,
    rings_of,
    volumes_by_area,
)
from flatscan.levelling.quantities import volume_l


def signed_area(ring: np.ndarray) -> float:
    x, y = ring[:-1].T
    return float(0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def test_a_ring_of_cells_has_an_outline_and_a_hole():
    mask = np.zeros((7, 12), dtype=bool)
    mask[1:6, 2:11] = True
    mask[2:4, 4:9] = False
    exterior, hole = rings_of(mask, cell_mm=50.0, corner_mm=(1000.0, 200.0))
    assert np.array_equal(exterior[0], exterior[-1])
    assert sorted(map(tuple, exterior[:-1])) == [(1100, 250), (1100, 500), (1550, 250), (1550, 500)]
    assert sorted(map(tuple, hole[:-1])) == [(1200, 300), (1200, 400), (1450, 300), (1450, 400)]


def test_nobody_trowels_round_an_island_of_a_hand_s_breadth():
    mask = np.ones((7, 12), dtype=bool)
    mask[3, 5] = False  # 50 mm square: filled over
    mask[1:3, 8:10] = False  # 100 mm square: left out
    rings = rings_of(mask, cell_mm=50.0, corner_mm=(0.0, 0.0))
    assert len(rings) == 2
    assert sorted(map(tuple, rings[1][:-1])) == [(400, 50), (400, 150), (500, 50), (500, 150)]


def filled_over(cells: np.ndarray, least_island: float) -> np.ndarray:
    """The cells with every enclosed island of fewer than ``least_island`` cells."""
    islands, count = ndimage.label(ndimage.binary_fill_holes(cells) & ~cells)
    sizes = np.bincount(islands.ravel(), minlength=count + 1)
    return cells | ((islands > 0) & (sizes[islands] < least_island))


@given(seed=st.integers(0, 10_000))
@settings(max_examples=40, deadline=None)
def test_an_outline_keeps_within_a_cell_of_its_cells(seed):
    """Smoothing moves it by 0.75 cells at most: cells one in from the edge stay in, cells one out stay out."""
    import shapely

    field = ndimage.gaussian_filter(np.random.default_rng(seed).normal(size=(23, 37)), 1.5)
    labels, count = ndimage.label(field > 0.05)
    y, x = np.mgrid[0:23, 0:37]
    for number in range(1, count + 1):
        rings = rings_of(labels == number, cell_mm=20.0, corner_mm=(0.0, 0.0))
        polygon = shapely.Polygon(rings[0], rings[1:])
        assert polygon.is_valid
        within = shapely.contains_xy(polygon, 20.0 * (x + 0.5), 20.0 * (y + 0.5))
        cells = filled_over(labels == number, LEAST_ISLAND_MM2 / 20.0**2)
        deep = ndimage.binary_erosion(cells, np.ones((3, 3)), border_value=0)
        near = ndimage.binary_dilation(cells, np.ones((3, 3)))
        assert np.all(within[deep])
        assert not np.any(within[~near])
        assert polygon.area == pytest.approx(cells.sum() * 400.0, abs=0.75 * 20.0 * polygon.length + 400.0)


def test_largest_first_and_specks_counted_but_not_listed():
    fill = np.zeros((40, 60))
    fill[2:12, 3:13] = 0.5  # 100 cells of 10 mm: 0.005 l, a speck
    fill[20:38, 5:25] = 3.0  # 360 cells: 0.108 l
    fill[5:30, 30:58] = 4.0  # 700 cells: 0.28 l
    labels = fill_labels(fill, 10.0)
    assert [int(labels[10, 40]), int(labels[30, 10]), int(labels[5, 5])] == [1, 2, 0]
    litres = np.array([volumes_by_area(f, labels, 10.0) for f in (fill, 1.1 * fill)])
    areas = areas_of(fill, labels, litres, cell_mm=10.0, origin_mm=(0.0, 0.0))
    assert [a.number for a in areas] == [1, 2]
    assert areas[0].volume_l.value == pytest.approx(0.28 * 1.05)
    assert areas[0].area_m2 == pytest.approx(0.07)
    assert areas[0].mean_mm == pytest.approx(4.0)
    assert areas[0].max_mm == 4.0
    total = np.mean([volume_l(f, 10.0) for f in (fill, 1.1 * fill)])
    assert sum(a.volume_l.value for a in areas) + litres[:, 0].mean() == pytest.approx(total)
    assert litres[0, 0] == pytest.approx(0.005)
    assert LEAST_LISTED_L > 0.005


def test_at_most_so_many_are_listed():
    fill = np.zeros((60, 220))
    for k in range(55):
        fill[(k % 5) * 12 : (k % 5) * 12 + 10, (k // 5) * 20 : (k // 5) * 20 + 18] = 5.0 + 0.01 * k
    labels = fill_labels(fill, 10.0)
    assert labels.max() == MOST_LISTED
    assert fill[labels == 0].max() < fill[labels == MOST_LISTED].min()


def test_nothing_to_fill_has_no_areas():
    fill = np.zeros((5, 6))
    fill[2, 2] = np.nan
    labels = fill_labels(fill, 10.0)
    assert not labels.any()
    litres = np.array([volumes_by_area(fill, labels, 10.0)] * 2)
    assert areas_of(fill, labels, litres, cell_mm=10.0, origin_mm=(0.0, 0.0)) == ()
