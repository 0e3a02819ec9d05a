"""The least fill: equal to a linear programme's, never more than any other fill, and what it must leave alone."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from scipy.sparse import coo_matrix

from flatscan.levelling.least_fill import AIM_BELOW_MM, EdgeRule
from flatscan.levelling.least_fill import least_fill as least_fill_of
from flatscan.measures.chords import gap_field

CELL_MM = 50.0
#: The sweeps end when none lifts by more than a tenth of AIM_BELOW_MM; each later one lifts less, so what is missing
#: from the limit of the sweeps is of that size.
SETTLED_MM = 1e-3
FOUR = EdgeRule(cell_mm=CELL_MM, directions=4)


def least_fill(*args, **options) -> np.ndarray:
    return least_fill_of(*args, **options).fill_mm


def bumpy(rows: int, cols: int, seed: int, size: float = 2.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:rows, 0:cols]
    waves = np.zeros((rows, cols))
    for _ in range(6):
        phase = rng.uniform(0, 0.12) * x + rng.uniform(0, 0.12) * y
        waves += rng.normal(0, size) * np.cos(2 * np.pi * phase + rng.uniform(0, 6))
    return np.asarray(waves + rng.normal(0, 0.3, (rows, cols)))


def chords(inside: np.ndarray, edge_mm: float):
    """All (i, k, j, share of i) in four directions: contacts i, j no further apart than the edge, k between."""
    rows, cols = inside.shape
    for dr, dc in ((0, 1), (1, 0), (1, 1), (1, -1)):
        most = int(edge_mm / (CELL_MM * np.hypot(dr, dc)) + 1e-6)
        for r in range(rows):
            for c in range(cols):
                for n in range(2, most + 1):
                    rr, cc = r + n * dr, c + n * dc
                    if not (0 <= rr < rows and 0 <= cc < cols):
                        break
                    if not all(inside[r + m * dr, c + m * dc] for m in range(n + 1)):
                        break
                    for m in range(1, n):
                        yield r * cols + c, (r + m * dr) * cols + c + m * dc, rr * cols + cc, 1 - m / n


def least_by_linear_programme(z: np.ndarray, inside: np.ndarray, edge_mm: float, limit_mm: float) -> np.ndarray:
    """The same problem as a linear programme over all chords, by scipy's HiGHS."""
    rows = list(chords(inside, edge_mm))
    data, row, col = [], [], []
    for n, (i, k, j, share) in enumerate(rows):
        data += [share, 1 - share, -1.0]
        row += [n, n, n]
        col += [i, j, k]
    matrix = coo_matrix((data, (row, col)), shape=(len(rows), z.size))
    flat = np.where(inside, z, 0.0).ravel()
    answer = linprog(np.ones(z.size), A_ub=matrix, b_ub=np.full(len(rows), limit_mm), bounds=[(v, None) for v in flat])
    assert answer.status == 0
    return answer.x.reshape(z.shape) - np.where(inside, z, 0.0)


@pytest.mark.parametrize(("shape", "seed", "limit_mm"), [((7, 12), 1, 1.5), ((13, 9), 2, 1.0), ((12, 17), 3, 2.0)])
def test_equals_the_linear_programme_cell_by_cell(shape, seed, limit_mm):
    z = bumpy(*shape, seed)
    inside = np.ones(shape, dtype=bool)
    if seed == 3:
        inside[:5, 9:] = False  # an L-shaped room
        z[~inside] = np.nan
    fill = least_fill(z, inside, [(500.0, limit_mm)], FOUR)
    best = least_by_linear_programme(z, inside, 500.0, limit_mm - AIM_BELOW_MM)
    assert best.max() > 0.5  # there was something to fill
    np.testing.assert_allclose(fill[inside], best[inside], atol=SETTLED_MM)


