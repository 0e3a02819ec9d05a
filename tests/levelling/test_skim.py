"""A thin coat, and lips: which are ground, and the ramps of those that may not be."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatscan.levelling.binding.bounds import NamedMask, free
from flatscan.levelling.joints.joint_work import JointFill, JointWork, LipDown
from flatscan.levelling.joints.lip_work import beside, excess_mm, ground_at_lips, lip_ramps, lips_to_grind
from flatscan.levelling.joints.skim import skim
from flatscan.levelling.product import load_product
from flatscan.quantity import Quantity

PRODUCT = replace(load_product(), least_layer_mm=0.5, coat_mm=1.5, feather_mm_per_m=20.0)
#: The low tile lies beneath (towards smaller y) unless turned.
LINE = ((1000.0, 1750.0), (2000.0, 1750.0))


def a_lip(size=1.6, *, line=LINE, high=100.0, word="over", limit=1.0) -> LipDown:
    (ax, ay), (bx, by) = line
    at, length = ((ax + bx) / 2, (ay + by) / 2), math.dist(*line)
    high_at = (at[0] - high * (by - ay) / length, at[1] + high * (bx - ax) / length)
    return LipDown("J1", at, line, high_at, length, word, Quantity(size, 0.1, "mm"), limit)


def with_lips(*lips) -> JointWork:
    return JointWork((), lips, Quantity(1.5, 0.3, "l"), 12.0, 0.0)


def test_a_coat_is_its_thickness_times_the_floor_seen(make_surface):
    """70 x 120 cells of 50 mm are 21 m²; less 10 x 10 unseen cells 20.75 m²; at 1.5 mm 31.125 l."""
    height = np.zeros((70, 120))
    height[:10, :10] = np.nan
    surface = make_surface(height)
    coat = skim(surface, free(surface), None, PRODUCT, worst="")
    assert coat.name == "skim"
    assert coat.why_not == ""
    assert np.nansum(coat.fill_mm, dtype=float) * 0.0025 == pytest.approx(31.125)
    np.testing.assert_array_equal(np.isnan(coat.fill_mm), np.isnan(height))
    assert np.nansum(coat.grind_mm) == 0.0
    thick = skim(surface, free(surface), None, replace(PRODUCT, least_layer_mm=3.0), worst="")
    assert np.nanmax(thick.fill_mm) == np.nanmin(thick.fill_mm) == 3.0


def test_a_coat_flattens_nothing(make_surface):
    surface = make_surface()
    worst = "a gap of 5.2 mm under 2 m, 1.00 m from the left wall"
    why_not = skim(surface, free(surface), None, PRODUCT, worst=worst).why_not
    assert why_not == f"A thin coat flattens nothing: {worst} stays"


def test_a_coat_leaves_bare_what_must_stay_and_names_what_it_cannot_keep(make_surface):
    surface = make_surface()
    bounds = free(surface)
    drain, door, blocked, raised = (np.zeros((70, 120), dtype=bool) for _ in range(4))
    drain[30:34, 50:54] = door[:2, :20] = blocked[:, 80] = raised[60:, :10] = True
    most = np.where(drain, 0.0, np.inf).astype(np.float32)
    coat = skim(surface, replace(bounds, most_fill_mm=most, blocked=blocked), None, PRODUCT, worst="")
    assert coat.why_not == ""
    assert (coat.fill_mm[drain | blocked] == 0.0).all()
    assert (coat.fill_mm[~drain & ~blocked] == 1.5).all()
    most = np.where(door, 1.0, np.inf).astype(np.float32)
    rules = (NamedMask("door", "front door", door),)
    low = skim(surface, replace(bounds, most_fill_mm=most, rules=rules), None, PRODUCT, worst="")
    assert "1.5 mm" in low.why_not
    least = np.where(raised, 4.0, 0.0).astype(np.float32)
    high = skim(surface, replace(bounds, least_fill_mm=least), None, PRODUCT, worst="")
    assert high.why_not.startswith("4.0 mm is asked for 0.03 m from the left wall, 3.02 m from the bottom wall")


def test_a_coat_fills_every_joint_and_the_holes(make_surface):
    surface = make_surface()
    void = np.zeros((70, 120), dtype=np.float32)
    void[:6, :6] = 12.0  # 300 x 300 mm, 12 mm deep: 1.08 l
    work = replace(with_lips(), fills=(JointFill("J1", LINE, 1000.0, "over", None, None, Quantity(0.1, 0.0, "l")),))
    extras = dict(skim(surface, replace(free(surface), void_mm=void), work, PRODUCT, worst="").extra_l)
    assert extras["joints"] == work.every_joint
    assert extras["holes of tiles that come out"].value == pytest.approx(1.08)


def test_a_lip_aims_two_tenths_below_its_limit():
    assert excess_mm(a_lip(1.6)) == pytest.approx(0.8)
    assert excess_mm(a_lip(0.7)) == 0.0
    assert excess_mm(a_lip(0.7, limit=0.1)) == pytest.approx(0.7)


@pytest.mark.parametrize("high", [100.0, -100.0])
def test_cells_beside_a_joint_are_the_row_on_that_side(make_surface, high):
    """The joint runs at y = 1750 mm, the seam of rows 34 and 35, over columns 20 to 39."""
    surface = make_surface()
    lip = a_lip(high=high)
    for side, row in ((True, 35 if high > 0 else 34), (False, 34 if high > 0 else 35)):
        rows, cols = beside(surface, free(surface), lip, high=side)
        assert set(rows.tolist()) == {row}
        assert sorted(cols.tolist()) == list(range(20, 40))


def test_cells_beside_a_slanting_joint_never_lie_on_the_other_side(make_surface):
    surface = make_surface(cell_mm=10.0)
    lip = a_lip(line=((203.0, 111.0), (731.0, 457.0)))
    along = np.array([528.0, 346.0]) / np.hypot(528.0, 346.0)
    for high, sign in ((True, 1.0), (False, -1.0)):
        rows, cols = beside(surface, free(surface), lip, high=high)
        x, y = (cols + 0.5) * 10.0 - 203.0, (rows + 0.5) * 10.0 - 111.0
        off = sign * (along[0] * y - along[1] * x)
        assert (off > 0.0).all()
        assert off.max() <= 15.0
        assert rows.size >= 50


def test_where_grinding_is_allowed_there_is_no_ramp(make_surface):
    surface = make_surface()
    work = with_lips(a_lip(1.6), a_lip(3.0, line=((3000.0, 1000.0), (3000.0, 1500.0))), a_lip(5.0, word="not_decided"))
    may = free(surface, greatest_grind_mm=1.0)
    ground = lips_to_grind(surface, may, work)
    assert [lip.lip.value for lip in ground] == [1.6]  # the other is 2.2 mm too high
    ramps, stays = lip_ramps(surface, may, work, PRODUCT)
    assert stays == ()
    assert ramps[:, 19:41].max() == 0.0
    assert ramps.max() == pytest.approx(2.2)
    forbidden = may.most_grind_mm.copy()
    forbidden[35, 39] = 0.0  # one place of the high tile is enough
    assert lips_to_grind(surface, replace(may, most_grind_mm=forbidden), work) == ()
    assert lips_to_grind(surface, may, None) == ()


def test_a_ramp_runs_out_on_the_low_side_alone(make_surface):
    """0.8 mm at 20 mm/m is run out after 40 mm: on cells of 10 mm 0.8, 0.6, 0.4, 0.2, 0; none on the high side."""
    surface = make_surface(cell_mm=10.0)
    lip = a_lip(1.6, line=((300.0, 350.0), (800.0, 350.0)))
    ramps, stays = lip_ramps(surface, free(surface), with_lips(lip), PRODUCT)
    assert stays == ()
    np.testing.assert_allclose(ramps[34:29:-1, 50], [0.8, 0.6, 0.4, 0.2, 0.0], atol=1e-6)
    assert ramps[35:].max() == 0.0
    assert ramps[34, 28:30].tolist() == pytest.approx([0.4, 0.6])
    assert ramps[34, 20] == 0.0
    # No step anywhere on the low side is steeper than the product allows.
    low = ramps[:35]
    assert np.abs(np.diff(low, axis=0)).max() <= 0.2 + 1e-6
    assert np.abs(np.diff(low, axis=1)).max() <= 0.2 + 1e-6


@pytest.mark.parametrize(("limit_mm", "more"), [(3.0, False), (1.0, True)])
def test_a_ramped_lip_stays_ramped_under_the_least_fill(make_surface, limit_mm, more):
    """A step of 1.6 mm along the joint; the fill lies on the floor with its ramp, so that it cannot undo it."""
    from flatscan.levelling.filling.least_fill import EdgeRule, least_fill

    height = np.zeros((70, 120))
    height[35:] = 1.6
    surface = make_surface(height, cell_mm=10.0)
    lip = a_lip(1.6, line=((0.0, 350.0), (1200.0, 350.0)))
    ramps, _ = lip_ramps(surface, free(surface), with_lips(lip), PRODUCT)
    ramped = height + ramps
    fill = least_fill(
        ramped,
        surface.inside,
        [(400.0, limit_mm)],
        EdgeRule(cell_mm=10.0),
        least_layer_mm=PRODUCT.least_layer_mm,
        feather_mm_per_m=PRODUCT.feather_mm_per_m,
    )
    finished = ramped + fill.fill_mm
    assert bool(fill.fill_mm.max() > 0.0) is more
    # What is laid besides runs out over the joint, so it moves the lip by no more than a cell's fall of 0.2 mm.
    assert np.abs(finished[35] - finished[34]).max() <= 1.0 + 1e-6


def test_a_lip_stays_where_its_low_side_may_not_be_filled_or_a_layer_would_turn_it_round(make_surface):
    surface = make_surface()
    drain = np.full((70, 120), np.inf, dtype=np.float32)
    drain[34, 30] = 0.5
    _, stays = lip_ramps(surface, replace(free(surface), most_fill_mm=drain), with_lips(a_lip()), PRODUCT)
    assert len(stays) == 1
    _, stays = lip_ramps(surface, free(surface), with_lips(a_lip()), replace(PRODUCT, least_layer_mm=2.7))
    assert len(stays) == 1  # 2.7 mm beside a lip of 1.6 mm would stand 1.1 mm higher
    assert lip_ramps(surface, free(surface), with_lips(a_lip()), replace(PRODUCT, least_layer_mm=2.5))[1] == ()
    unseen = np.zeros((70, 120))
    unseen[:35] = np.nan
    surface = make_surface(unseen)
    assert len(lip_ramps(surface, free(surface), with_lips(a_lip()), PRODUCT)[1]) == 1
    assert (
        "may be neither ground nor filled against"
        in skim(surface, free(surface), with_lips(a_lip()), PRODUCT, worst="").why_not
    )


def test_a_coat_carries_the_ramp_and_says_so(make_surface):
    surface = make_surface()
    coat = skim(surface, free(surface), with_lips(a_lip()), PRODUCT, worst="")
    assert coat.why_not == ""
    assert coat.fill_mm[34, 30] == pytest.approx(2.3)
    assert coat.fill_mm[35, 30] == 1.5
    assert any("ramp" in note for note in coat.notes)
    ground = skim(surface, free(surface, greatest_grind_mm=3.0), with_lips(a_lip()), PRODUCT, worst="")
    assert np.ptp(ground.fill_mm) == 0.0
    assert "First take down 1 lip" in ground.notes


def test_what_grinding_a_lip_takes_off():
    """1 m long, 0.8 mm high, run out at 20 mm/m over 40 mm: 0.04 m², and half of 0.8 x 40 x 1000 mm³."""
    litres, area_m2 = ground_at_lips([a_lip(1.6)], PRODUCT)
    assert litres == pytest.approx(0.016)
    assert area_m2 == pytest.approx(0.04)
    assert ground_at_lips([], PRODUCT) == (0.0, 0.0)
    assert ground_at_lips([a_lip(0.5)], PRODUCT) == (0.0, 0.0)


@given(st.floats(1.0, 6.0), st.floats(0.3, 2.0), st.floats(0.0, math.tau))
def test_a_ramped_lip_meets_its_limit_whichever_way_it_runs(size, limit, turn):
    """The lip left is what stood too high less the ramp beside it, all along the joint."""
    from flatscan.surface.surface import NoiseModel, Surface

    flat = np.zeros((60, 60), dtype=np.float32)
    surface = Surface(
        flat, flat.copy(), flat + 0.1, flat.astype(np.int32), flat == 0.0, 10.0, (0.0, 0.0), np.eye(4), (),
        NoiseModel(0.1, 0.0, 50.0, 0.0, "stated"), None, "cloud",
    )  # fmt: skip
    way = 100.0 * np.array([math.cos(turn), math.sin(turn)])
    line = tuple(tuple(np.array([300.0, 300.0]) + s * way) for s in (-1.0, 1.0))
    lip = a_lip(size, line=line, limit=limit)
    ramps, stays = lip_ramps(surface, free(surface), with_lips(lip), PRODUCT)
    assert stays == () or PRODUCT.least_layer_mm - size > limit
    low = beside(surface, free(surface), lip, high=False)
    high = beside(surface, free(surface), lip, high=True)
    if size > limit:
        left = size - ramps[low]
        assert np.all(np.abs(left) <= limit + 1e-5)
    assert ramps[high].max() == 0.0
