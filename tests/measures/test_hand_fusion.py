"""Hand readings and scan together: closed forms, an independent twin, and what fusing must never do."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from flatscan.measures.joints.fusion import (
    CONFLICT_SIGMAS,
    LIP_STRAY_PER_MM,
    PLACE_SPREAD_MM,
    contradict,
    fused,
    lip_line,
    lips_with_hand,
    spread_along,
    widths_with_hand,
)

ALONG = np.linspace(-275.0, 275.0, 12)
NONE = np.full(12, np.nan)
VALUE = st.floats(0.0, 8.0)
U = st.floats(0.02, 3.0)
LISTS = st.lists(st.tuples(st.integers(0, 11), VALUE, U), min_size=1, max_size=5)


def array(*values: float) -> np.ndarray:
    return np.array(values, dtype=np.float64)


def test_two_figures_by_hand():
    """1/u² weights 100 and 25: mean (100 * 1.0 + 25 * 1.5) / 125 = 1.1, u = 1 / sqrt(125)."""
    assert fused(array(1.0, 1.5), array(0.1, 0.2)) == pytest.approx((1.1, 125**-0.5))
    assert fused(array(1.0, 9.0), array(0.1, math.inf)) == pytest.approx((1.0, 0.1))
    assert fused(array(1.0, 9.0), array(0.0, 0.1)) == (1.0, 0.0)
    assert fused(array(1.0, 3.0), array(math.inf, math.inf)) == (2.0, math.inf)


def test_the_conflict_bound_is_what_its_comment_says():
    false_alarm = 2.0 * norm.sf(CONFLICT_SIGMAS)
    assert false_alarm == pytest.approx(27e-4, abs=0.5e-4)
    assert 1.0 / (12.0 * false_alarm) == pytest.approx(31.0, abs=0.5)
    assert not contradict(0.0, 0.3, 1.49, 0.4)  # 3 * 0.5 = 1.5
    assert contradict(0.0, 0.3, -1.51, 0.4)


def test_a_lip_line_gives_back_the_line_and_its_doubt():
    u = np.sqrt(0.3**2 + (0.002 * ALONG) ** 2)
    mean, cov = lip_line(ALONG, 0.8 + 0.003 * ALONG, u)
    assert mean == pytest.approx([0.8, 0.003])
    assert np.sqrt(np.diag(cov)) == pytest.approx([0.3, 0.002])


def test_one_reading_decides_the_whole_piece():
    """All stations share one error of 2 mm; a reading of 1.5 ± 0.1 at t = 75 takes its place.

    By hand: gain 4 / (4 + 0.01), so every lip moves by 0.9975 (1.5 - 0.2), u = 2 * 0.1 / sqrt(4.01) there, and
    away from it the tiles' own play of 0.001 a mm.
    """
    value, u = lips_with_hand(ALONG, np.full(12, 0.2), np.full(12, 2.0), array(75.0), array(1.5), array(0.1))
    assert value == pytest.approx(np.full(12, 0.2 + 4.0 / 4.01 * 1.3))
    expected = np.hypot(0.2 / math.sqrt(4.01), LIP_STRAY_PER_MM * np.abs(ALONG - 75.0))
    assert u == pytest.approx(expected, rel=1e-6)


def test_a_lip_the_other_way_round_keeps_its_side():
    value, _ = lips_with_hand(ALONG, np.full(12, -0.2), np.full(12, 2.0), array(0.0), array(1.5), array(0.1))
    assert value == pytest.approx(np.full(12, -0.2 - 4.0 / 4.01 * 1.3))


def test_a_piece_no_scan_saw_has_the_reading_and_grows_doubtful_away_from_it():
    value, u = lips_with_hand(ALONG, NONE, NONE, array(-275.0), array(0.7), array(0.1))
    assert value == pytest.approx(np.full(12, 0.7), abs=1e-3)
    assert u[0] == pytest.approx(0.1, abs=1e-3)
    assert u[-1] == pytest.approx(math.hypot(0.1, math.hypot(0.003, 0.001) * 550.0), rel=0.01)
    assert (np.diff(u) > 0).all()


def test_two_readings_give_a_lip_its_slope():
    value, u = lips_with_hand(ALONG, NONE, NONE, array(-275.0, 275.0), array(0.2, 1.3), array(0.05, 0.05))
    assert value == pytest.approx(0.75 + 0.002 * ALONG, abs=0.02)
    assert u.max() < 0.3


def test_readings_at_some_places_tell_the_others_with_a_spread():
    """One depth of 1.2 ± 0.3: elsewhere u² = 0.3² + 0.4² (its own place) + 0.4² (theirs)."""
    value, u = spread_along(NONE, NONE, np.array([4]), array(1.2), array(0.3))
    assert value == pytest.approx(np.full(12, 1.2))
    assert u[4] == pytest.approx(0.3)
    assert np.delete(u, 4) == pytest.approx(np.full(11, math.sqrt(0.09 + 2 * PLACE_SPREAD_MM**2)))


def test_a_width_reading_tells_the_rounding_of_all_joints():
    """By hand: y - width = edge + wall, u 0.53 and 0.1, reading ± 0.3: the gain is 0.53² / (0.53² + 0.1² + 0.3²)."""
    width, wall_u = array(4.0, 5.0, 4.5), array(0.2, 0.3, 0.1)
    u = np.hypot(wall_u, 0.53)
    value, after = widths_with_hand(width, u, wall_u, 0.53, np.array([2]), array(5.3), array(0.3))
    total = 0.53**2 + 0.1**2 + 0.3**2
    moved = 0.53**2 / total * 0.8
    assert value[:2] == pytest.approx(width[:2] + moved)
    left = 0.53**2 * (0.1**2 + 0.3**2) / total
    assert after[:2] == pytest.approx(np.sqrt(wall_u[:2] ** 2 + left))
    assert (value[2], after[2]) == pytest.approx(fused(array(4.5, 5.3), array(math.hypot(0.53, 0.1), 0.3)))


def dense_twin(width, wall_u, edge_u, station, hand, hand_u):
    """The same by Bayes' rule in information form over (edge, every station's wall), solved densely."""
    n = len(width)
    information = np.diag(np.concatenate([[1 / edge_u**2], 1 / wall_u**2]))
    pull = np.zeros(n + 1)
    for s, y, u in zip(station, hand, hand_u, strict=True):
        row = np.zeros(n + 1)
        row[[0, 1 + s]] = 1.0
        information += np.outer(row, row) / u**2
        pull += row * (y - width[s]) / u**2
    cov = np.linalg.inv(information)
    state = cov @ pull
    to_width = np.column_stack([np.ones(n), np.eye(n)])
    return width + to_width @ state, np.sqrt(np.diag(to_width @ cov @ to_width.T))


@given(LISTS, st.floats(0.1, 1.0))
def test_widths_agree_with_a_dense_solution(readings, edge_u):
    station, hand, hand_u = (np.array(v) for v in zip(*readings, strict=True))
    wall_u = np.linspace(0.05, 0.6, 12)
    width = np.linspace(2.0, 6.0, 12)
    got = widths_with_hand(width, np.hypot(wall_u, edge_u), wall_u, edge_u, station, hand, hand_u)
    expected = dense_twin(width, wall_u, edge_u, station, hand, hand_u)
    for a, b in zip(got, expected, strict=True):
        assert a == pytest.approx(b, abs=1e-6)


@given(LISTS, st.randoms(), st.floats(-2.0, 2.0), st.floats(0.05, 3.0), st.booleans())
def test_fusing_never_enlarges_u_and_knows_no_order(readings, rng, lip, u, seen):
    values, doubts = (np.full(12, lip), np.full(12, u)) if seen else (NONE, NONE)
    mixed = readings.copy()
    rng.shuffle(mixed)
    results = []
    for order in (readings, mixed):
        station, hand, hand_u = (np.array(v) for v in zip(*order, strict=True))
        lips = lips_with_hand(ALONG, values, doubts, ALONG[station], hand, hand_u)
        depths = spread_along(np.abs(values), doubts, station, hand, hand_u)
        widths = widths_with_hand(
            np.full(12, 3.0), np.hypot(np.full(12, u), 0.53), np.full(12, u), 0.53, station, hand, hand_u
        )
        results.append((*lips, *depths, *widths))
        if seen:
            assert (lips[1] <= u).all()
            assert (depths[1] <= u + 1e-12).all()
        assert (widths[1] <= np.hypot(u, 0.53) + 1e-12).all()
    for a, b in zip(*results, strict=True):
        assert a == pytest.approx(b, abs=1e-6)


def test_intervals_after_fusing_hold_the_truth():
    """2000 floors: width = wall + rounding, readings at 2 of 12 stations; 95 % of truths within 1.96 u.

    The share of 2000 independent floors has a standard deviation of 0.5 %; stations of one floor are correlated, so
    one station each is counted: bound 4 of those.
    """
    rng = np.random.default_rng(11)
    wall_u, held = np.full(12, 0.25), 0
    for _ in range(2000):
        wall = rng.uniform(2.0, 6.0, 12)
        truth = wall + 0.75 + 0.53 * rng.standard_normal()
        width = wall + 0.25 * rng.standard_normal(12) + 0.75
        station = np.array([2, 9])
        hand = truth[station] + 0.3 * rng.standard_normal(2)
        value, u = widths_with_hand(width, np.hypot(wall_u, 0.53), wall_u, 0.53, station, hand, np.full(2, 0.3))
        held += abs(value[5] - truth[5]) <= 1.959964 * u[5]
    assert held / 2000 == pytest.approx(0.95, abs=0.02)


def test_lip_intervals_after_a_reading_hold_the_truth():
    """2000 pieces: lips of N(0, 1.5) mm with N(0, 1) mm per m of slope, a scan that is off by a line, one reading.

    The side of a small lip may be taken wrongly, which its size hardly shows. Binomial sd 0.5 %; bound 4 of those.
    """
    rng = np.random.default_rng(12)
    u, held = np.hypot(1.0, 0.002 * ALONG), 0
    for _ in range(2000):
        truth = rng.normal(0.0, 1.5) + rng.normal(0.0, LIP_STRAY_PER_MM) * ALONG
        scan = truth + rng.normal(0.0, 1.0) + rng.normal(0.0, 0.002) * ALONG
        read = array(ALONG[6])
        hand = array(abs(abs(truth[6]) + rng.normal(0.0, 0.1)))
        value, after = lips_with_hand(ALONG, scan, u, read, hand, array(0.1))
        held += abs(abs(value[10]) - abs(truth[10])) <= 1.959964 * after[10]
    assert held / 2000 >= 0.93
