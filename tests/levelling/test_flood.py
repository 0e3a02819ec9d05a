"""Level pours over whole floors: closed forms, the scan against every level, and what a pour may not do."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flatscan.levelling.basis import Basis
from flatscan.levelling.binding.bounds import free
from flatscan.levelling.binding.constraints import bounds_of
from flatscan.levelling.filling.least_fill import EdgeRule
from flatscan.levelling.pouring.flood import FloodPlan, above_level, flood, flood_again
from flatscan.levelling.pouring.lowest_level import HALVINGS, LEVELS
from flatscan.levelling.product import load_product
from flatscan.levelling.quantities import volume_l
from flatscan.measures.chords import gap_field
from flatscan.sources.scan import InputFile
from flatscan.sources.survey import Door, Survey, Zone
from flatscan.surface.surface import Surface

CELL_MM = 50.0
TARGETS = ((2000.0, 3.0),)
#: One litre per kilogram, bags of 10 l, any thickness.
PRODUCT = replace(load_product(), greatest_layer_mm=None, least_layer_mm=1.0, kg_per_m2_mm=1.0, bag_kg=10.0)
FEATHERED = replace(PRODUCT, least_layer_mm=0.0)
FEW = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def poured(surface: Surface, product=PRODUCT, targets=TARGETS, bounds=None) -> FloodPlan:
    bounds = bounds or free(surface)
    return flood(surface, surface.estimate_mm, bounds, targets, EdgeRule(cell_mm=surface.cell_mm), product)


def litres(plan: FloodPlan, surface: Surface) -> float:
    return volume_l(plan.proposal.fill_mm, surface.cell_mm)


def worst_gap(height: np.ndarray, surface: Surface, edge_mm: float = 2000.0) -> float:
    gap = gap_field(height, surface.inside, cell_mm=surface.cell_mm, edge_mm=edge_mm).gap_mm
    return float(np.nanmax(gap))


def rough(shape: tuple[int, int], amplitude: float, seed: int, length_cells: float = 6.0) -> np.ndarray:
    from scipy import ndimage

    field = ndimage.gaussian_filter(np.random.default_rng(seed).standard_normal(shape), length_cells)
    return amplitude * field / field.std()


def survey(*zones: Zone, **more) -> Survey:
    return Survey(InputFile(Path("survey.toml"), "0" * 64, "survey"), zones=zones, **more)


def zone(kind: str, name: str, x1: float, y1: float, x2: float, y2: float, value: float | None = None) -> Zone:
    return Zone(kind, name, np.array([(x1, y1), (x2, y1), (x2, y2), (x1, y2)], dtype=np.float64), (), value)


def bound(surface: Surface, asked: Survey):
    basis = Basis(surface, TARGETS, ("over-old-tiles",), "level_areas", None)
    return bounds_of(asked, basis, PRODUCT)


# One part, with a least layer


def test_a_pour_stands_level_the_least_layer_over_the_highest_place(make_surface):
    surface = make_surface(rough((61, 83), 4.0, 1))
    plan = poured(surface)
    z = surface.estimate_mm.astype(np.float64)
    np.testing.assert_allclose(plan.proposal.fill_mm, z.max() + 1.0 - z, atol=1e-5)
    (pour,) = plan.proposal.pours
    assert pour.level_mm == pytest.approx(np.ptp(z) + 1.0, abs=1e-6)
    assert pour.area_m2 == pytest.approx(61 * 83 * 0.0025)
    assert pour.volume_l == pytest.approx(litres(plan, surface), rel=1e-6)
    assert plan.proposal.dams == ()
    assert plan.proposal.why_not == ""
    assert (plan.proposal.grind_mm == 0.0).all()


def test_a_tilted_floor_takes_a_wedge(make_surface):
    """A plane that falls 2 mm/m over 4.15 m along x takes the least layer and half the fall: V = A (m + f L / 2).

    Not L but L less a cell, for the grid knows heights at the middles of its cells. The floor has one dip, so that
    it is poured at all: a cone 8 mm deep with a radius of 300 mm, of 1/3 pi r² h = 0.754 l; the grid's sum is used.
    """
    y, x = (np.indices((60, 83)) + 0.5) * CELL_MM
    dip = np.maximum(0.0, 8.0 * (1.0 - np.hypot(x - 2000.0, y - 1500.0) / 300.0))
    surface = make_surface(-dip, fall=2.0, direction_rad=0.0)
    expected = 60 * 83 * 0.0025 * (1.0 + 0.5 * 2.0 * 82 * 0.05) + volume_l(dip, CELL_MM)
    assert litres(poured(surface), surface) == pytest.approx(expected, rel=1e-6)
    assert volume_l(dip, CELL_MM) == pytest.approx(0.754, abs=0.01)


def test_a_floor_that_meets_its_limits_is_not_poured(make_surface):
    surface = make_surface(rough((61, 83), 0.3, 2), fall=5.0)
    assert worst_gap(surface.estimate_mm, surface) < 3.0
    plan = poured(surface)
    assert (plan.proposal.fill_mm == 0.0).all()
    assert plan.proposal.pours == ()
    assert plan.proposal.notes == ("The floor meets its limits as it is, so nothing is poured",)


@given(a=st.floats(-20.0, 20.0), b=st.floats(-20.0, 20.0), seed=st.integers(0, 99))
@FEW
def test_which_way_the_floor_leans_and_what_is_known_of_it(make_surface, a, b, seed):
    """A fall that nobody knows changes no volume; one that is known and undone by the floor itself neither."""
    z = rough((40, 55), 4.0, seed)
    y, x = (np.indices(z.shape) + 0.5) * CELL_MM / 1000.0
    plain = make_surface(z)
    known = make_surface(z + a * x + b * y, fall=float(np.hypot(a, b)), direction_rad=float(np.arctan2(b, a)))
    unknown = replace(make_surface(z, fall=float(np.hypot(a, b)), direction_rad=1.0), slope=None)
    assert litres(poured(unknown), unknown) == litres(poured(plain), plain)
    assert litres(poured(known), known) == pytest.approx(litres(poured(plain), plain), rel=1e-5)


# The scan, with a product that runs out to nothing


def test_feasibility_is_not_monotone_and_the_scan_finds_the_lower_level(make_surface):
    """A pour raised too far bends the floor at its waterline: 10, -2, -10 shows 2 mm, raised to 0 it shows 5 mm.

    Readings a metre apart, edge 2 m, limit 2.1 mm, so that only neighbours of neighbours matter. The pit at -30 asks
    for -17.1 or more; from -15.8 the chord from -10 over -15 to the pour shows too much, and so on up to the top. A
    search that halves from -10, where it fails, would end up there.
    """
    z = np.tile([10.0, -2.0, -10.0, -15.0, -30.0, -15.0], (4, 1))
    surface = make_surface(z, cell_mm=1000.0)
    rule, targets = EdgeRule(cell_mm=1000.0, directions=2), ((2000.0, 2.1),)

    def gap_at(level: float) -> float:
        raised = np.maximum(z, level)
        return float(gap_field(raised, surface.inside, cell_mm=1000.0, edge_mm=2000.0, directions=2).gap_mm.max())

    assert {h: gap_at(h) for h in (-18.0, -17.0, -15.0, -10.0, 0.0, 8.0, 10.0)} == pytest.approx(
        {-18.0: 3.0, -17.0: 2.0, -15.0: 2.5, -10.0: 4.0, 0.0: 5.0, 8.0: 1.0, 10.0: 0.0}
    )
    plan = flood(surface, surface.estimate_mm, free(surface), targets, rule, FEATHERED)
    assert plan.proposal.why_not == ""
    level = float(plan.proposal.fill_mm[0, 4]) - 30.0
    assert -17.1 <= level <= -17.1 + 40.0 / LEVELS / 2**HALVINGS + 0.002
    assert (plan.proposal.fill_mm[:, [0, 1, 2, 3, 5]] == 0.0).all()


@pytest.mark.parametrize("seed", range(2))
def test_the_scan_finds_what_every_level_tried_at_full_resolution_finds(make_surface, seed):
    """Against 150 levels, each measured on the full grid: no lower one passes, but within a step of the scan."""
    z = rough((60, 83), 2.5, seed)
    surface = make_surface(z)
    plan = poured(surface, FEATHERED)
    levels = np.linspace(surface.estimate_mm.min(), surface.estimate_mm.max(), 150)
    passes = [worst_gap(np.maximum(surface.estimate_mm, h), surface) <= 3.0 for h in levels]
    lowest = levels[int(np.argmax(passes))]
    finished = surface.estimate_mm + plan.proposal.fill_mm
    assert worst_gap(finished, surface) <= 3.0
    level = float(finished[plan.proposal.fill_mm > 0].max())
    assert level <= lowest + np.ptp(z) / LEVELS
    assert level >= lowest - np.ptp(levels) / 149 - 1e-5 or not passes[int(np.argmax(passes)) - 1]


@pytest.mark.parametrize("seed", range(3))
def test_what_a_coarse_screen_passes_is_checked_at_full_resolution(make_surface, seed):
    """On cells of 5 mm, roughness that means over 20 mm hide: the plan passes on the cells themselves."""
    z = rough((160, 203), 1.2, seed, 30.0) + rough((160, 203), 0.5, seed + 50, 0.7)
    surface = make_surface(z, cell_mm=5.0)
    targets = ((200.0, 2.5), (800.0, 3.0))
    plan = poured(surface, FEATHERED, targets)
    finished = surface.estimate_mm + plan.proposal.fill_mm
    assert max(worst_gap(surface.estimate_mm, surface, e) - t for e, t in targets) > 0.0
    assert all(worst_gap(finished, surface, e) <= t for e, t in targets)
    assert (plan.proposal.fill_mm == 0.0).any()  # dry islands
    assert plan.proposal.why_not == ""


@pytest.mark.parametrize("seed", range(3))
def test_a_larger_limit_never_costs_more(make_surface, seed):
    surface = make_surface(rough((60, 83), 2.5, seed))
    volumes = [litres(poured(surface, FEATHERED, ((2000.0, t),)), surface) for t in (1.0, 2.0, 3.0, 4.0, 6.0)]
    assert volumes == sorted(volumes, reverse=True)
    assert volumes[0] > volumes[-1]


# Several parts


def two_rooms(make_surface, step_mm: float, seed: int = 5, amplitude: float = 2.0, cell_mm: float = CELL_MM) -> Surface:
    """Rooms of 3.6 and 5 m by 4 m, the right one ``step_mm`` higher on the whole, joined by a door of 0.9 m."""
    inside = np.zeros((80, 176), dtype=bool)
    inside[:, :72] = inside[:, 76:] = True
    inside[20:38] = True
    z = rough(inside.shape, amplitude, seed, 8.0)
    left, right = inside.copy(), inside.copy()
    left[:, 74:] = right[:, :74] = False
    z += np.where(np.arange(176) >= 74, step_mm - z[right].max(), -z[left].max())
    height = np.where(inside, z, np.nan).astype(np.float32)
    return replace(
        make_surface(np.zeros(inside.shape), cell_mm=cell_mm), inside=inside, height_mm=height, estimate_mm=height
    )


def test_two_rooms_stand_at_levels_of_their_own_with_a_dam_in_the_door(make_surface):
    surface = two_rooms(make_surface, 2.0)
    plan = poured(surface)
    assert plan.proposal.why_not == ""
    finished = surface.estimate_mm + plan.proposal.fill_mm
    assert {round(float(h), 3) for h in np.unique(finished[surface.inside])} == {1.0, 3.0}
    assert worst_gap(finished, surface) <= 3.0
    (dam,) = plan.proposal.dams
    assert dam.where == "doorway or narrow passage"
    assert np.ptp(dam.line[:, 0]) <= CELL_MM
    assert 3600.0 <= dam.line[:, 0].min() <= dam.line[:, 0].max() <= 3800.0
    assert sorted(dam.line[:, 1]) == pytest.approx([1000.0, 1900.0])
    col = round(dam.line[0, 0] / CELL_MM)
    assert dam.height_mm == pytest.approx(plan.proposal.fill_mm[20:38, col - 1 : col + 1].max(), abs=1e-5)
    assert sum(p.volume_l for p in plan.proposal.pours) == pytest.approx(litres(plan, surface), rel=1e-6)


def test_one_level_where_a_step_would_be_over_the_limit(make_surface):
    """4 mm between the rooms: no edge may find a step of 4 mm in the door, so the lower room rises with the higher."""
    surface = two_rooms(make_surface, 4.0)
    plan = poured(surface)
    finished = (surface.estimate_mm + plan.proposal.fill_mm)[surface.inside]
    assert plan.proposal.why_not == ""
    assert np.ptp(finished) < 1e-5
    assert finished.max() == pytest.approx(5.0, abs=1e-5)
    assert plan.proposal.dams == ()
    assert len(plan.proposal.pours) == 1


def test_no_dam_for_less_than_a_bag(make_surface):
    """14.5 m² at 0.5 mm are 7 l, less than the bag of 10 l; at 1 mm they are more."""
    for step, dams in ((0.5, 0), (1.0, 1)):
        assert len(poured(two_rooms(make_surface, step)).proposal.dams) == dams


def test_a_room_that_is_flat_already_stays_dry(make_surface):
    """The right room is flat 2 mm over the left one's pour, across a dam that was asked for."""
    surface = two_rooms(make_surface, 2.0)
    height = surface.height_mm.copy()
    height[:, 73:] = np.where(surface.inside[:, 73:], 3.0, np.nan)  # the dam's cells with it
    surface = replace(surface, height_mm=height, estimate_mm=height)
    bounds = bound(surface, survey(dams_mm=(((3690.0, 950.0), (3690.0, 1950.0)),)))
    plan = poured(surface, bounds=bounds)
    assert (plan.proposal.fill_mm[:, 74:][surface.inside[:, 74:]] == 0.0).all()
    assert (plan.proposal.fill_mm[:, :73][surface.inside[:, :73]] >= 1.0 - 1e-5).all()
    assert len(plan.proposal.pours) == 1
    assert [d.where for d in plan.proposal.dams] == ["dam 1"]
    assert plan.proposal.notes == ("Parts of the floor that meet their limits as they are and are not poured: 1 of 2",)
    assert worst_gap(surface.estimate_mm + plan.proposal.fill_mm, surface) <= 3.0


