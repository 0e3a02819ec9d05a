"""Litres, bags and intervals; products and targets; the level pour."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from flatscan.errors import InputError, SettingsError
from flatscan.judgement import load_limits
from flatscan.levelling.flood import above_level, flood_fill
from flatscan.levelling.product import load_product
from flatscan.levelling.quantities import bags_to_buy, interval_95, method, quantity_l, volume_l
from flatscan.levelling.targets import targets_of


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


def test_method_adds_up():
    product = load_product()
    fill = np.zeros((10, 20))
    fill[:, :5] = 3.0
    fill[0, 0] = np.nan
    made = method("patch", fill, 100.0, [1.4, 1.5, 1.6, 1.5], product)
    assert made.volume_l.value == pytest.approx(1.5)
    assert made.mass_kg.value == pytest.approx(1.5 * 1.7)
    assert made.area_m2 == pytest.approx(0.49)
    assert made.mean_mm == 3.0
    assert made.max_mm == 3.0
    assert made.volume_interval_l[0] < 1.5 < made.volume_interval_l[1]
    assert made.bags_interval[0] <= made.bags <= made.bags_interval[1]


def test_pour_covers_the_highest_place_with_the_least_layer():
    height = np.array([[0.0, -2.0, 5.0], [np.nan, 1.0, 3.0]])
    np.testing.assert_allclose(
        flood_fill(height, least_layer_mm=2.0), [[7.0, 9.0, 2.0], [np.nan, 6.0, 4.0]], equal_nan=True
    )
    assert np.isnan(flood_fill(np.full((2, 2), np.nan), least_layer_mm=2.0)).all()


def test_a_flat_floor_that_falls_takes_a_wedge(make_surface):
    """2 mm/m along x over 6 m and 3.5 m of width: a wedge 12 mm high, 12/2 mm x 21 m² = 126 l.

    On 50 mm cells the highest centre is half a cell in, 0.05 mm lower: 0.05 mm x 21 m² = 1.05 l less at the
    top, and as much at the foot, so the mean depth is 5.95 mm.
    """
    level = above_level(np.zeros((70, 120)), make_surface(fall=2.0, direction_rad=0.0))
    assert volume_l(flood_fill(level, least_layer_mm=0.0), 50.0) == pytest.approx(21.0 * 5.95, rel=1e-9)
    assert level[0, 0] > level[0, -1]  # downhill is along x
    across = above_level(np.zeros((70, 120)), make_surface(fall=2.0, direction_rad=math.pi / 2))
    assert across[0, 0] > across[-1, 0]
    assert across[0, 0] == pytest.approx(across[0, -1])
    np.testing.assert_array_equal(above_level(np.ones((70, 120)), make_surface()), np.ones((70, 120)))


def test_targets_leave_out_what_a_longer_edge_implies():
    sets = load_limits(["over-old-tiles", "dtu51.11"])  # 3 under 2 m; 5 under 2 m and 1 under 0.2 m
    assert targets_of(sets, 6000.0) == ((200.0, 1.0), (2000.0, 3.0))
    assert targets_of(sets, 6000.0, margin_mm=0.5) == ((200.0, 0.5), (2000.0, 2.5))
    (din,) = load_limits(["din18202-3"])
    assert [t for _, t in targets_of([din], 2000.0)] == [2, 3, 4, 5, 6]
    # 3 mm under 2 m implies line 3's 3 to 5 mm on shorter contacts; its 2 mm, and its 6 mm up to 2.25 m, stay.
    assert [t for _, t in targets_of([din, sets[0]], 3000.0)] == [2, 3, 6, 7, 8]
    with pytest.raises(SettingsError, match="leaves nothing"):
        targets_of(sets, 6000.0, margin_mm=1.0)


def test_a_users_product(tmp_path):
    path = tmp_path / "mine.toml"
    text = 'name = "mine"\nsource = "data sheet"\n'
    text += "kg_per_m2_mm = 1.5\nbag_kg = 20\nleast_layer_mm = 0\nwaste_share = 0.05\n"
    path.write_text(text)
    product = load_product(path)
    assert product == replace(product, bag_kg=20.0, greatest_layer_mm=None, least_layer_mm=0.0)
    for bad, says in (
        ("bag_kg = 0", "must be more than 0"),
        ("bag_kg = nan", "must be more than 0"),
        ('bag_kg = "a"', "bag_kg"),
        ("bag = 20", "unknown key bag"),
        ("bag_kg = 20\ngreatest_layer_mm = -1", "greatest_layer_mm must be more"),
        ("bag_kg = ", "not a readable TOML"),
    ):
        path.write_text(text.replace("bag_kg = 20", bad))
        with pytest.raises(InputError, match=says):
            load_product(path)
    with pytest.raises(InputError, match="no such product file"):
        load_product(tmp_path / "none.toml")
