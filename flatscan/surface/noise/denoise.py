"""Best estimate of the true heights: the measured ones with the part that the noise explains shrunk away.

An empirical-Bayes Wiener filter on the cosine waves of the grid. The noise's energy in each wave is known from
the noise model; what the heights hold beyond it, averaged over bands of wavelength, is the floor's. A wave is
kept in the proportion floor/(floor + noise). Where the floor is locally rougher than its average (lips, joints,
crumbs), the filtered heights miss the measured ones by more than noise can, and there the measured ones are
brought back (local shrinkage after Lee 1980). So a flat noisy floor becomes flat and a clean floor stays as it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.noise.noise_covariance import gaussian_mean
from flatscan.surface.noise.noise_fields import correlated_energy, workers_for
from flatscan.surface.planes import fit_least_squares

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.surface.surface import NoiseModel

#: Waves per band: the first bands hold a few waves each, later ones a fixed share more than all before.
_FIRST_WAVES = 8.0
_BAND_GROWTH = 2.0
#: Passes that settle what the unseen cells would hold (they only matter near the border of holes).
_FILL_PASSES = 6
_FILL_CELLS = 3.0
#: Side, in cells, of the window in which the filtered heights are compared with the measured ones.
_WINDOW_CELLS = 5


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """What is known of the true heights. Waves: coefficients of the orthonormal DCT-II, (rows, cols) float32.

    ``gain`` is the share kept of a wave; ``noise_mm2`` and ``floor_mm2`` are the mean squares of the noise and
    (cautiously) of the floor in it; ``kept_raw`` (rows, cols), 0 to 1, is how far the measured height was brought
    back; ``relative`` (rows, cols) is the local size of the noise over its mean; ``estimate_mm`` is the result.
    """

    estimate_mm: NDArray[np.float32]
    gain: NDArray[np.float32]
    noise_mm2: NDArray[np.float32]
    floor_mm2: NDArray[np.float32]
    kept_raw: NDArray[np.float32]
    relative: NDArray[np.float32]


def best_estimate(
    height_mm: NDArray[np.float32],
    white_mm: NDArray[np.float32],
    inside: NDArray[np.bool_],
    noise: NoiseModel,
    cell_mm: float,
    correlated_scale: NDArray[np.float32] | None = None,
) -> NDArray[np.float32]:
    """(rows, cols) float32 best estimate of the true heights, mm; NaN where ``height_mm`` is NaN or outside.

    ``white_mm`` is the cells' white standard uncertainty, of the size the noise model says
    (``noise.calibrated_white``); ``correlated_scale`` as in ``Surface``. The systematic part cannot be filtered and
    stays.
    """
    heights = np.where(inside, height_mm, np.nan).astype(np.float32)
    return posterior(heights, white_mm, noise, cell_mm, correlated_scale).estimate_mm


def posterior(
    height_mm: NDArray[np.float32],
    white_mm: NDArray[np.float32],
    noise: NoiseModel,
    cell_mm: float,
    correlated_scale: NDArray[np.float32] | None = None,
) -> Posterior:
    """Filter ``height_mm`` and keep what the filter knew; see the module's description."""
    seen = np.isfinite(height_mm)
    white2 = np.where(seen, np.square(white_mm, dtype=np.float64), 0.0)
    usual = float(white2[seen].mean()) if seen.any() else 0.0
    total = usual + noise.correlated_mm**2
    if total == 0.0 or seen.sum() < 4:  # noqa: PLR2004 - nothing to filter, or nothing to learn from
        zero = np.zeros(height_mm.shape, dtype=np.float32)
        return Posterior(height_mm, zero + 1, zero + np.float32(total), zero, zero + 1, zero + 1)
    plane = _plane(height_mm, seen)
    deviation = np.where(seen, height_mm - plane, 0.0).astype(np.float32)
    scale2 = 1.0 if correlated_scale is None else np.square(correlated_scale, dtype=np.float64)
    relative = _relative_noise(white2 + noise.correlated_mm**2 * scale2, seen, total)
    rows, cols = height_mm.shape
    waves = correlated_energy((rows, cols), noise.length_mm / cell_mm)
    energy = np.asarray(usual + noise.correlated_mm**2 * waves, dtype=np.float32)

    filled = _first_fill(deviation, seen)
    floor, cautious = _floor_energy(filled, energy, float(seen.mean()))
    cautious += np.asarray(noise.floor_share * noise.correlated_mm**2 * waves, dtype=np.float32)
    gain = np.divide(floor, floor + energy, out=np.zeros_like(floor), where=floor > 0.0)
    gain[0, 0] = 1.0
    # Cells noisier than usual pull less (weights of Garcia 2010, whose iteration this is); unseen ones not at all.
    pull = np.where(seen, np.minimum(1.0, 1.0 / np.square(relative)), 0.0).astype(np.float32)
    smooth = filled
    for _ in range(_FILL_PASSES if pull.min() < 1.0 else 1):
        smooth = _filter(smooth + pull * (deviation - smooth) if smooth is not filled else filled, gain)
    expected = np.asarray(np.square(1.0 - gain) * (energy + floor), dtype=np.float32)
    kept_raw = _kept_raw(deviation - smooth, expected, relative, seen)
    estimate = smooth + kept_raw * (deviation - smooth) + plane
    return Posterior(np.where(seen, estimate, np.nan).astype(np.float32), gain, energy, cautious, kept_raw, relative)


