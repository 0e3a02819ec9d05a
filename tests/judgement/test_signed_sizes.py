"""The rule for a lip, which has a side and a limit on its size."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from flatscan.judgement.decision import chance_over, chance_size_over, decide, decide_size

VALUES = st.floats(-20.0, 20.0)
DOUBTS = st.floats(1e-3, 30.0)
LIMITS = st.floats(0.05, 10.0)


@given(VALUES, DOUBTS, LIMITS)
def test_chance_is_both_tails_of_the_normal_distribution(value, u, limit):
    """Twin: scipy's normal distribution. Both sums have a few roundings of numbers at most 1."""
    expected = norm.cdf((-limit - value) / u) + norm.sf((limit - value) / u)
    assert chance_size_over(value, u, limit) == pytest.approx(expected, abs=1e-14)


@pytest.mark.parametrize(("value", "p"), [(2.4, 0.99180), (2.6, 0.94520), (3.0, 0.5), (3.4, 0.05480), (3.6, 0.00820)])
def test_far_from_zero_a_size_is_judged_as_any_value(value, p):
    """Decision table for T = 3, u = 0.25 (JCGM 106 formula): the other tail is below Phi(-20)."""
    assert 1.0 - chance_size_over(value, 0.25, 3.0) == pytest.approx(p, abs=5e-6)
    assert chance_size_over(-value, 0.25, 3.0) == pytest.approx(chance_over(value, 0.25, 3.0), abs=1e-15)
    assert decide_size(-value, 0.25, 3.0, 0.95)[1] == decide(value, 0.25, 3.0, 0.95)[1]


@pytest.mark.parametrize(
    ("size", "word"),
    [(0.5887, "within"), (0.5888, "not_decided"), (1.4112, "not_decided"), (1.4113, "over")],
)
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_words_at_the_boundary(size, side, word):
    """T = 1, u = 0.25: the guard band is 1.64485 u = 0.41121 mm; the far tail is below 1e-9."""
    assert decide_size(side * size, 0.25, 1.0, 0.95)[1] == word


def test_a_flat_lip_of_two_mm_doubt_is_not_decided():
    """One phone frame: u = 2 mm on a lip. P(|lip| > 1) = 2 Phi(-0.5) = 0.617."""
    p, word = decide_size(0.0, 2.0, 1.0, 0.95)
    assert p == pytest.approx(2 * norm.cdf(-0.5))
    assert word == "not_decided"


@given(VALUES, DOUBTS, LIMITS)
def test_hardly_known_is_never_over_and_never_within(value, u, limit):
    """With u many times the limit nearly every number is larger than it; that alone must not say over."""
    word = decide_size(value, u, limit, 0.95)[1]
    if abs(value) < limit + 1.64 * u:
        assert word != "over"
    if u > limit:  # even a measured 0 leaves 2 Phi(-1) = 32 %
        assert word != "within"


@given(VALUES, DOUBTS, LIMITS, st.floats(0.0, 5.0))
def test_a_larger_limit_never_is_worse(value, u, limit, more):
    order = ["within", "not_decided", "over"]
    tight, wide = (decide_size(value, u, t, 0.95) for t in (limit, limit + more))
    assert order.index(wide[1]) <= order.index(tight[1])
    assert wide[0] <= tight[0] + 1e-12


def test_known_exactly():
    assert decide_size(-1.0, 0.0, 1.0, 0.95)[1] == "within"
    assert decide_size(-1.0 - 1e-9, 0.0, 1.0, 0.95) == (1.0, "over")
    with pytest.raises(ValueError, match="negative"):
        decide_size(0.0, 0.1, -1.0, 0.95)
    with pytest.raises(ValueError, match="finite"):
        decide_size(math.nan, 0.1, 1.0, 0.95)
