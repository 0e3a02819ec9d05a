"""Which bends of room size the readings show, what would show the others, and how far those may reach."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.caveats import caveat
from flatscan.surface.readings import cures
from flatscan.surface.readings.fit import LongMode
from flatscan.surface.readings.long_bends import (
    covariance_of,
    departures_mm,
    long_fields,
    prior_amplitude_mm,
    with_bends,
)
from flatscan.surface.readings.normal import normal
from flatscan.surface.readings.prior import thin_plate

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray
    from scipy.sparse import csr_matrix

    from flatscan.caveats import Caveat
    from flatscan.surface.readings.nodes import Nodes
    from flatscan.surface.readings.observations import Observations

    Covariance = Callable[[NDArray[np.float64]], NDArray[np.float64]]

#: A bend is seen where the readings leave at most this share of the standard deviation it had before them: they then
#: carry three times the information of what was assumed.
_LEFT_OF_SEEN = 0.5


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
    equations = normal(*with_bends(observations, prior, nodes, departure_mm=departure_mm), kappa)
    before = prior_amplitude_mm(thin_plate(nodes), shapes, kappa=kappa, departure_mm=own_sd)
    return modes_of(nodes, before, lambda rows: covariance_of(equations, rows, nodes))


def modes_of(nodes: Nodes, before_mm: NDArray[np.float64], covariance: Covariance) -> tuple[LongMode, ...]:
    """The same from the covariance itself: ``covariance`` makes (q, q) mm² of rows (q, n) over the nodes' heights.

    ``before_mm`` (m,): each bend's standard deviation before any reading, in the order of ``long_fields``.
    """
    fields = long_fields(nodes)
    amplitudes = np.stack(list(fields.values())) / nodes.count
    after = np.sqrt(np.maximum(np.diag(covariance(amplitudes)), 0.0))
    enough = _LEFT_OF_SEEN * before_mm
    cured = _cures(nodes, amplitudes, covariance, enough, np.flatnonzero(after > enough))
    return tuple(
        LongMode(name, float(after[k]), float(before_mm[k]), k not in cured, cured.get(k, ""))
        for k, name in enumerate(fields)
    )


_NOTHING_TRIED_HELPS = "readings over the whole of the floor, at every metre both ways"


def _cures(
    nodes: Nodes,
    amplitudes: NDArray[np.float64],
    covariance: Covariance,
    enough_mm: NDArray[np.float64],
    unseen: NDArray[np.int64],
) -> dict[int, str]:
    """By number of the unseen bend the first readings that would show it: each is tried, not hoped for."""
    found: dict[int, str] = {}
    offers, count = cures.candidates(nodes), len(amplitudes)
    while len(found) < len(unseen) and (readings := next(offers, None)) is not None:
        joint = covariance(np.vstack([amplitudes, readings.rows]))
        known, shared, own = np.diag(joint)[:count], joint[:count, count:], joint[count:, count:]
        left = cures.still_unknown(known, shared, own, readings.sigma_mm)
        found |= {int(k): readings.text for k in unseen if k not in found and left[k] <= enough_mm[k]}
    return {int(k): found.get(int(k), _NOTHING_TRIED_HELPS) for k in unseen}


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