def _plane(height_mm: NDArray[np.float32], seen: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Least-squares plane: it is far better known than any wave and is not shrunk."""
    y, x = np.nonzero(seen)
    rows, cols = height_mm.shape
    try:
        plane = fit_least_squares(x, y, height_mm[seen]).plane
    except ValueError:
        return np.full(height_mm.shape, float(height_mm[seen].mean()), dtype=np.float32)
    return (
        np.float32(plane.c)
        + np.float32(plane.a) * np.arange(cols, dtype=np.float32)[None, :]
        + np.float32(plane.b) * np.arange(rows, dtype=np.float32)[:, None]
    )


def _relative_noise(variance_mm2: NDArray[np.float64], seen: NDArray[np.bool_], total: float) -> NDArray[np.float32]:
    """Local noise over the usual one, smoothed over the filter's window: a cell's own figure is rough."""
    around, _ = gaussian_mean(np.where(seen, variance_mm2, np.nan), 2.0)
    return np.sqrt(np.where(np.isfinite(around), around / total, 1.0)).astype(np.float32)


def _first_fill(deviation: NDArray[np.float32], seen: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Unseen cells take the smoothed height of the nearest seen one."""
    if seen.all():
        return deviation
    from scipy.ndimage import distance_transform_edt

    smooth, _ = gaussian_mean(np.where(seen, deviation, np.nan).astype(np.float64), _FILL_CELLS)
    row, col = distance_transform_edt(~seen, return_distances=False, return_indices=True)
    return np.where(seen, deviation, smooth[row, col]).astype(np.float32)


def _floor_energy(
    filled: NDArray[np.float32], energy: NDArray[np.float32], share: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Mean square of the floor in each wave: a firm figure for filtering, a cautious one for the doubt.

    The mean over m waves scatters by √(2/m) of itself. The firm figure must clear one such scatter, so that
    chance is not taken for floor; the cautious one is the mean over what the floor could then be, any size >= 0
    being as likely as any other before. Only the seen ``share`` of the grid carries noise.
    """
    from scipy.fft import dctn
    from scipy.special import log_ndtr

    rows, cols = filled.shape
    square = np.square(dctn(filled, norm="ortho", workers=workers_for(filled.size)))
    below = 0.25 * np.pi * (np.square(np.arange(rows) / rows)[:, None] + np.square(np.arange(cols) / cols)[None, :])
    band = np.floor(np.log1p(below * rows * cols / _FIRST_WAVES) / np.log(_BAND_GROWTH)).astype(np.int64).ravel()
    waves = np.maximum(np.bincount(band), 1)
    seen_noise = np.bincount(band, weights=energy.ravel()) / waves * share
    excess = np.bincount(band, weights=square.ravel()) / waves - seen_noise
    chance = seen_noise * np.sqrt(2.0 / waves)
    firm = np.where(excess > chance, excess, 0.0) / share
    # Without noise nothing of it is chance.
    ratio = np.divide(excess, chance, out=np.full_like(excess, np.inf), where=chance > 0.0)
    cautious = (excess + chance * np.exp(-0.5 * np.square(ratio) - log_ndtr(ratio)) / np.sqrt(2.0 * np.pi)) / share
    return firm[band].reshape(filled.shape).astype(np.float32), cautious[band].reshape(filled.shape).astype(np.float32)


def _filter(field: NDArray[np.float32], gain: NDArray[np.float32]) -> NDArray[np.float32]:
    from scipy.fft import dctn, idctn

    workers = workers_for(field.size)
    waves = dctn(field, norm="ortho", workers=workers)
    waves *= gain
    return np.asarray(idctn(waves, norm="ortho", workers=workers, overwrite_x=True))


def _kept_raw(
    misfit: NDArray[np.float32], expected: NDArray[np.float32], relative: NDArray[np.float32], seen: NDArray[np.bool_]
) -> NDArray[np.float32]:
    """Share of the misfit that is floor, by its mean square over a window against what noise can show.

    ``expected`` is the misfit's mean square in each wave. The mean square over a window of a Gaussian field is
    near a chi-square one with m = 2 mean²/variance degrees of freedom (Satterthwaite 1946); the bar is the value
    that one window in as many as there are cells exceeds by chance.
    """
    from scipy.ndimage import uniform_filter
    from scipy.special import chdtri

    square = np.where(seen, np.square(misfit / relative), 0.0).astype(np.float64)
    covered = uniform_filter(seen.astype(np.float64), _WINDOW_CELLS, mode="constant")
    mean = np.maximum(uniform_filter(square, _WINDOW_CELLS, mode="constant") / np.maximum(covered, 1e-3), 0.0)
    variance, freedom = _window_scatter(expected)
    # A misfit larger than the model says everywhere is texture or a noise model too small, not a lip.
    usual = max(variance, float(np.median(mean[seen])) * freedom / float(chdtri(freedom, 0.5)))
    if usual <= 0.0:
        return np.zeros(seen.shape, dtype=np.float32)
    bar = usual * float(chdtri(freedom, 1.0 / (seen.sum() + 1.0))) / freedom
    return np.where(seen, 1.0 - bar / np.maximum(mean, bar), 0.0).astype(np.float32)


def _window_scatter(expected: NDArray[np.float32]) -> tuple[float, float]:
    """Variance of the field whose waves have these mean squares, and its degrees of freedom in one window."""
    lag = np.arange(_WINDOW_CELLS)
    along = [np.cos(np.pi * lag[:, None] * np.arange(n)[None, :] / n) / n for n in expected.shape]
    covariance = along[0] @ expected.astype(np.float64) @ along[1].T
    variance = float(covariance[0, 0])
    if variance <= 0.0:
        return 0.0, 1.0
    share = (_WINDOW_CELLS - lag) * np.where(lag == 0, 1.0, 2.0) / _WINDOW_CELLS**2
    return variance, max(1.0, 1.0 / float(share @ np.square(covariance / variance) @ share))
