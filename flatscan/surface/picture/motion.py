"""One small motion a photo so that all agree best: robust least squares over the graph of overlaps."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from flatscan.surface.picture.posed_photo import PosedPhoto
    from flatscan.surface.picture.shifts import Shifts

#: How far given poses are off (common practice, no source): along the floor, about the vertical, in height.
_PLACE_MM, _TURN_RAD, _HEIGHT_MM = 5.0, np.radians(0.3), 3.0
_PRIOR = np.array([_PLACE_MM, _PLACE_MM, _TURN_RAD, _HEIGHT_MM])
#: How far all photos together are off in height: a depth camera's heights have a bias that the photos' do not share.
_COMMON_MM = 15.0
#: Shifts off by more than a few of these count less and less (Cauchy's weights, from memory).
_USUAL_MM = 0.3
_ROUNDS = 5
PLACES_ONLY = (0, 1)
ALL_MOTIONS = (0, 1, 2, 3)


@dataclass(frozen=True, slots=True, eq=False)
class Motions:
    """What moves each photo.

    ``own`` (photos, 4) float64: along x, along y (mm), about the vertical through the camera (rad), up (mm);
    ``up_mm``: all together.
    """

    own: NDArray[np.float64]
    up_mm: float = 0.0

    @classmethod
    def none(cls, count: int) -> Motions:
        """Nothing moves."""
        return cls(np.zeros((count, 4)))

    @property
    def place_mm(self) -> NDArray[np.float64]:
        """(photos,) how far each moves along the floor."""
        return np.asarray(np.hypot(self.own[:, 0], self.own[:, 1]))

    def applied(self, photos: Sequence[PosedPhoto]) -> tuple[PosedPhoto, ...]:
        """The photos moved."""
        return tuple(_moved(photo, own, self.up_mm) for photo, own in zip(photos, self.own, strict=True))


def _moved(photo: PosedPhoto, own: NDArray[np.float64], up_mm: float) -> PosedPhoto:
    if not own.any() and up_mm == 0.0:
        return photo
    cos, sin = np.cos(own[2]), np.sin(own[2])
    pose = photo.floor_from_camera.copy()
    pose[:3, :3] = np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]]) @ pose[:3, :3]
    pose[:3, 3] += own[[0, 1, 3]] + (0.0, 0.0, up_mm)
    return replace(photo, floor_from_camera=pose)


def carried(photo: PosedPhoto, at_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 2, 4) how places (n, 2) that a photo shows move on the floor with its motions.

    A camera raised by dz at height h carries what lies x off its foot to x (h + dz) / h.
    """
    off = at_mm - photo.position_mm[:2]
    high = max(float(photo.position_mm[2]), 1.0)
    out = np.zeros((len(at_mm), 2, 4))
    out[:, 0, 0] = out[:, 1, 1] = 1.0
    out[:, 0, 2], out[:, 1, 2] = -off[:, 1], off[:, 0]
    out[:, :, 3] = off / high
    return out


def left_after(
    photos: Sequence[PosedPhoto], shifts: Mapping[tuple[int, int], Shifts], before: Motions, after: Motions
) -> dict[tuple[int, int], NDArray[np.float64]]:
    """(n, 2) mm of each pair's shifts, seen after the motions ``before``, that remain with those ``after``."""
    added = after.own - before.own
    added[:, 3] += after.up_mm - before.up_mm
    return {
        (i, j): seen.shift_mm + carried(photos[i], seen.at_mm) @ added[i] - carried(photos[j], seen.at_mm) @ added[j]
        for (i, j), seen in shifts.items()
    }


def solved(
    photos: Sequence[PosedPhoto],
    shifts: Mapping[tuple[int, int], Shifts],
    before: Motions,
    free: tuple[int, ...] = ALL_MOTIONS,
) -> Motions:
    """The motions so far with what is to be added.

    Minimises Σ w rᵀ W r + Σ (motion / prior)² with r what remains of a shift, w from r by Cauchy. What all photos
    of a connected part could do together along the floor costs the prior alone, so its mean stays 0.

    Parameters
    ----------
    photos : where ``shifts`` were seen, that is moved by ``before``
    free : which of the four motions may be added; the common height always may
    """
    from scipy.sparse import coo_array, eye_array
    from scipy.sparse.linalg import spsolve

    free_at = list(free)
    k, count = len(free_at), len(photos)
    prior = _PRIOR[free_at]
    parts = {pair: _Part.of(photos, pair, seen, free_at, count) for pair, seen in shifts.items() if len(seen)}
    start = np.append((before.own[:, free_at] / prior).ravel(), before.up_mm / _COMMON_MM)
    step = np.zeros(count * k + 1)
    for _ in range(_ROUNDS if parts else 0):
        right = -start.copy()
        rows, cols, values = [], [], []
        for part in parts.values():
            weight = part.weight(step)
            right[part.at] -= np.einsum("nka,nkl,nl->a", part.jacobian, weight, part.shift_mm)
            rows.append(np.repeat(part.at, len(part.at)))
            cols.append(np.tile(part.at, len(part.at)))
            values.append(np.einsum("nka,nkl,nlb->ab", part.jacobian, weight, part.jacobian, optimize=True).ravel())
        data = (np.concatenate(values), (np.concatenate(rows), np.concatenate(cols)))
        normal = coo_array(data, shape=(len(step), len(step))).tocsc() + eye_array(len(step), format="csc")
        step = np.asarray(spsolve(normal, right))
    own = before.own.copy()
    own[:, free_at] += step[:-1].reshape(count, k) * prior
    return Motions(own, before.up_mm + float(step[-1]) * _COMMON_MM)


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """A pair's share of the sum: shifts (n, 2), their inverse covariances, (n, 2, p) slopes, (p,) unknowns."""

    shift_mm: NDArray[np.float64]
    sure: NDArray[np.float64]
    jacobian: NDArray[np.float64]
    at: NDArray[np.int64]

    @classmethod
    def of(
        cls, photos: Sequence[PosedPhoto], pair: tuple[int, int], seen: Shifts, free: list[int], count: int
    ) -> _Part:
        one, other = (carried(photos[a], seen.at_mm) for a in pair)
        common = (one - other)[:, :, 3:] * _COMMON_MM
        prior = _PRIOR[free]
        jacobian = np.concatenate([one[:, :, free] * prior, -other[:, :, free] * prior, common], axis=2)
        k = len(free)
        at = np.concatenate([pair[0] * k + np.arange(k), pair[1] * k + np.arange(k), [count * k]])
        return cls(seen.shift_mm, seen.weight, jacobian, at)

    def weight(self, step: NDArray[np.float64]) -> NDArray[np.float64]:
        """Cauchy's weight on each shift, by what remains of it along the axes that it tells of."""
        left = self.shift_mm + self.jacobian @ step[self.at]
        total = np.maximum(np.trace(self.sure, axis1=1, axis2=2), 1e-12)
        off2 = np.einsum("ni,nij,nj->n", left, self.sure, left) / total
        return np.asarray(self.sure / (1.0 + off2 / (2.0 * _USUAL_MM) ** 2)[:, None, None])
