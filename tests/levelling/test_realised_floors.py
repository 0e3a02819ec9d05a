"""Levelling a floor known as many floors that agree with its readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.judgement import load_limits
from flatscan.levelling import plan_levelling
from flatscan.levelling.least_fill import EdgeRule, least_fill
from flatscan.levelling.planning import MOST_DRAWS
from flatscan.levelling.quantities import interval_95, method, volume_l
from flatscan.settings import LevelSettings, MeasureSettings
from flatscan.surface.surface import NoiseModel

LIMITS = load_limits(["over-old-tiles"])


@pytest.fixture
def known_as(make_surface):
    def made(floors: np.ndarray):
        estimate = floors.mean(axis=0)
        # A noise model that would drown the floor, if anything looked at it.
        surface = make_surface(estimate, noise=NoiseModel(9.0, 9.0, 500.0, 0.0, "not to be used"), cell_mm=100.0)
        return replace(surface, kind="readings", realisations_mm=floors.astype(np.float32))

    return made


def dips(depths: np.ndarray) -> np.ndarray:
    y, x = np.indices((24, 37)) * 100.0
    return -depths[:, None, None] * np.exp(-0.5 * ((x - 1500.0) ** 2 + (y - 1100.0) ** 2) / 400.0**2)


def test_quantities_are_those_of_the_floors(known_as) -> None:
    """As many floors as draws, so each is filled once: mean and interval are known but for the order."""
    floors = dips(np.random.default_rng(0).normal(7.0, 0.7, MOST_DRAWS)).astype(np.float32)
    plan = plan_levelling(known_as(floors), LIMITS, LevelSettings(), MeasureSettings(), rng=np.random.default_rng(1))
    rule = EdgeRule(cell_mm=100.0)
    litres = [
        volume_l(
            least_fill(
                f, np.ones(f.shape, bool), plan.targets, rule, least_layer_mm=plan.product.least_layer_mm
            ).fill_mm,
            100.0,
        )
        for f in floors
    ]
    patch = plan.methods[0]
    assert plan.draws == MOST_DRAWS
    assert patch.volume_l.value == pytest.approx(np.mean(litres), rel=1e-6)
    # One account of the doubt: all draws but one tell of its spread.
    assert patch.volume_interval_l == pytest.approx(interval_95(litres, degrees=MOST_DRAWS - 1), rel=1e-6)


def test_floors_that_are_all_alike_leave_no_doubt(known_as) -> None:
    plan = plan_levelling(
        known_as(dips(np.full(5, 6.0))), LIMITS, LevelSettings(), MeasureSettings(), rng=np.random.default_rng(1)
    )
    patch = plan.methods[0]
    assert patch.volume_l.u == pytest.approx(0.0, abs=1e-6)
    assert patch.volume_l.value == pytest.approx(float(np.nansum(plan.fill_mm)) * 0.01, rel=1e-4)


def test_two_accounts_leave_half_the_degrees() -> None:
    class Product:
        kg_per_m2_mm, waste_share, bag_kg = 1.6, 0.0, 25.0

    draws = list(np.random.default_rng(2).normal(9.0, 1.0, 20))
    one, two = (method("patch", np.ones((2, 2)), 100.0, draws, Product(), accounts=n) for n in (1, 2))  # type: ignore[arg-type]
    assert one.volume_interval_l == interval_95(draws, degrees=19)
    assert two.volume_interval_l == interval_95(draws, degrees=9)
