"""Removing what noise does to a figure: the inversion, coarse cells, places."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from flatscan.measures.coarse import coarsen, coarsening, refine
from flatscan.measures.replicas import SIZES, Moments, captures, correct, free
from flatscan.measures.spots import is_summit, peaks
from flatscan.surface.surface import NoiseModel, Surface

SurfaceOf = Callable[..., Surface]


def moments_of(figure: Callable[[float, float], float], noises: np.ndarray) -> Moments:
    moments = Moments((1,))
    for noise in noises:
        moments.add([[figure(size, noise)] for size in SIZES])
    return moments


def test_inversion_finds_the_floor_that_shows_what_was_read() -> None:
    """Figure hypot(base·a, bias) + noise: what a = 1 shows on average must invert to the base itself."""
    noises = np.random.default_rng(0).normal(0.0, 0.1, 400)
    for base, bias in ((3.0, 1.0), (0.8, 2.0)):
        moments = moments_of(lambda a, e, b=base, n=bias: float(np.hypot(a * b, n)) + e, noises)
        shown = np.hypot(base, bias) + noises.mean()
        assert correct(moments, np.array([shown]), np.array([base])).value == pytest.approx(base, abs=1e-9)
        # Twice the smoothed heights: smoothing had taken half of the shape.
        shown = np.hypot(2.0 * base, bias) + noises.mean()
        assert correct(moments, np.array([shown]), np.array([base])).value == pytest.approx(2.0 * base, abs=1e-9)


def test_nothing_read_beyond_the_noise_is_nothing() -> None:
    noises = np.random.default_rng(1).normal(0.0, 0.2, 50)
    moments = moments_of(lambda a, e: float(np.hypot(2.0 * a, 1.5)) + e, noises)
    freed = correct(moments, np.array([1.2]), np.array([2.0]))
    assert freed.value == pytest.approx(0.0)
    assert freed.u >= noises.std(ddof=1)


def test_without_noise_the_figure_stands() -> None:
    moments = moments_of(lambda a, _: 3.0 * a, np.zeros(5))
    freed = correct(moments, np.array([3.0]), np.array([3.0]))
    assert freed.value == pytest.approx(3.0, abs=1e-12)
    assert freed.u == pytest.approx(0.0, abs=1e-12)
    assert correct(moments, np.array([9.0]), np.array([3.0])).value == pytest.approx(9.0)


def test_scatter_of_a_plain_shift_is_its_own() -> None:
    """Where noise only adds, one more mm read is one more mm of floor, so u is the scatter (20 % wider at n = 20)."""
    noises = np.random.default_rng(2).normal(0.0, 0.3, 2000)
    freed = correct(moments_of(lambda a, e: 4.0 * a + 2.0 + e, noises), np.array([6.0]), np.array([4.0]))
    assert freed.scatter == pytest.approx(noises.std(ddof=1), rel=0.01)
    assert freed.correction == pytest.approx(np.hypot(0.3 / np.sqrt(2000), 0.1 * 2.0), rel=0.05)


def test_what_only_fine_cells_show_counts_half() -> None:
    moments = moments_of(lambda a, _: 3.0 * a, np.zeros(5))
    (quantity,) = free(np.array([3.6]), np.array([3.0]), np.array([3.0]), moments)
    assert quantity.value == pytest.approx(3.3)
    assert dict(quantity.budget)["cell_size"] == pytest.approx(0.6 / np.sqrt(12.0))


def test_moments_against_numpy() -> None:
    rng = np.random.default_rng(3)
    figures = rng.normal(5.0, 2.0, size=(7, len(SIZES), 3, 4))
    moments = Moments((3, 4))
    for draw in figures:
        moments.add(draw)
    np.testing.assert_allclose(moments.mean, figures.mean(axis=0), rtol=1e-12)
    np.testing.assert_allclose(moments.sd, figures.std(axis=0, ddof=1), rtol=1e-12)


def test_captures_share_one_noise_over_the_sizes(surface_of: SurfaceOf) -> None:
    y, x = np.indices((12, 17))
    noise = NoiseModel(0.2, 0.2, 100.0, 0.0, "invented")
    surface = surface_of(0.01 * (x - 8.0) ** 2 + 0.0 * y, noise=noise, rng=np.random.default_rng(4))
    (shown,) = captures(surface, 1, np.random.default_rng(5))
    np.testing.assert_allclose(shown[2] - shown[0], surface.estimate_mm, atol=1e-5)
    (again,) = captures(surface, 1, np.random.default_rng(5))
    np.testing.assert_array_equal(shown[3], again[3])


def test_coarse_cells_are_means_and_their_noise_is_that_of_means(surface_of: SurfaceOf) -> None:
    """Block means of 400 simulated captures scatter as the coarse noise model says (sd of sd: 1/sqrt(800) = 3.5 %).

    The tolerance is five of those, the scatter being averaged over cells that are partly correlated.
    """
    from flatscan.surface.noise.draws import draw_noise

    noise = NoiseModel(0.4, 0.3, 60.0, 0.0, "invented")
    fine = surface_of(np.zeros((24, 32)), noise=noise, cell_mm=20.0, rng=np.random.default_rng(6))
    coarse = coarsen(fine, 4)
    np.testing.assert_allclose(coarse.height_mm, fine.height_mm.reshape(6, 4, 8, 4).mean(axis=(1, 3)), atol=1e-6)
    assert coarse.white_mm == pytest.approx(0.1)
    rng = np.random.default_rng(7)
    means = np.array([draw_noise(fine, rng).reshape(6, 4, 8, 4).mean(axis=(1, 3)) for _ in range(400)])
    said = np.hypot(0.1, coarse.noise.correlated_mm)
    assert float(np.sqrt(means.var(axis=0).mean())) == pytest.approx(said, rel=0.05)
    pair = float(np.mean(means[:, :, :-1] * means[:, :, 1:]))
    expected = coarse.noise.correlated_mm**2 * np.exp(-0.5 * (coarse.cell_mm / coarse.noise.length_mm) ** 2)
    assert pair == pytest.approx(expected, rel=0.15)


def test_coarsening_keeps_holes_walls_and_odd_borders(surface_of: SurfaceOf) -> None:
    floor = np.arange(7 * 12, dtype=float).reshape(7, 12)
    floor[:2, :2] = np.nan
    inside = np.ones((7, 12), bool)
    inside[3:, 9:] = False
    coarse = coarsen(surface_of(floor, inside=inside, cell_mm=10.0), 2)
    assert coarse.height_mm.shape == (4, 6)
    assert np.isnan(coarse.height_mm[0, 0])
    assert coarse.inside[0, 0]
    assert coarse.height_mm[1, 1] == pytest.approx(np.mean([26, 27, 38, 39]))
    assert coarse.height_mm[3, 0] == pytest.approx(72.5)  # half a block: the border's own two cells
    assert not coarse.inside[2, 5]
    back = refine(coarse.height_mm, 2, (7, 12))
    assert back.shape == (7, 12)
    assert back[2, 3] == coarse.height_mm[1, 1]


def test_coarse_cells_suit_the_edge(surface_of: SurfaceOf) -> None:
    small = surface_of(np.zeros((20, 600)), cell_mm=5.0)
    assert [coarsening(small, edge) for edge in (50.0, 200.0, 1000.0, 2000.0)] == [1, 1, 5, 10]
    # An edge longer than the floor reaches no further than it: 180 mm, a fortieth of which is less than a cell.
    assert coarsening(surface_of(np.zeros((20, 30)), cell_mm=5.0), 2000.0) == 1
    large = surface_of(np.zeros((700, 900)), cell_mm=5.0)
    assert coarsening(large, 200.0) == 3  # 15 mm cells: 70,000 of them, and a thirteenth of the edge


def test_peaks_are_apart_and_in_order() -> None:
    field = np.zeros((9, 14), np.float32)
    field[2, 3], field[2, 5], field[7, 12], field[0, 13] = 5.0, 4.0, 3.0, 2.0
    field[4, 4] = np.nan
    assert peaks(field, most=9, apart_cells=3.0) == [(2, 3), (7, 12), (0, 13)]
    assert peaks(field, most=2, apart_cells=1.0) == [(2, 3), (2, 5)]
    assert peaks(np.zeros((2, 2), np.float32), most=3, apart_cells=1.0) == [(0, 0)]
    assert peaks(np.full((2, 2), np.nan, np.float32), most=3, apart_cells=1.0) == []
    assert peaks(np.zeros((0, 2), np.float32), most=3, apart_cells=1.0) == []


def test_the_flank_of_a_worse_place_is_no_place() -> None:
    """A cone of 10 and a small one of 3 beside it: 4 cells off the first its own flank still shows 6."""
    y, x = np.indices((9, 24))
    field = np.maximum(10.0 - np.hypot(x - 3, y - 4), 3.0 - np.hypot(x - 18, y - 4)).astype(np.float32)
    cells = peaks(field, most=3, apart_cells=4.0)
    assert cells[0] == (4, 3)
    assert is_summit(field, cells[0], 4.0)
    assert not is_summit(field, cells[1], 4.0)
    assert is_summit(field, (4, 18), 4.0)
    field[4, 4] = np.nan
    assert is_summit(field, (4, 3), 4.0)
