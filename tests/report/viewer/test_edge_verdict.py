"""What may be said of an edge laid on the page."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.judgement.decision import decide
from flatscan.measures.laid_edge import lay_on
from flatscan.measures.surface_chord import SurfaceChord
from flatscan.quantity import Quantity
from flatscan.report.viewer.edge_verdict import EdgeRule, edge_rules, edge_verdict
from flatscan.surface.surface import NoiseModel, Surface
from flatscan.synth.seen_through import seen_through

CELL = 50.0
SHAPE = (47, 63)
#: u = 0.1: the rule speaks 0.1645 from the limit.
RULE = EdgeRule(2000.0, bias_mm=0.3, lift_mm=0.5)


def captured(floor: np.ndarray, noise: NoiseModel, rng: np.random.Generator) -> Surface:
    """A floor seen through its noise."""
    return seen_through(floor, noise, rng, cell_mm=CELL)[0]


@pytest.mark.parametrize(
    ("gap", "bridged", "word"),
    [
        (3.0 + 0.1646 + 0.3, False, "over"),
        (3.0 + 0.1644 + 0.3, False, "not_decided"),  # over by the rule alone, not when what noise shows is taken off
        (3.0 + 0.1646 + 0.3, True, "over"),  # at least so much
        (2.501, False, "not_decided"),
        (2.499, False, "within"),
        (2.499, True, "not_decided"),
        (0.0, False, "within"),
    ],
)
def test_at_the_boundary(gap: float, bridged: bool, word: str) -> None:
    said = edge_verdict(Quantity(gap, 0.1, "mm"), 3.0, RULE, confidence=0.95, bridges_hole=bridged)
    assert said == word


def test_a_doubtful_gap_is_not_within_however_small_the_lift() -> None:
    sure = EdgeRule(2000.0, 0.0, 0.0)
    assert edge_verdict(Quantity(2.9, 0.1, "mm"), 3.0, sure, confidence=0.95) == "not_decided"


def test_it_is_never_more_certain_than_the_rule() -> None:
    rng = np.random.default_rng(1)
    for gap, u, limit in rng.uniform([0, 0.01, 0.5], [8, 1.5, 6], (500, 3)):
        said = edge_verdict(Quantity(gap, u, "mm"), limit, RULE, confidence=0.95)
        assert said in {"not_decided", decide(gap, u, limit, 0.95)[1]}


@pytest.mark.parametrize("white", [0.3, 1.0, 3.0])
def test_a_dead_flat_noisy_floor_is_never_over(white: float) -> None:
    noise = NoiseModel(white, 0.4 * white, 120.0, 0.3 * white, "invented")
    for seed in range(3):
        rng = np.random.default_rng(seed)
        surface = captured(np.zeros(SHAPE), noise, rng)
        floor, rules = SurfaceChord.of(surface), edge_rules(surface, (200.0, 2000.0), rng)
        for start, end in rng.uniform(0.0, (63 * CELL, 47 * CELL), (80, 2, 2)):
            for rule in rules:
                laid = lay_on(floor, tuple(start), tuple(end), edge_mm=rule.edge_mm)
                if laid.gap is None:
                    continue
                for limit in (0.5, 1.0, 3.0):
                    assert edge_verdict(laid.gap, limit, rule, confidence=0.95) != "over"


def test_errors_of_a_quiet_capture_show_nothing_and_grow_with_noise_and_edge() -> None:
    rng = np.random.default_rng(2)
    y, x = np.indices(SHAPE)
    floor = 2.0 * np.sin(x / 9.0) * np.cos(y / 7.0)
    quiet = edge_rules(captured(floor, NoiseModel(0.0, 0.0, 100.0, 0.0, "invented"), rng), (2000.0,), rng)
    assert quiet[0].lift_mm == pytest.approx(0.0, abs=1e-5)
    some, more = (
        edge_rules(captured(floor, NoiseModel(w, 0.0, 100.0, 0.0, "invented"), rng), (200.0, 2000.0), rng)
        for w in (0.3, 1.2)
    )
    for rules in (some, more):
        assert 0.0 < rules[0].bias_mm < rules[1].bias_mm
        assert all(rule.bias_mm < rule.lift_mm for rule in rules)
    assert some[1].bias_mm < more[1].bias_mm


def test_of_readings_the_drawn_floors_tell() -> None:
    """Every other drawn floor has a dip of 1 mm across all rows, so that more than one line in twenty shows 1 mm."""
    base = np.zeros((9, 21), np.float32)
    dip = base.copy()
    dip[:, 8:13] = -1.0
    surface = replace(
        captured(base.astype(float), NoiseModel(0.0, 0.0, 100.0, 0.0, "invented"), np.random.default_rng(0)),
        realisations_mm=np.stack([dip, -dip] * 5),
    )
    (rule,) = edge_rules(surface, (1000.0,), np.random.default_rng(0))
    assert rule.lift_mm == pytest.approx(1.0, abs=1e-6)
