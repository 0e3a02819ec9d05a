"""Bends of room size, and what readings say of them once the rest of the floor is allowed for.

The thin plate's strength is learnt from what the readings see. A bend that they cannot see (twist beneath crossed
rows) is then held down by a prior that was never tried on it, and the stated uncertainty is far too small. So the
floor is taken as a thin plate w plus bends of room size, each with its own standard deviation s that does not come
from the readings:

    u = w + Φ c,   w ~ thin plate of strength κ,   c ~ N(0, diag s²)

(universal kriging with bends for trend; Cressie 1993, 3.4; Rasmussen & Williams 2006, 2.7). With Q the thin plate's
precision, N = Aᵀ W A what the readings add and H = N + Q, the floor given c moves by F c, F = H⁻¹ Q Φ, and the
readings' information on c with everything else eliminated is J = ΦᵀQΦ - ΦᵀQ H⁻¹ QΦ. F is Φ itself and J is 0 for a
bend that no reading feels, whatever κ.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.readings.normal import ANCHOR_MM, normal
from flatscan.surface.readings.posterior import plane_basis

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from scipy.sparse import csr_matrix

    from flatscan.surface.readings.nodes import Nodes
    from flatscan.surface.readings.normal import Normal
    from flatscan.surface.readings.observations import Observations

#: Powers of x and y of each bend, after the plane, in the order in which they are made free of one another.
POWERS: dict[str, tuple[int, int]] = {
    "twist": (1, 1),
    "bow along x": (2, 0),
    "bow along y": (0, 2),
    "bow along x that changes across y": (2, 1),
    "bow along y that changes across x": (1, 2),
    "S-shaped bend along x": (3, 0),
    "S-shaped bend along y": (0, 3),
}
#: Standard deviation (mm) of the greatest departure from its plane that a bend of span L may have, per root metre:
#: a floor bent by DIN 18202:2013-04 table 3 line 3 (4, 10, 12, 15 mm between contacts 1, 4, 10, 15 m apart) has
#: 4, 5, 4 and 4. An assumption on the side of doubt: old floors are often no better than that.
DEPARTURE_MM_PER_ROOT_M = 4.0
#: A bend with less than this share of its own shape left after the others were taken off is none of its own.
_OWN_SHARE = 1e-6


def long_fields(nodes: Nodes) -> dict[str, NDArray[np.float64]]:
    """Each bend (n,) over the nodes: mean square 1, free of the plane and of the bends before it (Gram-Schmidt).

    Bends that the nodes cannot hold (a room one or two nodes wide) are left out.
    """
    x, y = _scaled(nodes.xy_mm).T
    basis = [np.ones_like(x), x, y]
    found: dict[str, NDArray[np.float64]] = {}
    for name, (px, py) in POWERS.items():
        raw = x**px * y**py
        free = _free_of(raw, basis)
        if np.linalg.norm(free) > _OWN_SHARE * np.linalg.norm(raw):
            found[name] = free / np.sqrt(np.mean(free**2))
            basis.append(found[name])
    return found


def departures_mm(fields: dict[str, NDArray[np.float64]], nodes: Nodes) -> NDArray[np.float64]:
    """(k,) mm: standard deviation s of each bend's rms amplitude before any reading.

    Its greatest departure has ``DEPARTURE_MM_PER_ROOT_M``·√L; L is the floor's diagonal for twist and bows, and half
    of it for bends of third order, which go up and down on the way.
    """
    diagonal_m = float(np.hypot(*np.ptp(nodes.xy_mm, axis=0))) / 1000.0
    spans = np.array([diagonal_m / (sum(POWERS[name]) - 1) for name in fields])
    peaks = np.array([np.abs(field).max() for field in fields.values()])
    return np.asarray(DEPARTURE_MM_PER_ROOT_M * np.sqrt(spans) / np.maximum(peaks, 1.0))


@dataclass(frozen=True, slots=True, eq=False)
class BendSystem:
    """The floor given the readings, thin plate and bends together. n nodes, m bends.

    ``fields`` (n, m), rms 1; ``pull`` (n, m) = Q Φ, 1/mm²; ``response`` (n, m) = F, how the floor moves with each bend;
    ``covariance`` (m, m) mm², of c given the readings; ``mean_mm`` (n,) the thin plate's mean without bends of their
    own; ``plane`` (n, 3) orthonormal columns.
    """

    fields: NDArray[np.float64]
    pull: NDArray[np.float64]
    response: NDArray[np.float64]
    covariance: NDArray[np.float64]
    mean_mm: NDArray[np.float64]
    plane: NDArray[np.float64]
    equations: Normal

    @classmethod
    def of(
        cls,
        nodes: Nodes,
        observations: Observations,
        prior: csr_matrix,
        fields: NDArray[np.float64],
        *,
        kappa: float,
        departure_mm: NDArray[np.float64],
    ) -> BendSystem:
        """Factor once; ``fields`` (n, m); ``departure_mm`` (m,) is s. See the module's description."""
        equations = normal(observations, prior, kappa)
        pull = np.asarray(prior.T @ (prior @ fields)) / kappa**2
        response = _on_nodes(equations, pull)
        information = fields.T @ pull - pull.T @ response
        mean = equations.mean(observations.value_mm / observations.sigma_mm)[: nodes.count]
        covariance = _shrunk(information, departure_mm)
        return cls(fields, pull, response, covariance, mean, plane_basis(nodes), equations)

    def of_functionals(self, rows: NDArray[np.float64]) -> NDArray[np.float64]:
        """(q, q) covariance, mm², of ``rows`` (q, n) times the floor's heights, freed of what they feel of a plane."""
        free = (rows - (rows @ self.plane) @ self.plane.T).T
        moved = free.T @ self.response
        return np.asarray(free.T @ _on_nodes(self.equations, free) + moved @ self.covariance @ moved.T)

    @property
    def shift_mm(self) -> NDArray[np.float64]:
        """(n,) what the bends' own likeliest sizes, (J + diag 1/s²)⁻¹ Φᵀ Q mean, add to the thin plate's mean."""
        return np.asarray(self.response @ (self.covariance @ (self.pull.T @ self.mean_mm)))

    @property
    def amplitudes(self) -> NDArray[np.float64]:
        """(m, n) rows that give the rms amplitude of each bend in a floor."""
        return np.asarray(self.fields.T / len(self.fields))


