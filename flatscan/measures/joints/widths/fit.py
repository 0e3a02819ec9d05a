"""Least squares of many joint profiles at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.widths.profile_model import GROOVE, LOG_BLUR, PARAMETERS, WIDTH, profile_and_slopes

if TYPE_CHECKING:
    from numpy.typing import NDArray

_MOST_STEPS = 40
#: A fit has settled when a step lowers the sum of squares by less than this share.
_SETTLED = 1e-9
_GIVE_UP = 1e8
#: Reach of the residuals' correlation that is looked for, in samples.
_REACH = 12
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
    prior = np.zeros((len(tone), PARAMETERS))
    prior[:, GROOVE] = HELD if groove_prior is None else groove_prior[:, None]
    theta = _settle(x_mm, tone, weight, start, prior)
    theta[:, GROOVE] = np.where(prior[:, GROOVE] >= HELD, 0.0, theta[:, GROOVE])
    model, slopes = profile_and_slopes(x_mm, theta)
    slopes *= weight[..., None]
    residual = (tone - model) * weight
    free = np.maximum(weight.sum(axis=1) - PARAMETERS, 1.0)
    covariance = _covariance(slopes, residual, free, prior)
    return Fits(theta, covariance, residual, slopes, np.sqrt((residual**2).sum(axis=1) / free))


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
    return theta


def _normal_equations(
    slopes: NDArray[np.float64], residual: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    across = slopes.transpose(0, 2, 1)
    return across @ slopes, (across @ residual[..., None])[..., 0]


def _covariance(
    slopes: NDArray[np.float64],
    residual: NDArray[np.float64],
    free: NDArray[np.float64],
    prior: NDArray[np.float64],
) -> NDArray[np.float64]:
    """(n, 9, 9) = N⁻¹ (Σ_l γ_l w_l Σ_j J_j J_{j+l}ᵀ) N⁻¹ with γ the residuals' autocovariance, w falling to 0.

    The falling weights (Bartlett) keep it positive: Newey and West 1987, Econometrica 55(3), 703 (from memory).
    """
    normal = slopes.transpose(0, 2, 1) @ slopes
    np.einsum("npp->np", normal)[...] += prior + 1e-12 * np.einsum("npp->np", normal) + 1e-300
    inverse = np.linalg.inv(normal)
    middle = np.zeros_like(normal)
    for lag in range(_REACH):
        ahead, behind = slice(lag, None), slice(None, slopes.shape[1] - lag)
        gamma = (residual[:, ahead] * residual[:, behind]).sum(axis=1) / free * (1.0 - lag / _REACH)
        product = slopes[:, ahead].transpose(0, 2, 1) @ slopes[:, behind]
        both = product if lag == 0 else product + product.transpose(0, 2, 1)
        middle += gamma[:, None, None] * both
    return np.asarray(inverse @ middle @ inverse, dtype=np.float64)
