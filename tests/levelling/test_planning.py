"""The plan as a whole: every way side by side, its quantities, its proof."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.levelling import load_product
from flatscan.levelling.basis import Basis
from flatscan.levelling.counting import FEWEST_DRAWS, MOST_DRAWS, draws_for
from flatscan.levelling.plan import METHOD_NAMES
from flatscan.levelling.planning import MOST_UNSEEN_SHARE, plan_levelling
from flatscan.levelling.possible import mirrored_l
from flatscan.levelling.proof import prove, worst_over
from flatscan.levelling.targets import laid_on
from flatscan.levelling.ways import ways
from flatscan.measures.chords import gap_field
from flatscan.sources.scan import InputFile
from flatscan.sources.survey.survey import Survey, Zone
from flatscan.surface.surface import NoiseModel

PRODUCT = load_product()
#: A compound that may run out to nothing, so that the patch is the least fill itself.
THIN = replace(PRODUCT, least_layer_mm=0.0)


def dished(rows: int = 60, cols: int = 83) -> np.ndarray:
    y, x = np.mgrid[0:rows, 0:cols]
    dip = -9.0 * np.exp(-((x - 25) ** 2 + (y - 30) ** 2) / 80.0) - 6.0 * np.exp(-((x - 65) ** 2 + (y - 20) ** 2) / 50.0)
    return np.asarray(dip)


def basis_of(surface, answer="level_areas", **more) -> Basis:
    return Basis(surface, ((2000.0, 3.0),), ("over-old-tiles",), answer, None, **more)


def plan_of(surface, seed: int = 1, *, product=PRODUCT, basis=None, **more):
    return plan_levelling(basis or basis_of(surface), product, rng=np.random.default_rng(seed), **more)


def by_name(plan):
    return {method.name: method for method in plan.methods}


def survey_of(*zones: Zone, **more) -> Survey:
    from pathlib import Path

    return Survey(InputFile(Path("survey.toml"), "0" * 64, "survey"), zones=zones, **more)


def square(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def test_a_floor_known_exactly_has_exact_quantities(make_surface) -> None:
    plan = plan_of(make_surface(dished()), product=THIN)
    methods = by_name(plan)
    assert tuple(methods) == METHOD_NAMES
    patch = methods["patch"]
    assert plan.chosen == "patch"
    total = float(plan.fill_mm.sum()) * 50.0**2 / 1e6
    assert patch.volume_l.value == pytest.approx(total, rel=1e-6)  # the map is float32
    assert patch.volume_l.u == pytest.approx(0.0, abs=1e-9)
    assert patch.volume_interval_l == pytest.approx((total, total), rel=1e-6)
    assert patch.volume_p_l == pytest.approx((total, total, total), rel=1e-6)
    assert [a.number for a in plan.areas] == [1, 2]
    assert sum(a.volume_l.value for a in plan.areas) + plan.scattered_l.value == pytest.approx(total, rel=1e-6)
    assert methods["flood"].volume_l.value > patch.volume_l.value
    assert plan.targets == ((2000.0, 3.0),)
    finished = dished() + plan.fill_mm
    assert gap_field(finished, np.ones((60, 83), dtype=bool), cell_mm=50.0, edge_mm=2000.0).gap_mm.max() <= 3.0 + 1e-5
    assert [c.name for c in plan.caveats] == ["flood_without_gravity"]


def test_what_is_called_possible_has_passed_its_proof(make_surface) -> None:
    plan = plan_of(make_surface(dished(), fall=4.0))
    possible = [method for method in plan.methods if method.possible and method.name != "lift_tiles"]
    assert {"patch", "grind_and_patch", "screed"} <= {method.name for method in possible}
    for method in possible:
        assert method.proof.passes
        assert max(after.gap_mm for after in method.proof.gaps) <= 3.0
    skim = by_name(plan)["skim"]
    assert not skim.possible
    assert "flattens nothing" in skim.why_not
    assert not plan.before.passes
    assert "under a 2 m straightedge (limit 3 mm)" in worst_over(plan.before)


def test_a_fill_that_fails_its_proof_is_never_printed(make_surface, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half of the least fill leaves gaps over the limit: the plan stops instead of telling it."""
    from flatscan.levelling import planning

    def halved(frame, **named):
        first, *rest = ways(frame, **named)
        thin = replace(first.proposal, fill_mm=first.proposal.fill_mm * np.float32(0.5))
        return (replace(first, proposal=thin), *rest)

    monkeypatch.setattr(planning, "ways", halved)
    with pytest.raises(AssertionError, match="the planned patch leaves a gap of"):
        plan_of(make_surface(dished()))


