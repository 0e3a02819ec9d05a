"""Simulated captures and simulated floors: what the intervals of gap and volume are made from.

``draw_noise`` is what the capture could have added to a floor; ``draw_truth`` is what the floor could be, given
what was measured. Both are cheap enough for dozens of draws.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.noise.denoise import Posterior, posterior
from flatscan.surface.noise.noise_fields import sample_bend, sample_correlated, workers_for

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.surface.surface import Surface


def draw_noise(surface: Surface, rng: np.random.Generator) -> NDArray[np.float32]:
    """(rows, cols) float32 fresh noise field after the surface's noise model, mm; NaN like ``height_mm``.

    Of a surface with realisations: how far one of them is from the estimate.
    """
    if surface.realisations_mm is not None:
        return np.asarray(_any_of(surface.realisations_mm, rng) - surface.estimate_mm)
    noise = surface.noise
    field = surface.white_mm * rng.standard_normal(surface.white_mm.shape, dtype=np.float32)
    if noise.correlated_mm > 0:
        length = noise.length_mm / surface.cell_mm
        shared = np.float32(noise.correlated_mm) * sample_correlated(field.shape, length, rng)
        field += shared if surface.correlated_scale is None else surface.correlated_scale * shared
    if noise.systematic_mm > 0:
        field += np.float32(noise.systematic_mm) * sample_bend(surface.seen, rng)
    field[~surface.seen] = np.nan
    return field


def posterior_of(surface: Surface) -> Posterior:
    """What is known of the true heights: work it out once and hand it to every :func:`draw_truth`."""
    return posterior(surface.height_mm, surface.white_mm, surface.noise, surface.cell_mm, surface.correlated_scale)


def draw_truth(surface: Surface, rng: np.random.Generator, known: Posterior | None = None) -> NDArray[np.float32]:
    """(rows, cols) float32 draw of the true heights given the measured ones, mm; NaN like ``height_mm``.

    The estimate's error is simulated through the filter that made it: of a wave of floor s and noise n it is
    gain · n - (1 - gain) · s, and n alone where the measured height was brought back. With the floor's and
    noise's energies known that is the exact posterior (conditional simulation; Matheron's rule in waves).
    ``known``: from :func:`posterior_of`, for many draws of one surface; not used where there are realisations, one
    of which is the draw.
    """
    if surface.realisations_mm is not None:
        return _any_of(surface.realisations_mm, rng)
    from scipy.fft import idctn

    known = posterior_of(surface) if known is None else known
    shape, workers = surface.height_mm.shape, workers_for(surface.height_mm.size)
    noise_waves = np.sqrt(known.noise_mm2) * rng.standard_normal(shape, dtype=np.float32)
    floor_waves = np.sqrt(known.floor_mm2) * rng.standard_normal(shape, dtype=np.float32)
    error_waves = known.gain * noise_waves - (1.0 - known.gain) * floor_waves
    error = np.asarray(idctn(error_waves, norm="ortho", workers=workers), dtype=np.float32)
    if known.kept_raw.any():
        raw_error = np.asarray(idctn(noise_waves, norm="ortho", workers=workers))
        error += known.kept_raw * (raw_error - error)
    truth = np.asarray(surface.estimate_mm - known.relative * error, dtype=np.float32)
    if surface.noise.systematic_mm > 0:
        truth -= np.float32(surface.noise.systematic_mm) * sample_bend(surface.seen, rng)
    truth[~surface.seen] = np.nan
    return truth


def _any_of(floors: NDArray[np.float32], rng: np.random.Generator) -> NDArray[np.float32]:
    return np.asarray(floors[int(rng.integers(len(floors)))])
