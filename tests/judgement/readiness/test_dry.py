"""Moisture readings at their limits, with and without ±, through tiles, and of bases that nobody named."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatscan.judgement.readiness.moisture import hold
from flatscan.sources.survey.site import Heating, Moisture, OldCovering

NONE, WATER, UNKNOWN = Heating(kind="none"), Heating(kind="water"), Heating(kind="unknown")
TILES = OldCovering(kind="ceramic_tile")


def reading(method, value, base=None, **more) -> Moisture:
    return Moisture(method, value, base=base, **({"beneath_tiles": True} | more))


@pytest.mark.parametrize(
    ("method", "base", "heating", "value", "word"),
    [
        # German trade values for cement screed: 2.0, heated 1.8 CM-%
        ("carbide", "cement_screed", NONE, 2.0, "met"),
        ("carbide", "cement_screed", NONE, 2.01, "not_met"),
        ("carbide", "cement_screed", WATER, 1.8, "met"),
        ("carbide", "cement_screed", WATER, 1.9, "not_met"),
        # heating not known: either may hold
        ("carbide", "cement_screed", UNKNOWN, 1.8, "met"),
        ("carbide", "cement_screed", UNKNOWN, 1.9, "open"),
        ("carbide", "cement_screed", Heating(), 2.1, "not_met"),
        # calcium sulfate 0.5, heated 0.3 CM-%
        ("carbide", "calcium_sulfate_screed", NONE, 0.5, "met"),
        ("carbide", "calcium_sulfate_screed", WATER, 0.4, "not_met"),
        # base not named: the strictest that may hold is calcium sulfate's, the mildest cement's
        ("carbide", None, NONE, 0.5, "met"),
        ("carbide", None, NONE, 0.51, "open"),
        ("carbide", None, NONE, 2.1, "not_met"),
        ("carbide", None, UNKNOWN, 0.4, "open"),
        # AS 1884-2012: timber 10 to 14 %
        ("wood_moisture", "timber", NONE, 10.0, "met"),
        ("wood_moisture", "timber", NONE, 14.0, "met"),
        ("wood_moisture", "timber", NONE, 9.9, "not_met"),
        ("wood_moisture", "timber", NONE, 14.1, "not_met"),
        # ASTM F710: 75 % RH, 3 lb; AS 1884-2012: hood 70 %
        ("in_base_humidity", "concrete", WATER, 75.0, "met"),
        ("in_base_humidity", "concrete", NONE, 75.1, "not_met"),
        ("emission", "concrete", NONE, 3.1, "not_met"),
        ("surface_humidity", "concrete", NONE, 70.0, "met"),
        # no limit was found for these
        ("wood_moisture", "concrete", NONE, 1.0, "open"),
        ("emission", "calcium_sulfate_screed", NONE, 1.0, "open"),
    ],
)
def test_a_reading_without_plus_minus_is_compared_plainly(condition_of, method, base, heating, value, word):
    found = condition_of("dry", moisture=(reading(method, value, base),), heating=heating)
    assert found.word == word
    assert "± not stated" in found.recorded


@pytest.mark.parametrize(
    ("value", "word"),
    # T = 3, u = 0.25: JCGM 106 with g = 1.645 u = 0.411, so 2.589 and 3.411 are the edges; ILAC-G8:09/2019 4.2.3
    [(2.4, "met"), (2.588, "met"), (2.6, "open"), (3.0, "open"), (3.4, "open"), (3.412, "not_met"), (3.6, "not_met")],
)
def test_with_plus_minus_the_decision_rule_holds(condition_of, value, word):
    found = condition_of("dry", moisture=(reading("emission", value, "concrete", plus_minus=0.5),))
    assert found.word == word
    assert "± 0.5" in found.recorded


def test_a_confidence_that_was_asked_for_is_used():
    """One-sided guard for 99 %: 2.326 u, so with u = 0.25 the edge is 2.418."""
    read = reading("emission", 2.5, "concrete", plus_minus=0.5)
    assert hold(read, NONE, TILES, 0.95).word == "met"
    assert hold(read, NONE, TILES, 0.99).word == "open"


def test_the_data_sheet_comes_before_the_published_limit_and_is_named(condition_of):
    own = reading("in_base_humidity", 82.0, "concrete", limit=85.0, limit_source="sheet of the invented plank")
    found = condition_of("dry", moisture=(own,))
    assert (found.word, found.asked, found.source) == ("met", "at most 85 % RH", "sheet of the invented plank")
    stricter = reading("carbide", 1.6, "cement_screed", limit=1.5)
    found = condition_of("dry", moisture=(stricter,))
    assert (found.word, found.source) == ("not_met", "data sheet")
    assert found.short == "moisture (1.6 CM-%, at most 1.5)"


@pytest.mark.parametrize(
    ("beneath", "kind", "low", "high"),
    [
        # Dutch trade rules: through ceramic or stone a reliable reading is often impossible
        (True, "ceramic_tile", "met", "not_met"),
        (False, "ceramic_tile", "open", "not_met"),
        (None, "ceramic_tile", "open", "not_met"),
        (None, "stone", "open", "not_met"),
        (None, None, "open", "not_met"),
        (None, "sheet", "open", "not_met"),
        (None, "screed", "met", "not_met"),
        (None, "concrete", "met", "not_met"),
        (False, "concrete", "open", "not_met"),
    ],
)
def test_a_low_reading_through_tiles_shows_nothing_and_a_high_one_is_no_comfort(condition_of, beneath, kind, low, high):
    for value, word in ((1.6, low), (2.6, high)):
        read = reading("carbide", value, "cement_screed", beneath_tiles=beneath)
        found = condition_of("dry", moisture=(read,), old=OldCovering(kind=kind))
        assert found.word == word
        if word == "open":
            assert "a reliable reading is often impossible" in found.advice


def test_one_reading_in_the_base_settles_low_ones_through_tiles_but_not_a_high_one_elsewhere(condition_of):
    base = reading("carbide", 1.6, "cement_screed", at_mm=(1000.0, 1000.0))
    low = reading("carbide", 1.0, "cement_screed", beneath_tiles=False)
    far = reading("carbide", 2.6, "cement_screed", beneath_tiles=False, at_mm=(3000.0, 1000.0))
    near = reading("carbide", 2.6, "cement_screed", beneath_tiles=False, at_mm=(1400.0, 1000.0))
    nowhere = reading("carbide", 2.6, "cement_screed", beneath_tiles=False)
    words = [condition_of("dry", moisture=(base, other)).word for other in (low, far, near, nowhere)]
    assert words == ["met", "not_met", "met", "not_met"]


def test_one_in_the_base_decides_beside_an_undecided_one_through_the_covering(condition_of):
    base = reading("carbide", 1.6, "cement_screed", plus_minus=0.2)
    hood = reading("surface_humidity", 68.0, "concrete", plus_minus=4.0, beneath_tiles=False)
    found = condition_of("dry", moisture=(base, hood))
    assert found.word == "met"
    assert found.recorded.startswith("carbide test 1.6 ± 0.2 CM-%")
    assert found.recorded.endswith("1 more taken through the covering adds nothing to it")
    alone = condition_of("dry", moisture=(hood,))
    assert alone.word == "open"
    assert "Have the base itself read: a carbide test" in alone.advice
    assert "read again finer" not in alone.advice
    # Over its limit it counts all the same.
    assert condition_of("dry", moisture=(base, replace(hood, value=90.0))).word == "not_met"


def test_the_worst_reading_by_its_own_limit_decides(condition_of):
    # 60 % RH is 80 % of its limit, 1.9 CM-% is 95 %: the smaller number is the worse reading.
    both = (reading("in_base_humidity", 60.0, "concrete"), reading("carbide", 1.9, "cement_screed"))
    found = condition_of("dry", moisture=both)
    assert found.recorded.startswith("carbide test 1.9 CM-%, in cement screed, the worst of 2 readings")
    worse = condition_of("dry", moisture=(*both, reading("in_base_humidity", 76.0, "concrete")))
    assert (worse.word, worse.short) == ("not_met", "moisture (76 % RH, at most 75)")


def test_heated_calcium_sulfate_says_that_sources_disagree(condition_of):
    found = condition_of("dry", moisture=(reading("carbide", 0.3, "calcium_sulfate_screed"),), heating=WATER)
    assert found.word == "met"
    assert "Sources disagree" in found.asked
    assert found.asked.startswith("at most 0.3 CM-%")


@pytest.mark.parametrize(
    ("asbestos", "said"),
    [(None, "before the asbestos test"), ("not_tested", "before the asbestos test"), ("found", "licensed firm")],
)
def test_nobody_is_sent_to_drill_into_what_was_not_tested(condition_of, asbestos, said):
    old = OldCovering(kind="ceramic_tile", asbestos=asbestos)
    assert said in condition_of("dry", moisture=(), old=old).advice
    through = reading("carbide", 1.0, "cement_screed", beneath_tiles=False)
    wet, close = reading("emission", 4.0, "concrete"), reading("emission", 3.0, "concrete", plus_minus=0.5)
    for again in (through, wet, close):
        assert said in condition_of("dry", moisture=(again,), old=old).advice


@given(
    value=st.floats(0.1, 5.0),
    plus_minus=st.none() | st.floats(0.0, 1.0),
    base=st.sampled_from([None, "cement_screed", "calcium_sulfate_screed", "concrete"]),
    heating=st.sampled_from([Heating(), NONE, WATER, UNKNOWN]),
    drier=st.floats(0.0, 1.0),
)
def test_drier_is_never_worse_and_knowing_less_is_never_better(value, plus_minus, base, heating, drier):
    order = ("not_met", "open", "met")

    def word(v: float, b=base, h=heating) -> int:
        return order.index(hold(reading("carbide", v, b, plus_minus=plus_minus), h, TILES, 0.95).word)

    assert word(value * drier) >= word(value)
    if word(value, None) == order.index("met"):
        assert word(value) == order.index("met")
    if word(value, h=UNKNOWN) == order.index("met"):
        assert word(value, h=NONE) == word(value, h=WATER) == order.index("met")