@given(seed=st.integers(0, 10_000), lift=st.floats(0.0, 4.0), limit_mm=st.floats(0.5, 3.0))
@settings(max_examples=40, deadline=None)
def test_no_other_fill_is_thinner_anywhere(seed, lift, limit_mm):
    """Any floor raised at random and then made to meet the limit lies nowhere below the least one."""
    z = bumpy(7, 12, seed)
    inside = np.ones(z.shape, dtype=bool)
    targets = [(450.0, limit_mm)]
    start = z + lift * np.random.default_rng(seed).random(z.shape) ** 3
    other = start + least_fill(start, inside, targets, FOUR)
    least = z + least_fill(z, inside, targets, FOUR)
    # Both aim at the same limit; a floor that needs nothing may use the last AIM_BELOW_MM of it, and a fill chain of
    # n moves carries n times that: twelve cells hold no chain longer than six.
    assert np.all(least <= other + 6 * AIM_BELOW_MM + SETTLED_MM)


@given(seed=st.integers(0, 10_000), limits=st.tuples(st.floats(0.3, 2.0), st.floats(0.3, 4.0)))
@settings(max_examples=30, deadline=None)
def test_the_filled_floor_meets_every_target_when_measured_again(seed, limits):
    z = bumpy(7, 12, seed)
    inside = np.ones(z.shape, dtype=bool)
    targets = [(200.0, min(limits)), (550.0, max(limits))]
    rule = EdgeRule(cell_mm=CELL_MM, directions=12)
    for least_layer in (0.0, 1.0):
        fill = least_fill(z, inside, targets, rule, least_layer_mm=least_layer)
        for edge, limit in targets:
            after = gap_field(z + fill, inside, cell_mm=CELL_MM, edge_mm=edge, directions=12).gap_mm
            assert np.nanmax(after) <= limit + 1e-5  # gap maps are float32
        assert np.all((fill == 0) | (fill >= least_layer - 1e-9))


def test_a_floor_that_meets_the_limit_gets_exactly_nothing():
    z = bumpy(21, 34, 4)
    inside = np.ones(z.shape, dtype=bool)
    worst = float(np.nanmax(gap_field(z, inside, cell_mm=CELL_MM, edge_mm=900.0, directions=12).gap_mm))
    rule = EdgeRule(cell_mm=CELL_MM)
    assert np.all(least_fill(z, inside, [(900.0, worst + 1e-4)], rule, least_layer_mm=1.0) == 0.0)
    assert least_fill(z, inside, [(900.0, worst - 0.02)], rule).max() > 0.0


def test_tilt_and_lift_change_nothing():
    """Exactly so where lines run through cell centres (0, 45, 90, 135 degrees); 1e-9 mm is rounding at 1e4 mm."""
    z = bumpy(12, 17, 5)
    inside = np.ones(z.shape, dtype=bool)
    y, x = np.mgrid[0:12, 0:17]
    flat = least_fill(z, inside, [(600.0, 1.0)], FOUR)
    tilted = least_fill(z + 0.4 * x - 0.9 * y + 12_000.0, inside, [(600.0, 1.0)], FOUR)
    np.testing.assert_allclose(tilted, flat, atol=1e-9 * 100)


def test_mirror_and_quarter_turn():
    """Four directions are a set that mirrors and turns into itself; the order of the sweeps leaves SETTLED_MM."""
    z = bumpy(7, 12, 6)
    fill = least_fill(z, np.ones(z.shape, dtype=bool), [(450.0, 1.0)], FOUR)
    for turn in (np.fliplr, np.flipud, np.rot90):
        turned = least_fill(turn(z).copy(), np.ones(turn(z).shape, dtype=bool), [(450.0, 1.0)], FOUR)
        np.testing.assert_allclose(turned, turn(fill), atol=2 * SETTLED_MM)


def test_a_larger_limit_and_a_shorter_edge_never_take_more():
    z = bumpy(21, 34, 7)
    inside = np.ones(z.shape, dtype=bool)
    by_limit = [least_fill(z, inside, [(900.0, t)], FOUR) for t in (0.8, 1.2, 2.0, 4.0)]
    by_edge = [least_fill(z, inside, [(e, 1.0)], FOUR) for e in (900.0, 600.0, 300.0)]
    for fills in (by_limit, by_edge):
        for more, less in pairwise(fills):
            assert np.all(less <= more + SETTLED_MM)