def test_a_movement_joint_is_dammed_along_its_middle_and_takes_nothing(make_surface):
    """Both sides stand at one level in the end, for 4 mm of step is too much, and the joint stays open all the same."""
    z = rough((60, 90), 2.0, 3)
    z[:, :40] -= z[:, :40].max()
    z[:, 40:] += 4.0 - z[:, 40:].max()
    surface = make_surface(z)
    bounds = bound(surface, survey(movement_joints_mm=(((2025.0, 0.0), (2025.0, 3000.0)),)))
    plan = poured(surface, bounds=bounds)
    joint = bounds.blocked
    assert joint.sum() == 60
    assert (plan.proposal.fill_mm[joint] == 0.0).all()
    finished = (surface.estimate_mm + plan.proposal.fill_mm)[~joint]
    assert np.ptp(finished) < 1e-5
    (dam,) = plan.proposal.dams
    assert dam.where == "movement joint 1"
    assert np.abs(dam.line[:, 0] - 2025.0).max() <= 0.5 * CELL_MM
    assert sorted(dam.line[:, 1]) == pytest.approx([0.0, 3000.0])
    beside = plan.proposal.fill_mm[:, [39, 41]]
    assert dam.height_mm == pytest.approx(beside.max(), abs=1e-5)
    assert len(plan.proposal.pours) == 2


