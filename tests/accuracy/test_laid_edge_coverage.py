"""Does g ± U of an edge laid on any line hold the true gap, and are words on it ever wrong? Invented floors."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from flatscan.measures.laid_edge import lay_on
from flatscan.measures.surface_chord import SurfaceChord
from flatscan.report.viewer.edge_verdict import edge_rules, edge_verdict
from flatscan.surface.surface import NoiseModel, Surface
from flatscan.synth.seen_through import seen_through

CELL = 50.0
SHAPE = (70, 90)
FLOORS, LINES = 8, 50
NOISES = (
    NoiseModel(0.3, 0.15, 120.0, 0.1, "invented: a laser's"),
    NoiseModel(1.0, 0.3, 120.0, 0.3, "invented: one view of a rough sensor"),
    NoiseModel(0.2, 0.6, 150.0, 0.8, "invented: a hand-held depth camera's, with bends"),
)


def floor_of(kind: str, rng: np.random.Generator) -> np.ndarray:
    y, x = np.indices(SHAPE) * CELL
    a = rng.uniform(0.0, 6.3, 3)
    if kind == "flat":
        return np.zeros(SHAPE)
    if kind == "waves":
        long = 1.5 * np.sin(2 * np.pi * x / 2600 + a[0]) * np.cos(2 * np.pi * y / 2300 + a[1])
        return long + 0.6 * np.sin(2 * np.pi * (x + y) / 900 + a[2])
    if kind == "dips":
        floor = np.zeros(SHAPE)
        for _ in range(5):
            far = (x - rng.uniform(0, 4500)) ** 2 + (y - rng.uniform(0, 3500)) ** 2
            floor -= rng.uniform(1, 6) * np.exp(-far / (2 * rng.uniform(150, 500) ** 2))
        return floor
    tiles = 0.4 * rng.standard_normal((20, 20))
    return tiles[(np.arange(70) // 6)[:, None], (np.arange(90) // 6)[None, :]] + np.sin(x / 500 + a[0])


def captured(floor: np.ndarray, noise: NoiseModel, rng: np.random.Generator) -> tuple[Surface, Surface]:
    """What is seen of the floor, and the floor itself."""
    return seen_through(floor, noise, rng, cell_mm=CELL)


@pytest.mark.long
@pytest.mark.parametrize("noise", NOISES, ids=lambda n: f"white {n.white_mm}")
@pytest.mark.parametrize("kind", ["flat", "waves", "dips", "tiles"])
def test_the_interval_holds_the_true_gap_and_no_word_is_wrong(kind: str, noise: NoiseModel) -> None:
    """Stated are 95 in 100. Lines of one floor share its error, and noise hides narrow dips, so 87 are asked for.

    Words: limits just below and above each true gap. One in twenty may be wrong by the rule; none was when measured.
    """
    rng = np.random.default_rng([ord(kind[0]), round(10 * noise.white_mm)])
    inside, words, wrong = [], Counter(), 0
    for _ in range(FLOORS):
        seen, truth = captured(floor_of(kind, rng), noise, rng)
        floor, true = SurfaceChord.of(seen), SurfaceChord(truth, None)
        rules = edge_rules(seen, (1000.0, 2000.0), rng)
        for _ in range(LINES):
            start, end = rng.uniform((0, 0), (SHAPE[1] * CELL, SHAPE[0] * CELL), (2, 2))
            rule = rules[int(rng.integers(2))]
            laid, is_so = (lay_on(f, tuple(start), tuple(end), edge_mm=rule.edge_mm) for f in (floor, true))
            if laid.gap is None or is_so.gap is None:
                continue
            inside.append(abs(laid.gap.value - is_so.gap.value) <= laid.gap.expanded)
            for limit in (*(np.array([0.7, 0.95, 1.05, 1.4]) * is_so.gap.value), 1.0, 3.0):
                word = edge_verdict(laid.gap, float(limit), rule, confidence=0.95)
                words[word] += 1
                wrong += word != "not_decided" and (word == "over") != (is_so.gap.value > limit)
    assert np.mean(inside) >= 0.87, (np.mean(inside), words)
    said = words["over"] + words["within"]
    assert wrong <= 0.05 * max(1, said), (wrong, words)
    assert words["within"] > 0
    if kind == "flat":
        assert words["over"] == 0