def test_the_proof_sees_what_a_straightedge_would(make_surface) -> None:
    surface = make_surface(dished())
    from flatscan.levelling.binding.bounds import free
    from flatscan.levelling.filling.least_fill import EdgeRule

    proof = prove(surface.estimate_mm, surface, free(surface), ((2000.0, 3.0),), EdgeRule(cell_mm=50.0))
    expected = gap_field(surface.estimate_mm, surface.inside, cell_mm=50.0, edge_mm=2000.0).gap_mm
    assert proof.gaps[0].gap_mm == pytest.approx(float(expected.max()))
    np.testing.assert_allclose(proof.share, expected / 3.0, rtol=1e-6)
    assert not proof.passes
    row, col = np.unravel_index(int(expected.argmax()), expected.shape)
    assert proof.gaps[0].at == surface.xy_mm(row, col)


def test_a_margin_takes_more(make_surface) -> None:
    surface = make_surface(dished())
    volumes = [by_name(plan_of(surface, margin_mm=m))["patch"].volume_l.value for m in (0.0, 1.0)]
    assert volumes[1] > volumes[0]


def test_noise_widens_the_interval_and_areas_still_add_up(make_surface) -> None:
    rng = np.random.default_rng(3)
    noise = NoiseModel(0.4, 0.0, 50.0, 0.0, "stated")
    truth = dished()
    noisy = truth + 0.4 * rng.standard_normal(truth.shape)
    plan = plan_of(make_surface(noisy, estimate=truth, noise=noise))
    patch = by_name(plan)["patch"]
    low, high = patch.volume_interval_l
    assert low < patch.volume_p_l[0] < patch.volume_p_l[1] < patch.volume_p_l[2] < high
    assert patch.volume_l.u > 0.0
    parts = sum(a.volume_l.value for a in plan.areas) + plan.scattered_l.value
    assert parts == pytest.approx(patch.volume_l.value, rel=1e-9)
    assert plan.draws == MOST_DRAWS


def test_same_seed_same_plan_and_other_seed_other_interval(make_surface) -> None:
    noise = NoiseModel(0.4, 0.2, 120.0, 0.0, "stated")
    surface = make_surface(dished(), noise=noise)
    first, again, other = (by_name(plan_of(surface, seed))["patch"].volume_interval_l for seed in (1, 1, 2))
    assert first == again
    assert first != other


def test_holes_stay_holes_and_are_said(make_surface) -> None:
    height = dished()
    height[28:33, 23:28] = np.nan
    plan = plan_of(make_surface(height, fall=2.0))
    np.testing.assert_array_equal(np.isnan(plan.fill_mm), np.isnan(height))
    assert [c.name for c in plan.caveats] == ["unseen_not_filled"]
    assert "0.06 m²" in plan.caveats[0].text


def test_no_quantity_for_a_floor_mostly_unseen(make_surface) -> None:
    height = dished()
    height[:, : int(height.shape[1] * (MOST_UNSEEN_SHARE + 0.02))] = np.nan
    plan = plan_of(make_surface(height))
    assert plan.methods == ()
    assert plan.chosen is None
    assert [c.name for c in plan.caveats] == ["too_little_seen_to_plan"]
    assert "no quantity is given" in plan.recommendation[0]


def test_a_layer_beyond_the_product_is_not_possible(make_surface) -> None:
    patch = by_name(plan_of(make_surface(3.0 * dished(), fall=0.0)))["patch"]
    assert "the product allows at most 10 mm" in patch.why_not


