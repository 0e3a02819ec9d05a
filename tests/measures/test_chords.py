"""The gap search: closed forms, an all-chords oracle, invariances, holes and walls, odd shapes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatscan.measures import chords
from flatscan.measures.chords import GapField, contacts_at, gap_field
from flatscan.measures.gap_batch import gap_batch
from flatscan.measures.line_family import line_families

#: float32 gaps of a few mm: 1 ulp is 2.4e-7 at 2 to 4 mm; sums below 100 mm in float64 add 1e-14.
MAP_ROUNDING_MM = 1e-5


@pytest.fixture(params=["compiled", "plain"])
def search(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Both searches: the compiled one and its plain twin."""
    if request.param == "plain":
        monkeypatch.setattr(chords, "_kernel", lambda: None)
    elif chords._kernel() is None:
        pytest.skip("numba is not installed")
    return str(request.param)


def line_gap(z: np.ndarray, edge: float, cell: float = 1.0, bridge: float = 0.0) -> np.ndarray:
    z = np.asarray(z)
    return gap_field(
        z[None, :], np.ones((1, len(z)), bool), cell_mm=cell, edge_mm=edge, bridge_mm=bridge, directions=1
    ).gap_mm[0]


def all_chords(z: np.ndarray, window: int) -> np.ndarray:
    """The definition itself, every chord tried."""
    n = len(z)
    i, k, j = np.ogrid[:n, :n, :n]
    spans = (i < k) & (k < j) & (j - i <= window)
    chord = z[i] + (z[j] - z[i]) * (k - i) / np.where(j > i, j - i, 1)
    highest = np.where(spans & np.isfinite(chord), chord, -np.inf).max(axis=(0, 2), initial=-np.inf)
    return np.where(np.isnan(z), np.nan, np.maximum(highest, z) - z)