def test_v_notch():
    """A groove in a flat floor, spanned by the edge: the fill is max(0, depth - t).

    The edge rests on the flat on either side, so the gap is the depth; filled to t below the flat it meets the
    limit, and less would not.
    """
    x = np.arange(41) - 20
    depth = np.maximum(0.0, 6.0 - 1.0 * np.abs(x))
    z = np.tile(-depth, (5, 1))
    fill = least_fill(z, np.ones(z.shape, dtype=bool), [(1000.0, 2.0)], FOUR)
    expected = np.maximum(0.0, depth - (2.0 - AIM_BELOW_MM))
    np.testing.assert_allclose(fill, np.tile(expected, (5, 1)), atol=SETTLED_MM)


def test_single_step():
    """A step 8 mm high, an edge of six cells, limit 1.5 mm: the ramp that a plain search over all chords arrives at.

    The twin raises one reading of one line at a time to its highest chord less the limit, until nothing moves.
    """
    height, limit, window, n = 8.0, 1.5, 6, 30
    floor = np.where(np.arange(n) < 10, height, 0.0)
    y = floor.copy()
    for _ in range(500):
        for k in range(1, n - 1):
            for i in range(max(0, k - window + 1), k):
                for j in range(k + 1, min(n, i + window + 1)):
                    chord = y[i] + (y[j] - y[i]) * (k - i) / (j - i)
                    y[k] = max(y[k], chord - (limit - AIM_BELOW_MM))
    assert y[10] > 4.0  # the slow way did fill a ramp
    z = np.tile(floor, (3, 1))
    fill = least_fill(
        z, np.ones(z.shape, dtype=bool), [(window * CELL_MM, limit)], EdgeRule(cell_mm=CELL_MM, directions=1)
    )
    np.testing.assert_allclose(fill[1], y - floor, atol=SETTLED_MM)


def test_unseen_cells_stay_unseen_and_unfilled():
    z = bumpy(12, 17, 8)
    z[4:6, 7:9] = np.nan
    before = z.copy()
    fill = least_fill(z, np.ones(z.shape, dtype=bool), [(600.0, 1.0)], FOUR)
    np.testing.assert_array_equal(np.isnan(fill), np.isnan(z))
    np.testing.assert_array_equal(z, before)


def test_least_layer_takes_no_more_than_it_must():
    """Of all fills of 0 or at least m the least: thicker than without m, and where it is filled no thinner than m."""
    z = bumpy(12, 17, 9)
    inside = np.ones(z.shape, dtype=bool)
    thin = least_fill(z, inside, [(600.0, 1.0)], FOUR)
    thick = least_fill(z, inside, [(600.0, 1.0)], FOUR, least_layer_mm=1.5)
    assert np.all(thick >= thin - SETTLED_MM)
    assert set(np.flatnonzero(thin > SETTLED_MM)) <= set(np.flatnonzero(thick))
    assert thick[thick > 0].min() >= 1.5 - 1e-9


@pytest.mark.parametrize("shape", [(1, 1), (1, 2), (1, 9), (9, 1)])
def test_floors_of_one_row_or_cell(shape):
    z = np.zeros(shape)
    z.flat[::2] = 5.0
    fill = least_fill(z, np.ones(shape, dtype=bool), [(1000.0, 1.0)], FOUR)
    assert fill.shape == shape
    assert np.all(fill >= 0)
    if max(shape) == 9:
        np.testing.assert_allclose(fill.ravel()[1::2], 5.0 - (1.0 - AIM_BELOW_MM), atol=SETTLED_MM)


def test_all_unseen():
    z = np.full((5, 6), np.nan)
    assert np.isnan(least_fill(z, np.ones(z.shape, dtype=bool), [(500.0, 1.0)], FOUR)).all()
