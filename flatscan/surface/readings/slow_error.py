"""A scan's slow error, estimated with readings by hand as control: a Gaussian field seen through their differences.

Readings less the scan are ``sign · A c + T t + noise``: c the slow error on coarse nodes, A weights, t the heights and
tilts of bars and levels. What is free (heights and rises of bars, the field's plane) is taken out by working with
combinations that do not feel it (restricted likelihood: Patterson & Thompson 1971, from memory); the rest is the
conditioning of a Gaussian (Rasmussen & Williams 2006, A.2, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.readings.long_bends import POWERS, long_fields
from flatscan.surface.readings.nodes import Nodes
from flatscan.surface.readings.prior import thin_plate

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.surface.readings.control import Control
    from flatscan.surface.surface import Surface

#: Side of the coarse cells: a bend of room size is smooth over them (a wave of 2.5 m is drawn through ten).
SPACING_MM = 250.0
_MOST_NODES = 500
#: Cells of the floor over which root mean squares are taken.
_SAMPLES = 2000
#: Sizes tried, as multiples of the slow error that the scan states: its figure is often an assumption.
SIZES = (1.0, 2.0, 4.0, 8.0)
#: A larger size must make the readings so much likelier (log): half the 95 % point of a chi-square with one degree.
_BAR = 1.92
#: Share of a slow error's variance that is no twist or bow: sensors bend rooms almost as simply as that (assumption).
_PLATE_SHARE = 0.25
#: Order of twist and bows.
QUADRATIC = 2
_RANK = 1e-9
_TOLD = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class SlowPrior:
    """What the slow error may be before any reading.

    ``covariance`` (n, n) mm² over the coarse ``nodes``; ``over_floor`` (s, n): its height above its own plane at places
    spread over the floor, where its root mean square is what the scan states; ``kappa``: the thin plate's strength that
    makes it so.
    """

    nodes: Nodes
    covariance: NDArray[np.float64]
    over_floor: NDArray[np.float64]
    kappa: float

    def size_mm(self, covariance: NDArray[np.float64]) -> float:
        """Root mean square over the floor of a field's standard deviation, its plane taken off."""
        variance = np.einsum("sn,sn->s", self.over_floor @ covariance, self.over_floor)
        return float(np.sqrt(max(0.0, float(np.mean(variance)))))


def slow_prior(surface: Surface, rng: np.random.Generator) -> SlowPrior:
    """Twist and bows, as the noise model has them, and a thin plate for what is not quite so simple."""
    nodes = _box(surface)
    at = np.argwhere(surface.seen)
    chosen = at if len(at) <= _SAMPLES else at[rng.choice(len(at), _SAMPLES, replace=False)]
    xy = np.asarray((chosen[:, ::-1] + 0.5) * surface.cell_mm + surface.origin_mm, dtype=np.float64)
    plane, _ = np.linalg.qr(np.column_stack([np.ones(len(xy)), (xy - xy.mean(axis=0)) / SPACING_MM]))
    weights = nodes.weights(xy).toarray()
    rows = thin_plate(nodes)
    plate = np.linalg.pinv((rows.T @ rows).toarray(), rcond=_RANK, hermitian=True)
    bends = np.stack([field for name, field in long_fields(nodes).items() if sum(POWERS[name]) == QUADRATIC])
    stated = SlowPrior(nodes, plate, weights - plane @ (plane.T @ weights), 1.0)
    kappa = np.sqrt(_PLATE_SHARE) * surface.noise.systematic_mm / stated.size_mm(plate)
    bent = np.sqrt(1.0 - _PLATE_SHARE) * surface.noise.systematic_mm / stated.size_mm(bends.T @ bends)
    return replace(stated, covariance=kappa**2 * plate + bent**2 * bends.T @ bends, kappa=float(kappa))


def _box(surface: Surface) -> Nodes:
    """Nodes from wall to wall of the cells seen; a scan's error knows nothing of the room's outline."""
    row, col = np.nonzero(surface.seen)
    low = np.array([col.min(), row.min()]) * surface.cell_mm + surface.origin_mm
    high = np.array([col.max() + 1, row.max() + 1]) * surface.cell_mm + surface.origin_mm
    spacing = max(SPACING_MM, float(np.sqrt(np.prod(high - low) / _MOST_NODES)))
    cols, rows = (max(4, int(np.ceil(side / spacing)) + 1) for side in high - low)
    origin = 0.5 * (low + high) - 0.5 * spacing * np.array([cols, rows])
    inside = np.ones((rows, cols), dtype=bool)
    index = np.arange(rows * cols, dtype=np.int64).reshape(rows, cols)
    return Nodes(inside, index, spacing, (float(origin[0]), float(origin[1])))


