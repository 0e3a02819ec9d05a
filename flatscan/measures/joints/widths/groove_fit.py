"""The compiled least-squares loop over joint profiles, each by itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit, prange

import flatscan.threads  # noqa: F401 - for its effect
from flatscan.measures.joints.widths.groove_model import (
    DEPTH,
    EDGE,
    JOINT,
    LEFT,
    LOG_BLUR,
    PARAMETERS,
    RIGHT,
    WIDTH,
    evaluate,
    shapes,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

_FIRST_STEPS = 8
_MOST_STEPS = 40
#: A fit has settled when a step lowers the cost by less than this share.
_SETTLED = 1e-9
_GIVE_UP = 1e8
_DEEPEST_MM = 8.0
_ROUNDEST_MM = 2.5


@njit(cache=True, error_model="numpy")
def _bounded(theta: NDArray[np.float64], step: float, reach: float) -> None:
    theta[WIDTH] = min(max(theta[WIDTH], 0.5 * step), reach)
    theta[LOG_BLUR] = min(max(theta[LOG_BLUR], np.log(0.6 * step)), np.log(0.25 * reach))
    theta[DEPTH] = min(max(theta[DEPTH], 0.0), _DEEPEST_MM)
    theta[EDGE] = min(max(theta[EDGE], 0.0), _ROUNDEST_MM)


@njit(cache=True, error_model="numpy")
def _cost(off: NDArray[np.float64], theta: NDArray[np.float64], prior: NDArray[np.float64]) -> float:
    cost = np.dot(off, off)
    for k in range(PARAMETERS):
        cost += prior[1, k] * (theta[k] - prior[0, k]) ** 2
    return float(cost)


@njit(cache=True, error_model="numpy")
def _descend(
    first: float, step: float, slant: float, tone: NDArray[np.float64], theta: NDArray[np.float64],
    prior: NDArray[np.float64], steps: int,
) -> float:  # fmt: skip
    """Levenberg-Marquardt; moves ``theta`` (8,) and gives the cost. ``prior`` (2, 8): value, weight in tone²."""
    m, reach = len(tone), step * len(tone)
    model, slopes, none = np.empty(m), np.empty((m, PARAMETERS)), np.empty((0, 0))
    _bounded(theta, step, reach)
    evaluate(first, step, slant, theta, model, slopes)
    off = tone - model
    cost, damping = _cost(off, theta, prior), 1e-3
    for _ in range(steps):
        normal, slope = slopes.T @ slopes, slopes.T @ off
        for k in range(PARAMETERS):
            normal[k, k] += prior[1, k]
            slope[k] -= prior[1, k] * (theta[k] - prior[0, k])
        for k in (DEPTH, EDGE):
            # What is 0 goes no lower.
            if theta[k] <= 0.0 and slope[k] < 0.0:
                normal[k, :] = 0.0
                normal[:, k] = 0.0
                normal[k, k], slope[k] = 1.0, 0.0
        for k in range(PARAMETERS):
            normal[k, k] += damping * max(normal[k, k], 1e-12)
        tried = theta + np.linalg.solve(normal, slope)
        _bounded(tried, step, reach)
        evaluate(first, step, slant, tried, model, none)
        new = _cost(tone - model, tried, prior)
        if new <= cost:
            done = cost - new <= _SETTLED * cost
            theta[:], cost = tried, new
            damping = max(0.2 * damping, 1e-9)
            if done:
                break
            evaluate(first, step, slant, theta, model, slopes)
            off = tone - model
        else:
            damping *= 5.0
            if damping > _GIVE_UP:
                break
    return cost


@njit(cache=True, error_model="numpy", parallel=True)
def settle(
    x_mm: NDArray[np.float64], tone: NDArray[np.float64], weight: NDArray[np.float64], slant: NDArray[np.float64],
    starts: NDArray[np.float64], prior: NDArray[np.float64],
) -> NDArray[np.float64]:  # fmt: skip
    """(n, 8) best parameters from ``starts`` (n, k, 8): a few steps from each, the best one goes on to its end.

    ``weight`` (n, m): the samples above 0, which lie together; ``prior`` (n, 2, 8).
    """
    found = np.empty((len(tone), PARAMETERS))
    for row in prange(len(tone)):
        _settle_one(x_mm, tone[row], weight[row], slant[row], starts[row], prior[row], found[row])
    return found


@njit(cache=True, error_model="numpy")
def _settle_one(
    x_mm: NDArray[np.float64], tone: NDArray[np.float64], weight: NDArray[np.float64], slant: float,
    starts: NDArray[np.float64], prior: NDArray[np.float64], found: NDArray[np.float64],
) -> None:  # fmt: skip
    """One row, in a function of its own so that no two threads share its scratch."""
    use = np.nonzero(weight > 0.0)[0]
    low, high, step = use[0], use[-1] + 1, x_mm[1] - x_mm[0]
    line, best = tone[low:high].copy(), np.inf
    for k in range(len(starts)):
        theta = starts[k].copy()
        cost = _descend(x_mm[low], step, slant, line, theta, prior, _FIRST_STEPS)
        if cost < best:
            best = cost
            found[:] = theta
    _descend(x_mm[low], step, slant, line, found, prior, _MOST_STEPS)


@njit(cache=True, error_model="numpy")
def scan(
    x_mm: NDArray[np.float64], tone: NDArray[np.float64], slant: NDArray[np.float64], tried: NDArray[np.float64],
    shifts: NDArray[np.int64], skip: int,
) -> NDArray[np.float64]:  # fmt: skip
    """(n, 2, 8) the best of all ``tried`` (k, 8) grooves moved by ``shifts`` samples: dark ones, light ones.

    Tones are solved for. ``skip``: samples left out at either end, at least the greatest shift. NaN: no such groove.
    """
    n, m, step = len(tone), len(x_mm), x_mm[1] - x_mm[0]
    found, best = np.full((n, 2, PARAMETERS), np.nan), np.full((n, 2), np.inf)
    for row in range(n):
        for k in range(len(tried)):
            shape = shapes(x_mm[0], step, slant[row], tried[k], m)
            for shift in shifts:
                own = np.ascontiguousarray(shape[:, skip - shift : m - skip - shift])
                line = tone[row, skip : m - skip].copy()
                normal, right = own @ own.T, own @ line
                for i in range(3):
                    normal[i, i] *= 1.0 + 1e-6
                tones = np.linalg.solve(normal, right)
                if tones.min() < 0.0:
                    continue
                cost = np.dot(line, line) - np.dot(tones, right)
                kind = int(tones[JOINT] > 0.5 * (tones[RIGHT] + tones[LEFT]))
                if cost < best[row, kind]:
                    best[row, kind] = cost
                    found[row, kind] = tried[k]
                    found[row, kind, :3] = tones
                    found[row, kind, 3] += shift * step
    return found
