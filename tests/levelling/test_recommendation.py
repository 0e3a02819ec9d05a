"""Three sentences: which way, why, and what would change it."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from flatscan.levelling.basis import Basis
from flatscan.levelling.choice.costs import break_evens, cost_of
from flatscan.levelling.choice.recommendation import recommend
from flatscan.levelling.joints.joint_work import JointFill, JointWork, LipDown
from flatscan.levelling.joints.lifting import LEAST_TAPS, lift, lifting_called_for
from flatscan.levelling.plan import Method
from flatscan.levelling.product import load_product
from flatscan.quantity import Quantity

PRODUCT = replace(
    load_product(),
    currency="coins",
    bag_price=20.0,
    fill_price_per_m2=8.0,
    grind_price_per_m2_mm=6.0,
    lift_price_per_m2=30.0,
)
#: The same without prices.
BARE = load_product()


def a_method(name, litres=0.0, *, area=0.0, bags=0, ground=0.0, product=BARE, why_not="", **more) -> Method:
    made = Method(
        name=name,
        volume_l=Quantity(litres, 0.1 * litres, "l"),
        volume_interval_l=(0.7 * litres, 1.3 * litres),
        volume_p_l=(0.8 * litres, litres, 1.2 * litres),
        mass_kg=Quantity(1.7 * litres, 0.0, "kg"),
        bags=bags,
        bags_interval=(bags, bags + 2),
        area_m2=area,
        mean_mm=2.0,
        max_mm=4.0,
        why_not=why_not,
        bags_p=(max(0, bags - 1), bags, bags + 1),
        buy=bags + 1 if bags else 0,
        keep_sealed=1 if bags else 0,
        ground_l=ground,
        ground_m2=ground / 2.0,
        **more,
    )
    return replace(made, cost=cost_of(made, product))


def the_ways(product=BARE, **why_not):
    """21 m²: patch of 4 m², thin coat, screed and pour over everything."""
    named = {name: {"why_not": why_not.get(name, ""), "product": product} for name in ("patch", "skim", "flood")}
    named |= {name: {"why_not": why_not.get(name, ""), "product": product} for name in ("screed", "grind_and_patch")}
    return [
        a_method("patch", 12.0, area=4.0, bags=1, **named["patch"]),
        a_method("grind_and_patch", 9.0, area=3.0, bags=1, ground=2.0, **named["grind_and_patch"]),
        a_method("skim", 31.5, area=21.0, bags=3, **{**named["skim"], "why_not": "A thin coat flattens nothing"}),
        a_method("screed", 90.0, area=21.0, bags=7, **named["screed"]),
        a_method("flood", 150.0, area=21.0, bags=12, **named["flood"]),
        a_method("lift_tiles", product=product, lifted_m2=21.0),
    ]


@pytest.fixture
def basis_of(make_surface):
    def make(answer="level_areas", work=None, tapped=0, bad=0) -> Basis:
        taps = tuple((100.0 * n, 100.0) for n in range(bad))
        return Basis(make_surface(), ((2000.0, 3.0),), ("own",), answer, work, tapped=tapped, bad_taps=taps)

    return make


def prefers(methods, basis, product=BARE, asked=None):
    name, said = recommend(methods, basis, product, asked=asked)
    assert len(said) == 3
    assert all(s and s[0].isupper() and not s.endswith((".", " ")) for s in said)
    return name, said


def test_without_prices_the_least_compound_and_grinding_only_for_a_tenth(basis_of):
    name, said = prefers(the_ways(), basis_of())
    assert name == "grind_and_patch"  # 9 against 12 litres
    assert "9.0 litres (7.2 to 10.8)" in said[0]
    assert "buy 2 bags of 25 kg and keep 1 sealed" in said[0]
    assert "9.0 litres (7.2 to 10.8) against 12.0 litres (9.6 to 14.4)" in said[1]
    assert "prices might" in said[2]
    ways = the_ways()
    ways[1] = a_method("grind_and_patch", 10.9, area=4.0, bags=1, ground=1.0)  # 9.2 % less
    name, said = prefers(ways, basis_of())
    assert name == "patch"
    assert "save less than a tenth and makes dust" in said[1]
    ways[1] = a_method("grind_and_patch", 10.7, area=4.0, bags=1, ground=1.0)  # 10.8 % less
    assert prefers(ways, basis_of())[0] == "grind_and_patch"


def test_with_prices_the_cheapest(basis_of):
    """Patch 20 + 32 = 52, grinding 20 + 24 + 12 = 56, screed 140 + 168 = 308."""
    name, said = prefers(the_ways(PRODUCT), basis_of(), PRODUCT)
    assert name == "patch"
    assert "about 52 coins (32 to 72)" in said[0]
    assert "52 coins (32 to 72) against 56 coins (36 to 76)" in said[1]


def test_a_tie_is_a_patch(basis_of):
    ways = [a_method("flood", 12.0, area=4.0), a_method("screed", 12.0, area=4.0), a_method("patch", 12.0, area=4.0)]
    name, said = prefers(ways, basis_of())
    assert name == "patch"
    assert "takes as much" in said[1]


@pytest.mark.parametrize("changed", [{}, {"bag_price": 3.0, "fill_price_per_m2": 9.5}, {"grind_price_per_m2_mm": 1.5}])
def test_at_the_named_price_the_choice_flips(basis_of, changed):
    product = replace(PRODUCT, **changed)
    name, said = prefers(the_ways(product), basis_of(), product)
    found = re.search(r"(above|below) ([\d.]+) coins for (.*?) \(now ([\d.]+) coins\) (.*?) would be chosen", said[2])
    side, price, thing, now, winner = found.groups()
    key = {
        "a bag": "bag_price",
        "filling a square metre": "fill_price_per_m2",
        "grinding a millimetre off a square metre": "grind_price_per_m2_mm",
    }[thing]
    assert float(now) == pytest.approx(getattr(product, key))
    beyond = 1.01 if side == "above" else 0.99
    flipped = replace(product, **{key: float(price) * beyond})
    still = replace(product, **{key: float(price) / beyond})
    new, words = prefers(the_ways(flipped), basis_of(), flipped)
    assert new != name
    assert winner in words[0]
    assert prefers(the_ways(still), basis_of(), still)[0] == name


def test_every_break_even_is_where_two_lines_cross():
    """Patch 20 + 32, pour 240 + 168: at a bag price p they cost p + 32 and 12 p + 168: equal below nothing, so never.

    Per m² at price a: 20 + 4 a and 240 + 21 a, never too. A pour of no work at all: 12 p against p + 32 at 32/11.
    """
    patch, pour = the_ways(PRODUCT)[0], the_ways(PRODUCT)[4]
    assert break_evens(patch, [pour], PRODUCT, weight={}) == []
    free = a_method("flood", 150.0, area=0.0, bags=12, product=PRODUCT)
    (found,) = [b for b in break_evens(patch, [free], PRODUCT, weight={}) if b.price_name == "bag_price"]
    assert (found.price, found.winner, found.dearer) == (pytest.approx(32.0 / 11.0), "flood", False)


def test_what_is_ruled_out_is_named_with_its_reason(basis_of):
    ways = the_ways(patch="6 mm is needed at the door", grind_and_patch="nothing may be ground")
    name, said = prefers(ways, basis_of())
    assert name == "screed"
    assert "were it not ruled out: nothing may be ground" in said[2]


def test_nothing_possible_takes_the_tiles_up_or_chooses_nothing(basis_of):
    no = {name: f"no {name}" for name in ("patch", "grind_and_patch", "skim", "screed", "flood")}
    name, said = prefers(the_ways(**no), basis_of())
    assert name == "lift_tiles"
    assert "no screed" in said[1]
    assert prefers(the_ways(**no)[:-1], basis_of())[0] is None


def test_nothing_to_level(basis_of):
    name, said = prefers(the_ways(), basis_of("lay_as_is"))
    assert name is None
    assert said[0] == "Nothing needs levelling: the floor meets its limits as it is"


def test_not_decided_is_said_under_a_condition(basis_of):
    name, said = prefers(the_ways(), basis_of("not_decided"))
    assert name == "grind_and_patch"
    assert said[0].startswith("Should levelling be needed, best is ")
    assert "readings that are still open" in said[2]


@pytest.mark.parametrize(("tapped", "bad", "up"), [(9, 9, False), (10, 1, False), (10, 2, True), (30, 3, False)])
def test_more_than_a_tenth_hollow_of_at_least_ten_taps(basis_of, make_surface, tapped, bad, up):
    basis = basis_of(tapped=tapped, bad=bad)
    assert bool(lifting_called_for(basis)) is up
    name, said = prefers(the_ways(), basis)
    assert (name == "lift_tiles") is up
    if up:
        assert "2 of 10 places tapped sound hollow or loose (20 %)" in said[0]


def test_the_taps_that_tell_a_share_are_those_of_the_judgement():
    from flatscan.judgement import soundness

    assert LEAST_TAPS == soundness.LEAST_TAPS


def test_lifting_says_that_nobody_has_seen_beneath(basis_of, make_surface):
    from flatscan.levelling.binding.bounds import free

    surface = make_surface()
    proposal = lift(surface, basis_of(tapped=20, bad=5), free(surface), BARE)
    assert proposal.name == "lift_tiles"
    assert proposal.why_not == ""
    assert np.nansum(proposal.fill_mm) == np.nansum(proposal.grind_mm) == 0.0
    assert "has not been seen" in " ".join(proposal.notes)
    assert "25 %" in proposal.notes[0]


def a_work(metres=2.0, lips=3) -> JointWork:
    line = ((0.0, 0.0), (1000.0, 0.0))
    litre = Quantity(0.05, 0.01, "l")
    fill = JointFill("J1", line, 1000.0 * metres, "over", None, None, litre)
    lip = LipDown("J1", (500.0, 0.0), line, (500.0, 100.0), 500.0, "over", Quantity(1.5, 0.1, "mm"), 1.0)
    return JointWork((fill,), (lip,) * lips, Quantity(1.0, 0.1, "l"), 20.0, 0.0)


def test_joints_alone_are_filled_unless_a_coat_takes_less(basis_of):
    ways = [a_method("patch", 0.1, bags=1), a_method("skim", 31.5, area=21.0, bags=3), a_method("screed", 0.01)]
    basis = basis_of("fill_joints_and_lips", a_work())
    name, said = prefers(ways, basis)
    assert name == "patch"
    assert "filling the 2.0 m of joint that are over and taking down 3 lips: 0.10 litres" in said[0]
    ways[0] = a_method("patch", 40.0, bags=1)
    assert prefers(ways, basis)[0] == "skim"


def test_a_patch_over_more_than_half_of_the_floor_says_that_a_pour_may_be_simpler(basis_of):
    ways = [a_method("patch", 40.0, area=10.4), a_method("flood", 150.0, area=21.0)]
    assert "simpler work" not in prefers(ways, basis_of())[1][1]
    ways[0] = a_method("patch", 40.0, area=12.6)
    assert (
        "covers 60 % of the floor seen, so a pour over everything may be simpler work"
        in prefers(ways, basis_of())[1][1]
    )


def test_what_the_person_asked_for_is_kept_with_the_advice_beside_it(basis_of):
    name, said = prefers(the_ways(), basis_of(), asked="flood")
    assert name == "flood"
    assert said[0].startswith("As asked, a level pour: 150 litres (120 to 180)")
    assert said[1].startswith("Without that choice: best is a patch after grinding the high places")
    name, said = prefers(the_ways(), basis_of(), asked="grind_and_patch")
    assert said[0].startswith("Best is a patch after grinding")
    name, said = prefers(the_ways(flood="the door allows 5 mm"), basis_of(), asked="flood")
    assert name is None
    assert said[0] == "A level pour was asked for and cannot be done: the door allows 5 mm"
    assert prefers(the_ways(), basis_of("lay_as_is"), asked="screed")[0] == "screed"


def test_grinding_that_grinds_nothing_is_no_other_way(basis_of) -> None:
    """Where nothing is worth grinding the plan with grinding is the patch: the next best is another."""
    first, grinds, *rest = the_ways()
    same = [first, replace(grinds, volume_l=first.volume_l, ground_l=0.0, ground_m2=0.0), *rest]
    name, said = recommend(same, basis_of(), BARE, asked=None)
    assert name == "patch"
    assert "a screed to one plane: 12.0 litres (9.6 to 14.4) against 90 litres (72 to 108)" in said[1]
