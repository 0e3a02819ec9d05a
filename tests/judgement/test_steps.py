"""Limits that grow with the distance between the contacts: the steps stand for them exactly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatscan.judgement import edges_needed, load_limits, stepped_limits
from flatscan.judgement.limits import LimitSet, LimitSource
from flatscan.judgement.steps import LADDER_STEP_MM, span_limit_mm

(LINE_3,) = load_limits(["din18202-3"])
SOURCE = LimitSource(document="a test", mark="common practice, no source")


@st.composite
def columns(draw):
    """(distance, limit) columns, distances rising by 10 mm or more, limits by whole millimetres or not at all."""
    steps = draw(st.lists(st.tuples(st.integers(1, 400), st.integers(0, 12)), min_size=1, max_size=5))
    distances, limits = np.cumsum([10.0 * a for a, _ in steps]), np.cumsum([1.0 + b for _, b in steps])
    return tuple((float(d), float(t)) for d, t in zip(distances, limits, strict=True))


def governing(limits, span_mm):
    """The limit that binds contacts ``span_mm`` apart: the strictest of all edges that long or longer."""
    return min(limit.limit_mm for limit in limits if limit.edge_mm >= span_mm)


@given(spans=columns(), longest_mm=st.floats(50, 20_000), round_to=st.sampled_from([0.5, 1.0]))
def test_edges_judge_every_distance_by_its_own_limit(spans, longest_mm, round_to):
    """The step function and the direct formula agree at every distance outside the 0.01 mm before a rise."""
    limit_set = LimitSet(id="x", title="x", source=SOURCE, spans=spans, round_to_mm=round_to)
    limits = stepped_limits(limit_set, longest_mm)
    edges = np.array([limit.edge_mm for limit in limits])
    assert edges[-1] == longest_mm
    assert np.all(np.diff([limit.limit_mm for limit in limits]) > 0)
    for span in np.linspace(1.0, longest_mm, 97):
        if np.min(np.abs(edges - span)) > 0.02:
            assert governing(limits, span) == pytest.approx(span_limit_mm(limit_set, span), abs=1e-6)


@given(spans=columns(), longest_mm=st.floats(50, 20_000))
def test_the_ladder_is_never_more_than_half_a_rung_off(spans, longest_mm):
    limit_set = LimitSet(id="x", title="x", source=SOURCE, spans=spans)
    limits = stepped_limits(limit_set, longest_mm)
    for span in np.linspace(1.0, longest_mm, 97):
        off = governing(limits, span) - span_limit_mm(limit_set, span)
        assert abs(off) <= LADDER_STEP_MM / 2 + 1e-6


def test_judging_the_edges_is_judging_every_chord():
    """All chords of random lines by brute force, each against its own limit, against the edges' worst gaps."""
    rng = np.random.default_rng(5)
    limits = stepped_limits(LINE_3, 1900.0)
    outcomes = []
    for _ in range(150):
        z = np.cumsum(rng.normal(0, rng.uniform(0.4, 2.5), 20))  # 20 readings, 100 mm apart
        worst = np.zeros(20)  # by steps between the contacts
        for i in range(20):
            for j in range(i + 2, 20):
                k = np.arange(i + 1, j)
                chord = z[i] + (z[j] - z[i]) * (k - i) / (j - i)
                worst[j - i] = max(worst[j - i], np.max(chord - z[k]))
        direct = all(worst[d] <= span_limit_mm(LINE_3, 100.0 * d) for d in range(2, 20))
        by_edges = all(worst[: int(lim.edge_mm // 100) + 1].max() <= lim.limit_mm for lim in limits)
        assert direct == by_edges
        outcomes.append(direct)
    assert 20 < sum(outcomes) < 130  # both outcomes were tried


def test_a_distance_where_the_limit_rises_has_the_higher_limit():
    """Line 3 passes 4.5 mm at 1.25 m and halves round up: contacts 1.25 m apart on a 10 mm grid have 5 mm."""
    limits = stepped_limits(LINE_3, 6000.0)
    assert span_limit_mm(LINE_3, 1250.0) == 5.0
    assert governing(limits, 1240.0) == 4.0
    assert governing(limits, 1250.0) == 5.0


def test_edges_needed_joins_the_sets():
    default, sia = load_limits(["over-old-tiles", "sia251"])
    assert edges_needed([default, sia], 5000.0) == (400.0, 1000.0, 2000.0, 4000.0, 10000.0)
    assert edges_needed([default, LINE_3], 1000.0) == pytest.approx((324.99, 774.99, 1000.0, 2000.0))
    assert edges_needed(load_limits(["zdb-lip"]), 5000.0) == ()


def test_a_set_without_spans_has_no_steps():
    assert stepped_limits(replace(LINE_3, spans=()), 5000.0) == ()
