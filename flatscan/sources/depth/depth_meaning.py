"""What depth values mean where the files leave it unsaid: along the axis or along the ray, and their scale.

Judged on the largest plane of a few frames. Scale: a hand-held or stand-mounted camera is 0.3 to 3 m
from the surface it films, and where the poses rise and fall they measure the scale themselves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from flatscan.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.sources.depth.dominant_plane import FramePlane

#: Counts per metre in use, most common first (SENSORS of general purpose write these).
WHOLE_SCALES = (1000.0, 5000.0, 4000.0, 256.0)
FLOAT_SCALES = (1.0, 1000.0)
#: Metres between a camera and the floor or wall it films.
PLAUSIBLE_M = (0.3, 3.0)
#: A stated scale is refused only outside this.
POSSIBLE_M = (0.05, 30.0)
#: Ray lengths are accepted when they halve the misfit of the plane.
_CLEARLY_BETTER = 0.5
_WORST_MISFIT = 0.2
#: Share of the depth: noise-free images still carry float32's rounding.
_LEAST_MISFIT = 1e-6
_LEAST_RISE_M = 0.08
_PAIR_RISE_M = 0.04
_POSE_AGREES = 0.25
_POSE_CONTRADICTS = 0.5
_ONE_PLANE = math.cos(math.radians(15.0))
_LEAST_FRAMES = 4
#: Spread of the pairwise slopes above which the poses measure nothing.
_SLOPE_SPREAD = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class SeenPlane:
    """A frame's largest plane with the frame's pose (4 x 4, m, OpenCV camera axes)."""

    plane: FramePlane
    scan_from_camera: NDArray[np.float64]

    @property
    def normal_in_scan(self) -> NDArray[np.float64]:
        """(3,) unit, towards the camera, scan axes."""
        return np.asarray(self.scan_from_camera[:3, :3] @ self.plane.normal)


@dataclass(frozen=True, slots=True)
class DepthScale:
    """``per_m`` counts per metre; ``reason`` says how it was inferred, None where it was stated."""

    per_m: float
    reason: str | None


def is_ray_length(pairs: Sequence[tuple[FramePlane, FramePlane]]) -> bool:
    """Whether depth is ray length, from planes fitted both ways to the same frames (see ``bowl_ratio``)."""
    return bowl_ratio(pairs) < _CLEARLY_BETTER


def bowl_ratio(pairs: Sequence[tuple[FramePlane, FramePlane]]) -> float:
    """Misfit when values are read as ray lengths over misfit when read as z-depth; 1 without pairs.

    Parameters
    ----------
    pairs : (plane if values are z-depth, plane if values are ray lengths) of one frame each

    Notes
    -----
    Read the wrong way a flat floor is a bowl (misfit z (1/cos - 1)). Over the points of the plane, under
    the reading that puts more points on one, the root mean square misfit of the wrong reading is many
    times larger. The median over the frames is taken.
    """
    ratios = []
    for as_z, as_ray in pairs:
        floor = as_z.on_plane if as_z.share >= as_ray.share else as_ray.on_plane
        z_rms, ray_rms = (
            float(np.sqrt(np.mean(np.minimum(np.abs(p.misfit[floor]), _WORST_MISFIT) ** 2))) for p in (as_z, as_ray)
        )
        ratios.append(max(ray_rms, _LEAST_MISFIT) / max(z_rms, _LEAST_MISFIT))
    return float(np.median(ratios)) if ratios else 1.0


def scale_by_poses(seen: Sequence[SeenPlane]) -> float | None:
    """Counts per metre that make the camera's rise above one plane the same in depth and poses.

    None where fewer than four frames see one plane, or the camera keeps its height, or the poses are
    meant another way.
    """
    slope = rise_slope(seen, [s.scan_from_camera[:3, :3] for s in seen])
    return slope if slope is not None and slope > 0.0 else None


def rise_slope(seen: Sequence[SeenPlane], rotations: Sequence[NDArray[np.float64]]) -> float | None:
    """Counts of plane distance gained per metre that the camera moves off the plane, turns as given.

    The median of the pairwise slopes (Theil and Sen). Below zero the camera would come nearer to the
    plane by moving away from it: its axes are meant another way. None where nothing tells.
    """
    if len(seen) < _LEAST_FRAMES:
        return None
    normals = np.array([r @ s.plane.normal for s, r in zip(seen, rotations, strict=True)])
    common = np.median(normals, axis=0)
    size = float(np.linalg.norm(common))
    if size == 0.0:
        return None
    common = common / size
    same = [s for s, n in zip(seen, normals, strict=True) if n @ common > _ONE_PLANE]
    heights_m = [float(common @ s.scan_from_camera[:3, 3]) for s in same]
    if len(same) < _LEAST_FRAMES or max(heights_m) - min(heights_m) < _LEAST_RISE_M:
        return None
    slopes = [
        (a.plane.distance - b.plane.distance) / (ha - hb)
        for (a, ha), (b, hb) in combinations(zip(same, heights_m, strict=True), 2)
        if abs(ha - hb) > _PAIR_RISE_M
    ]
    low, middle, high = np.quantile(slopes, (0.25, 0.5, 0.75))
    return float(middle) if high - low < _SLOPE_SPREAD * abs(middle) else None


def choose_scale(seen: Sequence[SeenPlane], scales: Sequence[float], where: object) -> DepthScale:
    """Pick the scale that physics allows: the one the poses measure, else the commonest.

    Raises InputError when none fits.
    """
    if not seen:
        raise InputError(
            where, "the depth images do not state their scale and show no plane to judge it by", "State --depth-per-m"
        )
    distance = float(np.median([s.plane.distance for s in seen]))
    fits = [s for s in scales if PLAUSIBLE_M[0] <= distance / s <= PLAUSIBLE_M[1]]
    by_poses = scale_by_poses(seen)
    if by_poses is not None:
        fits = sorted(
            (s for s in fits if abs(s / by_poses - 1.0) < _POSE_AGREES), key=lambda s: abs(math.log(s / by_poses))
        )
    if not fits:
        by = f" and by the poses one metre is {by_poses:.4g} counts" if by_poses is not None else ""
        raise InputError(
            where,
            f"the depth images do not state their scale: the surface in view is {distance:.4g} counts away{by}, "
            "which fits no usual scale",
            "State --depth-per-m, the counts per metre",
        )
    chosen = fits[0]
    reason = f"the surface in view is then {distance / chosen:.2f} m from the camera"
    if by_poses is not None:
        reason += f", and the poses themselves say {by_poses:.4g}"
    elif len(fits) > 1:
        reason += f" (it would be {', '.join(f'{distance / s:.2f} m at {s:g}' for s in fits[1:])})"
    return DepthScale(chosen, reason)


def check_scale(seen: Sequence[SeenPlane], per_m: float, where: object) -> None:
    """Raise InputError when a stated scale is impossible or the poses are in another unit."""
    if not seen:
        return
    distance_m = float(np.median([s.plane.distance for s in seen])) / per_m
    if not POSSIBLE_M[0] <= distance_m <= POSSIBLE_M[1]:
        raise InputError(
            where,
            f"at {per_m:g} counts per metre the surface in view is {distance_m:.3g} m from the camera",
            "Correct the depth scale (--depth-per-m)",
        )
    by_poses = scale_by_poses(seen)
    if by_poses is not None and abs(math.log(by_poses / per_m)) > _POSE_CONTRADICTS:
        raise InputError(
            where,
            f"depth and poses are not in one unit: {per_m:g} counts per metre are stated, "
            f"by the camera's own rise one metre is {by_poses:.4g} counts",
            "Give poses in metres, or correct the depth scale (--depth-per-m)",
        )


def tilt_spread_rad(seen: Sequence[SeenPlane], rotations: Sequence[NDArray[np.float64]]) -> float:
    """Median angle (rad) between the planes' normals, turned by other ``rotations``, and their common one.

    Small when frames see one plane and the rotations are right.
    """
    normals = np.array([r @ s.plane.normal for s, r in zip(seen, rotations, strict=True)])
    common = np.median(normals, axis=0)
    size = float(np.linalg.norm(common))
    if size == 0.0:
        return math.pi
    return float(np.median(np.arccos(np.clip(normals @ common / size, -1.0, 1.0))))
