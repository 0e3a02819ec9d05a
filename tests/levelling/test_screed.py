"""A screed to one plane: closed forms, the whole linear programme, and what the plane may not do."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from flatscan.levelling.basis import Basis
from flatscan.levelling.binding.bounds import Bounds, free
from flatscan.levelling.binding.constraints import bounds_of
from flatscan.levelling.filling.least_fill import EdgeRule
from flatscan.levelling.plan import Proposal
from flatscan.levelling.pouring.flood import flood
from flatscan.levelling.pouring.lowest_plane import NoPlaneError, lowest_plane
from flatscan.levelling.pouring.screed import screed, screed_again
from flatscan.levelling.product import load_product
from flatscan.levelling.quantities import volume_l
from flatscan.measures.chords import gap_field
from flatscan.sources.scan import InputFile
from flatscan.sources.survey import Door, Survey, Zone
from flatscan.surface.surface import Surface

CELL_MM = 50.0
TARGETS = ((2000.0, 3.0),)
PRODUCT = replace(load_product(), greatest_layer_mm=None, least_layer_mm=2.0)
ANY = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def laid(surface: Surface, bounds: Bounds | None = None, product=PRODUCT, targets=TARGETS) -> Proposal:
    rule = EdgeRule(cell_mm=surface.cell_mm)
    return screed(surface, surface.estimate_mm, bounds or free(surface), targets, rule, product)


def places(shape: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    y, x = (np.indices(shape) + 0.5) * CELL_MM
    return x, y


def bound(surface: Surface, *zones: Zone, **more) -> Bounds:
    survey = Survey(InputFile(Path("survey.toml"), "0" * 64, "survey"), zones=zones, **more)
    return bounds_of(survey, Basis(surface, TARGETS, (), "level_areas", None), PRODUCT)


def zone(kind: str, name: str, x1: float, y1: float, x2: float, y2: float, value: float | None = None) -> Zone:
    return Zone(kind, name, np.array([(x1, y1), (x2, y1), (x2, y2), (x1, y2)], dtype=np.float64), (), value)


def programme(x, y, low, high, counted: int) -> tuple[float, float, float]:
    """The same plane from all rows at once: least excess, then least height at the floor's centroid."""
    one, capped = np.ones(len(x)), np.isfinite(high)
    rows = np.concatenate([np.stack([-x, -y, -one, 0 * one], 1), np.stack([x, y, one, -one], 1)[capped]])
    sides = np.concatenate([-low, high[capped]])
    free_slopes = [(None, None)] * 3
    excess = linprog([0, 0, 0, 1], A_ub=rows, b_ub=sides, bounds=[*free_slopes, (0, None)]).x[3]
    centre = [x[:counted].mean(), y[:counted].mean(), 1, 0]
    return linprog(centre, A_ub=rows, b_ub=sides, bounds=[*free_slopes, (0, excess + 1e-9)]).fun, excess


@given(a=st.floats(-0.02, 0.02), b=st.floats(-0.02, 0.02))
@ANY
def test_a_plane_gets_the_least_layer_however_it_lies(make_surface, a, b):
    x, y = places((31, 47))
    fill = laid(make_surface(a * x + b * y)).fill_mm
    np.testing.assert_allclose(fill, 2.0, atol=2e-5)


@given(a=st.floats(-0.02, 0.02), b=st.floats(-0.02, 0.02))
@ANY
def test_a_dome_and_a_dish(make_surface, a, b):
    """On a dome the plane touches the crown's cell, on a dish it rests on the four corners.

    The crown lies at the centroid, so that any way the plane rocks on that cell takes the same volume.
    """
    x, y = places((31, 47))
    square = ((x - x.mean()) ** 2 + (y - y.mean()) ** 2) / 1e5
    tilt = a * x + b * y
    dome = laid(make_surface(tilt - square)).fill_mm
    assert dome.mean(dtype=np.float64) == pytest.approx(2.0 + square.mean(), abs=1e-5)
    assert dome[15, 23] == pytest.approx(2.0, abs=1e-5)
    np.testing.assert_allclose(laid(make_surface(tilt + square)).fill_mm, 2.0 + square.max() - square, atol=2e-4)


def test_a_product_without_least_layer_rests_on_three_places(make_surface):
    z = np.random.default_rng(3).normal(0.0, 2.0, (31, 47))
    fill = laid(make_surface(z), product=replace(PRODUCT, least_layer_mm=0.0)).fill_mm
    assert (fill < 1e-4).sum() == 3
    assert (fill >= 0.0).all()


