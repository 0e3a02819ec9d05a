"""Words for areas and places: at the guard band, capped by the result's own, and with what was there before."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.comparing.areas_now import areas_now
from flatscan.comparing.kept import GapGrid, Kept, gap_grid
from flatscan.comparing.open_spots import open_spots
from flatscan.comparing.overlaid import overlaid
from flatscan.comparing.pose import SAME
from flatscan.judgement.verdict import Finding
from flatscan.measures.measurement import GapMap
from flatscan.quantity import Quantity

BLOCK = 100.0


def with_gaps(measured, places, *, u=0.2, finding="over", usual=1.0):
    """The result with a gap grid: ``places`` {(x, y): gap}, ``usual`` elsewhere; and one finding of that word."""
    rows, cols = (-(-side * int(measured.surface.cell_mm) // int(BLOCK)) for side in measured.surface.height_mm.shape)
    gap = np.full((rows, cols), usual, dtype=np.float32)
    for (x, y), value in places.items():
        gap[int(y // BLOCK), int(x // BLOCK)] = value
    grid = GapGrid(2000.0, BLOCK, gap, np.full_like(gap, u))
    found = Finding("gap", "x/gap-2000", 3.0, Quantity(3.0, u, "mm"), 0.5, finding, (0.0, 0.0), "", edge_mm=2000.0)
    return replace(measured, kept=Kept(measured.kept.planned_mm, (grid,)), findings=(found,))


@pytest.fixture
def room(floors):
    bump = floors.Bump(1050.0, 950.0, 400.0, 3.0)
    return floors.measured_of(
        floors.surface_of(floors.relief, floors.RECTANGLE), areas=[floors.area_of(bump)], planned=bump
    )


def words(before, after):
    common = overlaid(before, after, SAME)
    none = np.zeros((4, int(common.both.sum())), dtype=np.float32)
    return areas_now(before, after, common, SAME, np.zeros(none.shape[1]), none, rise_known=True)


@pytest.mark.parametrize(
    ("gap", "word"),
    # The guard band is 1.645 u = 0.329 mm on either side of 3 mm.
    [(2.65, "within"), (2.70, "not_decided"), (3.30, "not_decided"), (3.35, "over")],
)
def test_an_area_has_the_word_of_its_worst_place(room, gap, word):
    (area,) = words(room, with_gaps(room, {(1050.0, 950.0): gap}))
    assert area.verdict == word
    assert area.gaps[0].now.value == pytest.approx(gap)


def test_a_place_outside_is_not_the_area_s(room):
    (area,) = words(room, with_gaps(room, {(3000.0, 2000.0): 5.0}))
    assert area.verdict == "within"


def test_no_block_says_more_than_the_result(room):
    after = with_gaps(room, {(1050.0, 950.0): 4.0}, finding="not_decided")
    assert words(room, after)[0].verdict == "not_decided"
    assert open_spots(room, after, SAME, ())[0].verdict == "not_decided"


def test_what_the_readings_cannot_tell_is_not_called_within(room):
    after = with_gaps(room, {})
    hidden = Finding("gap", "x/gap-2000", 3.0, None, None, "not_seen", None, "dips may lie between", edge_mm=2000.0)
    assert words(room, after)[0].verdict == "within"
    assert words(room, replace(after, findings=(*after.findings, hidden)))[0].verdict == "not_decided"


def test_an_area_hidden_after_the_work_was_not_seen(room):
    after = with_gaps(room, {})
    height = after.surface.height_mm.copy()
    height[20:75, 20:75] = np.nan
    after = replace(after, surface=replace(after.surface, height_mm=height, estimate_mm=height.copy()))
    assert words(room, after)[0].verdict == "not_seen"
    assert words(room, after)[0].placed_l is None


def test_places_come_worst_first_and_know_what_was_there(room):
    before = with_gaps(room, {(1050.0, 950.0): 6.0, (3050.0, 2050.0): 2.9, (3450.0, 350.0): 1.5})
    after = with_gaps(room, {(1050.0, 950.0): 4.0, (3050.0, 2050.0): 5.0, (3450.0, 350.0): 3.6, (1950.0, 2550.0): 3.1})
    spots = open_spots(before, after, SAME, words(before, after))
    assert [(spot.verdict, spot.history, spot.area) for spot in spots] == [
        ("over", "unsure", None),
        ("over", "still", 1),
        ("over", "new", None),
        ("not_decided", "new", None),
    ]
    assert [round(spot.value.value, 1) for spot in spots] == [5.0, 4.0, 3.6, 3.1]
    assert spots[1].before is not None
    assert spots[1].before.value == pytest.approx(6.0)


def test_the_rim_of_a_place_is_no_place(room):
    after = with_gaps(room, {(1050.0, 950.0): 4.0, (1150.0, 950.0): 3.1, (1050.0, 1150.0): 3.1})
    assert len(open_spots(room, after, SAME, ())) == 1


def test_a_lip_that_is_over_is_open_too(room):
    after = with_gaps(room, {})
    lip = Finding("lip", "x/lip", 1.0, Quantity(-1.8, 0.2, "mm"), 1.0, "over", (500.0, 600.0), "", joint="J3")
    (spot,) = open_spots(room, replace(after, findings=(*after.findings, lip)), SAME, ())
    assert (spot.what, spot.joint, spot.value.value) == ("lip", "J3", 1.8)


def test_blocks_keep_the_largest_gap_with_its_own_doubt():
    gap, u = np.zeros((7, 12), dtype=np.float32), np.full((7, 12), 0.1, dtype=np.float32)
    gap[6, 11], u[6, 11] = 2.5, 0.75
    gap[:5, :5] = np.nan
    kept = gap_grid(GapMap(2000.0, gap, gap, u, 0.0), 10.0)
    assert kept.gap_mm.shape == (2, 3)
    assert kept.block_mm == 50.0
    assert np.isnan(kept.gap_mm[0, 0])
    assert (kept.gap_mm[1, 2], kept.u_mm[1, 2]) == (2.5, 0.75)
