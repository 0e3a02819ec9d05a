"""Bends of room size beside the thin plate.

The thin plate's strength is learnt from what the readings see. A bend that they cannot see (twist beneath crossed
rows) is then held down by a prior that was never tried on it, and the stated uncertainty is far too small. So the
floor is taken as a thin plate w plus bends of room size, each with its own standard deviation s that does not come
from the readings:

    u = w + Φ c,   w ~ thin plate of strength κ,   c ~ N(0, diag s²)

(universal kriging with bends for trend; Cressie 1993, 3.4; Rasmussen & Williams 2006, 2.7: both from memory). The
heights u stay the unknowns, c joins the others, and the plate's rows P hold u - Φ c.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.readings.flat import without_plane
from flatscan.surface.readings.normal import ANCHOR_MM

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


def with_bends(
    observations: Observations, plate: csr_matrix, nodes: Nodes, *, departure_mm: float | None = None
) -> tuple[Observations, csr_matrix]:
    """Readings and prior with the bends among the other unknowns, for everything that takes both.

    Parameters
    ----------
    plate : (p, n) rows of the thin plate for kappa = 1 (see :mod:`~flatscan.surface.readings.prior`)
    departure_mm : s of every bend, mm rms; None: by the floor's size, see :func:`departures_mm`; 0: no bends but the
        plate's own

    Returns
    -------
    observations with m columns of zeros more, and prior (p, n + k + m)
    """
    from scipy.sparse import csr_matrix, hstack

    fields = long_fields(nodes)
    if not fields or departure_mm == 0.0:
        return observations, plate
    sd = departures_mm(fields, nodes) if departure_mm is None else np.full(len(fields), departure_mm)
    held = csr_matrix(-(plate @ np.stack(list(fields.values()), axis=1)))
    others = len(observations.nuisance_sigma_mm)
    beside = csr_matrix((plate.shape[0], others))
    return observations.with_others(sd), hstack([plate, beside, held]).tocsr()


def covariance_of(equations: Normal, rows: NDArray[np.float64], nodes: Nodes) -> NDArray[np.float64]:
    """(q, q) covariance, mm², of ``rows`` (q, n) times the floor's heights, freed of what they feel of a plane."""
    free = without_plane(rows, nodes).T
    right = np.zeros((equations.anchor.size, len(rows)))
    right[: nodes.count] = free
    return np.asarray(free.T @ equations.solve(right)[: nodes.count])


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
