"""Marking outlines: few corners, all of the fill inside, within the room; areas to grind are numbered on."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from flatscan.levelling.marking.areas import areas_of, fill_labels, grind_areas_of, rings_of, volumes_by_area
from flatscan.levelling.marking.outlines import MOST_CORNERS, TOGETHER_MM, marking_rings

CELL_MM = 20.0
ROWS, COLS = 90, 140
ROOM = (np.array([(0, 0), (2800, 0), (2800, 1800), (0, 1800), (0, 0)], dtype=np.float64),)


def blobs(seed: int, width: float) -> np.ndarray:
    """Places to fill of a usual shape, in mm of fill."""
    field = ndimage.gaussian_filter(np.random.default_rng(seed).normal(size=(ROWS, COLS)), width)
    fill = np.maximum(0.0, field / field.std() - 0.9)
    fill[:2] = fill[-2:] = 0.0
    fill[:, :2] = fill[:, -2:] = 0.0
    return fill


def polygon(rings: tuple[np.ndarray, ...]) -> shapely.Polygon:
    return shapely.Polygon(rings[0], rings[1:])


@given(seed=st.integers(0, 10_000), width=st.sampled_from([4.0, 7.0, 12.0]))
@settings(max_examples=40, deadline=None)
def test_a_marking_outline_holds_the_area_and_keeps_near_it(seed: int, width: float) -> None:
    labels = fill_labels(blobs(seed, width), CELL_MM)
    for number in range(1, int(labels.max()) + 1):
        rings = rings_of(labels == number, cell_mm=CELL_MM, corner_mm=(0.0, 0.0))
        marking = polygon(marking_rings(rings, ROOM))
        assert marking.is_valid
        assert marking.buffer(0.05).covers(polygon(rings))
        assert polygon(ROOM).buffer(0.05).covers(marking)
        # A pointed corner lies at most twice the distance out, one across a closed inlet its half width more; where the
        # room cuts a side a new one lies between.
        corners = shapely.points(np.concatenate(marking_rings(rings, ROOM)))
        apart, inlet = TOGETHER_MM[-1]
        assert shapely.distance(polygon(rings), corners).max() < 3.0 * apart + inlet


def test_usual_areas_have_few_corners() -> None:
    """Of 100 smooth blobs and more nearly all need 24 corners or fewer; four of five keep within 75 mm of the fill."""
    corners, apart = [], []
    for seed in range(50):
        labels = fill_labels(blobs(seed, 7.0), CELL_MM)
        for number in range(1, int(labels.max()) + 1):
            rings = rings_of(labels == number, cell_mm=CELL_MM, corner_mm=(0.0, 0.0))
            marking = marking_rings(rings, ROOM)
            corners.append(sum(len(ring) - 1 for ring in marking))
            apart.append(polygon(marking).exterior.hausdorff_distance(polygon(rings).exterior))
    assert len(corners) >= 100
    assert np.mean(np.array(corners) <= MOST_CORNERS) >= 0.9
    assert np.quantile(apart, 0.8) <= 75.0


def test_a_plain_rectangle_keeps_its_four_corners() -> None:
    mask = np.zeros((40, 60), dtype=bool)
    mask[10:25, 8:50] = True
    rings = rings_of(mask, cell_mm=CELL_MM, corner_mm=(0.0, 0.0))
    (marking,) = marking_rings(rings, ())
    assert len(marking) == 5
    low, high = marking.min(axis=0), marking.max(axis=0)
    assert tuple(low) == pytest.approx((8 * 20 - 5, 10 * 20 - 5))
    assert tuple(high) == pytest.approx((50 * 20 + 5, 25 * 20 + 5))


def test_an_outline_that_does_not_hold_the_area_does_not_cut_it() -> None:
    mask = np.ones((10, 14), dtype=bool)
    rings = rings_of(mask, cell_mm=CELL_MM, corner_mm=(0.0, 0.0))
    small = (np.array([(50, 50), (200, 50), (200, 150), (50, 150), (50, 50)], dtype=np.float64),)
    assert polygon(marking_rings(rings, small)).covers(polygon(rings))


def test_areas_are_marked_out_from_walls_and_grinding_is_numbered_on() -> None:
    fill, grind = np.zeros((ROWS, COLS)), np.zeros((ROWS, COLS))
    fill[10:30, 10:40] = 3.0
    fill[12:20, 12:20] = 5.0
    fill[50:80, 60:75] = 2.0
    grind[34:54, 100:130] = 1.5
    grind[34:36, 100:130] = 0.5
    labels = fill_labels(fill, CELL_MM)
    litres = np.array([volumes_by_area(fill, labels, CELL_MM)] * 2)
    fills = areas_of(fill, labels, litres, cell_mm=CELL_MM, origin_mm=(0.0, 0.0), outline=ROOM)
    grinds = grind_areas_of(grind, first_number=len(fills) + 1, cell_mm=CELL_MM, origin_mm=(0.0, 0.0), outline=ROOM)
    assert [(a.number, a.action) for a in (*fills, *grinds)] == [(1, "fill"), (2, "fill"), (3, "grind")]
    assert (fills[0].min_mm, fills[0].max_mm) == (3.0, 5.0)
    (ground,) = grinds
    assert (ground.min_mm, ground.max_mm) == (0.5, 1.5)
    assert ground.volume_l.value == pytest.approx(float(grind.sum()) * CELL_MM**2 / 1e6)
    assert ground.volume_l.u == 0.0
    assert ground.area_m2 == pytest.approx(0.24)
    for area in (*fills, *grinds):
        assert area.marked is not None
        assert polygon(area.marked.rings).buffer(0.05).covers(polygon(area.rings))
    assert [w.number for w in fills[0].marked.walls] == [1, 4]  # type: ignore[union-attr]
    assert [w.number for w in ground.marked.walls] == [1, 2]  # type: ignore[union-attr]
    unmarked = areas_of(fill, labels, litres, cell_mm=CELL_MM, origin_mm=(0.0, 0.0))
    assert all(area.marked is None for area in unmarked)


@pytest.mark.parametrize("nothing", [0.0, np.nan])
def test_a_movement_joint_parts_areas(nothing: float) -> None:
    """Also one that runs aslant, a cell wide: cells that touch at a corner only do not belong together."""
    fill = np.full((20, 30), 2.0)
    for row in range(20):
        fill[row, 5 + row] = nothing
    labels = fill_labels(fill, CELL_MM)
    assert labels.max() == 2
    assert labels[0, 0] != labels[0, 29]


def test_nothing_to_grind_has_no_areas() -> None:
    assert grind_areas_of(np.zeros((5, 6)), first_number=3, cell_mm=10.0, origin_mm=(0.0, 0.0)) == ()
