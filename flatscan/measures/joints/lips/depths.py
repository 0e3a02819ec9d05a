"""Depth of joints from the samples in them, where the samples are fine enough to reach the joint's floor.

A joint of width w and depth D that is smoothed by a Gaussian of standard deviation s shows, v beside its middle,

    D (Phi((w/2 - v)/s) - Phi((-w/2 - v)/s))

below the faces (exact for a box-shaped joint). Each sample within the inner half of the joint so gives a depth, and
a station's is their median, the smoothing counted out. Past s = w/3 the correction's own doubt takes over: refused.
A station is read from the one view that has most samples in the joint, so how views lie on each other does not matter.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import SIGMA_PER_MAD
from flatscan.measures.joints.lips.records import Depths

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.joints.joints import Refusal
    from flatscan.measures.joints.lips.viewing import Viewing
    from flatscan.measures.joints.network import JointNetwork
    from flatscan.measures.joints.stations import Stations
    from flatscan.sources.scan import Scan, ScanKind

#: Smoothing of what is not a depth image, one sigma: half of half a laser's spot, a mesh's voxels (assumptions).
_SPOT_SIGMA_MM: dict[ScanKind, float] = {"cloud": 2.0, "mesh": 10.0}
_LEAST_WIDTHS_PER_SIGMA = 3.0
#: How surely the smoothing is known: of a depth image, of anything else (assumptions).
_SIGMA_DOUBT, _SPOT_DOUBT = 0.3, 0.8
#: Standard error of a median over that of a mean, normal noise (exact: sqrt(pi / 2)).
_MEDIAN_FACTOR = math.sqrt(math.pi / 2.0)
_LEAST_SCATTER_MM = 0.02
_BLOCK_MM, _LEAST_BLOCKS = 8.0, 4
#: Samples within this along of a station count for it.
_POOL_MM = 40.0
_LEAST_SAMPLES = 6
#: Faces beside the joint: from the joint's side and the smoothing on, so wide.
_FACE_MM = 25.0
_LEAST_ON_FACE = 6
#: A flat bottom: what lies nearer the middle is no deeper than what lies further, by more than this many sigmas.
_FLAT_SIGMAS = 3.0
_NEAR_HEIGHT_MM = 25.0


def depths_at(
    scan: Scan,
    viewing: Viewing,
    network: JointNetwork,
    stations: Stations,
    widths_mm: NDArray[np.float64] | None,
) -> Depths:
    """Depth from the lower of the two faces down to the joint's floor, or why not."""
    from scipy.spatial import cKDTree

    count = len(stations)
    depth, u = np.full(count, np.nan), np.full(count, np.nan)
    refused: list[Refusal | None] = ["too_coarse"] * count
    usable = np.zeros(count, dtype=bool)
    if widths_mm is not None:
        least = np.nan_to_num(widths_mm, nan=0.0) / _LEAST_WIDTHS_PER_SIGMA
        usable = least >= _finest_sigma_mm(scan, viewing)
    if widths_mm is None or not usable.any():
        return Depths(depth, u, tuple(refused))
    xyz, sigma, view = _fine_samples(scan, viewing, float(np.nanmax(widths_mm)))
    if len(xyz) == 0:
        return Depths(depth, u, tuple(refused))
    tree = cKDTree(xyz[:, :2])
    lengths = np.array([piece.length_mm for piece in network.pieces])
    for row in np.flatnonzero(usable):
        width = float(widths_mm[row])
        reach = np.hypot(_POOL_MM, width / 2.0 + 3.0 * width / _LEAST_WIDTHS_PER_SIGMA + _FACE_MM)
        near = np.array(tree.query_ball_point(stations.at_mm[row], reach), dtype=np.int64)
        place = xyz[near] - np.append(stations.at_mm[row], 0.0)
        if len(near) and view[near].max() > 0:
            beside = np.abs(place[:, :2] @ stations.left[row])
            best = np.argmax(np.bincount(view[near][beside < width / 4.0], minlength=1))
            near, place = near[view[near] == best], place[view[near] == best]
        found = _station(
            place, sigma[near], stations.along[row], width,
            float(stations.along_mm[row]), float(lengths[stations.piece[row]]),
            _SIGMA_DOUBT if viewing.by_pixel else _SPOT_DOUBT,
        )  # fmt: skip
        if found is not None:
            (depth[row], u[row]), refused[row] = found, None
    return Depths(depth, u, tuple(refused))