def test_a_door_in_the_wall_is_dammed_at_the_edge_of_the_floor(make_surface):
    surface = make_surface(rough((60, 90), 3.0, 4))
    basis = Basis(surface, TARGETS, (), "level_areas", None, doors_mm=(((4490.0, 1000.0), (4490.0, 1900.0)),))
    bounds = bounds_of(None, basis, PRODUCT)
    plan = poured(surface, bounds=bounds)
    (dam,) = plan.proposal.dams
    assert dam.where == "door"
    assert (dam.line[:, 0] >= 4500.0 - CELL_MM).all()
    assert sorted(dam.line[:, 1]) == pytest.approx([1000.0, 1900.0], abs=1.1 * CELL_MM)


# What binds


def test_a_pour_too_thick_at_a_door_names_the_door_the_place_and_both_thicknesses(make_surface):
    z = np.zeros((60, 90))
    z[:, :10] = -6.0
    surface = make_surface(z)
    door = Door("hall door", ((0.0, 1000.0), (0.0, 1900.0)), 3.0)
    bounds = bound(surface, survey(doors=(door,)))
    why_not = poured(surface, bounds=bounds).proposal.why_not
    assert "'hall door' allows 3.0 mm and 7.0 mm is needed" in why_not
    assert "0.03 m from the left wall" in why_not or "0.08 m from the left wall" in why_not


