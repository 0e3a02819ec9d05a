"""Which bends of room size the readings show, what would show the others, and how far those may reach."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.caveats import caveat
from flatscan.surface.readings import cures
from flatscan.surface.readings.fit import LongMode
from flatscan.surface.readings.long_bends import BendSystem, departures_mm, long_fields, prior_amplitude_mm
from flatscan.surface.readings.prior import thin_plate

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from scipy.sparse import csr_matrix

    from flatscan.caveats import Caveat
    from flatscan.surface.readings.nodes import Nodes
    from flatscan.surface.readings.observations import Observations

#: A bend is seen where the readings leave at most this share of the standard deviation it had before them: they then
#: carry three times the information of what was assumed.
_LEFT_OF_SEEN = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class UnseenSpread:
    """What bends of room size add to floors drawn from the thin plate's posterior. Arrays over n nodes, mm.

    ``fields_mm`` (k, n): add each, times an independent standard normal number, to every draw. ``shift_mm`` (n,): add
    it to the mean and to every draw. ``sd_mm`` (k,): root mean square over the floor of each field, greatest first.
    """

    fields_mm: NDArray[np.float64]
    shift_mm: NDArray[np.float64]

    @property
    def sd_mm(self) -> NDArray[np.float64]:
        """(k,) mm rms over the floor."""
        return np.asarray(np.sqrt(np.mean(self.fields_mm**2, axis=1)))

    def draw(self, draws: int, rng: np.random.Generator) -> NDArray[np.float64]:
        """(draws, n) mm to be added to as many draws of the thin plate's posterior."""
        return np.asarray(self.shift_mm + rng.standard_normal((draws, len(self.fields_mm))) @ self.fields_mm)


def long_modes(
    nodes: Nodes,
    observations: Observations,
    prior: csr_matrix,
    *,
    kappa: float,
    departure_mm: float | None = None,
) -> tuple[LongMode, ...]:
    """Twist, bows and the bends of third order: how well the readings know each, and what would show the unseen.

    Parameters
    ----------
    prior : (p, n) rows of the thin plate for kappa = 1, broken at steps (see :mod:`~flatscan.surface.readings.prior`)
    kappa : the thin plate's size, as it was chosen by evidence
    departure_mm : standard deviation of a bend's rms amplitude beside the thin plate's; None: by the floor's size,
        see :func:`~flatscan.surface.readings.long_bends.departures_mm`. 0: thin plate alone

    Returns
    -------
    tuple of LongMode
        ``sd_mm`` given the readings and ``prior_sd_mm`` before them, of the bend's rms over the floor. ``seen``: the
        former is at most half of the latter. Both hold the thin plate and the bend of its own that
        :mod:`~flatscan.surface.readings.long_bends` adds, so the sentence does not hang on ``kappa``: a small one
        cannot hide an unseen twist, and a large one cannot show it.
    """
    fields = long_fields(nodes)
    if not fields:
        return ()
    shapes = np.stack(list(fields.values()), axis=1)
    own_sd = departures_mm(fields, nodes) if departure_mm is None else np.full(len(fields), departure_mm)
    system = BendSystem.of(nodes, observations, prior, shapes, kappa=kappa, departure_mm=own_sd)
    before = prior_amplitude_mm(thin_plate(nodes), shapes, kappa=kappa, departure_mm=own_sd)
    variance = np.diag(system.of_functionals(system.amplitudes))
    after = np.sqrt(np.maximum(variance, 0.0))
    seen = after <= _LEFT_OF_SEEN * before
    cured = {} if seen.all() else _cures(nodes, system, _LEFT_OF_SEEN * before)
    return tuple(
        LongMode(
            name, float(after[k]), float(before[k]), bool(seen[k]), "" if seen[k] else cured.get(k, _NOTHING_HELPS)
        )
        for k, name in enumerate(fields)
    )


_NOTHING_HELPS = "readings over the whole of the floor, at every metre both ways"


def _cures(nodes: Nodes, system: BendSystem, enough_mm: NDArray[np.float64]) -> dict[int, str]:
    """By number of the bend the first readings that would show it (those tried, not those hoped for)."""
    found: dict[int, str] = {}
    amplitudes = system.amplitudes
    count = len(amplitudes)
    for readings in cures.candidates(nodes):
        joint = system.of_functionals(np.vstack([amplitudes, readings.rows]))
        known, shared, own = np.diag(joint)[:count], joint[:count, count:], joint[count:, count:]
        left = cures.still_unknown(known, shared, own, readings.sigma_mm)
        for k in np.flatnonzero(left <= enough_mm):
            found.setdefault(int(k), readings.text)
    return found


def unseen_spread(
    nodes: Nodes,
    observations: Observations,
    prior: csr_matrix,
    *,
    kappa: float,
) -> UnseenSpread:
    """What to add to the thin plate's mean and draws so that bends of room size have the doubt they deserve.

    Thin plate and bends of their own together are one Gaussian (see :mod:`~flatscan.surface.readings.long_bends`):
    what is added is F c with c as the readings leave it. For bends that are well seen that is next to nothing; an
    unseen one keeps all of its s. That no bar goes below the floor is left out here.
    """
    fields = long_fields(nodes)
    if not fields:
        return UnseenSpread(np.zeros((0, nodes.count)), np.zeros(nodes.count))
    shapes = np.stack(list(fields.values()), axis=1)
    own_sd = departures_mm(fields, nodes)
    system = BendSystem.of(nodes, observations, prior, shapes, kappa=kappa, departure_mm=own_sd)
    value, vector = np.linalg.eigh(system.covariance)
    moved = (system.response @ vector * np.sqrt(np.maximum(value, 0.0))).T
    order = np.argsort(-np.square(moved).sum(axis=1))
    return UnseenSpread(np.asarray(moved[order]), system.shift_mm)


def bend_caveats(modes: Sequence[LongMode]) -> tuple[Caveat, ...]:
    """One caveat for all unseen bends that the same readings would show."""
    by_cure: dict[str, list[LongMode]] = {}
    for mode in modes:
        if not mode.seen:
            by_cure.setdefault(mode.cure, []).append(mode)
    return tuple(
        caveat(
            "bend_not_seen",
            bends=" and ".join(mode.name for mode in unseen),
            sd_mm=max(mode.sd_mm for mode in unseen),
            cure=cure,
        )
        for cure, unseen in by_cure.items()
    )
