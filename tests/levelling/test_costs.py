"""Costs are stated sums, and dearer things never make a way cheaper."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatscan.levelling.choice.costs import amounts, break_evens, cost_of
from flatscan.levelling.plan import Method
from flatscan.levelling.product import load_product
from flatscan.quantity import Quantity

PRICED = replace(
    load_product(),
    currency="coins",
    bag_price=20.0,
    primer_price_per_kg=4.0,
    fill_price_per_m2=8.0,
    grind_price_per_m2_mm=6.0,
    lift_price_per_m2=30.0,
)
PRICES = ("bag_price", "primer_price_per_kg", "fill_price_per_m2", "grind_price_per_m2_mm", "lift_price_per_m2")


def a_method(name="grind_and_patch", bags=(2, 3, 5), area=4.0, primer=0.6, ground=2.5, lifted=0.5) -> Method:
    litres = Quantity(30.0, 3.0, "l")
    return Method(
        name, litres, (25.0, 35.0), Quantity(51.0, 5.0, "kg"), bags[1], (bags[0], bags[2]), area, 2.0, 4.0,
        bags_p=bags, buy=bags[2], ground_l=ground, ground_m2=1.0, lifted_m2=lifted, primer_kg=primer,
    )  # fmt: skip


def test_a_cost_is_the_sum_of_its_parts():
    """3 bags 60, primer 2.4, filling 32, grinding 15, tiles 15: 124.4; with 2 bags 104.4, with 5 bags 164.4."""
    cost = cost_of(a_method(), PRICED)
    assert dict(cost.parts) == pytest.approx(
        {"bags": 60.0, "primer": 2.4, "filling": 32.0, "grinding": 15.0, "taking tiles up": 15.0}
    )
    assert cost.value == pytest.approx(124.4) == sum(part for _, part in cost.parts)
    assert cost.p10_p50_p90 == pytest.approx((104.4, 124.4, 164.4))
    assert cost.currency == "coins"


def test_a_part_that_is_not_taken_is_not_listed():
    cost = cost_of(a_method(name="patch", ground=0.0, lifted=0.0, primer=None), PRICED)
    assert [name for name, _ in cost.parts] == ["bags", "filling"]


@pytest.mark.parametrize("missing", ["bag_price", "grind_price_per_m2_mm", "lift_price_per_m2"])
def test_without_a_price_that_ways_are_compared_by_there_is_no_cost(missing):
    assert cost_of(a_method(), replace(PRICED, **{missing: None})) is None
    # A way that takes nothing of it does not need the price; bags always do.
    plain = cost_of(a_method(ground=0.0, lifted=0.0), replace(PRICED, **{missing: None}))
    assert (plain is None) is (missing == "bag_price")


def test_without_a_price_of_primer_or_work_these_are_left_out():
    cost = cost_of(a_method(), replace(PRICED, primer_price_per_kg=None, fill_price_per_m2=None))
    assert cost.value == pytest.approx(90.0)
    assert cost_of(a_method(bags=(0, 0, 0)), replace(PRICED, bag_price=None)) is None


def test_lifting_needs_only_its_own_price():
    up = a_method("lift_tiles", bags=(0, 0, 0), area=0.0, primer=0.0, ground=0.0, lifted=21.0)
    assert cost_of(up, replace(load_product(), lift_price_per_m2=30.0)).value == pytest.approx(630.0)
    assert cost_of(up, replace(PRICED, lift_price_per_m2=None)) is None


@given(st.sampled_from(PRICES), st.floats(0.0, 100.0), st.floats(0.0, 100.0))
def test_a_dearer_thing_never_makes_a_way_cheaper(name, price, more):
    cheap = cost_of(a_method(), replace(PRICED, **{name: price}))
    dear = cost_of(a_method(), replace(PRICED, **{name: price + more}))
    assert all(a <= b + 1e-9 for a, b in zip(cheap.p10_p50_p90, dear.p10_p50_p90, strict=True))
    assert dear.value - cheap.value == pytest.approx(more * amounts(a_method())[name], abs=1e-9)


@given(
    st.lists(
        st.tuples(st.integers(0, 30), st.floats(0.0, 20.0), st.floats(0.0, 20.0)).map(
            lambda t: a_method(bags=(t[0], t[0], t[0]), area=t[1], ground=t[2], lifted=0.0, primer=None)
        ),
        min_size=2,
        max_size=4,
    ),
    st.floats(1.0, 1.2),
)
def test_just_before_a_break_even_the_choice_stands_and_just_after_its_winner_is_ahead(ways, handicap):
    names = ("patch", "grind_and_patch", "screed", "flood")
    weight = {"grind_and_patch": handicap}

    def costed(product):
        found = [replace(way, name=name) for way, name in zip(ways, names, strict=False)]
        return [replace(way, cost=cost_of(way, product)) for way in found]

    def score(way):
        return weight.get(way.name, 1.0) * way.cost.value

    now = costed(PRICED)
    chosen = min(now, key=score)
    for found in break_evens(chosen, [w for w in now if w is not chosen], PRICED, weight=weight):
        present = getattr(PRICED, found.price_name)
        assert (found.price >= present) is found.dearer or found.price == pytest.approx(present)
        at = {way.name: score(way) for way in costed(replace(PRICED, **{found.price_name: found.price}))}
        assert at[found.winner] == pytest.approx(at[chosen.name], rel=1e-9, abs=1e-6)
        between = 0.5 * (present + found.price)
        still = {way.name: score(way) for way in costed(replace(PRICED, **{found.price_name: between}))}
        assert still[chosen.name] <= min(still.values()) + 1e-6
        beyond = found.price * (1.05 if found.dearer else 0.95)
        after = {way.name: score(way) for way in costed(replace(PRICED, **{found.price_name: beyond}))}
        assert after[found.winner] <= after[chosen.name] + 1e-6
