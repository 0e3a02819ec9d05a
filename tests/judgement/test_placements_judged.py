"""Each straightedge reading judged by itself: at the boundary, by its contacts, beside the surface."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.judgement import judge, load_limits
from flatscan.judgement.limits import Limit, LimitSet, LimitSource
from flatscan.judgement.placement_findings import placement_findings
from flatscan.measures.measurement import PlacementFigure
from flatscan.quantity import Quantity
from flatscan.settings import JudgeSettings

RULE = JudgeSettings()
FLAT_ONLY = LimitSet(
    id="flat-only",
    title="a gap limit and nothing else",
    source=LimitSource(document="a test", mark="common practice, no source"),
    limits=(Limit(what="gap", limit_mm=3.0, edge_mm=2000.0),),
)


def mm(value: float, u: float = 0.25) -> Quantity:
    return Quantity(value, u, "mm")


def laid(gap: float, *, u=0.25, number="7", row=9, bar=2000.0, span=1500.0, surface=None, at=(1200.0, 800.0)):
    half = span / 2.0
    return PlacementFigure(
        row=row,
        number=number,
        edge_mm=bar,
        gap=mm(gap, u),
        at=at,
        contacts=((at[0] - half, at[1]), (at[0] + half, at[1])),
        span_mm=span,
        surface=surface,
    )


@pytest.fixture
def with_bars(make_measurement, make_spot):
    def make(*figures, spots=None):
        return replace(make_measurement([make_spot(1.0)] if spots is None else spots), placements=figures)

    return make


@pytest.mark.parametrize(
    ("gap", "word"), [(2.58, "within"), (2.60, "not_decided"), (3.40, "not_decided"), (3.42, "over")]
)
def test_the_guard_band_is_that_of_every_finding(with_bars, gap, word):
    """T = 3, u = 0.25: 1.6449 u = 0.411 mm on either side (JCGM 106, oracle O-7)."""
    (finding,) = placement_findings(with_bars(laid(gap)), [FLAT_ONLY], 0.95)
    assert finding.verdict == word
    assert finding.placement == "7"
    assert finding.where == "straightedge 7, 1.20 m from the left wall, 0.80 m from the bottom wall"


def test_a_bar_without_a_number_is_named_by_its_row(with_bars):
    (finding,) = placement_findings(with_bars(laid(1.0, number="")), [FLAT_ONLY], 0.95)
    assert finding.placement == "row 9"
    assert finding.where.startswith("straightedge of row 9, ")


@pytest.mark.parametrize(
    ("span", "limit"),
    # DIN 18202 table 3 line 3, straight between the columns and rounded, halves up: oracle O-3 of the ZDB's extended
    # table at 0.1, 0.6, 1, 1.5, 2 m.
    [(100.0, 2.0), (600.0, 3.0), (1000.0, 4.0), (1500.0, 5.0), (2000.0, 6.0)],
)
def test_a_limit_by_distance_is_taken_at_the_contacts_not_at_the_bars_length(with_bars, span, limit):
    (din,) = load_limits(["din18202-3"])
    (finding,) = placement_findings(with_bars(laid(1.0, span=span)), [din], 0.95)
    assert finding.what == "span_gap"
    assert finding.limit_mm == limit
    assert finding.edge_mm == span


def test_the_same_gap_fails_on_a_short_rest_and_passes_on_a_long_one(with_bars):
    """4.6 mm: 0.6 mm over the 4 mm at 1 m (2.4 u), 1.4 mm below the 6 mm at 2 m."""
    (din,) = load_limits(["din18202-3"])
    short, long = laid(4.6, span=1000.0, number="1"), laid(4.6, span=2000.0, number="2")
    words = {f.placement: f.verdict for f in placement_findings(with_bars(short, long), [din], 0.95)}
    assert words == {"1": "over", "2": "within"}


@pytest.mark.parametrize(
    ("bar", "span", "gap", "expected"),
    [
        (1200.0, 1000.0, 1.0, []),  # a longer edge may find more: nothing is said of the 2 m limit
        (1200.0, 1000.0, 3.0, []),
        (1200.0, 1000.0, 5.0, ["over"]),  # contacts 1 m apart are within any 2 m edge's reach
        (3000.0, 2500.0, 5.0, []),  # no 2 m edge lies on contacts 2.5 m apart
        (3000.0, 1900.0, 1.0, ["within"]),
        (1981.2, 1981.2, 1.0, ["within"]),  # 6 ft 6 in
        (2032.0, 2032.0, 1.0, ["within"]),  # 80 in
    ],
)
def test_a_bar_answers_the_limits_of_its_own_length(with_bars, bar, span, gap, expected):
    found = placement_findings(with_bars(laid(gap, bar=bar, span=span)), [FLAT_ONLY], 0.95)
    assert [f.verdict for f in found] == expected


def test_a_placement_over_makes_the_floor_over_though_the_surface_is_within(with_bars, make_surface):
    verdict = judge(with_bars(laid(4.0)), make_surface(), [FLAT_ONLY], RULE)
    assert verdict.answer.code == "level_areas"
    assert verdict.answer.text.startswith("Level where the straightedge reads over the limit, then lay; before any")
    assert "straightedge 7, 1.20 m from the left wall" in verdict.answer.reasons[0]
    assert not any("of the seen floor" in r for r in verdict.answer.reasons)


@pytest.mark.parametrize("gap", [1.0, 2.7])
def test_a_placement_that_is_not_over_leaves_the_floor_as_the_surface_has_it(with_bars, make_surface, make_spot, gap):
    bars = [laid(gap)]
    assert judge(with_bars(*bars), make_surface(), [FLAT_ONLY], RULE).answer.code == "lay_as_is"
    over = with_bars(*bars, spots=[make_spot(5.0)])
    assert judge(over, make_surface(), [FLAT_ONLY], RULE).answer.code == "level_areas"
    none = with_bars(*bars, spots=[])
    assert judge(none, make_surface(), [FLAT_ONLY], RULE).answer.code == "not_decided"


def test_a_contradiction_is_told_and_stays_open_where_the_words_differ(with_bars, make_surface):
    """4.5 against 1.0: 3.5 mm apart is 7 of sqrt(0.25² + 0.4²) = 0.47; more than 3 contradicts."""
    bar = laid(4.5, surface=mm(1.0, 0.4))
    verdict = judge(with_bars(bar), make_surface(), [FLAT_ONLY], RULE)
    finding = next(f for f in verdict.findings if f.placement)
    assert finding.conflict
    assert finding.verdict == "not_decided"
    assert "the surface disagree" in finding.where
    assert verdict.answer.code == "not_decided"
    assert any("contradicts: straightedge 7" in r for r in verdict.answer.reasons)
    assert verdict.next_readings[0].what.endswith("its readings and the surface disagree, so read it again")
    assert "scan" not in verdict.next_readings[0].what


def test_a_contradiction_that_changes_no_word_changes_no_word(with_bars):
    # 0.2 against 1.2, u 0.2 each: 3.5 of 0.283 apart; both far below 3.
    (calm,) = placement_findings(with_bars(laid(0.2, u=0.2, surface=mm(1.2, 0.2))), [FLAT_ONLY], 0.95)
    assert (calm.conflict, calm.verdict) == (True, "within")
    # 2.9 of 0.283 apart is chance.
    (agreed,) = placement_findings(with_bars(laid(0.2, u=0.2, surface=mm(1.02, 0.2))), [FLAT_ONLY], 0.95)
    assert not agreed.conflict


def test_doubt_of_a_single_placement_asks_for_no_reading(with_bars, make_surface):
    verdict = judge(with_bars(laid(2.9)), make_surface(), [FLAT_ONLY], RULE)
    assert next(f for f in verdict.findings if f.placement).verdict == "not_decided"
    assert verdict.next_readings == ()


def test_a_floor_read_by_hand_is_never_told_of_captures(with_bars, make_surface, make_spot):
    unseen = np.zeros((70, 120), dtype=bool)
    unseen[:20, :40] = True
    surface = replace(make_surface(unseen), kind="readings")
    over = judge(with_bars(laid(2.9), spots=[make_spot(9.0)]), surface, [FLAT_ONLY], RULE)
    assert any(" % of the floor measures over a limit" in r for r in over.answer.reasons)
    verdict = judge(with_bars(laid(2.9), spots=[make_spot(3.0)]), surface, [FLAT_ONLY], RULE)
    said = " ".join([verdict.answer.text, *verdict.answer.reasons, *(r.what for r in verdict.next_readings)]).lower()
    assert verdict.answer.text == "Cannot be told yet: too close to the limit for these readings"
    assert not any(word in said for word in ("scan", "capture", "photo", " point "))


def test_a_bar_balanced_on_a_crest_says_nothing_of_gaps(with_bars):
    crest = replace(laid(0.0, span=0.0), hump=mm(4.0))
    assert placement_findings(with_bars(crest), [FLAT_ONLY], 0.95) == []
    on_feet = replace(laid(3.6), hump=mm(0.0))
    assert [f.verdict for f in placement_findings(with_bars(on_feet), [FLAT_ONLY], 0.95)] == ["over"]


def test_bars_too_short_for_the_limit_are_told_and_decide_nothing(with_bars, make_surface):
    """A 6 ft bar (1829 mm) and a 2 m limit."""
    bars = [laid(1.0, bar=1828.8, number=str(n), row=n) for n in (1, 2)]
    verdict = judge(with_bars(*bars), make_surface(), [FLAT_ONLY], RULE)
    assert verdict.answer.code == "lay_as_is"
    said = "2 straightedge readings, none over by itself; a bar shorter than the edge of the limit cannot say within"
    assert said in verdict.answer.reasons
    # Two over are no longer "each of 2" of four that were read.
    over = [laid(5.0, bar=1828.8, number=str(n), row=n) for n in (3, 4)]
    (reason,) = (
        r for r in judge(with_bars(*bars, *over), make_surface(), [FLAT_ONLY], RULE).answer.reasons if "2 of 4" in r
    )
    assert reason.startswith("2 of 4 straightedge readings answer a limit by themselves: 2 over; worst 5.0 ")
    assert reason.endswith("a bar shorter than the edge of the limit cannot say within, nor one whose contacts lie "
                           "further apart")  # fmt: skip
