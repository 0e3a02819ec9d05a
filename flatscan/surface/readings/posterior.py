"""Floors that agree with the readings: the likeliest, how far it may be off, and others as likely as the next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.progress import SILENT
from flatscan.surface.readings.bounds import kept_above
from flatscan.surface.readings.normal import normal, rank_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from scipy.sparse import csr_matrix

    from flatscan.progress import Progress
    from flatscan.surface.readings.nodes import Nodes
    from flatscan.surface.readings.observations import Observations

#: Strengths of the prior that are tried: the floor's root mean square curvature over a square metre is about κ times a
#: thousand, in 1/m. A floor of 2.9 mm (one standard deviation) in waves of 2.5 m has 0.018: from a mirror to a scree.
KAPPAS: tuple[float, ...] = tuple(float(k) for k in 2.5e-5 * 2.0 ** np.arange(12))
#: Strengths whose chance is less than this have no say.
_LEAST_CHANCE = 1e-3
#: Columns of the inverse worked on at a time, to spare memory.
_BLOCK = 256


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """What readings and prior make of the floor.

    Attributes
    ----------
    mean_mm : (n + k,) float64, heights of the nodes, then the other unknowns; its plane is as the readings tell, or,
        where they do not, none in particular
    draws_mm : (d, n) float64, heights, plane included
    sd_mm : (n,) float64 standard deviation of each height after every draw was freed of its own plane
    kappa : strength of the prior with the greatest chance
    weights : chance of each strength tried
    """

    mean_mm: NDArray[np.float64]
    draws_mm: NDArray[np.float64]
    sd_mm: NDArray[np.float64]
    kappa: float
    weights: NDArray[np.float64]


def solve(
    observations: Observations,
    prior: csr_matrix,
    nodes: Nodes,
    *,
    draws: int,
    rng: np.random.Generator,
    kappas: Sequence[float] = KAPPAS,
    progress: Progress = SILENT,
) -> Posterior:
    """Bayes' answer to the readings, over all strengths of the prior by their chance.

    Each draw takes a strength by its chance, shakes readings and prior by their uncertainty and solves again, which
    gives an independent sample of the posterior (Papandreou & Yuille 2010, from memory). Then mean and draws are moved
    the shortest way, in the posterior's own metric, to where no bar goes below the floor.
    """
    tried = progress.track(kappas, label="Weighing how smooth the floor is", total=len(kappas))
    rank = rank_of(prior)
    chance = chances(np.array([evidence(observations, prior, kappa, rank=rank) for kappa in tried]))
    mean, drawn = np.zeros(observations.design.shape[1]), []
    for weight, number, kappa in zip(chance, rng.multinomial(draws, chance), kappas, strict=True):
        if weight > 0.0:
            equations = normal(observations, prior, kappa)
            likeliest = equations.mean(observations.value_mm / observations.sigma_mm)[:, None]
            answers = np.hstack([likeliest, likeliest + equations.scatter(int(number), rng)])
            answers = kept_above(answers, equations, observations.bounds)
            mean += weight * answers[:, 0]
            drawn.append(answers[: nodes.count, 1:].T)
    draws_mm = np.concatenate(drawn)
    sd = np.std(without_plane(draws_mm, nodes), axis=0)
    return Posterior(mean, draws_mm, sd, float(kappas[int(np.argmax(chance))]), chance)


def evidence(observations: Observations, prior: csr_matrix, kappa: float, *, rank: int | None = None) -> float:
    """Log of how likely the readings are under a strength of the prior, up to what is the same for all strengths.

    −½ (squared residuals + prior + log determinant) − rank · log κ: the marginal likelihood of a Gaussian model whose
    free directions are given a flat prior (restricted likelihood: Harville 1974, from memory). ``rank`` of the prior;
    None: worked out.
    """
    rank = rank_of(prior) if rank is None else rank
    equations = normal(observations, prior, kappa)
    scaled = observations.value_mm / observations.sigma_mm
    x = equations.mean(scaled)
    misfit = float(np.sum((equations.readings @ x - scaled) ** 2) + np.sum((equations.assumed @ x) ** 2))
    return -0.5 * (misfit + equations.log_determinant) - rank * float(np.log(kappa))


def chances(log_evidence: NDArray[np.float64]) -> NDArray[np.float64]:
    """Chances that sum to 1, those below one in a thousand left out."""
    chance = np.exp(log_evidence - log_evidence.max())
    chance[chance < _LEAST_CHANCE * chance.sum()] = 0.0
    return np.asarray(chance / chance.sum(), dtype=np.float64)


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


def plane_basis(nodes: Nodes) -> NDArray[np.float64]:
    """(n, 3) orthonormal columns that span the planes over the nodes."""
    xy = nodes.xy_mm - nodes.xy_mm.mean(axis=0)
    return np.linalg.qr(np.column_stack([np.ones(nodes.count), xy / nodes.spacing_mm]))[0]


def without_plane(height_mm: NDArray[np.float64], nodes: Nodes) -> NDArray[np.float64]:
    """Heights (…, n), each freed of its least-squares plane over the nodes."""
    basis = plane_basis(nodes)
    return np.asarray(height_mm - (height_mm @ basis) @ basis.T, dtype=np.float64)
