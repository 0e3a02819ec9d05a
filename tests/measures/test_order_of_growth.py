"""Work of the gap search, counted: steps per reading grow neither with the length of the line nor of the edge."""

from __future__ import annotations

import numpy as np
import pytest

chord_kernel = pytest.importorskip("flatscan.measures.chord_kernel", exc_type=ImportError)


class Counted:
    """An array that counts how often its items are read."""

    reads = 0

    def __init__(self, array: np.ndarray) -> None:
        self.array = array

    def __getitem__(self, at: int) -> float:
        Counted.reads += 1
        return self.array[at]


def reads_per_reading(line: np.ndarray, window: int) -> float:
    """Heights read by the plain copy of the compiled hull walk, for each reading of the line.

    Every step of either hull, and every step of the tangent on it, reads heights, so the count bounds both.
    """
    n = len(line)
    reach, stack = np.zeros(n, np.int64), np.zeros(n, np.int64)
    slope, edge = np.zeros(n), np.zeros(n)
    Counted.reads = 0
    chord_kernel._best_reach.py_func(np.arange(n), Counted(line), 0, n, window, reach, slope, stack, edge)
    return Counted.reads / n


def lines(n: int) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(3)
    x = np.arange(n)
    return {
        "noise": rng.normal(size=n),
        "walk": np.cumsum(rng.normal(size=n)),
        "bowl": 1e-3 * (x - 0.4 * n) ** 2,
        "hump": -1e-3 * (x - 0.4 * n) ** 2,
        "waves": np.sin(x / 37.0) + 0.01 * rng.normal(size=n),
        "steps": np.floor(x / 50.0) % 3,
    }


def growth(sizes: list[int], work: list[float]) -> float:
    """Log-log slope."""
    return float(np.polyfit(np.log(sizes), np.log(work), 1)[0])


@pytest.mark.parametrize("kind", list(lines(2)))
def test_work_does_not_grow_with_the_edge(kind: str) -> None:
    """Windows of 16 to 1024 readings: O(n·w) would be a slope of 1, O(n log w) about 0.2 over this range."""
    windows = [16, 64, 256, 1024]
    work = [reads_per_reading(lines(4096)[kind], w) for w in windows]
    assert growth(windows, work) < 0.2
    assert max(work) < 16.0


@pytest.mark.parametrize("kind", list(lines(2)))
def test_work_does_not_grow_with_the_line(kind: str) -> None:
    sizes = [512, 2048, 8192]
    assert growth(sizes, [reads_per_reading(lines(n)[kind], 128) for n in sizes]) < 0.2