@given(
    seed=st.integers(0, 2**32 - 1),
    cap=st.sampled_from([np.inf, 12.0, 7.0, 3.0, 1.0]),
    share=st.floats(0.05, 1.0),
    beside=st.booleans(),
)
@ANY
def test_against_the_programme_with_all_its_rows(seed, cap, share, beside):
    """Caps on a share of the places, some that no plane keeps, and places off the floor that it must meet."""
    rng = np.random.default_rng(seed)
    n = 120
    x, y = rng.uniform(0, 4000, n), rng.uniform(500, 9000, n)
    z = rng.normal(0.0, 2.0, n) + rng.normal(0.0, 0.003) * x + 40.0
    low, high = z + 1.0, np.where(rng.random(n) < share, z + cap, np.inf)
    counted = n - 8 if beside else n
    low[counted:], high[counted:] = z[counted:] - 3.0, z[counted:] + 3.0
    plane, excess = lowest_plane(x, y, low, high, counted=counted)
    height, least_excess = programme(x, y, low, high, counted)
    assert excess == pytest.approx(least_excess, abs=1e-5)
    assert (plane.height_mm(x, y) >= low - 1e-5).all()
    assert (plane.height_mm(x, y) <= high + least_excess + 1e-5).all()
    assert plane.height_mm(x[:counted].mean(), y[:counted].mean()) == pytest.approx(height, abs=1e-4)


def test_points_that_make_no_plane():
    x = np.arange(5.0)
    with pytest.raises(NoPlaneError):
        lowest_plane(x, 2 * x, x, x + 9.0)


def test_a_floor_one_cell_wide_gets_a_level_screed(make_surface):
    surface = make_surface(np.array([[0.0, 3.0, 1.0, np.nan]]))
    np.testing.assert_allclose(laid(surface).fill_mm, [[5.0, 2.0, 4.0, np.nan]])
    assert np.isnan(laid(make_surface(np.full((5, 7), np.nan))).fill_mm).all()


@given(seed=st.integers(0, 999), fall=st.floats(1.0, 12.0), way=st.floats(-3.0, 3.0))
@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_never_more_than_one_pour_over_the_same_floor(make_surface, seed, fall, way):
    """The level plane over the highest place is one of the planes that the screed chooses from."""
    z = np.random.default_rng(seed).normal(0.0, 2.0, (31, 47))
    surface = make_surface(z, fall=fall, direction_rad=way)
    pour = flood(surface, surface.estimate_mm, free(surface), TARGETS, EdgeRule(cell_mm=CELL_MM), PRODUCT)
    assert len(pour.proposal.pours) == 1
    assert volume_l(laid(surface).fill_mm, CELL_MM) <= volume_l(pour.proposal.fill_mm, CELL_MM) * (1 + 1e-9)


def test_the_fall_of_the_plane_is_told_against_gravity(make_surface):
    """The reference plane falls 3 mm/m to the right; about it the floor rises 2 to the right and falls 1 upwards."""
    x, y = places((31, 47))
    surface = make_surface(0.002 * x - 0.001 * y, fall=3.0, direction_rad=0.0)
    assert laid(surface).notes == ("The plane falls 1.4 ± 0.2 mm/m towards the top right of the map",)
    level = make_surface(0.003 * x, fall=3.0, direction_rad=0.0)
    assert laid(level).notes == ("The plane is level within what is known: 0 to 0.2 mm/m",)
    assert laid(make_surface(0.002 * x)).notes == ()


# What binds


def test_the_plane_tilts_to_keep_below_a_door(make_surface):
    """A dome's crown near the door: level over it, 5 mm lie at the door; tilted, 3 mm do and all is kept."""
    x, _ = places((31, 47))
    z = -0.002 * x
    z[15, 20] += 3.0
    surface = make_surface(z)
    plain = laid(surface)
    band = x < 100.0
    assert plain.fill_mm[band].max() > 3.0
    bounds = bound(surface, doors=(Door("hall door", ((0.0, 500.0), (0.0, 1400.0)), 3.0),))
    capped = np.isfinite(bounds.most_fill_mm)
    assert capped.any()
    plan = laid(surface, bounds)
    assert plan.why_not == ""
    assert plan.fill_mm[capped].max() <= 3.0 + 1e-4
    assert plan.fill_mm.min() >= 2.0 - 1e-4
    assert volume_l(plan.fill_mm, CELL_MM) > volume_l(plain.fill_mm, CELL_MM)


def test_a_door_that_no_plane_keeps_below_is_named(make_surface):
    """A hollow of 4 mm at the door itself, between places as high on both sides, takes 6 mm with any plane."""
    x, y = places((31, 47))
    z = np.zeros(x.shape)
    z[(x < 100.0) & (abs(y - 950.0) < 200.0)] = -4.0
    surface = make_surface(z)
    bounds = bound(surface, doors=(Door("hall door", ((0.0, 500.0), (0.0, 1400.0)), 3.0),))
    plan = laid(surface, bounds)
    assert plan.why_not.startswith("'hall door' allows 3.0 mm and 6.0 mm is needed 0.0")