@dataclass(frozen=True, slots=True, eq=False)
class SlowError:
    """The slow error given the readings. ``mean_mm`` (n,), ``covariance`` (n, n) mm² on the coarse nodes.

    ``grown``: how many times as large as stated the readings show it to be. ``precision`` (m, m) 1/mm²: of the
    differences, blind to what is free; ``freedom``: its rank; ``free`` (m, p) columns of what is free, the plane's
    slopes (mm per ``SPACING_MM``) last; ``scatter`` (m, m) mm²: covariance of the differences but for what is free.
    """

    mean_mm: NDArray[np.float64]
    covariance: NDArray[np.float64]
    grown: float
    precision: NDArray[np.float64]
    freedom: int
    free: NDArray[np.float64]
    scatter: NDArray[np.float64]

    def misfit(self, control: Control) -> NDArray[np.float64]:
        """(m,) each difference less what all others foretell, over the standard uncertainty of that.

        With Π the precision it is (Π r)ᵢ / √Πᵢᵢ: leaving one out of a Gaussian (Rasmussen & Williams 2006, 5.4.2).
        """
        own = np.maximum(np.diag(self.precision), 0.0)
        known = own > _RANK * max(float(own.max()), np.finfo(np.float64).tiny)
        pull = self.precision @ control.apart_mm
        return np.asarray(np.where(known, pull / np.sqrt(np.where(known, own, 1.0)), 0.0))

    def chi_square(self, control: Control) -> float:
        """Of all differences together; ``freedom`` is what it should be."""
        return float(control.apart_mm @ self.precision @ control.apart_mm)

    def plane_of(self, control: Control) -> tuple[tuple[float, float], NDArray[np.float64]] | None:
        """Slopes along x and y (mm/mm) of the plane in the differences and their (2, 2) covariance; None: not told."""
        weight = np.linalg.pinv(self.scatter, hermitian=True)
        normal = self.free.T @ weight @ self.free
        inverse = np.linalg.pinv(normal, rcond=_RANK, hermitian=True)
        # A figure is told where the readings' own space holds it whole.
        told = (inverse @ normal)[-2:]
        if np.abs(told - np.eye(len(normal))[-2:]).max() > _TOLD:
            return None
        values = (inverse @ self.free.T @ weight @ control.apart_mm)[-2:] / SPACING_MM
        return (float(values[0]), float(values[1])), np.asarray(inverse[-2:, -2:] / SPACING_MM**2)


def slow_error(
    control: Control, prior: SlowPrior, *, sizes: tuple[float, ...] = SIZES, scale: float = 1.0
) -> SlowError:
    """Estimate the slow error, its size chosen by how likely each makes the readings.

    ``scale``: of the differences' noise (covariance), where they scatter more than was stated.
    """
    felt = control.sign[:, None] * prior.nodes.weights(control.observations.at_mm).toarray()
    sigma = control.observations.nuisance_sigma_mm
    bounded = np.isfinite(sigma)
    xy = control.observations.at_mm - control.observations.at_mm.mean(axis=0)
    plane = control.sign[:, None] * np.column_stack([np.ones(len(xy)), xy / SPACING_MM])
    free = np.column_stack([control.others[:, ~bounded], plane])
    own = control.others[:, bounded] * sigma[bounded]
    noise = scale * control.covariance_mm2 + own @ own.T
    basis = _blind_to(free)
    seen, flat, differences = basis.T @ felt, basis.T @ noise @ basis, basis.T @ control.apart_mm
    slow = seen @ prior.covariance @ seen.T
    likely = np.array([_log_likelihood(differences, flat + size**2 * slow) for size in sizes])
    best = int(np.argmax(likely))
    best = best if likely[best] > likely[0] + _BAR else 0
    inner = np.linalg.inv(flat + sizes[best] ** 2 * slow)
    before = sizes[best] ** 2 * prior.covariance
    gain = before @ seen.T @ inner
    return SlowError(
        mean_mm=gain @ differences,
        covariance=before - gain @ seen @ before,
        grown=sizes[best],
        precision=basis @ inner @ basis.T,
        freedom=basis.shape[1],
        free=free,
        scatter=noise + sizes[best] ** 2 * felt @ prior.covariance @ felt.T,
    )


def _blind_to(free: NDArray[np.float64]) -> NDArray[np.float64]:
    """(m, m - rank) orthonormal columns that feel none of the ``free`` columns (m, p)."""
    from scipy.linalg import qr

    q, r, _ = qr(free, pivoting=True)
    size = np.abs(np.diag(r))
    return np.asarray(q[:, int(np.sum(size > _RANK * size.max())) :])


def _log_likelihood(values: NDArray[np.float64], covariance: NDArray[np.float64]) -> float:
    if len(values) == 0:
        return 0.0
    root = np.linalg.cholesky(covariance)
    whitened = np.linalg.solve(root, values)
    return -0.5 * float(whitened @ whitened) - float(np.log(np.diag(root)).sum())
