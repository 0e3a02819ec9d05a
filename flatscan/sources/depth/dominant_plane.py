"""The largest plane one depth frame sees, in the frame's own counts: enough to judge what the file left unsaid.

Not the floor: the surface stage finds that. A plane is ``m . P = 1`` with P in counts, so that
``m . P - 1`` is the misfit as a share of the depth, free of any unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import SIGMA_PER_MAD

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Share of the depth within which a point may belong while the plane is searched.
SEARCH_SHARE = 0.02
_LEAST_POINTS = 30
#: Tiles of the frame whose own fits are the candidates (rows, columns).
_TILINGS = ((1, 1), (2, 2), (3, 4), (6, 8))
_REFITS = 6
_KEEP_SIGMAS = 3.0
_FLOAT_FLOOR = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class FramePlane:
    """A plane in OpenCV camera axes.

    Attributes
    ----------
    normal : (3,) float64, unit, towards the camera
    distance : camera to plane, in counts of the depth image
    share : part of the valid points that lie on it
    misfit : (n,) float64, misfit of every point given, as a share of its depth
    on_plane : (n,) bool
    """

    normal: NDArray[np.float64]
    distance: float
    share: float
    misfit: NDArray[np.float64]
    on_plane: NDArray[np.bool_]


def dominant_plane(points: NDArray[np.float64]) -> FramePlane | None:
    """Largest plane of ``points`` (rows, columns, 3) in counts, NaN where nothing was seen.

    Every tile of several tilings proposes its least-squares plane; the one with most points within
    2 % of their depth is refitted on its own points. No chance is involved. None if too little is seen.
    """
    flat = points.reshape(-1, 3)
    seen = np.isfinite(flat).all(axis=1)
    if int(seen.sum()) < _LEAST_POINTS:
        return None
    candidates = [m for tiling in _TILINGS for tile in _tiles(points, tiling) if (m := _fit(tile)) is not None]
    if not candidates:
        return None
    valid = flat[seen]
    counts = [int((np.abs(valid @ m - 1.0) < SEARCH_SHARE).sum()) for m in candidates]
    plane = candidates[int(np.argmax(counts))]
    limit = SEARCH_SHARE
    for _ in range(_REFITS):
        misfit = valid @ plane - 1.0
        near = np.abs(misfit) < limit
        refit = _fit(valid[near])
        if refit is None:
            break
        plane = refit
        spread = SIGMA_PER_MAD * float(np.median(np.abs(valid[near] @ plane - 1.0)))
        limit = min(SEARCH_SHARE, max(_KEEP_SIGMAS * spread, _FLOAT_FLOOR))
    misfit = np.full(len(flat), np.nan)
    misfit[seen] = valid @ plane - 1.0
    on_plane = np.abs(misfit) < limit
    size = float(np.linalg.norm(plane))
    return FramePlane(-plane / size, 1.0 / size, float(on_plane.sum() / seen.sum()), misfit, on_plane)


def _tiles(points: NDArray[np.float64], tiling: tuple[int, int]) -> list[NDArray[np.float64]]:
    bands = np.array_split(points, tiling[0], axis=0)
    return [tile.reshape(-1, 3) for band in bands for tile in np.array_split(band, tiling[1], axis=1)]


def _fit(points: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Least squares of m . P = 1; None for too few points or all on a line through the camera's sight."""
    good = points[np.isfinite(points).all(axis=1)]
    if len(good) < _LEAST_POINTS:
        return None
    scale = float(good[:, 2].mean())
    m, _, rank, _ = np.linalg.lstsq(good / scale, np.ones(len(good)), rcond=1e-6)
    return np.asarray(m) / scale if rank == 3 else None  # noqa: PLR2004