def test_thicker_than_the_product_may_lie(make_surface):
    x, y = places((31, 47))
    square = ((x - x.mean()) ** 2 + (y - y.mean()) ** 2) / 1e5
    surface = make_surface(square)
    need = 2.0 + float(square.max())
    for most, refused in ((need - 0.01, True), (need + 0.01, False)):
        why_not = laid(surface, product=replace(PRODUCT, greatest_layer_mm=most)).why_not
        assert bool(why_not) is refused
        if refused:
            assert why_not.startswith(f"The screed would be {need:.1f} mm thick 1.18 m from the left wall, 0.78 m from")


def test_a_zone_keeps_its_height_and_the_plane_meets_it(make_surface):
    """A threshold fixed 6 mm up at the right wall: a plane 2 mm over all would stand 4 mm below it, so it tilts."""
    surface = make_surface(np.zeros((31, 47)))
    bounds = bound(surface, zone("fixed_height", "threshold", 2150.0, 500.0, 2350.0, 1000.0, 6.0))
    fixed = bounds.least_fill_mm == 6.0
    plan = laid(surface, bounds)
    assert (plan.fill_mm[fixed] == 6.0).all()
    assert plan.why_not == ""
    finished = surface.estimate_mm + plan.fill_mm
    assert np.ptp(finished[~fixed]) > 0.5
    assert gap_field(finished, surface.inside, cell_mm=CELL_MM, edge_mm=2000.0).gap_mm.max() <= 3.0
    x, y = places((31, 47))
    rows = np.stack([x[~fixed], y[~fixed], np.ones((~fixed).sum())], 1)
    assert np.abs(rows @ np.linalg.lstsq(rows, finished[~fixed], rcond=None)[0] - finished[~fixed]).max() < 1e-4


def test_a_step_that_no_plane_takes_away_is_named(make_surface):
    surface = make_surface(np.zeros((31, 47)))
    bounds = bound(surface, zone("no_fill", "drain", 1000.0, 500.0, 1300.0, 800.0))
    assert laid(surface, bounds).why_not == ""
    why_not = laid(surface, bounds, targets=((2000.0, 1.5),)).why_not
    assert why_not.startswith("A screed to one plane leaves a gap of 2.0 mm under a 2 m edge beside 'drain', which")


def test_slopes_and_movement_joints_are_left_out(make_surface):
    surface = make_surface(np.random.default_rng(1).normal(0.0, 1.0, (31, 47)))
    slope = zone("keep_slope", "shower", 1500.0, 0.0, 2350.0, 800.0)
    bounds = bound(surface, slope, movement_joints_mm=(((525.0, 0.0), (525.0, 1550.0)),))
    plan = laid(surface, bounds)
    assert (plan.fill_mm[bounds.keeps_slope | bounds.blocked] == 0.0).all()
    assert (plan.fill_mm[~(bounds.keeps_slope | bounds.blocked)] >= 2.0 - 1e-4).all()
    assert plan.why_not == ""


def test_cells_not_seen_get_no_fill(make_surface):
    z = np.random.default_rng(1).normal(0.0, 1.0, (31, 47))
    z[3:9, 4:30] = np.nan
    surface = make_surface(z)
    plan = laid(surface)
    np.testing.assert_array_equal(np.isnan(plan.fill_mm), np.isnan(z))
    np.testing.assert_array_equal(np.isnan(plan.grind_mm), np.isnan(z))


# Another draw of the floor


def test_the_same_floor_again_takes_the_same_and_a_draw_its_own_plane(make_surface):
    rng = np.random.default_rng(8)
    surface = make_surface(rng.normal(0.0, 1.0, (31, 47)))
    bounds = bound(surface, zone("fixed_height", "threshold", 2150.0, 500.0, 2350.0, 1000.0, 3.0))
    again = screed_again(surface, surface.estimate_mm, bounds, PRODUCT, TARGETS)
    np.testing.assert_allclose(again, laid(surface, bounds).fill_mm, atol=1e-5)
    draw = surface.estimate_mm + rng.normal(0.0, 0.5, surface.estimate_mm.shape)
    drawn = replace(surface, height_mm=draw.astype(np.float32), estimate_mm=draw.astype(np.float32))
    np.testing.assert_allclose(
        screed_again(surface, drawn.estimate_mm, bounds, PRODUCT, TARGETS), laid(drawn, bounds).fill_mm, atol=1e-5
    )
    x, y = places(draw.shape)
    tilted = screed_again(surface, draw + 0.01 * x - 0.002 * y + math.pi, free(surface), PRODUCT)
    np.testing.assert_allclose(tilted, screed_again(surface, draw, free(surface), PRODUCT), atol=1e-5)
