"""Floors that are thought of before anything is read: a plane, bends of room size, and unevenness of some range.

One thin plate is not enough. Its long bends are tied to its short waves, so a twist that crossed rows cannot see would
be taken for as small as the waves they do see; it knows no floor of short bumps, on which far readings are independent
of each other; and it is rougher between readings than a smooth floor. So a floor is

    u = T b + v,   v of spectrum proportional to 1 / (1/ρ² + k²)^α,  α = 2 or 3

T b: a plane of any tilt (one for each piece of floor that steps cut off) and bends of room size, each with a standard
deviation of its own. v: a Whittle-Matérn field of range ρ (Whittle 1954; Lindgren, Rue & Lindström 2011, from memory).
Its waves longer than 2πρ are all alike in size; shorter ones fall off as those of the thin plate do (α = 2, which it
is for ρ → ∞) or faster. Which of them and what κ, the readings tell.

κ is scaled alike for all: with it unevenness in waves shorter than 2 m has the standard deviation κ · 90 mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.readings.factors import log_determinant, rank_of
from flatscan.surface.readings.long_bends import departures_mm, long_fields
from flatscan.surface.readings.prior import bend_changes, slopes, thin_plate

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from scipy.sparse import csr_matrix

    from flatscan.sources.hand.field_readings import StepLine
    from flatscan.surface.readings.nodes import Nodes
    from flatscan.surface.readings.observations import Observations

#: (α, ρ) that are tried: from bumps a hand's breadth wide to as good as a thin plate.
KINDS: tuple[tuple[int, float], ...] = ((2, 150.0), (2, 600.0), (2, 5000.0), (3, 300.0), (3, 700.0), (3, 1500.0))
#: Standard deviation of a plane's height and rise, as good as none.
ANY_MM = 1e4
#: Waves shorter than this are what a straightedge shows.
SHORT_MM = 2000.0
#: Standard deviation of old floors' unevenness, in such waves and in all, its median and by what factor it is often
#: more or less (common practice, no source; limits of 2 to 5 mm under a 2 m edge are met by floors about that even).
#: Weak on purpose: 0.08 and 6 mm are two such factors away. The bends of room size come on top.
USUAL_SHORT_MM, USUAL_MM, USUAL_FACTOR = 0.7, 2.0, 3.0
#: k₀ of waves that long, and what one of κ is in mm of unevenness: for a thin plate κ is then the root of its spectrum.
_SHORT_PER_MM = 2.0 * math.pi / SHORT_MM
_MM_PER_KAPPA = 1.0 / (2.0 * math.pi**0.5 * _SHORT_PER_MM)
#: Shapes that differ by less than this share of their size from others are none of their own.
_OWN_SHARE = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class FloorPrior:
    """One way a floor may be uneven.

    ``rows`` (p, n) or (p, n + k) csr: their product with the unknowns, over κ, is p independent standard normal
    numbers. ``log_determinant`` and ``rank`` of what they say of the heights alone. ``usual_kappa``: the strength
    that fits most floors; None: a bare plate, of which nothing is known. ``alpha``, ``range_mm``: which floor of the
    module's description.
    """

    rows: csr_matrix
    log_determinant: float
    rank: int
    usual_kappa: float | None = None
    alpha: int = 2
    range_mm: float = math.inf

    @property
    def proper(self) -> bool:
        """Whether no shape of the heights is left free."""
        return self.usual_kappa is not None

    @classmethod
    def of_plate(cls, rows: csr_matrix) -> FloorPrior:
        """A thin plate alone. Its determinant, the same for all κ, is left out."""
        return cls(rows, 0.0, rank_of(rows))

    def log_chance(self, kappa: float) -> float:
        """Log of how likely a strength is before anything is read, up to a constant: log-normal about the usual one."""
        if self.usual_kappa is None:
            return 0.0
        return -0.5 * (math.log(kappa / self.usual_kappa) / math.log(USUAL_FACTOR)) ** 2


def likely_floors(
    observations: Observations,
    nodes: Nodes,
    steps: Sequence[StepLine] = (),
    *,
    kinds: Sequence[tuple[int, float]] = KINDS,
) -> tuple[Observations, tuple[FloorPrior, ...]]:
    """The readings with coefficients b of planes and bends among the other unknowns, and a prior for each (α, ρ).

    All have the same planes and bends, so that their evidence can be compared.
    """
    from scipy.sparse import csr_matrix, hstack

    fields, planes = long_fields(nodes), _planes(thin_plate(nodes, steps), nodes)
    trend = np.column_stack([planes, *fields.values()])
    sigma = np.concatenate([np.full(planes.shape[1], ANY_MM), departures_mm(fields, nodes)])
    others = len(observations.nuisance_sigma_mm)
    priors = []
    for alpha, range_mm in kinds:
        rows = _rows(nodes, steps, alpha, range_mm)
        wide = hstack([rows, csr_matrix((rows.shape[0], others)), csr_matrix(-(rows @ trend))]).tocsr()
        # In all there is (1 + k₀²ρ²)^(α − 1) times the variance of the short waves.
        in_all = (1.0 + (_SHORT_PER_MM * range_mm) ** 2) ** ((alpha - 1) / 2)
        usual = min(USUAL_SHORT_MM, USUAL_MM / in_all) / _MM_PER_KAPPA
        priors.append(FloorPrior(wide, log_determinant(rows.T @ rows), nodes.count, usual, alpha, range_mm))
    return observations.with_others(sigma), tuple(priors)


def _rows(nodes: Nodes, steps: Sequence[StepLine], alpha: int, range_mm: float) -> csr_matrix:
    """(p, n) rows whose sum of squares is c² ∫ (1/ρ² + k²)^α |v(k)|² dk: its binomial terms, one derivative each.

    Over κ² their precision gives v the spectrum κ² / c² / (1/ρ² + k²)^α, whose part beyond k₀ = 2π / 2 m has the
    variance κ² / c² · (1/ρ² + k₀²)^(1 - α) / (4π (α - 1)). c makes that (κ · 90 mm)².
    """
    from scipy.sparse import eye_array, vstack

    derivatives = [eye_array(nodes.count) * nodes.spacing_mm, slopes(nodes, steps), thin_plate(nodes, steps)]
    if alpha == 3:  # noqa: PLR2004 - one derivative more
        derivatives.append(bend_changes(nodes, steps))
    terms = [d * (math.comb(alpha, k) ** 0.5 / range_mm ** (alpha - k)) for k, d in enumerate(derivatives)]
    short = (range_mm**-2 + _SHORT_PER_MM**2) ** (1 - alpha) / (4.0 * math.pi * (alpha - 1))
    return (vstack(terms) * (short**0.5 / _MM_PER_KAPPA)).tocsr()


def _planes(plate: csr_matrix, nodes: Nodes) -> NDArray[np.float64]:
    """(n, t) a plane's three shapes, mean square 1, for each piece of floor that bends as one; fewer where narrow."""
    from scipy.sparse.csgraph import connected_components

    pieces, label = connected_components(plate.T @ plate, directed=False)
    shapes = []
    for piece in range(pieces):
        at = np.flatnonzero(label == piece)
        xy = nodes.xy_mm[at] - nodes.xy_mm[at].mean(axis=0)
        own, size, _ = np.linalg.svd(np.column_stack([np.ones(len(at)), xy / nodes.spacing_mm]), full_matrices=False)
        own = own[:, size > _OWN_SHARE * size.max()] * np.sqrt(len(at))
        shape = np.zeros((nodes.count, own.shape[1]))
        shape[at] = own
        shapes.append(shape)
    return np.hstack(shapes)