def test_a_pour_thicker_than_the_product_may_lie(make_surface):
    z = rough((60, 90), 2.0, 1)
    z[20, 30] = -14.0
    z[20, 31] = 0.0
    surface = make_surface(z)
    need = float(surface.estimate_mm.max() - surface.estimate_mm[20, 30]) + 1.0
    for most, refused in ((need - 0.01, True), (need + 0.01, False)):
        why_not = poured(surface, replace(PRODUCT, greatest_layer_mm=most)).proposal.why_not
        assert bool(why_not) is refused
        if refused:
            assert f"{need:.1f} mm thick 1.52 m from the left wall, 1.02 m from the bottom wall" in why_not


def test_a_drain_keeps_its_height_and_the_step_to_it_is_named(make_surface):
    """A dip elsewhere asks for a pour of 1 mm over all; that is within 3 mm of the drain, but not within 0.5 mm."""
    z = np.zeros((60, 90))
    z[10:20, 20:30] = -9.0
    surface = make_surface(z)
    bounds = bound(surface, survey(zone("no_fill", "drain", 3000.0, 2000.0, 3400.0, 2300.0)))
    drain = bounds.most_fill_mm == 0.0
    plan = poured(surface, bounds=bounds)
    assert (plan.proposal.fill_mm[drain] == 0.0).all()
    assert plan.proposal.why_not == ""
    (dam,) = plan.proposal.dams
    assert dam.where == "edge of 'drain'"
    assert dam.height_mm == pytest.approx(1.0)
    assert np.hypot(*np.diff(dam.line, axis=0).T).sum() == pytest.approx(1400.0)
    why_not = poured(surface, targets=((2000.0, 0.5),), bounds=bounds).proposal.why_not
    assert why_not.startswith("A level pour leaves a gap of 1.0 mm under a 2 m edge beside 'drain', which keeps its")


