"""Readings that the rest contradicts: slips of the pen, of the decimal point, of the place."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.caveats import caveat
from flatscan.progress import SILENT
from flatscan.surface.readings.evidence import KAPPAS, weighed
from flatscan.surface.readings.normal import normal

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.surface.readings.floor_prior import FloorPrior
    from flatscan.surface.readings.normal import Normal
    from flatscan.surface.readings.observations import Observations

#: A reading further than this many of its standard uncertainties from what the others foretell stands out: among 500
#: sound ones it happens once in 30 floors.
_STANDS_OUT = 4.0
#: From here on it is looked at more closely.
_SUSPECT = 3.0
#: A reading of this standard uncertainty has no say.
_NO_SAY_MM = 1e6
#: No more than this many are looked for, one after the other.
_MOST = 8
#: A reading whose residual has less than this share of its own variance is met whatever it says.
_TOO_CERTAIN = 1e-6


def standing_out(observations: Observations, prior: FloorPrior, kappa: float) -> tuple[Caveat, ...]:
    """One caveat that names readings which the others contradict; none where all agree.

    A slip makes the floor look rough, and a rough floor hides it: so whatever is suspect is set aside, the prior's
    strength is chosen again without it, and only then is it held against what the others foretell. The worst comes
    first and stays aside, so that it does not make its neighbours look wrong.
    """
    aside: list[int] = []
    while len(aside) < _MOST:
        left = left_out(normal(observations, prior.rows, kappa, proper=prior.proper), observations, aside)
        worst = int(np.argmax(np.abs(left)))
        if abs(left[worst]) <= _SUSPECT:
            break
        kappa = _kappa_without(observations, prior, [*aside, worst])
        left = left_out(normal(observations, prior.rows, kappa, proper=prior.proper), observations, aside)
        if abs(left[worst]) <= _STANDS_OUT:
            break
        aside.append(worst)
    if not aside:
        return ()
    numbers = dict.fromkeys(f"{observations.number[i]} (line {observations.row[i]})" for i in aside)
    return (caveat("reading_stands_out", numbers=", ".join(numbers)),)


def _kappa_without(observations: Observations, prior: FloorPrior, aside: list[int]) -> float:
    """The strength that the other readings find likeliest."""
    sigma = observations.sigma_mm.copy()
    sigma[aside] = _NO_SAY_MM
    chance = weighed(replace(observations, sigma_mm=sigma), [prior], KAPPAS, SILENT)
    return KAPPAS[int(np.argmax(chance))]


def left_out(equations: Normal, observations: Observations, aside: list[int]) -> NDArray[np.float64]:
    """(m,) each reading less what all others foretell, over the standard uncertainty of that difference.

    With residual r, standard uncertainty σ and leverage h = d' N⁻¹ d / σ² it is r / (σ √(1 − h)): leaving a reading out
    moves its residual to r / (1 − h), whose standard deviation is σ / √(1 − h) (Cook & Weisberg 1982, 2.2: from
    memory). Readings ``aside`` have no say (their effect is taken off by the same formula for many), and count as 0.
    """
    scaled = observations.value_mm / observations.sigma_mm
    rows = equations.readings
    residual = scaled - rows @ equations.mean(scaled)
    hat = np.asarray(rows @ equations.solve(rows.T.toarray()))
    free = 1.0 - hat.diagonal()
    if aside:
        block = np.eye(len(aside)) - hat[np.ix_(aside, aside)]
        reach = np.linalg.solve(block, hat[aside])
        residual = residual + hat[:, aside] @ np.linalg.solve(block, residual[aside])
        free = free - np.einsum("ij,ji->i", hat[:, aside], reach)
    known = (free > _TOO_CERTAIN) & observations.was_read
    ratio = np.where(known, residual / np.sqrt(np.where(known, free, 1.0)), 0.0)
    ratio[aside] = 0.0
    return np.asarray(ratio, dtype=np.float64)
