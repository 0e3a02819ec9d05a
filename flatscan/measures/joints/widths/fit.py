"""Least squares of many joint profiles at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.widths.profile_model import GROOVE, LOG_BLUR, PARAMETERS, PLAIN, WIDTH, profile_and_slopes

if TYPE_CHECKING:
    from numpy.typing import NDArray

_MOST_STEPS = 40
#: A fit has settled when a step lowers the sum of squares by less than this share.
_SETTLED = 1e-8
_GIVE_UP = 1e8
#: Reach of the residuals' correlation, in samples.
_REACH = 20
#: Most of it from sample to sample, most of the noise that a fit may have taken up, and rounds to settle the two.
_MOST_CORRELATION = 0.9
_MOST_TAKEN_UP = 0.6
_ROUNDS = 3
#: Holds a parameter at 0.
HELD = 1e9


@dataclass(frozen=True, slots=True, eq=False)
class Fits:
    """Fitted profiles, one row each.

    Attributes
    ----------
    theta : (n, 9) parameters, columns of ``profile_model``
    covariance : (n, 9, 9) of the parameters, with the residuals' correlation along the profile
    residual : (n, m) tone minus model, 0 where not weighted
    slopes : (n, m, 9) derivatives at the solution
    rms : (n,) of the residuals
    """

    theta: NDArray[np.float64]
    covariance: NDArray[np.float64]
    residual: NDArray[np.float64]
    slopes: NDArray[np.float64]
    rms: NDArray[np.float64]


def fit_profiles(
    x_mm: NDArray[np.float64],
    tone: NDArray[np.float64],
    weight: NDArray[np.float64],
    start: NDArray[np.float64],
    *,
    groove_prior: NDArray[np.float64] | None = None,
) -> Fits:
    """Fit the two-edge model to every row (Levenberg-Marquardt with the analytic derivative, all rows together).

    Parameters
    ----------
    x_mm : (m,) evenly spaced positions across
    tone : (n, m) tone, finite
    weight : (n, m) 0 or 1: which samples take part
    start : (n, 9) parameters to start from
    groove_prior : (n,) weight, in samples, with which the groove's own shades are drawn to 0; None: one tone, no shades
    """
    prior = _prior(groove_prior, len(tone))
    theta = settled(x_mm, tone, weight, start, groove_prior=groove_prior)
    model, slopes = profile_and_slopes(x_mm, theta)
    slopes *= weight[..., None]
    residual = (tone - model) * weight
    samples = np.maximum(weight.sum(axis=1), PARAMETERS + 1.0)
    covariance = _covariance(slopes, residual, samples, prior)
    rms = np.sqrt((residual**2).sum(axis=1) / (samples - PARAMETERS))
    return Fits(theta, covariance, residual, slopes, rms)


def settled(
    x_mm: NDArray[np.float64],
    tone: NDArray[np.float64],
    weight: NDArray[np.float64],
    start: NDArray[np.float64],
    *,
    groove_prior: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """(n, 9) parameters only, as ``fit_profiles``."""
    if groove_prior is not None and np.any(groove_prior < HELD):
        return _settle(x_mm, tone, weight, start, _prior(groove_prior, len(tone)))
    plain = _settle(x_mm, tone, weight, start[:, :PLAIN], np.zeros((len(start), PLAIN)))
    return np.concatenate([plain, np.zeros((len(start), PARAMETERS - PLAIN))], axis=1)


def _prior(groove_prior: NDArray[np.float64] | None, n: int) -> NDArray[np.float64]:
    """(n, 9) added to the diagonal of the normal matrix."""
    prior = np.zeros((n, PARAMETERS))
    prior[:, GROOVE] = HELD if groove_prior is None else groove_prior[:, None]
    return prior


def _settle(
    x_mm: NDArray[np.float64],
    tone: NDArray[np.float64],
    weight: NDArray[np.float64],
    start: NDArray[np.float64],
    prior: NDArray[np.float64],
) -> NDArray[np.float64]:
    theta, damping = start.copy(), np.full(len(start), 1e-3)
    least_mm, most_mm = (x_mm[1] - x_mm[0]) * 0.5, (x_mm[-1] - x_mm[0])
    todo = np.arange(len(start))
    model, slopes = profile_and_slopes(x_mm, theta)
    residual = (tone - model) * weight
    cost = (residual**2).sum(axis=1) + (prior * theta**2).sum(axis=1)
    for _ in range(_MOST_STEPS):
        if not len(todo):
            break
        normal, slope = _normal_equations(slopes[todo] * weight[todo, :, None], residual[todo])
        slope -= prior[todo] * theta[todo]
        diagonal = np.einsum("npp->np", normal)
        diagonal += prior[todo]
        diagonal += damping[todo, None] * np.maximum(diagonal, 1e-12)
        tried = theta[todo] + np.linalg.solve(normal, slope[..., None])[..., 0]
        tried[:, WIDTH] = np.clip(tried[:, WIDTH], least_mm, most_mm)
        tried[:, LOG_BLUR] = np.clip(tried[:, LOG_BLUR], np.log(least_mm / 2.0), np.log(most_mm / 4.0))
        new_model, new_slopes = profile_and_slopes(x_mm, tried)
        new_residual = (tone[todo] - new_model) * weight[todo]
        new_cost = (new_residual**2).sum(axis=1) + (prior[todo] * tried**2).sum(axis=1)
        better = new_cost <= cost[todo]
        done = better & (cost[todo] - new_cost <= _SETTLED * cost[todo])
        rows = todo[better]
        theta[rows], cost[rows] = tried[better], new_cost[better]
        residual[rows], slopes[rows] = new_residual[better], new_slopes[better]
        damping[todo] = np.where(better, damping[todo] * 0.2, damping[todo] * 5.0)
        todo = todo[~done & (damping[todo] < _GIVE_UP)]
    if theta.shape[1] > PLAIN:
        theta[:, GROOVE] = np.where(prior[:, GROOVE] >= HELD, 0.0, theta[:, GROOVE])
    return theta


def _normal_equations(
    slopes: NDArray[np.float64], residual: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    across = slopes.transpose(0, 2, 1)
    return across @ slopes, (across @ residual[..., None])[..., 0]


def _covariance(
    slopes: NDArray[np.float64],
    residual: NDArray[np.float64],
    samples: NDArray[np.float64],
    prior: NDArray[np.float64],
) -> NDArray[np.float64]:
    """(n, 9, 9) = γ N⁻¹ M N⁻¹, M = Σ_l ρ^|l| Σ_j J_j J_{j+l}ᵀ: residuals that go together, first-order autoregressive.

    A fit takes up the slow part of the noise, so that residuals seem smaller and less correlated than the noise is.
    With a = tr(N⁻¹ M)/m, the share that it took up, the noise's variance is the residuals' over 1 − a; and since what
    was taken up is slow, much the same at neighbouring samples, ρ is 1 − a times the residuals' correlation, plus a.
    """
    normal = slopes.transpose(0, 2, 1) @ slopes
    np.einsum("npp->np", normal)[...] += prior + 1e-12 * np.einsum("npp->np", normal) + 1e-300
    inverse = np.linalg.inv(normal)
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
    """(lags, n, 9, 9) sum of J_j J_{j+l}ᵀ and its transpose, lag 0 once."""
    products = []
    for lag in range(_REACH):
        product = slopes[:, lag:].transpose(0, 2, 1) @ slopes[:, : slopes.shape[1] - lag]
        products.append(product if lag == 0 else product + product.transpose(0, 2, 1))
    return np.stack(products)