def test_the_pour_is_raised_to_a_higher_threshold(make_surface):
    """Threshold fixed 6 mm over a floor that would be poured to 1 mm: with a limit of 3 mm the pour stands at 3 mm."""
    z = np.zeros((60, 90))
    z[10:20, 20:30] = -9.0
    surface = make_surface(z)
    bounds = bound(surface, survey(zone("fixed_height", "threshold", 4000.0, 1000.0, 4500.0, 2000.0, 6.0)))
    plan = poured(surface, bounds=bounds)
    fixed = bounds.least_fill_mm == 6.0
    assert (plan.proposal.fill_mm[fixed] == 6.0).all()
    assert plan.proposal.why_not == ""
    finished = surface.estimate_mm + plan.proposal.fill_mm
    assert worst_gap(finished, surface) <= 3.0
    # A step s shows s (1 - cell / edge) under an edge: 3 mm at s = 3.08; and steps of 5 mm over 40 and five halvings.
    level = float(finished[0, 0])
    assert 6.0 - 3.0 / (1.0 - CELL_MM / 2000.0) - 1e-5 <= level <= 3.0 + 5.0 / LEVELS
    assert plan.proposal.notes == ("Trowel 'threshold' to its height first; the pour runs against it",)


def test_a_zone_that_keeps_its_slope_is_left_as_it_is(make_surface):
    z = rough((60, 90), 3.0, 6)
    surface = make_surface(z)
    asked = survey(zone("keep_slope", "shower", 3000.0, 0.0, 4500.0, 1500.0))
    bounds = bound(surface, asked)
    plan = poured(surface, bounds=bounds)
    assert (plan.proposal.fill_mm[bounds.keeps_slope] == 0.0).all()
    assert plan.proposal.why_not == ""
    # The line of cells round it is floor like the rest: no trench is left.
    rim = surface.inside & ~bounds.inside
    assert rim.any()
    assert (plan.proposal.fill_mm[rim] > 0.0).all()
    assert {d.where for d in plan.proposal.dams} == {"edge of 'shower'"}