def _station(
    xyz: NDArray[np.float64],
    sigma: NDArray[np.float64],
    along: NDArray[np.float64],
    width: float,
    at_mm: float,
    length_mm: float,
    doubt: float,
) -> tuple[float, float] | None:
    """Depth and its standard uncertainty from the samples about one station; None where the bottom is not seen."""
    from scipy.special import ndtr

    across, way = xyz[:, :2] @ np.array([-along[1], along[0]]), xyz[:, :2] @ along
    # Clear of the joints that cross the piece's ends.
    clear = (way > width - at_mm) & (way < length_mm - at_mm - width) & (np.abs(way) < _POOL_MM)
    clear &= sigma * _LEAST_WIDTHS_PER_SIGMA <= width
    reach = 2.0 * float(np.median(sigma[clear])) if clear.any() else 0.0
    faces = []
    for side in (1.0, -1.0):
        out = across * side - width / 2.0
        face = xyz[clear & (out > reach + 1.0) & (out < reach + 1.0 + _FACE_MM)]
        if len(face) < _LEAST_ON_FACE:
            return None
        faces.append(_level_at_edge(face, along, side * width / 2.0))
    inner = clear & (np.abs(across) < width / 4.0)
    if inner.sum() < _LEAST_SAMPLES:
        return None
    lower = min(faces)
    v, s = across[inner], np.maximum(sigma[inner], 1e-6)
    share = ndtr((width / 2.0 - v) / s) - ndtr((-width / 2.0 - v) / s)
    # Beside a lip the smoothed level between the faces is their mean where the joint is not.
    level = lower[0] + (1.0 - share) / 2.0 * (max(faces)[0] - lower[0])
    each = (level - xyz[inner, 2]) / share
    depth = float(np.median(each))
    scatter = max(SIGMA_PER_MAD * float(np.median(np.abs(each - depth))), _LEAST_SCATTER_MM)
    deeper = np.abs(v) < width / 8.0
    if not _flat(each[deeper], each[~deeper], scatter):
        return None
    sharp = (1.0 - doubt) * s
    sharper = ndtr((width / 2.0 - v) / sharp) - ndtr((-width / 2.0 - v) / sharp)
    parts = (_mean_doubt(each, way[inner]), lower[1], depth * abs(float(np.mean(sharper - share))))
    return depth, float(np.sqrt(np.sum(np.square(parts))))


def _mean_doubt(values: NDArray[np.float64], way: NDArray[np.float64]) -> float:
    """Standard uncertainty of the values' middle from blocks along the joint, for neighbouring samples are not apart.

    Blocks are several times as long as the noise of close cameras reaches (2 to 3 pixels of half a millimetre).
    """
    block = np.floor(way / _BLOCK_MM).astype(np.int64)
    number, index = np.unique(block, return_inverse=True)
    if len(number) < _LEAST_BLOCKS:
        return float(np.std(values)) + _LEAST_SCATTER_MM
    means = np.bincount(index, values) / np.bincount(index)
    return max(float(np.std(means, ddof=1)), _LEAST_SCATTER_MM) * _MEDIAN_FACTOR / float(np.sqrt(len(number)))


def _level_at_edge(face: NDArray[np.float64], along: NDArray[np.float64], edge_mm: float) -> tuple[float, float]:
    """Height of a face's plane at the joint's side, and its standard uncertainty from the scatter about the plane."""
    out = face[:, :2] @ np.array([-along[1], along[0]])
    middle = out - edge_mm
    way = face[:, :2] @ along
    design = np.column_stack([np.ones(len(face)), middle, way])
    reader = np.linalg.pinv(design)
    plane = reader @ face[:, 2]
    for _ in range(2):
        off = face[:, 2] - design @ plane
        scatter = max(SIGMA_PER_MAD * float(np.median(np.abs(off))), _LEAST_SCATTER_MM)
        weight = np.minimum(1.0, 1.5 * scatter / np.maximum(np.abs(off), 1e-9))
        plane = np.linalg.pinv(design * weight[:, None]) @ (face[:, 2] * weight)
    # Carried on to the edge the plane is less sure than in the face's middle, by the same factor as for white noise.
    carried = float(np.linalg.norm(reader[0])) * np.sqrt(len(face))
    return float(plane[0]), carried * _mean_doubt(face[:, 2] - design @ plane, way)


def _flat(middle: NDArray[np.float64], beside: NDArray[np.float64], scatter: float) -> bool:
    """Whether the joint's floor is as deep beside its middle as there; True where one of them has no samples."""
    if len(middle) < 3 or len(beside) < 3:  # noqa: PLR2004 - medians
        return True
    doubt = scatter * np.sqrt(1.0 / len(middle) + 1.0 / len(beside)) * _MEDIAN_FACTOR
    return bool(abs(float(np.median(middle) - np.median(beside))) <= _FLAT_SIGMAS * doubt + 0.1)


def _finest_sigma_mm(scan: Scan, viewing: Viewing) -> float:
    """Smoothing of the finest sample there may be."""
    if not viewing.by_pixel:
        return _SPOT_SIGMA_MM.get(scan.kind, np.inf)
    nearest = np.maximum(viewing.eye_mm[:, 2] * 0.5, 100.0)
    return float(np.min(viewing.blur_px * nearest / viewing.focal_px))


def _fine_samples(
    scan: Scan, viewing: Viewing, widest_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    """(n, 3) floor-frame samples fine enough for the widest joint, (n,) their smoothing and (n,) their view."""
    number = np.zeros(len(scan.points_mm), dtype=np.int64)
    if scan.view_of_point is not None:
        number = scan.view_of_point.astype(np.int64)
    turn = viewing.floor_from_points
    points = scan.points_mm.astype(np.float64) @ turn[:3, :3].T + turn[:3, 3]
    if viewing.by_pixel:
        away = points - viewing.eye_mm[number]
        depth = np.einsum("ij,ij->i", away, viewing.axis[number])
        sigma = viewing.blur_px[number] * depth / viewing.focal_px[number]
    else:
        sigma = np.full(len(points), _SPOT_SIGMA_MM.get(scan.kind, np.inf))
    keep = (np.abs(points[:, 2]) < _NEAR_HEIGHT_MM) & (sigma * _LEAST_WIDTHS_PER_SIGMA <= widest_mm)
    return points[keep], sigma[keep], number[keep]
