"""The decision rule against published examples.

JCGM 106:2012 (values from memory, each recomputed from its formula), ILAC-G8:09/2019, JCGM 100:2008 H.1.
"""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.judgement.decision import chance_over, decide, guard_factor, lean_in_words
from flatscan.quantity import Quantity


@pytest.mark.parametrize(
    ("value", "conforms", "word"),
    [
        (2.4, 0.99180, "within"),
        (2.6, 0.94520, "not_decided"),
        (3.0, 0.5, "not_decided"),
        (3.4, 0.05480, "not_decided"),
        (3.6, 0.00820, "over"),
    ],
)
def test_upper_limit_table(value, conforms, word):
    """Phi((T - y)/u) with T = 3 mm, u = 0.25 mm from normal tables; guard band 1.645 u = 0.411 mm."""
    p_over, said = decide(value, 0.25, 3.0, 0.95)
    assert 1.0 - p_over == pytest.approx(conforms, abs=5e-6)
    assert said == word


def test_the_edge_of_the_guard_band():
    """Y + 1.6449 u = T at y = 2.58879: there and below is within; as much above T and beyond is over."""
    assert decide(2.588, 0.25, 3.0, 0.95)[1] == "within"
    assert decide(2.590, 0.25, 3.0, 0.95)[1] == "not_decided"
    assert decide(3.410, 0.25, 3.0, 0.95)[1] == "not_decided"
    assert decide(3.412, 0.25, 3.0, 0.95)[1] == "over"


@pytest.mark.parametrize(("confidence", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_margins_by_confidence(confidence, z):
    """JCGM 106 table 1, from memory; printed to two places, the third cut."""
    assert guard_factor(confidence) == pytest.approx(z, abs=0.006)


def test_one_upper_limit_example():
    """JCGM 106: -5.47 V against an upper limit of -5.40 V, u = 0.05 V, conforms with 0.92."""
    assert 1.0 - chance_over(-5.47, 0.05, -5.40) == pytest.approx(0.92, abs=0.005)


def test_two_limits_example():
    """JCGM 106: 13.6 with u = 1.8 between 12.5 and 16.3 conforms with 0.66."""
    inside = chance_over(13.6, 1.8, 12.5) - chance_over(13.6, 1.8, 16.3)
    assert inside == pytest.approx(0.66, abs=0.005)


def test_resistors():
    """JCGM 106 example: 1500 ± 0.2 ohm, process u 0.12, meter u 0.04, accepted from 1499.82 to 1500.18 ohm.

    Conforming 0.904, producer's risk 7 %, consumer's risk 1 %: the integral over the process of the chance
    that the meter reads inside the acceptance interval.
    """
    true = 1500 + 0.0005 * (np.arange(-2400, 2400) + 0.5)  # midpoints: none lies on a limit
    weight = np.exp(-0.5 * ((true - 1500) / 0.12) ** 2)
    weight /= weight.sum()
    accepted = np.array([chance_over(t, 0.04, 1499.82) - chance_over(t, 0.04, 1500.18) for t in true])
    good = np.abs(true - 1500) <= 0.2
    assert weight[good].sum() == pytest.approx(0.904, abs=1e-3)
    assert (weight * (1 - accepted))[good].sum() == pytest.approx(0.069, abs=1e-3)
    assert (weight * accepted)[~good].sum() == pytest.approx(0.0099, abs=1e-4)


@pytest.mark.parametrize(
    ("value", "word", "lean"),
    [
        (2.4, "within", None),
        (2.6, "not_decided", "more likely within"),
        (3.2, "not_decided", "more likely over"),
        (3.6, "over", None),
    ],
)
def test_non_binary_zones(value, word, lean):
    """ILAC-G8:09/2019 4.2.3, T = 3, guard w = 0.5: pass, conditional pass, conditional fail, fail."""
    p_over, said = decide(value, 0.5 / guard_factor(0.95), 3.0, 0.95)
    assert said == word
    assert lean is None or lean_in_words(p_over).startswith(lean)


def test_combined_uncertainty_of_the_end_gauge():
    """JCGM 100:2008 H.1: 25, 9.7, 2.9 and 16.6 nm combine to 32 nm (31.7 before rounding)."""
    combined = Quantity.from_budget(0.0, "nm", standard=25.0, comparator=9.7, expansion=2.9, temperature=16.6)
    assert combined.u == pytest.approx(31.67, abs=0.05)
