"""The best estimate: nothing on a flat noisy floor, everything on a clean one, lips where noise allows."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.fft import dctn

from flatscan.surface.noise.denoise import best_estimate, posterior
from flatscan.surface.noise.noise_fields import correlated_energy, sample_bend, sample_correlated
from flatscan.surface.surface import NoiseModel

CELL = 10.0


def model(white: float, correlated: float = 0.0, length: float = 60.0) -> NoiseModel:
    return NoiseModel(white, correlated, length, 0.0, "made for a test")


def captured(truth, noise: NoiseModel, rng, cell=CELL):
    """Truth plus a fresh noise field of the model."""
    field = noise.white_mm * rng.standard_normal(truth.shape)
    if noise.correlated_mm:
        field += noise.correlated_mm * sample_correlated(truth.shape, noise.length_mm / cell, rng)
    return np.where(np.isfinite(truth), truth + field, np.nan).astype(np.float32)


def estimated(height, noise: NoiseModel, cell=CELL):
    white = np.where(np.isfinite(height), noise.white_mm, np.nan).astype(np.float32)
    return best_estimate(height, white, np.isfinite(height), noise, cell)


def waves(shape, cell=CELL):
    y, x = np.mgrid[: shape[0], : shape[1]] * cell
    return 3 * np.sin(x / 700 + 1) + 2 * np.cos(y / 500)


def l_shaped(truth):
    out = truth.copy()
    out[: truth.shape[0] // 3, : truth.shape[1] // 3] = np.nan
    return out


@pytest.mark.parametrize("noise", [model(0.4), model(0.3, 0.3), model(0.05, 0.5, 120.0)], ids=["white", "both", "long"])
@pytest.mark.parametrize("shape", [(200, 310), (37, 53)])
def test_a_flat_noisy_floor_becomes_flat(noise, shape):
    rng = np.random.default_rng(1)
    height = captured(l_shaped(np.zeros(shape)), noise, rng)
    estimate = estimated(height, noise)
    seen = np.isfinite(height)
    assert (np.isfinite(estimate) == seen).all()
    # What stays are the noise's own plane and the few longest waves, too few for chance to be ruled out.
    patches = max(1.0, seen.sum() / (4 * np.pi * (noise.length_mm / CELL) ** 2)) if noise.correlated_mm else seen.sum()
    total = np.hypot(noise.white_mm, noise.correlated_mm)
    assert np.nanstd(estimate) < max(0.12, 3.0 / np.sqrt(patches)) * total
    assert np.ptp(estimate[seen]) < 0.5 * np.ptp(height[seen])


def test_the_bar_for_lips_is_not_met_by_noise_alone():
    for seed in range(5):
        noise = model(0.3, 0.3)
        height = captured(l_shaped(np.zeros((200, 310))), noise, np.random.default_rng(seed))
        white = np.where(np.isfinite(height), 0.3, np.nan).astype(np.float32)
        assert posterior(height, white, noise, CELL).kept_raw.mean() < 1e-3


@pytest.mark.parametrize("shape", [(120, 170), (7, 12)])
def test_a_clean_floor_is_returned_as_it_is(shape):
    cell = CELL if shape[0] > 7 else 500.0
    truth = waves(shape, cell)
    noise = model(0.002, 0.002)
    height = captured(truth, noise, np.random.default_rng(2), cell)
    # Never further off than the noise itself reaches.
    assert np.abs(estimated(height, noise, cell) - truth).max() < 5 * 0.003


def test_no_noise_no_change():
    height = waves((7, 12), 500.0).astype(np.float32)
    np.testing.assert_array_equal(estimated(height, model(0.0), 500.0), height)


@pytest.mark.parametrize("floor", ["waves", "tiles"])
@pytest.mark.parametrize("noise", [model(0.3), model(0.3, 0.3), model(0.1, 0.6)], ids=["white", "both", "long"])
def test_the_estimate_is_nearer_to_the_truth_than_the_heights(floor, noise):
    rng = np.random.default_rng(3)
    truth = waves((210, 330))
    if floor == "tiles":
        tiles = rng.normal(0, 0.7, (8, 12))
        truth = truth + np.kron(tiles, np.ones((30, 30)))[:210, :330]
    truth = l_shaped(truth)
    height = captured(truth, noise, rng)
    estimate = estimated(height, noise)
    gained = np.nanstd(estimate - truth) / np.nanstd(height - truth)
    assert gained < (0.5 if floor == "waves" else 0.85)


def test_a_lip_well_above_the_noise_stays_a_step():
    rng = np.random.default_rng(4)
    truth = np.zeros((200, 240))
    truth[:, 120:] = 3.0
    noise = model(0.2)
    estimate = estimated(captured(truth, noise, rng), noise)
    profile = estimate.mean(axis=0)
    # A filter alone spreads the step over its width of some 10 cells; here the cells beside it keep their side.
    assert profile[122] - profile[117] == pytest.approx(3.0, abs=0.1)
    assert profile[120] - profile[119] > 2.4
    # And far from it the noise is gone.
    assert np.std(estimate[:, 20:90] - profile[None, 20:90]) < 0.08


def test_a_deep_joint_does_not_ring_into_the_tiles():
    rng = np.random.default_rng(5)
    truth = np.zeros((200, 240))
    truth[:, 120] = -4.0
    noise = model(0.1)
    estimate = estimated(captured(truth, noise, rng), noise)
    profile = estimate.mean(axis=0)
    assert profile[120] == pytest.approx(-4.0, abs=0.15)
    assert np.abs(profile[[118, 119, 121, 122]]).max() < 0.15


def test_the_plane_is_never_shrunk():
    rng = np.random.default_rng(6)
    y, x = np.mgrid[:50, :70]
    truth = 0.05 * x - 0.02 * y + 5.0
    noise = model(0.3)
    estimate = estimated(captured(truth, noise, rng), noise)
    # A corner of a fitted plane is known to 0.3·sqrt(7/3500) = 0.013 mm.
    assert np.abs(estimate - truth).max() < 0.15
    assert (estimate - truth)[[0, 0, -1, -1], [0, -1, 0, -1]] == pytest.approx([0.0] * 4, abs=0.1)


def test_noisier_cells_lean_on_their_neighbours():
    rng = np.random.default_rng(7)
    truth = waves((120, 200))
    white = np.full(truth.shape, 0.1, dtype=np.float32)
    white[:, 100:] = 1.0
    height = (truth + white * rng.standard_normal(truth.shape)).astype(np.float32)
    noise = model(float(np.sqrt(np.mean(white**2))))
    estimate = best_estimate(height, white, np.ones(truth.shape, bool), noise, CELL)
    even = best_estimate(height, np.full_like(white, noise.white_mm), np.ones(truth.shape, bool), noise, CELL)
    calm = (slice(None), slice(10, 90))
    rough = (slice(None), slice(110, 190))
    assert np.std((estimate - truth)[rough]) < 0.35
    assert np.std((estimate - truth)[calm]) <= 1.05 * np.std((even - truth)[calm])


@pytest.mark.parametrize("shape", [(1, 1), (1, 12), (2, 2), (3, 40)])
def test_tiny_grids_and_few_seen_cells(shape):
    rng = np.random.default_rng(8)
    height = rng.normal(0, 1, shape).astype(np.float32)
    assert np.isfinite(estimated(height, model(0.1))).all()
    height[0, 0] = np.nan
    assert np.isnan(estimated(height, model(0.1))[0, 0])
    assert np.isnan(estimated(np.full(shape, np.nan, np.float32), model(0.1))).all()


def test_mirror_turn_and_lift_only_move_the_estimate():
    rng = np.random.default_rng(9)
    noise = model(0.3, 0.2)
    height = captured(l_shaped(waves((61, 83))), noise, rng)
    estimate = estimated(height, noise)
    for change in (np.fliplr, np.flipud, np.transpose, np.rot90, np.negative):
        # float32 transforms of 10 mm values: 1e-6 relative, and a hundred of them.
        np.testing.assert_allclose(estimated(change(height).copy(), noise), change(estimate), atol=2e-3)
    np.testing.assert_allclose(estimated(height + np.float32(10), noise), estimate + 10, atol=2e-3)


def test_cells_outside_the_floor_are_not_read():
    rng = np.random.default_rng(10)
    height = captured(np.zeros((40, 60)), model(0.2), rng)
    inside = np.ones((40, 60), bool)
    inside[:, 50:] = False
    wild = height.copy()
    wild[:, 50:] += 500.0
    white = np.full((40, 60), 0.2, np.float32)
    a, b = (best_estimate(h, white, inside, model(0.2), CELL) for h in (height, wild))
    assert np.isnan(b[:, 50:]).all()
    np.testing.assert_array_equal(a, b)


@pytest.mark.parametrize(("shape", "length"), [((7, 12), 0.7), ((7, 12), 3.0), ((7, 12), 40.0), ((1, 9), 2.0)])
def test_energy_of_the_waves_is_that_of_the_covariance_matrix(shape, length):
    # Twin: form V K Vᵀ outright.
    rows, cols = (
        np.diag(dctn(np.exp(-0.5 * ((np.arange(n)[:, None] - np.arange(n)) / length) ** 2), norm="ortho"))
        for n in shape
    )
    energy = correlated_energy(shape, length)
    np.testing.assert_allclose(energy, np.outer(rows, cols), atol=1e-5)
    # exp(-½ 5²) = 4e-6 is where the sum stops.
    assert energy.mean() == pytest.approx(1.0, abs=1e-4)


def test_sampled_fields_have_the_stated_covariance():
    rng = np.random.default_rng(11)
    fields = np.array([sample_correlated((23, 31), 3.0, rng) for _ in range(4000)])
    assert fields.dtype == np.float32
    # Every place alike, borders and opposite borders too: an embedding without padding ties those together.
    # A covariance from 4 000 draws is known to 1/√4000 = 1.6 %; three and a half times that.
    centre = fields[:, 0, 0]
    for row, col in ((0, 0), (0, 3), (2, 2), (5, 0), (0, 30), (22, 0), (22, 30)):
        expected = np.exp(-0.5 * (row**2 + col**2) / 9.0)
        assert np.mean(centre * fields[:, row, col]) == pytest.approx(expected, abs=0.055)


def test_bends_have_no_plane_and_unit_mean_square():
    rng = np.random.default_rng(12)
    seen = np.isfinite(l_shaped(np.zeros((70, 90))))
    y, x = np.nonzero(seen)
    design = np.column_stack([np.ones_like(x), x, y]).astype(float)
    squares = []
    for _ in range(1500):
        bend = sample_bend(seen, rng)
        squares.append(float(np.mean(bend[seen] ** 2)))
    plane = np.linalg.lstsq(design, bend[seen], rcond=None)[0]
    assert np.abs(design @ plane).max() < 1e-4
    # A mean of three squared normals: its own standard deviation is √(2/3), over √1500.
    assert np.mean(squares) == pytest.approx(1.0, abs=3 * np.sqrt(2 / 3 / 1500))
    assert not sample_bend(np.eye(9, dtype=bool), rng).any()


def test_as_much_floor_as_noise_keeps_half_of_each_wave():
    # White floor and white noise of the same size: the best gain is s/(s + n) = 1/2 everywhere (Wiener).
    rng = np.random.default_rng(13)
    truth = rng.normal(0, 0.3, (100, 140))
    height = captured(truth, model(0.3), rng)
    known = posterior(height, np.full(height.shape, 0.3, np.float32), model(0.3), CELL)
    # Half of 14 000 waves lie in the last band: its energy, 2 n, is known to √(2/7000) = 1.7 %, and so is s to 3.4 %.
    assert np.median(known.gain) == pytest.approx(0.5, abs=0.03)
    assert np.std(known.estimate_mm - truth) == pytest.approx(0.3 * np.sqrt(0.5), rel=0.03)


def test_waves_without_any_noise_are_floor_and_divide_nothing_by_nothing():
    """A smooth mesh may have noise in long waves only; the energy of short ones is then exactly 0."""
    noise = model(0.0, 0.3, 200.0)
    assert np.count_nonzero(np.asarray(0.09 * correlated_energy((200, 200), 20.0), dtype=np.float32) == 0.0)
    truth = np.zeros((200, 200), dtype=np.float32)
    assert np.array_equal(estimated(truth, noise), truth)