def random_line(kind: int, n: int, rng: np.random.Generator) -> np.ndarray:
    x = np.arange(n, dtype=float)
    return [
        rng.normal(size=n),
        rng.integers(0, 3, n).astype(float),
        np.cumsum(rng.normal(size=n)),
        0.05 * x**2,
        -0.1 * x**2,
        np.where(x < n // 2, 0.0, 2.0),
        np.zeros(n),
    ][kind]


def test_against_all_chords(search: str) -> None:
    rng = np.random.default_rng(7)
    for trial in range(2100 if search == "compiled" else 350):
        n, window = int(rng.integers(1, 60)), int(rng.integers(1, 40))
        z = random_line(trial % 7, n, rng)
        np.testing.assert_allclose(line_gap(z, window), all_chords(z, window), atol=MAP_ROUNDING_MM)


def test_against_all_chords_with_holes(search: str) -> None:
    """Every hole is bridged here, and none can be a contact."""
    rng = np.random.default_rng(8)
    for trial in range(600 if search == "compiled" else 150):
        n, window = int(rng.integers(1, 50)), int(rng.integers(1, 40))
        z = random_line(trial % 7, n, rng)
        z[rng.random(n) < 0.3] = np.nan
        hole = int(min(30.0, window / 4.0) + 1e-6)
        pieces = all_chords_in_pieces(z, window, hole)
        np.testing.assert_allclose(line_gap(z, window, bridge=30.0), pieces, atol=MAP_ROUNDING_MM)


def all_chords_in_pieces(z: np.ndarray, window: int, hole: int) -> np.ndarray:
    gap = np.full(len(z), np.nan)
    start, unseen = 0, 0
    for k in range(len(z) + 1):
        unseen = unseen + 1 if k < len(z) and np.isnan(z[k]) else 0
        if unseen == hole + 1 or k == len(z):
            piece = z[start:k]
            gap[start:k] = np.where(np.isnan(piece), np.nan, all_chords(piece, window))
            start = k
    return gap


def test_twins_agree_on_grids(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(3)
    for trial in range(40):
        shape = tuple(rng.integers(1, 40, 2))
        z = [rng.normal(size=shape), np.cumsum(rng.normal(size=shape), axis=1)][trial % 2]
        z[rng.random(shape) < (0.2 if trial % 3 else 0.0)] = np.nan
        inside = rng.random(shape) > (0.05 if trial % 5 == 0 else -1.0)
        laid = {
            "cell_mm": 1.0,
            "edge_mm": float(rng.uniform(1, 30)),
            "bridge_mm": 3.0,
            "directions": 12 if trial % 4 else 4,
        }
        fast: GapField = gap_field(z, inside, **laid)
        with monkeypatch.context() as patch:
            patch.setattr(chords, "_kernel", lambda: None)
            slow = gap_field(z, inside, **laid)
        np.testing.assert_allclose(fast.gap_mm, slow.gap_mm, atol=MAP_ROUNDING_MM)


def test_short_windows_agree_with_the_hull_walk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Heights of 5 mm in float32: 2.4e-7 each for two ends, the reading and the slope carried along, under 2e-6."""
    rng = np.random.default_rng(9)
    for trial in range(60):
        shape = tuple(rng.integers(1, 45, 2))
        z = rng.normal(size=(3, *shape)).astype(np.float32)
        inside = rng.random(shape) > (0.03 if trial % 3 == 0 else -1.0)
        inside[shape[0] // 2 :, shape[1] // 2 :] &= trial % 4 != 0
        z[rng.random(z.shape) < (0.25 if trial % 2 else 0.0)] = np.nan
        z[:, ~inside] = np.nan if trial % 5 else 7.0
        laid = {
            "cell_mm": 1.0,
            "edge_mm": float(rng.uniform(1, 60)),
            "bridge_mm": 4.0,
            "directions": 12 if trial % 7 else 4,
        }
        batch = gap_batch(z, inside, **laid)
        np.testing.assert_allclose(batch, [gap_field(h, inside, **laid).gap_mm for h in z], atol=2e-6)
        with monkeypatch.context() as patch:
            patch.setattr("flatscan.measures.gap_batch._kernel", lambda: None)
            np.testing.assert_allclose(gap_batch(z, inside, **laid), batch, atol=2e-6)


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (9, 1), (2, 2), (0, 5)])
def test_small_grids_in_batches(shape: tuple[int, int]) -> None:
    z = np.random.default_rng(1).normal(size=(2, *shape)).astype(np.float32)
    assert np.all(gap_batch(z, np.ones(shape, bool), cell_mm=1.0, edge_mm=50.0) >= 0.0)
    assert np.isnan(gap_batch(np.full_like(z, np.nan), np.ones(shape, bool), cell_mm=1.0, edge_mm=50.0)).all()


def test_threads_of_batches_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    z = np.random.default_rng(0).normal(size=(5, 60, 70)).astype(np.float32)
    inside = np.ones((60, 70), bool)
    one, many = (
        gap_batch(z, inside, cell_mm=5.0, edge_mm=200.0)
        for work in (10**9, 0)
        if not monkeypatch.setattr("flatscan.measures.gap_batch.WORK_FOR_THREADS", work)
    )
    np.testing.assert_array_equal(one, many)


def test_threads_change_nothing() -> None:
    if chords._kernel() is None:
        pytest.skip("numba is not installed")
    z = np.random.default_rng(0).normal(size=(330, 340)).astype(np.float32)
    inside = np.ones(z.shape, bool)
    assert z.size >= chords.CELLS_FOR_THREADS
    whole = gap_field(z, inside, cell_mm=5.0, edge_mm=200.0)
    # 290 rows fit on one thread; away from its cut (40 cells of edge) the part must agree exactly.
    part = gap_field(z[:290], inside[:290], cell_mm=5.0, edge_mm=200.0)
    np.testing.assert_array_equal(part.gap_mm[:250], whole.gap_mm[:250])


def test_plane_and_hump_have_no_gap(search: str) -> None:
    y, x = np.indices((7, 12)).astype(float)
    inside = np.ones((7, 12), bool)
    tilted = gap_field(0.3 * x - 0.2 * y + 5.0, inside, cell_mm=1.0, edge_mm=8.0, directions=4)
    assert np.all(tilted.gap_mm < 1e-12)
    hump = gap_field(-((x - 5.0) ** 2) - (y - 3.0) ** 2, inside, cell_mm=1.0, edge_mm=8.0, directions=12)
    through_cells = gap_field(-((x - 5.0) ** 2) - (y - 3.0) ** 2, inside, cell_mm=1.0, edge_mm=8.0, directions=4)
    assert np.all(through_cells.gap_mm < 1e-12)
    assert hump.gap_mm.shape == (7, 12)


def test_v_notch_and_step(search: str) -> None:
    """A notch of depth 2 and half width 10 beneath a 40 edge shows 2; beneath a 10 edge only what 10 spans: 1.

    Beneath an edge of length L inside the notch the chord joins two flanks: depth 2·(L/2)/10 = 1 at its middle.
    A step of 2 is seen from below: the edge rests on the upper level's rim and L away on the lower one, so
    right at the rim (one cell off) the gap is 2·(L - 1)/L.
    """
    x = np.arange(101) - 50.0
    notch = np.minimum(0.0, np.abs(x) / 10.0 - 1.0) * 2.0
    assert line_gap(notch, 40.0)[50] == pytest.approx(2.0, abs=1e-6)
    assert line_gap(notch, 10.0)[50] == pytest.approx(1.0, abs=1e-6)
    step = np.where(x < 0.0, 0.0, 2.0)
    gap = line_gap(step, 20.0)
    assert gap[49] == pytest.approx(2.0 * 19.0 / 20.0, abs=1e-6)
    np.testing.assert_allclose(gap[50 - 20 : 50], 2.0 * np.arange(0.0, 20.0) / 20.0, atol=1e-6)
    assert np.all(gap[50:] < 1e-12)


@given(seed=st.integers(0, 2**32 - 1), a=st.floats(-0.02, 0.02), b=st.floats(-0.02, 0.02))
@settings(max_examples=30, deadline=None)
def test_a_plane_changes_nothing_along_rows_columns_and_diagonals(seed: int, a: float, b: float) -> None:
    z = np.random.default_rng(seed).normal(size=(13, 17))
    y, x = np.indices(z.shape)
    inside = np.ones(z.shape, bool)
    laid = {"cell_mm": 10.0, "edge_mm": 90.0, "directions": 4}
    before = gap_field(z, inside, **laid).gap_mm
    after = gap_field(z + a * 10.0 * x + b * 10.0 * y + 7.0, inside, **laid).gap_mm
    np.testing.assert_allclose(after, before, atol=MAP_ROUNDING_MM)


@given(seed=st.integers(0, 2**32 - 1), edge=st.floats(2.0, 20.0), longer=st.floats(0.0, 10.0))
@settings(max_examples=30, deadline=None)
def test_a_longer_edge_never_shows_less(seed: int, edge: float, longer: float) -> None:
    z = np.random.default_rng(seed).normal(size=(9, 14))
    inside = np.ones(z.shape, bool)
    short = gap_field(z, inside, cell_mm=1.0, edge_mm=edge).gap_mm
    long = gap_field(z, inside, cell_mm=1.0, edge_mm=edge + longer).gap_mm
    assert np.all(long >= short - MAP_ROUNDING_MM)


@given(seed=st.integers(0, 2**32 - 1), e=st.floats(0.0, 2.0))
@settings(max_examples=20, deadline=None)
def test_the_gap_moves_by_at_most_twice_the_error(seed: int, e: float) -> None:
    rng = np.random.default_rng(seed)
    z, inside = rng.normal(size=(8, 11)), np.ones((8, 11), bool)
    moved = z + rng.uniform(-e, e, z.shape)
    laid = {"cell_mm": 1.0, "edge_mm": 9.0}
    change = np.abs(gap_field(moved, inside, **laid).gap_mm - gap_field(z, inside, **laid).gap_mm)
    assert change.max() <= 2.0 * e + MAP_ROUNDING_MM


def test_quarter_turn_and_mirror() -> None:
    """Exact along rows, columns and diagonals; in odd shape, where swapped axes would show."""
    z = np.random.default_rng(5).normal(size=(7, 12))
    z[2, 3] = np.nan
    inside = np.ones(z.shape, bool)
    inside[4:, 8:] = False  # L-shaped

    def gap(height: np.ndarray, room: np.ndarray) -> np.ndarray:
        return gap_field(height, room, cell_mm=1.0, edge_mm=6.0, bridge_mm=1.0, directions=4).gap_mm

    straight = gap(z, inside)
    np.testing.assert_allclose(gap(np.rot90(z), np.rot90(inside)), np.rot90(straight), atol=MAP_ROUNDING_MM)
    np.testing.assert_allclose(gap(z[:, ::-1], inside[:, ::-1]), straight[:, ::-1], atol=MAP_ROUNDING_MM)
    np.testing.assert_allclose(gap(z.T, inside.T), straight.T, atol=MAP_ROUNDING_MM)
    assert np.isnan(straight[~inside]).all()
    assert np.isnan(straight[2, 3])


def test_large_offset_and_float32() -> None:
    """Absolute heights of 1e6 mm cost 1.2e-10 mm in float64; float32 heights of 10 mm cost 4e-7 each."""
    z = np.random.default_rng(6).normal(size=(7, 12)) * 3.0
    inside = np.ones(z.shape, bool)
    laid = {"cell_mm": 5.0, "edge_mm": 40.0}
    gap = gap_field(z, inside, **laid).gap_mm
    np.testing.assert_allclose(gap_field(z + 1e6, inside, **laid).gap_mm, gap, atol=1e-6)
    np.testing.assert_allclose(gap_field(z.astype(np.float32), inside, **laid).gap_mm, gap, atol=3e-6)


def test_walls_break_the_line_and_holes_up_to_a_limit(search: str) -> None:
    z = np.zeros(41)
    z[[10, 30]] = 3.0
    seen = gap_field(z[None], np.ones((1, 41), bool), cell_mm=10.0, edge_mm=400.0, directions=1)
    assert seen.gap_mm[0, 20] == pytest.approx(3.0)
    assert not seen.bridged.any()
    wall = np.ones((1, 41), bool)
    wall[0, 25] = False
    blocked = gap_field(np.where(wall, z, np.nan), wall, cell_mm=10.0, edge_mm=400.0, directions=1).gap_mm[0]
    # Left of the wall the edge can only rest on the peak and the floor before the wall: 3 · (24 - 20)/14.
    assert blocked[20] == pytest.approx(3.0 * 4.0 / 14.0, abs=1e-6)
    for cells, bridged in ((10, True), (11, False)):
        holed = z.copy()
        holed[12 : 12 + cells] = np.nan
        # min(100 mm, 400 / 4 mm) = 100 mm = ten cells.
        gap = gap_field(holed[None], np.ones((1, 41), bool), cell_mm=10.0, edge_mm=400.0, directions=1)
        assert bool(gap.gap_mm[0, 26] == pytest.approx(3.0)) is bridged
        assert bool(gap.bridged[0, 26]) is bridged
        assert np.isnan(gap.gap_mm[0, 13])


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (9, 1), (2, 2), (0, 5)])
def test_small_grids(search: str, shape: tuple[int, int]) -> None:
    z = np.random.default_rng(1).normal(size=shape)
    for directions in (1, 4, 12):
        field = gap_field(z, np.ones(shape, bool), cell_mm=1.0, edge_mm=50.0, directions=directions)
        assert field.gap_mm.shape == shape
        assert np.all(field.gap_mm >= 0.0)


def test_nothing_seen_and_all_but_one(search: str) -> None:
    z = np.full((5, 6), np.nan)
    inside = np.ones(z.shape, bool)
    assert np.isnan(gap_field(z, inside, cell_mm=1.0, edge_mm=4.0).gap_mm).all()
    z[2, 2] = 4.0
    field = gap_field(z, inside, cell_mm=1.0, edge_mm=4.0)
    assert field.gap_mm[2, 2] == 0.0
    assert np.isnan(field.gap_mm).sum() == 29
    assert (field.direction == -1).all()


def test_contacts_belong_to_the_map() -> None:
    rng = np.random.default_rng(2)
    z = np.cumsum(rng.normal(size=(17, 23)), axis=1)
    z[rng.random(z.shape) < 0.1] = np.nan
    inside = np.ones(z.shape, bool)
    laid = {"cell_mm": 10.0, "edge_mm": 120.0, "bridge_mm": 30.0}
    field = gap_field(z, inside, **laid)
    tried = 0
    for row, col in np.argwhere(field.direction >= 0):
        d = int(field.direction[row, col])
        rest = contacts_at(z, inside, row=int(row), col=int(col), direction=d, **laid)
        assert rest is not None
        assert rest.gap_mm == pytest.approx(field.gap_mm[row, col], abs=MAP_ROUNDING_MM)
        assert rest.span_mm <= 120.0 + 1e-6
        # Nearest-cell lines: the cells' own distance is within a cell's diagonal of the line's length.
        apart = 10.0 * math.dist(rest.first, rest.second)
        assert abs(apart - rest.span_mm) <= 10.0 * math.sqrt(2.0)
        tried += 1
    assert tried > 100


def test_widest_rest_on_ties() -> None:
    z = np.zeros((1, 21))
    z[0, [2, 8, 12, 18]] = 1.0
    rest = contacts_at(z, np.isfinite(z), row=0, col=10, direction=0, cell_mm=1.0, edge_mm=20.0, directions=1)
    assert rest is not None
    assert (rest.first, rest.second) == ((0, 2), (0, 18))


def test_no_rest_beyond_a_wall() -> None:
    z = np.zeros((1, 9))
    inside = np.ones((1, 9), bool)
    inside[0, 5] = False
    z[0, 5] = np.nan
    assert contacts_at(z, inside, row=0, col=4, direction=0, cell_mm=1.0, edge_mm=8.0, directions=1) is None


@pytest.mark.parametrize(("shape", "directions"), [((7, 12), 12), ((12, 7), 12), ((7, 12), 4), ((3, 1), 4)])
def test_every_cell_is_on_one_line_of_each_direction(shape: tuple[int, int], directions: int) -> None:
    for family in line_families(shape, cell_mm=1.0, directions=directions):
        lines = set()
        for row, col in np.ndindex(shape):
            rows, cols, at = family.through(row, col, shape)
            assert (rows[at], cols[at]) == (row, col)
            lines.add(tuple(zip(rows.tolist(), cols.tolist(), strict=True)))
        assert sum(len(line) for line in lines) == shape[0] * shape[1]


def test_directions_point_where_they_say() -> None:
    """A groove along y is seen by an edge along x, angle 0; its turn by an edge at 90° or 45°."""
    z = np.zeros((9, 13))
    z[:, 6] = -2.0
    field = gap_field(z, np.ones(z.shape, bool), cell_mm=1.0, edge_mm=4.0, directions=4)
    assert field.angles_rad[field.direction[4, 6]] == 0.0
    turned = gap_field(z.T, np.ones(z.T.shape, bool), cell_mm=1.0, edge_mm=4.0, directions=4)
    assert turned.angles_rad[turned.direction[6, 4]] in (pytest.approx(math.pi / 2), pytest.approx(math.pi / 4))
    ramp = np.zeros((21, 21))
    y, x = np.indices(ramp.shape)
    ramp[np.abs(x - y) <= 1] = -2.0  # a groove rising with x and y: an edge at 135° crosses it squarely
    diagonal = gap_field(ramp, np.ones(ramp.shape, bool), cell_mm=1.0, edge_mm=4.3, directions=4)
    assert diagonal.gap_mm[10, 10] == pytest.approx(2.0)
    assert diagonal.angles_rad[diagonal.direction[10, 10]] != pytest.approx(math.pi / 4)
