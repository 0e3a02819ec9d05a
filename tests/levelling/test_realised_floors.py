"""Levelling a floor known as many floors that agree with its readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.levelling import load_product, plan_levelling
from flatscan.levelling.basis import Basis
from flatscan.levelling.counting import MOST_DRAWS
from flatscan.levelling.filling.least_fill import EdgeRule, least_fill
from flatscan.levelling.quantities import interval_95, volume_l
from flatscan.surface.surface import NoiseModel

PRODUCT = load_product()


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


def planned(surface):
    basis = Basis(surface, ((2000.0, 3.0),), ("over-old-tiles",), "level_areas", None)
    return plan_levelling(basis, PRODUCT, rng=np.random.default_rng(1))


def test_quantities_are_those_of_the_floors(known_as) -> None:
    """As many floors as draws, so each is filled once: mean and interval are known but for the order."""
    floors = dips(np.random.default_rng(0).normal(7.0, 0.7, MOST_DRAWS)).astype(np.float32)
    plan = planned(known_as(floors))
    inside, rule = np.ones(floors.shape[1:], bool), EdgeRule(cell_mm=100.0)
    layers = {"least_layer_mm": PRODUCT.least_layer_mm, "feather_mm_per_m": PRODUCT.feather_mm_per_m}
    litres = [volume_l(least_fill(f, inside, plan.targets, rule, **layers).fill_mm, 100.0) for f in floors]
    patch = plan.methods[0]
    assert plan.draws == MOST_DRAWS
    assert patch.volume_l.value == pytest.approx(np.mean(litres), rel=1e-6)
    # One account of the doubt: all draws but one tell of its spread.
    assert patch.volume_interval_l == pytest.approx(interval_95(litres, degrees=MOST_DRAWS - 1), rel=1e-6)


def test_a_screed_over_the_floors_stands_over_each_ones_highest_place(known_as) -> None:
    """Dips beside a flat floor: the plane lies flat the least layer over it, so the screed takes it and the dip."""
    floors = dips(np.random.default_rng(3).normal(7.0, 0.7, MOST_DRAWS)).astype(np.float32)
    plan = planned(known_as(floors))
    screed = next(method for method in plan.methods if method.name == "screed")
    litres = [volume_l(PRODUCT.least_layer_mm - f.astype(np.float64), 100.0) for f in floors]
    # The Gaussian's flank still lies some 1e-2 mm deep at the nearest walls.
    assert screed.volume_l.value == pytest.approx(np.mean(litres), rel=2e-3)
    low, high = interval_95(litres, degrees=MOST_DRAWS - 1)
    assert screed.volume_interval_l == pytest.approx((low, high), rel=4e-3)


def test_floors_that_are_all_alike_leave_no_doubt(known_as) -> None:
    plan = planned(known_as(dips(np.full(5, 6.0))))
    for method in plan.methods:
        assert method.volume_l.u == pytest.approx(0.0, abs=1e-6), method.name
    assert plan.methods[0].volume_l.value == pytest.approx(float(np.nansum(plan.fill_mm)) * 0.01, rel=1e-4)