def prior_amplitude_mm(
    plate: csr_matrix, fields: NDArray[np.float64], *, kappa: float, departure_mm: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(m,) standard deviation of each bend's amplitude before any reading: thin plate and s together, mm.

    ``plate`` holds the rows of an unbroken plate: across a step heights are free, which is no bend. It is anchored
    as the readings' equations are.
    """
    from scipy.sparse import diags_array
    from scipy.sparse.linalg import splu

    n = len(fields)
    rows = fields / n
    stiffness = plate.T @ plate / kappa**2 + diags_array(np.full(n, ANCHOR_MM**-2))
    plate_mm2 = np.einsum("ij,ij->j", rows, splu(stiffness.tocsc()).solve(rows))
    return np.asarray(np.sqrt(np.maximum(plate_mm2, 0.0) + departure_mm**2))


def _scaled(xy_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Places in units in which the floor reaches from -1 to 1 along its longer side."""
    low, high = xy_mm.min(axis=0), xy_mm.max(axis=0)
    return np.asarray((xy_mm - 0.5 * (low + high)) / max(0.5 * float((high - low).max()), 1.0))


def _free_of(raw: NDArray[np.float64], basis: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    columns = np.stack(basis, axis=1)
    fitted, *_ = np.linalg.lstsq(columns, raw, rcond=None)
    return np.asarray(raw - columns @ fitted)


def _on_nodes(equations: Normal, right: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, q) the nodes' part of the solution for right sides (n, q) on the nodes and 0 on all other unknowns."""
    others = equations.anchor.size - len(right)
    return equations.solve(np.vstack([right, np.zeros((others, right.shape[1]))]))[: len(right)]


def _shrunk(information: NDArray[np.float64], sd_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """(J + diag 1/s²)⁻¹, also where s is 0; what rounding made negative in J counts as no information."""
    value, vector = np.linalg.eigh(0.5 * (information + information.T) * np.outer(sd_mm, sd_mm))
    half = sd_mm[:, None] * vector
    return np.asarray(half / (1.0 + np.maximum(value, 0.0)) @ half.T)