def test_a_floor_within_its_limits_takes_nothing(make_surface) -> None:
    surface = make_surface(0.2 * dished())
    plan = plan_of(surface, basis=basis_of(surface, answer="lay_as_is"))
    patch = by_name(plan)["patch"]
    assert (patch.volume_l.value, patch.bags, patch.buy) == (0.0, 0, 0)
    assert plan.chosen is None
    assert plan.areas == ()


def test_a_zone_that_takes_no_fill_in_a_dip_rules_the_patch_out_and_is_named(make_surface) -> None:
    drain = Zone("no_fill", "drain", square(1100.0, 1350.0, 1400.0, 1650.0))
    plan = plan_of(make_surface(dished()), survey=survey_of(drain))
    patch = by_name(plan)["patch"]
    assert not patch.possible
    assert "'drain'" in patch.why_not
    assert "from the left wall" in patch.why_not


def test_a_zone_that_takes_no_grinding_is_not_ground(make_surface) -> None:
    """A ridge that is cheaper to grind than to fill up to, half of it over heating pipes."""
    x = np.mgrid[0:60, 0:83][1]
    ridge = make_surface(7.0 * np.exp(-((x - 41.0) ** 2) / 20.0))
    cheap = replace(
        PRODUCT, currency="EUR", bag_kg=1.0, bag_price=2.4, grind_price_per_m2_mm=0.5, greatest_grind_mm=8.0,
        least_layer_mm=0.0,
    )  # fmt: skip
    pipes = Zone("no_grind", "heating pipes", square(0.0, 0.0, 83 * 50.0, 30 * 50.0))
    plan = plan_of(ridge, product=cheap, survey=survey_of(pipes), asked="grind_and_patch")
    assert plan.chosen == "grind_and_patch"
    assert np.nanmax(plan.grind_mm[:30]) == 0.0
    assert np.nanmax(plan.grind_mm[31:]) > 1.0
    assert any(area.action == "grind" for area in plan.areas)


def test_grinding_that_costs_no_less_in_whole_bags_gives_way_to_the_patch(make_surface) -> None:
    """One bag does with grinding and without, so grinding is money for nothing, whatever a litre costs."""
    x = np.mgrid[0:60, 0:83][1]
    ridge = make_surface(7.0 * np.exp(-((x - 41.0) ** 2) / 20.0))
    bag = replace(
        THIN, currency="EUR", bag_kg=1000.0, bag_price=2400.0, grind_price_per_m2_mm=0.5, greatest_grind_mm=1.0
    )
    ways_of = by_name(plan_of(ridge, product=bag))
    assert ways_of["grind_and_patch"].ground_l == 0.0
    assert ways_of["grind_and_patch"].cost == ways_of["patch"].cost
    assert ways_of["grind_and_patch"].notes[0].startswith("Nothing is worth grinding")


def test_a_fixed_height_is_kept_and_a_movement_joint_parts_the_areas(make_surface) -> None:
    x = np.mgrid[0:60, 0:83][1] * 50.0
    surface = make_surface(-8.0 * np.exp(-((x - 2075.0) ** 2) / 2.0 / 500.0**2))
    threshold = Zone("fixed_height", "threshold", square(2000.0, 0.0, 2150.0, 200.0), value_mm=6.5)
    joint = ((0.0, 1525.0), (83 * 50.0, 1525.0))
    survey = survey_of(threshold, movement_joints_mm=(joint,))
    plan = plan_of(surface, product=THIN, survey=survey)
    assert plan.chosen == "patch"
    np.testing.assert_allclose(plan.fill_mm[0:4, 40:43], 6.5, atol=1e-4)
    assert (plan.fill_mm[30] == 0.0).all()
    assert len(plan.areas) == 2


