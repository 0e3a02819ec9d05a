"""Least layers, edges that run out, what must be there, and where filling alone cannot do."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatscan.levelling.filling.feather import run_out
from flatscan.levelling.filling.least_fill import AIM_BELOW_MM, EdgeRule, least_fill
from flatscan.measures.chords import gap_field

CELL_MM = 50.0
FOUR = EdgeRule(cell_mm=CELL_MM, directions=4)
#: Gap maps are float32, of heights up to 20 mm.
MAP_ROUNDING_MM = 1e-5
#: Sweeps end when none lifts by more than a hundredth of AIM_BELOW_MM.
SETTLED_MM = 5e-4


def floor(seed: int, shape: tuple[int, int] = (9, 14)) -> tuple[np.ndarray, np.ndarray]:
    """Waves and roughness, some cells unseen, and a wall."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]]
    z = rng.normal(0, 0.2, shape)
    for _ in range(4):
        z += rng.normal(0, 1.2) * np.cos(rng.uniform(0, 0.7) * x + rng.uniform(0, 0.7) * y + rng.uniform(0, 6))
    z[rng.random(shape) < 0.05] = np.nan
    inside = np.ones(shape, dtype=bool)
    inside[2, 4 : 4 + seed % 6] = False
    return z, inside


def gaps(height, inside, targets) -> np.ndarray:
    """The largest gap less its limit."""
    return np.max(
        [
            gap_field(height, inside, cell_mm=CELL_MM, edge_mm=edge, directions=FOUR.directions).gap_mm - limit
            for edge, limit in targets
        ],
        axis=0,
    )


