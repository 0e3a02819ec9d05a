"""The plan as a whole."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.judgement import load_limits
from flatscan.levelling import plan_levelling
from flatscan.levelling.planning import FEWEST_DRAWS, MOST_DRAWS, draws_for
from flatscan.levelling.possible import mirrored_l
from flatscan.measures.chords import gap_field
from flatscan.settings import LevelSettings, MeasureSettings
from flatscan.surface.surface import NoiseModel

LIMITS = load_limits(["over-old-tiles"])


def dished(rows: int = 60, cols: int = 83) -> np.ndarray:
    y, x = np.mgrid[0:rows, 0:cols]
    dip = -9.0 * np.exp(-((x - 25) ** 2 + (y - 30) ** 2) / 80.0) - 6.0 * np.exp(-((x - 65) ** 2 + (y - 20) ** 2) / 50.0)
    return np.asarray(dip)


def plan_of(surface, seed: int = 1, **level):
    return plan_levelling(surface, LIMITS, LevelSettings(**level), MeasureSettings(), rng=np.random.default_rng(seed))


def test_a_floor_known_exactly_has_exact_quantities(make_surface):
    plan = plan_of(make_surface(dished()))
    patch, flood = plan.methods
    total = float(plan.fill_mm.sum()) * 50.0**2 / 1e6
    assert patch.volume_l.value == pytest.approx(total, rel=1e-6)  # the map is float32
    assert patch.volume_l.u == pytest.approx(0.0, abs=1e-9)
    assert patch.volume_interval_l == pytest.approx((total, total), rel=1e-6)
    assert [a.number for a in plan.areas] == [1, 2]
    assert sum(a.volume_l.value for a in plan.areas) + plan.scattered_l.value == pytest.approx(total, rel=1e-6)
    assert flood.volume_l.value > patch.volume_l.value
    assert plan.targets == ((2000.0, 3.0),)
    finished = dished() + plan.fill_mm
    assert gap_field(finished, np.ones((60, 83), dtype=bool), cell_mm=50.0, edge_mm=2000.0).gap_mm.max() <= 3.0 + 1e-5
    assert [c.name for c in plan.caveats] == ["flood_without_gravity"]


def test_a_margin_takes_more(make_surface):
    surface = make_surface(dished())
    volumes = [plan_of(surface, margin_mm=m).methods[0].volume_l.value for m in (0.0, 1.0)]
    assert volumes[1] > volumes[0]


def test_noise_widens_the_interval_and_areas_still_add_up(make_surface):
    rng = np.random.default_rng(3)
    noise = NoiseModel(0.4, 0.0, 50.0, 0.0, "stated")
    truth = dished()
    noisy = truth + 0.4 * rng.standard_normal(truth.shape)
    plan = plan_of(make_surface(noisy, estimate=truth, noise=noise))
    patch = plan.methods[0]
    low, high = patch.volume_interval_l
    assert low < patch.volume_l.value < high
    assert patch.volume_l.u > 0.0
    parts = sum(a.volume_l.value for a in plan.areas) + plan.scattered_l.value
    assert parts == pytest.approx(patch.volume_l.value, rel=1e-9)
    assert plan.draws == MOST_DRAWS


def test_same_seed_same_plan_and_other_seed_other_interval(make_surface):
    noise = NoiseModel(0.4, 0.2, 120.0, 0.0, "stated")
    surface = make_surface(dished(), noise=noise)
    first, again, other = (plan_of(surface, seed).methods[0].volume_interval_l for seed in (1, 1, 2))
    assert first == again
    assert first != other


def test_holes_stay_holes_and_are_said(make_surface):
    height = dished()
    height[28:33, 23:28] = np.nan
    plan = plan_of(make_surface(height, fall=2.0))
    np.testing.assert_array_equal(np.isnan(plan.fill_mm), np.isnan(height))
    assert [c.name for c in plan.caveats] == ["unseen_not_filled"]
    assert "0.062 m²" in plan.caveats[0].text


def test_a_layer_beyond_the_product_is_said(make_surface):
    plan = plan_of(make_surface(2.0 * dished(), fall=0.0))
    assert [c.name for c in plan.caveats] == ["layer_too_thick"]


def test_fewer_draws_on_large_grids():
    assert draws_for(100_000, 1) == MOST_DRAWS
    assert draws_for(2_000_000, 1) == 10
    assert draws_for(10_000_000, 9) == FEWEST_DRAWS


def test_mirrored_volumes():
    """On roots: planned 4 (root 2), again 1 (root 1), so mirrored 3² = 9; the parts share it as 2V - V* does."""
    np.testing.assert_allclose(mirrored_l(np.array([1.0, 3.0]), np.array([0.25, 0.75])), [2.25, 6.75])
    np.testing.assert_allclose(mirrored_l(np.array([0.0, 1.0]), np.array([0.0, 9.0])), [0.0, 0.0])
    np.testing.assert_allclose(mirrored_l(np.array([1.0, 1.0]), np.array([2.0, 2.0])).sum(), (2 * 2**0.5 - 2) ** 2)
    np.testing.assert_allclose(mirrored_l(np.array([0.0, 0.0]), np.array([0.0, 0.0])), [0.0, 0.0])
