"""Large planes of one direction in a thinned cloud, by random sampling and peeling.

Fischler and Bolles, Random sample consensus, Comm. ACM 24 (1981) 381; each found plane is refined by
trimmed total least squares and its points are taken out before the next is sought.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

_NEIGHBOURS = 32
_MOST_FOR_NORMALS = 30_000
_MOST_FOR_SCORES = 6_000
_TRIALS = 300
_REFINEMENTS = 6
_MOST_PLANES = 12
_LEAST_POINTS = 30
#: A local normal is noisier than a plane's: it may lie this much further from the axis.
_NORMAL_SLACK_RAD = np.deg2rad(20.0)
#: A vertical face shows within this many times the reach above and below a plane that cuts it.
_FLANK_REACH = 5.0
#: Cells that count a plane's area; wider than the thinned cloud's spacing.
AREA_CELL_MM = 100.0


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """``normal · p = offset_mm``; ``rows`` are the points of the thinned cloud that lie on it."""

    normal: NDArray[np.float64]
    offset_mm: float
    rows: NDArray[np.int64]
    area_m2: float

    def distance_mm(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) float64, signed distance along the normal."""
        return points_mm @ self.normal - self.offset_mm


def local_normals(
    points_mm: NDArray[np.float64], rng: np.random.Generator
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Rows of at most 30 000 points and the (k, 3) unit normals (either sign) of their neighbourhoods."""
    from scipy.spatial import cKDTree

    n = len(points_mm)
    rows = np.sort(rng.choice(n, _MOST_FOR_NORMALS, replace=False)) if n > _MOST_FOR_NORMALS else np.arange(n)
    some = points_mm[rows]
    _, near = cKDTree(some).query(some, k=min(_NEIGHBOURS, len(some)))
    patches = some[near] - some[near].mean(axis=1, keepdims=True)
    _, vectors = np.linalg.eigh(np.einsum("nki,nkj->nij", patches, patches))
    return rows, vectors[:, :, 0]


def main_directions(
    normals: NDArray[np.float64], rng: np.random.Generator, *, most: int = 4
) -> list[NDArray[np.float64]]:
    """The directions most normals share, strongest first, at least 45° apart (sign is arbitrary)."""
    left = normals
    found: list[NDArray[np.float64]] = []
    for _ in range(most):
        if len(left) < max(_LEAST_POINTS, len(normals) // 50):
            break
        tries = left[rng.choice(len(left), min(200, len(left)), replace=False)]
        close = np.abs(left @ tries.T) > np.cos(np.deg2rad(8.0))
        best = left[close[:, int(close.sum(axis=0).argmax())]]
        _, vectors = np.linalg.eigh(best.T @ best)
        found.append(vectors[:, 2])
        left = left[np.abs(left @ vectors[:, 2]) < np.cos(np.deg2rad(45.0))]
    return found


def planes_across(
    points_mm: NDArray[np.float64],
    facing: NDArray[np.int64],
    axis: NDArray[np.float64],
    rng: np.random.Generator,
    *,
    tilt_rad: float,
    reach_mm: float,
) -> list[Plane]:
    """Planes whose normal lies within ``tilt_rad`` of ``axis``, largest first; normals point along it.

    Parameters
    ----------
    points_mm : (n, 3) float64
    facing : (k,) rows whose local normal is near the axis (see ``rows_facing``): hypotheses come from these
    axis : (3,) unit vector
    reach_mm : points this close to a plane lie on it
    """
    planes: list[Plane] = []
    left = facing
    free = np.ones(len(points_mm), dtype=bool)
    while len(planes) < _MOST_PLANES and len(left) >= _LEAST_POINTS:
        start = _best_of_trials(points_mm[left], axis, rng, tilt_rad, reach_mm)
        if start is None:
            break
        normal, offset = _refine(points_mm[left], *start, axis, reach_mm)
        distance = points_mm @ normal - offset
        rows = np.flatnonzero((np.abs(distance) < reach_mm) & free)
        # Its fringe goes with it.
        near = np.abs(points_mm[left] @ normal - offset) < 1.5 * reach_mm
        if near.sum() < _LEAST_POINTS:
            break
        planes.append(Plane(normal, offset, rows, _level_area_m2(points_mm, rows, normal, distance, reach_mm)))
        free[rows] = False
        left = left[~near]
    return sorted(planes, key=lambda plane: -plane.area_m2)


def rows_facing(
    rows: NDArray[np.int64], normals: NDArray[np.float64], axis: NDArray[np.float64], tilt_rad: float
) -> NDArray[np.int64]:
    """The rows whose local normal is within ``tilt_rad`` (and the slack of local normals) of the axis."""
    facing: NDArray[np.int64] = rows[np.abs(normals @ axis) > np.cos(min(tilt_rad + _NORMAL_SLACK_RAD, np.pi / 2))]
    return facing


def _level_area_m2(
    points_mm: NDArray[np.float64],
    rows: NDArray[np.int64],
    normal: NDArray[np.float64],
    distance: NDArray[np.float64],
    reach_mm: float,
) -> float:
    """Area of the 100 mm cells in the plane that hold a point of it, but none both just above and just below.

    A level cut through a room's walls is no surface, though it holds many points.
    """
    flank = (np.abs(distance) > reach_mm) & (np.abs(distance) < _FLANK_REACH * reach_mm)
    near = np.concatenate([rows, np.flatnonzero(flank)])
    cells = plane_cells(points_mm[near], normal)
    key = cells[:, 0] * (1 << 32) + cells[:, 1]
    on, beside, side = key[: len(rows)], key[len(rows) :], distance[near[len(rows) :]]
    through = np.intersect1d(beside[side > 0], beside[side < 0])
    return len(np.setdiff1d(on, through)) * AREA_CELL_MM**2 / 1e6


def plane_cells(points_mm: NDArray[np.float64], normal: NDArray[np.float64]) -> NDArray[np.int64]:
    """(n, 2) int64, the 100 mm cell of each point's foot in any plane of that normal."""
    along = np.linalg.svd(normal[None, :])[2][1:]
    cells: NDArray[np.int64] = np.floor(points_mm @ along.T / AREA_CELL_MM).astype(np.int64)
    return cells


def _best_of_trials(
    points_mm: NDArray[np.float64],
    axis: NDArray[np.float64],
    rng: np.random.Generator,
    tilt_rad: float,
    reach_mm: float,
) -> tuple[NDArray[np.float64], float] | None:
    """The plane through three of the points that most of them support; None when no three will do."""
    scored = points_mm
    if len(points_mm) > _MOST_FOR_SCORES:
        scored = points_mm[rng.choice(len(points_mm), _MOST_FOR_SCORES, replace=False)]
    corners = points_mm[rng.integers(0, len(points_mm), size=(_TRIALS, 3))]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normals, axis=1)
    fit = length > 1e-3  # noqa: PLR2004 - mm², three points on one spot or line
    normals = normals[fit] / length[fit, None]
    normals *= np.where(normals @ axis < 0, -1.0, 1.0)[:, None]
    offsets = np.einsum("ni,ni->n", normals, corners[fit, 0])
    upright = normals @ axis > np.cos(tilt_rad)
    normals, offsets = normals[upright], offsets[upright]
    if len(normals) == 0:
        return None
    # A vote counts for more the nearer the point (Torr and Zisserman 2000): a plane that cuts slantwise through
    # two levels of a split floor is near many points but on few.
    far = (scored @ normals.T - offsets) / reach_mm
    votes = np.maximum(1.0 - far * far, 0.0).sum(axis=0)
    best = int(votes.argmax())
    return normals[best], float(offsets[best])


def _refine(
    points_mm: NDArray[np.float64],
    normal: NDArray[np.float64],
    offset: float,
    axis: NDArray[np.float64],
    reach_mm: float,
) -> tuple[NDArray[np.float64], float]:
    """Total least squares on the points near the plane, again until they settle."""
    for _ in range(_REFINEMENTS):
        near = points_mm[np.abs(points_mm @ normal - offset) < reach_mm]
        if len(near) < _LEAST_POINTS:
            break
        centre = near.mean(axis=0)
        _, vectors = np.linalg.eigh((near - centre).T @ (near - centre))
        normal = vectors[:, 0] if vectors[:, 0] @ axis > 0 else -vectors[:, 0]
        offset = float(normal @ centre)
    return normal, offset
