"""Litres, bags and intervals; targets; heights above level."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatscan.errors import SettingsError
from flatscan.judgement import load_limits
from flatscan.levelling.pouring.flood import above_level
from flatscan.levelling.product import load_product
from flatscan.levelling.quantities import bags_to_buy, interval_95, quantity_l, volume_l
from flatscan.levelling.targets import gap_pairs, targets_of


def test_litres_leave_out_what_was_not_seen():
    fill = np.full((7, 12), 2.0)
    fill[3, 4] = np.nan
    assert volume_l(fill, 100.0) == pytest.approx(83 * 0.01 * 2.0)


@pytest.mark.parametrize(("litres", "bags"), [(0.0, 0), (1e-6, 1), (13.3, 1), (13.5, 2), (26.7, 2), (26.8, 3)])
def test_bags_are_whole_and_include_waste(litres, bags):
    """1.7 kg a litre and 10 % waste: a bag of 25 kg is 13.369 litres."""
    assert bags_to_buy(litres, load_product()) == bags


@pytest.mark.parametrize("count", [8, 12, 20])
def test_the_interval_holds_one_more_draw_19_times_in_20(count):
    """Of normal roots exactly 95 %. 4000 trials: standard error 0.34 %, so 1.4 % is four of them."""
    rng = np.random.default_rng(count)
    hits = 0
    for _ in range(4000):
        *draws, further = (5.0 + 0.4 * rng.normal(size=count + 1)) ** 2
        low, high = interval_95(draws)
        hits += low <= further <= high
    assert hits / 4000 == pytest.approx(0.95, abs=0.014)


def test_interval_of_equal_draws_and_of_nothing():
    assert interval_95([4.0] * 8) == pytest.approx((4.0, 4.0))
    assert interval_95([0.0] * 8) == (0.0, 0.0)
    low, high = interval_95([0.0] * 7 + [0.5])
    assert low == 0.0
    assert high > 0.0
    assert quantity_l([2.0, 4.0]).u == pytest.approx(math.sqrt(2.0) * math.sqrt(1.5))


def test_heights_above_level_have_the_fall_of_the_plane_put_back(make_surface):
    """2 mm/m along x, and along y: from cell to cell of 50 mm, 0.1 mm down the way it falls and none across."""
    along = above_level(np.zeros((70, 120)), make_surface(fall=2.0, direction_rad=0.0))
    np.testing.assert_allclose(np.diff(along, axis=1), -0.1, atol=1e-12)
    np.testing.assert_allclose(np.diff(along, axis=0), 0.0, atol=1e-12)
    up = above_level(np.zeros((70, 120)), make_surface(fall=2.0, direction_rad=math.pi / 2))
    np.testing.assert_allclose(np.diff(up, axis=0), -0.1, atol=1e-12)
    np.testing.assert_allclose(np.diff(up, axis=1), 0.0, atol=1e-12)
    other = above_level(np.ones((70, 120)), make_surface(fall=2.0), fall_mm_per_m=-4.0)
    np.testing.assert_allclose(np.diff(other, axis=1), 0.2, atol=1e-12)
    np.testing.assert_array_equal(above_level(np.ones((70, 120)), make_surface()), np.ones((70, 120)))


def test_targets_leave_out_what_a_longer_edge_implies():
    sets = load_limits(["over-old-tiles", "dtu51.11"])  # 3 under 2 m; 5 under 2 m and 1 under 0.2 m
    both = gap_pairs(sets, 6000.0)
    assert sorted(both) == [(200.0, 1.0), (2000.0, 3.0), (2000.0, 5.0)]
    assert targets_of(both) == ((200.0, 1.0), (2000.0, 3.0))
    assert targets_of(both, margin_mm=0.5) == ((200.0, 0.5), (2000.0, 2.5))
    (din,) = load_limits(["din18202-3"])
    assert [t for _, t in targets_of(gap_pairs([din], 2000.0))] == [2, 3, 4, 5, 6]
    # 3 mm under 2 m implies line 3's 3 to 5 mm on shorter contacts; its 2 mm, and its 6 mm up to 2.25 m, stay.
    assert [t for _, t in targets_of(gap_pairs([din, sets[0]], 3000.0))] == [2, 3, 6, 7, 8]
    with pytest.raises(SettingsError, match="leaves nothing"):
        targets_of(both, margin_mm=1.0)
    assert targets_of(()) == ()


PAIRS = st.lists(st.tuples(st.sampled_from([200.0, 1000.0, 2000.0, 3000.0]), st.sampled_from([1.0, 2.0, 3.0, 5.0])))


@given(PAIRS)
def test_targets_are_fewer_pairs_that_imply_them_all(pairs):
    kept = targets_of(pairs)
    assert set(kept) <= set(pairs)
    assert all(any(long >= edge and least <= limit for long, least in kept) for edge, limit in pairs)
    edges, limits = [e for e, _ in kept], [t for _, t in kept]
    assert edges == sorted(set(edges))
    assert limits == sorted(set(limits))
