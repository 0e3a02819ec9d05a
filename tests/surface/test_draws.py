"""Draws of noise and of the truth: sizes, correlation, repeatability, and that the truth lies among them."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.surface.noise.denoise import best_estimate
from flatscan.surface.noise.draws import draw_noise, draw_truth, posterior_of
from flatscan.surface.noise.noise_fields import sample_bend, sample_correlated
from flatscan.surface.surface import NoiseModel, Surface


def surface_of(truth, noise: NoiseModel, rng, cell=10.0) -> Surface:
    """A capture of ``truth`` (NaN: not seen) whose noise is the model's."""
    seen = np.isfinite(truth)
    height = truth + noise.white_mm * rng.standard_normal(truth.shape)
    height = height + noise.correlated_mm * sample_correlated(truth.shape, noise.length_mm / cell, rng)
    height = (height + noise.systematic_mm * sample_bend(seen, rng)).astype(np.float32)
    white = np.where(seen, noise.white_mm, np.nan).astype(np.float32)
    return Surface(
        height_mm=height,
        estimate_mm=best_estimate(height, white, seen, noise, cell),
        white_mm=white,
        count=np.where(seen, 9, 0).astype(np.int32),
        inside=np.ones(truth.shape, bool),
        cell_mm=cell,
        origin_mm=(0.0, 0.0),
        floor_from_scan=np.eye(4),
        outline=(),
        noise=noise,
        slope=None,
        kind="cloud",
    )


