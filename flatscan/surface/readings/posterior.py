"""Floors that agree with the readings: the likeliest, how far it may be off, and others as likely as the next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.progress import SILENT
from flatscan.surface.readings.bounds import kept_above
from flatscan.surface.readings.evidence import KAPPAS, weighed
from flatscan.surface.readings.flat import plane_basis, without_plane
from flatscan.surface.readings.floor_prior import FloorPrior
from flatscan.surface.readings.normal import normal

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from scipy.sparse import csr_matrix

    from flatscan.progress import Progress
    from flatscan.surface.readings.nodes import Nodes
    from flatscan.surface.readings.observations import Observations

__all__ = ["KAPPAS", "Posterior", "predicted_sd_mm", "solve", "without_plane"]

#: Columns of the inverse worked on at a time, to spare memory.
_BLOCK = 256


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """What readings and prior make of the floor.

    Attributes
    ----------
    mean_mm : (n + k,) float64, heights of the nodes, then the instruments' unknowns; its plane is as the readings
        tell, or, where they do not, none in particular
    draws_mm : (d, n) float64, heights, plane included
    sd_mm : (n,) float64 standard deviation of each height after every draw was freed of its own plane
    kappa : strength of the prior with the greatest chance
    weights : (k,) chance of each strength tried; (priors, k) where several priors were
    prior : the one with the greatest chance
    """

    mean_mm: NDArray[np.float64]
    draws_mm: NDArray[np.float64]
    sd_mm: NDArray[np.float64]
    kappa: float
    weights: NDArray[np.float64]
    prior: FloorPrior


def solve(
    observations: Observations,
    prior: csr_matrix | Sequence[FloorPrior],
    nodes: Nodes,
    *,
    draws: int,
    rng: np.random.Generator,
    kappas: Sequence[float] = KAPPAS,
    progress: Progress = SILENT,
) -> Posterior:
    """Bayes' answer to the readings, over all priors and strengths by their chance.

    Each draw takes a prior and a strength by their chance, shakes readings and prior by their uncertainty and solves
    again, which gives an independent sample of the posterior (Papandreou & Yuille 2010, from memory). Then mean and
    draws are moved the shortest way, in the posterior's own metric, to where no bar goes below the floor.

    Parameters
    ----------
    prior : rows of a thin plate, or the floors thought likely
    """
    priors = _priors(prior)
    chance = weighed(observations, priors, kappas, progress)
    mean, drawn = np.zeros(observations.design.shape[1]), []
    count = rng.multinomial(draws, chance.ravel()).reshape(chance.shape)
    for which, at in np.argwhere(chance > 0.0):
        equations = normal(observations, priors[which].rows, kappas[at], proper=priors[which].proper)
        likeliest = equations.mean(observations.value_mm / observations.sigma_mm)[:, None]
        answers = np.hstack([likeliest, likeliest + equations.scatter(int(count[which, at]), rng)])
        answers = kept_above(answers, equations, observations.bounds)
        mean += chance[which, at] * answers[:, 0]
        drawn.append(answers[: nodes.count, 1:].T)
    draws_mm = np.concatenate(drawn)
    which, at = (int(i) for i in np.unravel_index(int(np.argmax(chance)), chance.shape))
    return Posterior(
        mean,
        draws_mm,
        np.std(without_plane(draws_mm, nodes), axis=0),
        float(kappas[at]),
        chance[0] if len(priors) == 1 else chance,
        priors[which],
    )


def predicted_sd_mm(
    observations: Observations, prior: csr_matrix, nodes: Nodes, *, kappa: float
) -> NDArray[np.float64]:
    """(n,) standard deviation of the heights, plane left out, that such readings will leave. Takes no values.

    Exact: columns of the inverse of the normal matrix. Bounds, which can only help, are left out.
    """
    equations = normal(observations, prior, kappa)
    basis = plane_basis(nodes)
    variance = np.empty(nodes.count)
    others = equations.anchor.size - nodes.count
    for block in np.array_split(np.arange(nodes.count), -(-nodes.count // _BLOCK)):
        # A height freed of its plane is a row of I − QQ'; the right sides then carry no plane, and no size is lost.
        unit = -basis @ basis[block].T
        unit[block, np.arange(len(block))] += 1.0
        column = equations.solve(np.vstack([unit, np.zeros((others, len(block)))]))
        variance[block] = np.einsum("ij,ij->j", unit, column[: nodes.count])
    return np.sqrt(np.maximum(variance, 0.0))


def _priors(prior: csr_matrix | Sequence[FloorPrior]) -> tuple[FloorPrior, ...]:
    from scipy.sparse import issparse

    return (FloorPrior.of_plate(prior),) if issparse(prior) else tuple(prior)