def test_cells_not_seen_get_no_fill_and_do_not_part_the_floor(make_surface):
    z = rough((60, 90), 3.0, 7)
    z[:, 40:42] = np.nan
    surface = make_surface(z)
    plan = poured(surface)
    np.testing.assert_array_equal(np.isnan(plan.proposal.fill_mm), np.isnan(z))
    assert len(plan.proposal.pours) == 1
    assert plan.proposal.pours[0].area_m2 == pytest.approx(60 * 88 * 0.0025)


def test_a_floor_not_seen_at_all_and_no_targets(make_surface):
    blind = make_surface(np.full((20, 30), np.nan))
    assert np.isnan(poured(blind).proposal.fill_mm).all()
    assert poured(blind).proposal.pours == ()
    surface = make_surface(rough((20, 30), 9.0, 1))
    assert (poured(surface, targets=()).proposal.fill_mm == 0.0).all()


# Another draw of the floor


@pytest.mark.parametrize("product", [PRODUCT, FEATHERED], ids=["least layer", "feathered"])
def test_the_same_floor_again_takes_the_same(make_surface, product):
    surface = two_rooms(make_surface, 2.0)
    bounds = free(surface)
    plan = poured(surface, product)
    again = flood_again(plan, surface, surface.estimate_mm, bounds, product)
    np.testing.assert_allclose(again, plan.proposal.fill_mm, atol=1e-5)
    lifted = flood_again(plan, surface, surface.estimate_mm + np.float32(0.75), bounds, product)
    np.testing.assert_allclose(lifted, again, atol=1e-5)


def test_a_higher_peak_of_a_draw_lifts_a_pour_with_a_least_layer_and_not_a_feathered_one(make_surface):
    surface = make_surface(rough((60, 83), 2.5, 1))
    draw = surface.estimate_mm.astype(np.float64)
    peak = np.unravel_index(int(draw.argmax()), draw.shape)
    draw[peak] += 2.0
    others = np.ones(draw.shape, dtype=bool)
    others[peak] = False
    for product, lift in ((PRODUCT, 2.0), (FEATHERED, 2.0 / draw.size)):
        plan = poured(surface, product)
        again = flood_again(plan, surface, draw, free(surface), product)
        filled = (plan.proposal.fill_mm > 0.01) & others
        np.testing.assert_allclose((again - plan.proposal.fill_mm)[filled], lift, atol=1e-4)


def test_a_fall_that_is_drawn_tilts_the_pour(make_surface):
    surface = make_surface(rough((60, 83), 2.5, 1), fall=2.0)
    plan = poured(surface)
    again = flood_again(plan, surface, surface.estimate_mm, free(surface), PRODUCT, fall_mm_per_m=4.0)
    level = above_level(surface.estimate_mm, surface, fall_mm_per_m=4.0)
    np.testing.assert_allclose(again, level.max() + 1.0 - level, atol=1e-5)


def test_fixed_heights_stay_in_every_draw(make_surface):
    z = np.zeros((60, 90))
    z[10:20, 20:30] = -9.0
    surface = make_surface(z)
    bounds = bound(surface, survey(zone("fixed_height", "threshold", 4000.0, 1000.0, 4500.0, 2000.0, 2.0)))
    plan = poured(surface, bounds=bounds)
    draw = surface.estimate_mm + rough((60, 90), 0.5, 2)
    again = flood_again(plan, surface, draw, bounds, PRODUCT)
    assert (again[bounds.least_fill_mm == 2.0] == 2.0).all()
    covered = bounds.least_fill_mm == 0.0
    np.testing.assert_allclose((draw + again)[covered], draw[covered].max() + 1.0, atol=1e-5)