def test_tiles_that_come_out_take_their_hole(make_surface) -> None:
    surface = make_surface(dished())
    hole = Zone("remove_tiles", "loose tile", square(500.0, 2000.0, 800.0, 2300.0), value_mm=14.0)
    methods = [by_name(plan_of(surface, survey=survey_of(*zones)))["patch"] for zones in ((), (hole,))]
    added = methods[1].volume_l.value - methods[0].volume_l.value
    assert added == pytest.approx(0.3 * 0.3 * 14.0, rel=0.35)  # litres; its depth is told, not measured
    assert methods[1].lifted_m2 == pytest.approx(0.09)
    # Beneath the fill the hole counts too: its pours and its drying are those of the deepest place.
    assert methods[1].layers == 2
    assert methods[1].cover_h > methods[0].cover_h
    assert any("filled flush first" in note and "this product may lie 10 mm thick" in note for note in methods[1].notes)


def test_fewer_draws_on_large_grids() -> None:
    assert draws_for(100_000, 1) == MOST_DRAWS
    assert draws_for(2_000_000, 1) == 10
    assert draws_for(10_000_000, 9) == FEWEST_DRAWS


def test_mirrored_volumes() -> None:
    """On roots: planned 4 (root 2), again 1 (root 1), so mirrored 3² = 9; the parts share it as 2V - V* does."""
    np.testing.assert_allclose(mirrored_l(np.array([1.0, 3.0]), np.array([0.25, 0.75])), [2.25, 6.75])
    np.testing.assert_allclose(mirrored_l(np.array([0.0, 1.0]), np.array([0.0, 9.0])), [0.0, 0.0])
    np.testing.assert_allclose(mirrored_l(np.array([1.0, 1.0]), np.array([2.0, 2.0])).sum(), (2 * 2**0.5 - 2) ** 2)
    np.testing.assert_allclose(mirrored_l(np.array([0.0, 0.0]), np.array([0.0, 0.0])), [0.0, 0.0])


def test_the_bound_of_grinding_is_that_of_the_plan_in_the_same_money(make_surface) -> None:
    """On cells of 50 mm the programme is the floor itself: no plan can cost much less than this one."""
    x = np.mgrid[0:60, 0:83][1]
    surface = make_surface(7.0 * np.exp(-((x - 41.0) ** 2) / 20.0))
    priced = replace(THIN, currency="EUR", bag_price=60.0, grind_price_per_m2_mm=0.5, greatest_grind_mm=8.0)
    grind = by_name(plan_of(surface, product=priced))["grind_and_patch"]
    assert grind.ground_l > 0.5
    assert 0.8 < grind.bound <= 1.0


def test_a_fixed_height_beside_a_zone_that_keeps_its_slope_is_laid_once(make_surface) -> None:
    """The patch of such a zone lies on the screed, which has already laid what the fixed height asks for."""
    survey = survey_of(
        Zone("keep_slope", "shower", square(500.0, 500.0, 1100.0, 1100.0)),
        Zone("fixed_height", "threshold", square(3700.0, 100.0, 3950.0, 300.0), value_mm=0.5),
    )
    plan = plan_of(make_surface(0.5 * dished()), product=THIN, survey=survey, asked="screed")
    assert plan.chosen == "screed", by_name(plan)["screed"].why_not
    np.testing.assert_allclose(plan.fill_mm[2:6, 74:79], 0.5, atol=1e-3)


def test_a_limit_whose_edge_the_cells_are_too_coarse_for_is_named_and_in_no_proof(make_surface) -> None:
    """Fewer than four cells long, as the measures' own rule has it."""
    surface = make_surface(dished())
    short, long = (3.9 * surface.cell_mm, 0.5), (2000.0, 3.0)
    assert laid_on((short, long), surface.cell_mm) == ((long,), (short,))
    assert laid_on(((4.0 * surface.cell_mm, 0.5),), surface.cell_mm)[1] == ()
    assert laid_on((short,), surface.cell_mm) == ((short,), ())
    basis = Basis(surface, (short, long), ("own",), "level_areas", None)
    plan = plan_of(surface, basis=basis)
    proofs = [method.proof for method in plan.methods if method.proof is not None]
    assert proofs
    assert {gap.edge_mm for proof in proofs for gap in proof.gaps} == {2000.0}
    assert all(
        any("is not in this plan" in note for note in m.notes) for m in plan.methods if m.name != "grind_and_patch"
    )
