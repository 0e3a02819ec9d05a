"""Least squares of many joint profiles, with what residuals and assumptions leave in doubt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.widths.edge_definition import TILE_EDGE_MM
from flatscan.measures.joints.widths.groove_fit import settle
from flatscan.measures.joints.widths.groove_model import (
    DEPTH,
    EDGE,
    LOG_BLUR,
    PARAMETERS,
    WIDTH,
    profile_and_slopes,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: How deep grout lies, mm, and how blurred photos are (deviation in pixels, spread of its logarithm), when the profile
#: itself says little. Common practice, no source.
DEPTH_MM = (2.0, 1.0)
BLUR_PIXELS = (1.1, 0.4)
#: Mean and standard deviation of the rounding of edges, mm: as taken where a limit does not say where a tile ends.
EDGE_MM = (sum(TILE_EDGE_MM) / 2.0, (TILE_EDGE_MM[1] - TILE_EDGE_MM[0]) / 12.0**0.5)
#: What these are held against: unevenness of a profile, as a share of the faces' tone, in each quarter millimetre.
_UNEVEN = 0.02
_UNEVEN_PER_MM = 0.25
#: Reach of the residuals' correlation, in samples.
_REACH = 20
#: Most of it from sample to sample, most of the noise that a fit may have taken up, and rounds to settle the two.
_MOST_CORRELATION = 0.9
_MOST_TAKEN_UP = 0.6
_ROUNDS = 3


@dataclass(frozen=True, slots=True, eq=False)
class Fits:
    """Fitted profiles, one row each.

    Attributes
    ----------
    theta : (n, 8) parameters, columns of ``groove_model``
    covariance : (n, 8, 8) of the parameters by the residuals, with their correlation along the profile
    assumed : (n, 8) variance of the width by what is assumed of each parameter
    residual : (n, m) tone minus model, 0 where not weighted
    slopes : (n, m, 7) derivatives at the solution
    rms : (n,) of the residuals
    """

    theta: NDArray[np.float64]
    covariance: NDArray[np.float64]
    assumed: NDArray[np.float64]
    residual: NDArray[np.float64]
    slopes: NDArray[np.float64]
    rms: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Across:
    """What is fitted: (m,) even positions across, (n, m) tone, (n,) slant of the view and size of a pixel."""

    x_mm: NDArray[np.float64]
    tone: NDArray[np.float64]
    slant: NDArray[np.float64]
    pixel_mm: NDArray[np.float64]


def fit_profiles(across: Across, weight: NDArray[np.float64], starts: NDArray[np.float64]) -> Fits:
    """Fit the groove to every row.

    Parameters
    ----------
    weight : (n, m) 0 or 1: which samples take part, a stretch without gaps
    starts : (n, k, 8) parameters to start from, the best one counts
    """
    theta = settled(across, weight, starts)
    model, slopes = profile_and_slopes(across.x_mm, across.slant, theta)
    slopes *= weight[..., None]
    residual = (across.tone - model) * weight
    samples = np.asarray(np.maximum(weight.sum(axis=1), PARAMETERS + 1.0), dtype=np.float64)
    prior = _prior(across)[:, 1]
    normal = slopes.transpose(0, 2, 1) @ slopes
    np.einsum("npp->np", normal)[...] += prior + 1e-12 * np.einsum("npp->np", normal) + 1e-300
    inverse = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    spread = _unevenness(across) ** 2
    assumed = spread[:, None] * prior * inverse[:, WIDTH] ** 2
    rms = np.sqrt((residual**2).sum(axis=1) / (samples - PARAMETERS))
    return Fits(theta, _covariance(slopes, residual, samples, inverse), assumed, residual, slopes, rms)


def settled(across: Across, weight: NDArray[np.float64], starts: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 8) parameters only, as ``fit_profiles``."""
    tone = np.ascontiguousarray(across.tone, dtype=np.float64)
    found = settle(across.x_mm, tone, weight, across.slant, starts, _prior(across))
    return np.asarray(found, dtype=np.float64)


def _unevenness(across: Across) -> NDArray[np.float64]:
    """(n,) tone: standard deviation that a sample is given against the priors. Faces fill most of a profile."""
    per_sample = np.sqrt(_UNEVEN_PER_MM / float(across.x_mm[1] - across.x_mm[0]))
    face = np.median(across.tone, axis=1)
    return np.asarray(_UNEVEN * per_sample * np.maximum(np.abs(face), 1e-6), dtype=np.float64)


def _prior(across: Across) -> NDArray[np.float64]:
    """(n, 2, 8) values, and weights in tone²."""
    prior = np.zeros((len(across.tone), 2, PARAMETERS))
    spread = _unevenness(across) ** 2
    prior[:, 0, DEPTH], prior[:, 1, DEPTH] = DEPTH_MM[0], spread / DEPTH_MM[1] ** 2
    prior[:, 0, EDGE], prior[:, 1, EDGE] = EDGE_MM[0], spread / EDGE_MM[1] ** 2
    prior[:, 0, LOG_BLUR] = np.log(BLUR_PIXELS[0] * across.pixel_mm)
    prior[:, 1, LOG_BLUR] = spread / BLUR_PIXELS[1] ** 2
    return prior


def _covariance(
    slopes: NDArray[np.float64], residual: NDArray[np.float64], samples: NDArray[np.float64],
    inverse: NDArray[np.float64],
) -> NDArray[np.float64]:  # fmt: skip
    """(n, 8, 8) = γ N⁻¹ M N⁻¹, M = Σ_l ρ^|l| Σ_j J_j J_{j+l}ᵀ: residuals that go together, first-order autoregressive.

    A fit takes up the slow part of the noise, so that residuals seem smaller and less correlated than the noise is.
    With a = tr(N⁻¹ M)/m, the share that it took up, the noise's variance is the residuals' over 1 − a; and since what
    was taken up is slow, much the same at neighbouring samples, ρ is 1 − a times the residuals' correlation, plus a.
    """
    power = np.maximum((residual**2).sum(axis=1), 1e-300)
    seen = (residual[:, 1:] * residual[:, :-1]).sum(axis=1) / power
    products = _lag_products(slopes)
    taken_up = np.minimum(PARAMETERS / samples, _MOST_TAKEN_UP)
    for _ in range(_ROUNDS):
        rho = np.clip((1.0 - taken_up) * seen + taken_up, 0.0, _MOST_CORRELATION)
        middle = np.einsum("ln,lnpq->npq", rho ** np.arange(_REACH)[:, None], products)
        taken_up = np.minimum(np.einsum("npq,nqp->n", inverse, middle) / samples, _MOST_TAKEN_UP)
    variance = power / samples / (1.0 - taken_up)
    return np.asarray(variance[:, None, None] * (inverse @ middle @ inverse), dtype=np.float64)


def _lag_products(slopes: NDArray[np.float64]) -> NDArray[np.float64]:
    """(lags, n, 8, 8) sum of J_j J_{j+l}ᵀ and its transpose, lag 0 once."""
    products = []
    for lag in range(_REACH):
        product = slopes[:, lag:].transpose(0, 2, 1) @ slopes[:, : slopes.shape[1] - lag]
        products.append(product if lag == 0 else product + product.transpose(0, 2, 1))
    return np.stack(products)