@given(seed=st.integers(0, 10_000), layer=st.floats(0.0, 2.5), feather=st.floats(4.0, 60.0), limit=st.floats(0.5, 2.5))
@settings(max_examples=60, deadline=None)
def test_every_rule_is_kept(seed, layer, feather, limit):
    z, inside = floor(seed)
    targets = [(200.0, 0.6 * limit), (550.0, limit)]
    there = np.where(np.random.default_rng(seed).random(z.shape) < 0.04, 0.5 * layer, 0.0)
    got = least_fill(
        z, inside, targets, FOUR, least_layer_mm=layer, feather_mm_per_m=feather, least_mm=there if seed % 2 else None
    )
    fill = got.fill_mm
    assert np.nanmax(gaps(z + fill, inside, targets), initial=-1.0) <= MAP_ROUNDING_MM
    if seed % 2:
        assert np.all((fill >= there - 1e-5) | np.isnan(z))
    np.testing.assert_array_equal(got.feathered, (fill > 0.0) & (fill < layer - 1e-5))
    edge = np.minimum(fill, layer)
    drop = feather * CELL_MM / 1000.0
    most_beside = np.zeros(z.shape)
    for k in np.ndindex(z.shape):
        for step in ((0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (1, -1), (-1, 1), (-1, -1)):
            beside = (k[0] + step[0], k[1] + step[1])
            if min(beside) < 0 or beside[0] >= z.shape[0] or beside[1] >= z.shape[1]:
                continue
            if not (inside[k] and inside[beside]) or np.isnan(z[k] + z[beside]):
                continue
            left = min(edge[beside] - drop * np.hypot(*step), z[beside] + fill[beside] - z[k])
            most_beside[k] = max(most_beside[k], left)
    seen = np.isfinite(z)
    assert np.all(fill[seen] >= most_beside[seen] - 2e-5)
    # What is thinner than a layer is no more than the edge that runs out there.
    assert np.all(fill[got.feathered] <= most_beside[got.feathered] + 2e-5)
    assert not np.any(fill[~inside & seen] > np.maximum(there, layer * (there > 0))[~inside & seen])


def layered_everywhere(z, inside, targets, layer, drop) -> np.ndarray:
    """The same rules with a layer on all that a chord asks to be filled, by plain repetition of gap maps."""
    y, needs = z.copy(), np.zeros(z.shape, dtype=bool)
    aims = [(edge, limit - AIM_BELOW_MM) for edge, limit in targets]
    for _ in range(3000):
        up = np.maximum(y + gaps(y, inside, aims), z)
        needs |= up - z > 1e-5
        core = np.where(needs, np.maximum(np.maximum(up, y) - z, layer), 0.0)
        new = np.fmax(y, z + run_out(z, core, layer, inside, drop))
        if np.nanmax(new - y, initial=0.0) < 1e-6:
            return y - z
        y = new
    raise AssertionError("does not settle")


@given(seed=st.integers(0, 10_000), layer=st.floats(0.2, 1.5), limit=st.floats(0.8, 2.5))
@settings(max_examples=15, deadline=None)
def test_layers_where_edges_do_not_do_take_no_more_than_layers_everywhere(seed, layer, limit):
    z, _ = floor(seed)
    inside = np.isfinite(z)
    targets = [(450.0, limit)]
    if np.nanmax(gaps(z, inside, targets), initial=-1.0) <= 0.0:
        return
    every = layered_everywhere(z, inside, targets, layer, 15.0 * CELL_MM / 1000.0)
    fill = least_fill(z, inside, targets, FOUR, least_layer_mm=layer, feather_mm_per_m=15.0).fill_mm
    assert np.all(fill[inside] <= every[inside] + 1e-3)


def test_without_edges_a_layer_is_the_least_of_all():
    """A layer without a feather: the least fill of 0 or at least the layer, as plain repetition finds it."""
    for seed in range(6):
        z, _ = floor(seed)
        inside = np.isfinite(z)
        targets = [(450.0, 1.0)]
        every = layered_everywhere(z, inside, targets, 0.7, 1e9)
        fill = least_fill(z, inside, targets, FOUR, least_layer_mm=0.7).fill_mm
        np.testing.assert_allclose(fill[inside], every[inside], atol=SETTLED_MM)


def test_an_edge_beside_a_groove_runs_out():
    """A groove 5 mm deep and one cell wide is filled to 3 mm below the flat; nothing runs up out of it.

    A plate 2 mm thick laid on the flat runs out at 1 mm a cell; half a millimetre is left aslant.
    """
    z = np.zeros((7, 21))
    z[:, 5] = -5.0
    there = np.zeros(z.shape)
    there[3, 14] = 2.0
    got = least_fill(
        z,
        np.ones(z.shape, dtype=bool),
        [(600.0, 3.0)],
        FOUR,
        least_layer_mm=1.5,
        feather_mm_per_m=20.0,
        least_mm=there,
    )
    groove = np.zeros(21)
    groove[5] = 2.0 + AIM_BELOW_MM
    np.testing.assert_allclose(got.fill_mm[0], groove, atol=SETTLED_MM)
    aslant = 2.0 - np.sqrt(2.0)
    np.testing.assert_allclose(
        got.fill_mm[1:6, 12:17],
        [[0, 0, 0, 0, 0], [0, aslant, 1, aslant, 0], [0, 1, 2, 1, 0], [0, aslant, 1, aslant, 0], [0, 0, 0, 0, 0]],
        atol=1e-9,
    )
    assert got.feathered.sum() == 8


def test_a_drain_that_may_not_be_filled():
    """A groove max(0, 6 - |x|) deep, less 0.004 mm, needs its depth less the limit of 2 mm: 4 mm in the middle.

    At x = 4 it is 1.996 mm deep: only the aim below the limit asks for 0.006 mm. That is left out, the limit holds.
    """
    x = np.arange(41) - 20
    depth = np.maximum(0.0, 5.996 - np.abs(x))
    z = np.tile(-depth, (5, 1))
    inside = np.ones(z.shape, dtype=bool)
    free = least_fill(z, inside, [(1000.0, 2.0)], FOUR)
    assert not free.beyond_most.any()
    most = np.full(z.shape, np.inf)
    most[2, 18:25] = 0.0
    got = least_fill(z, inside, [(1000.0, 2.0)], FOUR, most_mm=most)
    expected = np.zeros(z.shape, dtype=bool)
    expected[2, 18:24] = True
    np.testing.assert_array_equal(got.beyond_most, expected)
    np.testing.assert_allclose(got.fill_mm[2, 20], 3.996 + AIM_BELOW_MM, atol=SETTLED_MM)
    assert free.fill_mm[2, 24] == pytest.approx(0.006, abs=SETTLED_MM)
    assert got.fill_mm[2, 24] == 0.0
    elsewhere = np.isinf(most) | expected
    np.testing.assert_array_equal(got.fill_mm[elsewhere], free.fill_mm[elsewhere])
    assert np.nanmax(gaps(z + got.fill_mm, inside, [(1000.0, 2.0)])) <= MAP_ROUNDING_MM


def test_a_fixed_height_is_kept_to():
    z, _ = floor(1)
    inside = np.isfinite(z)
    least, most = np.zeros(z.shape), np.full(z.shape, np.inf)
    least[6:8, 3:6] = most[6:8, 3:6] = np.float32(4.1)
    got = least_fill(z, inside, [(450.0, 20.0)], FOUR, least_mm=least, most_mm=most)
    np.testing.assert_array_equal(got.fill_mm[inside], least[inside])
    assert not got.beyond_most.any()
    got = least_fill(z, inside, [(450.0, 20.0)], FOUR, least_layer_mm=5.0, least_mm=least, most_mm=most)
    np.testing.assert_array_equal(got.beyond_most, (most < np.inf) & inside)