def old_floor(shape, rng, cell=10.0):
    y, x = np.mgrid[: shape[0], : shape[1]] * cell
    pitch = 30
    tiles = np.kron(rng.normal(0, 0.4, (shape[0] // pitch + 1, shape[1] // pitch + 1)), np.ones((pitch, pitch)))
    truth = 3 * np.sin(x / 700 + 1) + 2 * np.cos(y / 500) + tiles[: shape[0], : shape[1]]
    truth[: shape[0] // 3, : shape[1] // 3] = np.nan
    return truth


BOTH = NoiseModel(0.3, 0.25, 60.0, 0.2, "made for a test")


@pytest.mark.parametrize("draw", [draw_noise, draw_truth])
def test_draws_are_float32_nan_like_the_heights_and_repeatable(draw):
    surface = surface_of(old_floor((70, 90), np.random.default_rng(0)), BOTH, np.random.default_rng(1))
    first, again, other = (draw(surface, np.random.default_rng(seed)) for seed in (5, 5, 6))
    assert first.dtype == np.float32
    assert (np.isnan(first) == np.isnan(surface.height_mm)).all()
    np.testing.assert_array_equal(first, again)
    assert np.nanmax(np.abs(first - other)) > 0.1


def test_noise_draws_have_the_models_size_and_correlation():
    rng = np.random.default_rng(2)
    surface = surface_of(np.zeros((40, 60)), BOTH, rng)
    draws = np.array([draw_noise(surface, rng) for _ in range(1500)])
    # White 0.3², correlated 0.25², bend 0.2² on average over the cells; 1 % of sampling.
    assert np.mean(draws**2) == pytest.approx(0.3**2 + 0.25**2 + 0.2**2, rel=0.03)
    # Two cells next to each other share all but the white part; the bend hardly differs between them.
    shared = np.mean(draws[:, 20, 20] * draws[:, 20, 21])
    bend = 0.04 * np.mean([sample_bend(surface.seen, rng)[20, 20] ** 2 for _ in range(1500)])
    # A covariance of fields of variance v is known to v/√1500 = 0.005: three times that.
    assert shared == pytest.approx(0.25**2 * np.exp(-0.5 / 36) + bend, abs=0.016)
    assert np.mean(draws) == pytest.approx(0.0, abs=0.02)


def test_white_noise_follows_each_cells_own_figure():
    rng = np.random.default_rng(3)
    surface = surface_of(np.zeros((30, 40)), NoiseModel(0.3, 0.0, 10.0, 0.0, ""), rng)
    white = surface.white_mm.copy()
    white[:, 20:] = 1.5
    surface = Surface(**{name: getattr(surface, name) for name in Surface.__slots__} | {"white_mm": white})
    draws = np.array([draw_noise(surface, rng) for _ in range(100)])
    assert draws[:, :, :20].std() == pytest.approx(0.3, rel=0.02)
    assert draws[:, :, 20:].std() == pytest.approx(1.5, rel=0.02)


# Without the bend: one capture's bend is three numbers, and half a dozen captures would not show its size.
@pytest.mark.parametrize(
    "noise",
    [NoiseModel(0.3, 0.25, 60.0, 0.0, ""), NoiseModel(0.3, 0.0, 10.0, 0.0, ""), NoiseModel(0.1, 0.5, 80.0, 0.0, "")],
    ids=["both", "white", "long"],
)
def test_draws_scatter_about_the_estimate_as_the_truth_does(noise):
    errors, drawn = [], []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        truth = old_floor((130, 190), rng)
        surface = surface_of(truth, noise, rng)
        known = posterior_of(surface)
        errors.append(np.nanmean((surface.estimate_mm - truth) ** 2))
        drawn.append(np.nanmean([(draw_truth(surface, rng, known) - surface.estimate_mm) ** 2 for _ in range(12)]))
    # A floor of 25 000 cells holds some 40 patches of 80 mm noise, six floors 240: its mean square is known to
    # √(2/240) = 9 %, and so is the floor's share, estimated from as many waves. Twice their joint 13 %.
    assert np.mean(drawn) == pytest.approx(np.mean(errors), rel=0.26)


def test_truth_draws_without_the_prepared_posterior_are_the_same():
    surface = surface_of(old_floor((70, 90), np.random.default_rng(0)), BOTH, np.random.default_rng(1))
    a = draw_truth(surface, np.random.default_rng(5))
    b = draw_truth(surface, np.random.default_rng(5), posterior_of(surface))
    np.testing.assert_array_equal(a, b)


def test_posterior_of_a_surface_is_what_made_its_estimate():
    surface = surface_of(old_floor((70, 90), np.random.default_rng(0)), BOTH, np.random.default_rng(1))
    np.testing.assert_array_equal(posterior_of(surface).estimate_mm, surface.estimate_mm)


def test_one_view_doubt_widens_the_draws():
    truth = old_floor((100, 120), np.random.default_rng(0))
    spreads = []
    for share in (0.0, 0.5):
        noise = NoiseModel(0.2, 0.4, 60.0, 0.0, "", floor_share=share)
        surface = surface_of(truth, noise, np.random.default_rng(1))
        rng = np.random.default_rng(2)
        spreads.append(np.nanstd([draw_truth(surface, rng) - surface.estimate_mm for _ in range(8)]))
    assert spreads[1] > 1.1 * spreads[0]


def test_a_noiseless_surface_draws_itself():
    truth = old_floor((70, 90), np.random.default_rng(0))
    surface = surface_of(truth, NoiseModel(0.0, 0.0, 10.0, 0.0, ""), np.random.default_rng(1))
    np.testing.assert_allclose(draw_truth(surface, np.random.default_rng(2)), surface.height_mm, atol=1e-6)
    np.testing.assert_array_equal(draw_noise(surface, np.random.default_rng(2))[surface.seen], 0.0)


def test_coarse_cells():
    rng = np.random.default_rng(4)
    y, x = np.mgrid[:7, :12] * 500.0
    truth = 3 * np.sin(x / 900) + 2 * np.cos(y / 700)
    noise = NoiseModel(0.4, 0.0, 500.0, 0.3, "")
    surface = surface_of(truth, noise, rng, cell=500.0)
    spread = np.std([draw_truth(surface, rng) for _ in range(300)], axis=0)
    # Between the bend alone and white and bend together, whose corners reach three times the mean.
    assert 0.2 < spread.mean() < 0.6
    assert draw_noise(surface, rng).shape == (7, 12)
