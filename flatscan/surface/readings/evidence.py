"""How likely the readings are under each prior and strength: they choose how smooth the floor is taken to be."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.readings.normal import normal

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.progress import Progress
    from flatscan.surface.readings.floor_prior import FloorPrior
    from flatscan.surface.readings.observations import Observations

#: Strengths of the prior that are tried: unevenness in waves shorter than 2 m of 0.01 to 9 mm, a mirror to a scree.
KAPPAS: tuple[float, ...] = tuple(float(k) for k in 1e-4 * 2.0 ** np.arange(11))
#: Priors and strengths whose chance is less than this have no say.
LEAST_CHANCE = 5e-3


def log_evidence(observations: Observations, prior: FloorPrior, kappa: float) -> float:
    """Log of how likely the readings are under a prior, up to what is the same for all priors and strengths.

    −½ (squared residuals + prior + log determinant) + ½ log determinant of the prior − rank · log κ: the marginal
    likelihood of a Gaussian model whose free directions have a flat prior (restricted likelihood: Harville 1974, from
    memory).
    """
    equations = normal(observations, prior.rows, kappa, proper=prior.proper)
    scaled = observations.value_mm / observations.sigma_mm
    x = equations.mean(scaled)
    misfit = float(np.sum((equations.readings @ x - scaled) ** 2) + np.sum((equations.assumed @ x) ** 2))
    return -0.5 * (misfit + equations.log_determinant - prior.log_determinant) - prior.rank * math.log(kappa)


def weighed(
    observations: Observations, priors: Sequence[FloorPrior], kappas: Sequence[float], progress: Progress
) -> NDArray[np.float64]:
    """(priors, kappas) chances that sum to 1, all priors being as likely as the next before; the least left out.

    For each prior strengths are tried from the likeliest of the last one outwards, until they have no chance.
    """
    found = np.full((len(priors), len(kappas)), -np.inf)
    start = len(kappas) // 2
    for which, prior in enumerate(progress.track(priors, label="Weighing how smooth the floor is", total=len(priors))):
        for step in (1, -1):
            at = start if step == 1 else start - 1
            while 0 <= at < len(kappas):
                found[which, at] = log_evidence(observations, prior, kappas[at]) + prior.log_chance(kappas[at])
                if found[which, at] < found.max() + math.log(LEAST_CHANCE) and found[which, at] < found[which].max():
                    break
                at += step
        start = int(np.argmax(found[which]))
    chance = np.exp(found - found.max())
    chance[chance < LEAST_CHANCE * chance.sum()] = 0.0
    return np.asarray(chance / chance.sum(), dtype=np.float64)
