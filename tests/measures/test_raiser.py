"""Raising a floor: it meets the limits, the twins agree, and skipping what did not change changes nothing."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatscan.measures import raiser as module
from flatscan.measures.chords import gap_field
from flatscan.measures.chords_plain import LEAST_RISE_MM
from flatscan.measures.raiser import Raiser

#: Sweeps end when none lifts by more; what is missing from their limit is of that size, many times less than SAME_MM.
SETTLED_MM, SAME_MM = 1e-8, 1e-6


@pytest.fixture(params=["compiled", "plain"])
def lift(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Both lifts: the compiled one and its plain twin."""
    if request.param == "plain":
        monkeypatch.setattr(module, "_kernel", lambda: None)
    elif module._kernel() is None:
        pytest.skip("numba is not installed")
    return str(request.param)


def forgetful(raiser: Raiser) -> Callable[[], float]:
    """A sweep that visits everything, as if every cell rose at every lift."""

    def sweep() -> float:
        for stamps in (raiser._rose, raiser._tiles):
            stamps[...] = np.iinfo(np.int32).max
        return raiser_sweep()

    raiser_sweep = raiser.sweep
    return sweep


def settle(sweep: Callable[[], float]) -> None:
    while sweep() > SETTLED_MM:
        pass


def random_floor(seed: int, shape: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    """Bumps and steps with unseen cells and, sometimes, walls."""
    rng = np.random.default_rng(seed)
    z = np.cumsum(rng.normal(size=shape), axis=int(rng.integers(2))) + 5.0 * (rng.random(shape) < 0.03)
    z[rng.random(shape) < rng.choice([0.0, 0.1, 0.3])] = np.nan
    inside = rng.random(shape) > rng.choice([-1.0, 0.03])
    if rng.random() < 0.5:
        inside[shape[0] // 2 :, shape[1] // 2 :] = False
    return z, inside


@given(
    seed=st.integers(0, 2**32 - 1),
    shape=st.sampled_from([(7, 12), (12, 7), (1, 30), (35, 41), (16, 33), (53, 19)]),
    edges=st.lists(st.floats(1.5, 14.0), min_size=1, max_size=3),
    directions=st.sampled_from([1, 4, 12]),
)
@settings(max_examples=60, deadline=None)
def test_skipping_changes_nothing(seed, shape, edges, directions) -> None:
    z, inside = random_floor(seed, shape)
    targets = [(edge, 0.2 + 0.1 * edge) for edge in edges]
    laid = {"cell_mm": 1.0, "directions": directions, "bridge_mm": 3.0}
    skipping, visiting = Raiser(z, inside, targets, **laid), Raiser(z, inside, targets, **laid)
    by_hand = np.random.default_rng(seed).random(shape) < 0.02
    for _ in range(3):
        settle(skipping.sweep)
        settle(forgetful(visiting))
        np.testing.assert_allclose(skipping.surface_mm, visiting.surface_mm, atol=SAME_MM)
        raised = np.where(by_hand, z + 1.0, z)  # what a feather does between sweeps
        assert skipping.raise_to(raised) == pytest.approx(visiting.raise_to(raised), abs=SAME_MM)
        by_hand = np.roll(by_hand, 3)


@pytest.mark.parametrize("across", [False, True])
def test_a_band_that_rose_lifts_the_floor_a_window_to_either_side(across: bool) -> None:
    """So many cells at once are searched like a gap map, but only near them, and not across the unseen strip."""
    z = 0.1 * np.random.default_rng(2).normal(size=(40, 150))
    z[:, 120:125] = np.nan
    band = np.zeros(z.shape)
    band[:, 60:75] = band[:, 110:118] = 5.0
    if across:
        z, band = z.T.copy(), band.T.copy()
    laid = {"cell_mm": 1.0, "directions": 4, "bridge_mm": 3.0}
    raisers = [Raiser(z, np.ones(z.shape, bool), [(14.0, 0.4), (5.0, 0.2)], **laid) for _ in range(2)]
    for raiser, sweep in zip(raisers, (raisers[0].sweep, forgetful(raisers[1])), strict=True):
        settle(sweep)
        raiser.raise_to(z + band)
        settle(sweep)
    np.testing.assert_allclose(raisers[0].surface_mm, raisers[1].surface_mm, atol=SAME_MM)
    rise = (raisers[0].surface_mm - z - band).max(axis=int(across), where=np.isfinite(z), initial=0.0)
    assert rise[48] > 0.1
    assert rise[127] < 0.5  # roughness only


def test_a_contact_that_rose_lifts_what_is_a_whole_edge_away() -> None:
    """A band rises to 5 mm, and the chord to a spike at 0 mm, 14 cells away, with it; next to the band nothing does.

    Cells 1 to 7 from the band lie 0.2 mm under that chord, with a limit of 0.4 mm; cells 8 to 13 lie deep, and are
    first filled to 0.4 mm under the chord from cell 1.
    """
    d = np.arange(1, 15)
    chord = 5.0 * (1.0 - d / 14.0)
    line = np.full(120, -5.0)
    line[75:89] = np.where(d <= 7, chord - 0.2, np.where(d == 14, 0.0, -5.0))
    z = np.tile(line, (40, 1))  # so many lines that their stretches are searched, not single contacts
    raiser = Raiser(z, np.ones(z.shape, bool), [(14.0, 0.4)], cell_mm=1.0, directions=1)
    settle(raiser.sweep)
    first = 4.0 + 3.0 / 7.0 + 3.0 / 14.0 - 0.2  # cell 1
    np.testing.assert_allclose(raiser.surface_mm[:, 82:88], np.tile(first * (14 - d[7:13]) / 13 - 0.4, (40, 1)))
    raiser.raise_to(np.where((np.arange(120) >= 60) & (np.arange(120) < 75), 5.0, z))
    settle(raiser.sweep)
    np.testing.assert_allclose(raiser.surface_mm[:, 82:88], np.tile(chord[7:13] - 0.4, (40, 1)))
    np.testing.assert_array_equal(raiser.surface_mm[:, 75:82], z[:, 75:82])


def test_twins_agree(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(3)
    for trial in range(12):
        shape = (int(rng.integers(1, 30)), int(rng.integers(1, 30)))
        z, inside = random_floor(trial, shape)
        targets = [(float(edge), 0.5) for edge in rng.uniform(1, 20, 1 + trial % 2)]
        laid = {"cell_mm": 1.0, "directions": 12 if trial % 4 else 4, "bridge_mm": 3.0}
        fast = Raiser(z, inside, targets, **laid)
        with monkeypatch.context() as patch:
            patch.setattr(module, "_kernel", lambda: None)
            slow = Raiser(z, inside, targets, **laid)
        for raiser in (fast, slow):
            raiser.raise_to(np.where(np.indices(shape).sum(axis=0) % 11 == 0, z + 1.0, z))
            settle(raiser.sweep)
        np.testing.assert_allclose(fast.surface_mm, slow.surface_mm, atol=SAME_MM)


def test_threads_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    z, inside = random_floor(5, (90, 70))
    raised = []
    for cells in (0, 10**9):
        monkeypatch.setattr(module, "CELLS_FOR_THREADS", cells)
        raiser = Raiser(z, inside, [(30.0, 1.0), (5.0, 0.5)], cell_mm=1.0)
        rises = [raiser.sweep() for _ in range(8)]
        raised.append((rises, raiser.surface_mm))
    assert raised[0][0] == raised[1][0]
    np.testing.assert_array_equal(raised[0][1], raised[1][1])


def test_settled_floors_meet_every_limit(lift: str) -> None:
    rng = np.random.default_rng(4)
    z = np.cumsum(np.cumsum(rng.normal(size=(24, 31)), axis=0), axis=1) * 0.05
    inside = np.ones(z.shape, bool)
    inside[15:, 20:] = False
    z[~inside] = np.nan
    raiser = Raiser(z, inside, [(1000.0, 1.0), (300.0, 0.4)], cell_mm=50.0)
    while raiser.sweep() > 0.0:
        pass
    assert np.nanmax(gap_field(z, inside, cell_mm=50.0, edge_mm=1000.0).gap_mm) > 1.4
    for edge, limit in ((1000.0, 1.0), (300.0, 0.4)):
        # Gaps of 1 mm in float32, and 24 lifts that each leave out less than LEAST_RISE_MM.
        after = gap_field(raiser.surface_mm, inside, cell_mm=50.0, edge_mm=edge).gap_mm
        assert np.nanmax(after) <= limit + 1e-6 + 24 * LEAST_RISE_MM
    assert np.nanmin((raiser.surface_mm - z)[inside]) >= 0.0
    assert np.isinf(raiser.surface_mm[~inside]).all()


def test_raising_by_hand_counts_only_what_rises(lift: str) -> None:
    """A groove 4 mm deep, filled by hand to 1 mm below the flat: a limit of 2 mm needs no more."""
    z = np.zeros((3, 21))
    z[:, 10] = -4.0
    raiser = Raiser(z, np.ones(z.shape, bool), [(10.0, 2.0)], cell_mm=1.0, directions=1)
    filled = np.where(z < 0.0, -1.0, z)
    assert raiser.raise_to(filled) == 3.0
    assert raiser.raise_to(filled) == 0.0
    assert raiser.raise_to(z) == 0.0
    assert raiser.sweep() == 0.0
    np.testing.assert_array_equal(raiser.surface_mm, filled)


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (9, 1), (2, 2), (0, 5)])
def test_small_grids(lift: str, shape: tuple[int, int]) -> None:
    z = np.random.default_rng(1).normal(size=shape)
    raiser = Raiser(z, np.ones(shape, bool), [(50.0, 0.5)], cell_mm=1.0)
    while raiser.sweep() > 0.0:
        pass
    assert np.all(raiser.surface_mm >= z)


def test_nothing_seen(lift: str) -> None:
    z = np.full((5, 6), np.nan)
    z[2, 2] = 4.0
    raiser = Raiser(z, np.ones(z.shape, bool), [(4.0, 1.0)], cell_mm=1.0)
    assert raiser.sweep() == 0.0
    np.testing.assert_array_equal(raiser.surface_mm, z)
