"""Whether whoever made a surface smoothed its lips and joints away.

A surface that was averaged over a centimetre or more shows it twice: neighbouring samples agree far better than the
sensor can (its noise has been averaged too), and where joints run there is no valley, for a valley 4 mm wide and 2 mm
deep that is averaged by a Gaussian of 12 mm is left 0.27 mm deep (exact: depth · width / (sqrt(2 pi) sigma)). Either
alone proves nothing: a good scanner is quiet, and joints may be grouted flush. Where the joints were found in the
heights themselves there are valleys, but blunt ones give lips that are as blunt: the depth decides there too.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.caveats import Caveat, caveat
from flatscan.constants import SIGMA_PER_MAD

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.joints.network import JointNetwork
    from flatscan.sources.scan import Scan
    from flatscan.surface.surface import Surface

#: Neighbouring samples of a hand-held sensor differ by more than this (a phone's by 0.8 mm and more at 1 m, structured
#: light's by 0.2 mm at 0.3 m, SENSORS: assumptions); a triangulated scan's corners carry the sensor's noise too.
_QUIET_MM = 0.1
#: A joint less deep than this, as the samples have it, is no joint.
_VALLEY_MM = 0.3
#: Half width within which a sample is in the joint, and where the faces beside it are looked at.
_IN_JOINT_MM, _FACE_FROM_MM, _FACE_TO_MM = 1.5, 25.0, 45.0
_STRETCH_MM = 150.0
_LEAST_IN_JOINT, _LEAST_ON_FACES = 4, 8
_LEAST_STRETCHES = 8
_MOST_POINTS = 3_000_000
#: Neighbours are taken this far apart of a mesh, whose samples lie many to a triangle, and no further than twice it.
_MESH_STEP_MM = 15.0
_NEAR_MM = 30.0
_LOOKED_AT = 20_000
_PATCH_MM, _ENOUGH = 250.0, 200_000
_GATE_MM = 20.0


def smoothed(scan: Scan, surface: Surface, network: JointNetwork) -> Caveat | None:
    """The caveat where neighbours agree too well and no valley runs where the joints do; else None."""
    if not network.pieces:
        return None
    xyz = _floor_points(scan, surface)
    if len(xyz) < 10 * _LEAST_ON_FACES:
        return None
    noise_mm = neighbour_noise_mm(_thinned(xyz) if scan.kind == "mesh" else _patches(xyz))
    if not noise_mm < _QUIET_MM:
        return None
    valley_mm = valley_depth_mm(xyz, network)
    if valley_mm is None or valley_mm >= _VALLEY_MM:
        return None
    return caveat("surface_smoothed", noise_mm=noise_mm, valley_mm=max(valley_mm, 0.0))


def neighbour_noise_mm(xyz_mm: NDArray[np.float64]) -> float:
    """Robust standard deviation of one sample against the plane of it and its six nearest, mm; inf if too sparse.

    The residual of a least-squares fit has the sample's variance times one less its leverage.
    """
    from scipy.spatial import cKDTree

    tree = cKDTree(xyz_mm[:, :2])
    chosen = np.linspace(0, len(xyz_mm) - 1, min(len(xyz_mm), _LOOKED_AT)).astype(np.int64)
    distance, near = tree.query(xyz_mm[chosen, :2], k=7)
    use = (distance[:, -1] < _NEAR_MM) & (distance[:, 1] > 0.0)
    if use.sum() < _LEAST_ON_FACES:
        return float("inf")
    around = xyz_mm[near[use]]
    middle = around.mean(axis=1, keepdims=True)
    flat = around - middle
    design = np.concatenate([np.ones((*flat.shape[:2], 1)), flat[..., :2]], axis=2)
    reader = np.linalg.pinv(design, rcond=1e-6)
    fitted = design @ (reader @ flat[..., 2:])
    leverage = np.einsum("ij,ij->i", design[:, 0], reader[:, :, 0])
    rest = (flat[:, 0, 2] - fitted[:, 0, 0]) / np.sqrt(np.maximum(1.0 - leverage, 0.05))
    return float(SIGMA_PER_MAD * np.median(np.abs(rest)))


def valley_depth_mm(xyz_mm: NDArray[np.float64], network: JointNetwork) -> float | None:
    """Depth of the median stretch of joint below the faces beside it, mm; None where too few samples lie in joints."""
    from scipy.spatial import cKDTree

    tree = cKDTree(xyz_mm[:, :2])
    depths = []
    for piece in network.pieces:
        start, end = np.array(piece.start), np.array(piece.end)
        along = (end - start) / piece.length_mm
        for middle in _stretches(piece.length_mm):
            centre = start + middle * along
            near = xyz_mm[tree.query_ball_point(centre, np.hypot(_STRETCH_MM / 2.0, _FACE_TO_MM))]
            u = (near[:, :2] - centre) @ along
            v = (near[:, :2] - centre) @ np.array([-along[1], along[0]])
            near_by = (np.abs(u) < _STRETCH_MM / 2.0) & (
                np.abs(u + middle - piece.length_mm / 2.0) < _inner(piece.length_mm)
            )
            joint = near[near_by & (np.abs(v) < _IN_JOINT_MM), 2]
            faces = [near[near_by & (v * s > _FACE_FROM_MM) & (v * s < _FACE_TO_MM), 2] for s in (1.0, -1.0)]
            if len(joint) >= _LEAST_IN_JOINT and min(len(face) for face in faces) >= _LEAST_ON_FACES:
                depths.append(float((np.median(faces[0]) + np.median(faces[1])) / 2.0 - np.median(joint)))
    return float(np.median(depths)) if len(depths) >= _LEAST_STRETCHES else None


def _inner(length_mm: float) -> float:
    """Half the length of a piece clear of the joints that cross its ends."""
    return max(length_mm / 2.0 - _FACE_FROM_MM, length_mm / 4.0)


def _stretches(length_mm: float) -> list[float]:
    """Middles of stretches along a piece."""
    count = max(1, round(length_mm / _STRETCH_MM))
    return [(k + 0.5) * length_mm / count for k in range(count)]


def _thinned(xyz_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """One sample of every square of ``_MESH_STEP_MM``."""
    square = np.floor(xyz_mm[:, :2] / _MESH_STEP_MM)
    return np.asarray(xyz_mm[np.unique(square, axis=0, return_index=True)[1]], dtype=np.float64)


def _patches(xyz_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Every so manieth square patch of floor, as dense as it is: enough to tell noise by, and quick to search."""
    patch = np.floor(xyz_mm[:, :2] / _PATCH_MM)
    every = max(1, len(xyz_mm) // _ENOUGH)
    return np.asarray(xyz_mm[(patch[:, 0] + 7.0 * patch[:, 1]) % every == 0.0], dtype=np.float64)


def _floor_points(scan: Scan, surface: Surface) -> NDArray[np.float64]:
    """(n, 3) samples near the floor, floor-frame mm, of one view where views are told apart."""
    points = scan.points_mm
    if scan.view_of_point is not None:
        # Views are not laid on each other to a tenth: one is looked at, the one that saw most.
        points = points[scan.view_of_point == np.argmax(np.bincount(scan.view_of_point))]
    turn = surface.floor_from_scan
    shift = turn[:3, :3] @ scan.origin_mm + turn[:3, 3]
    xyz = points[:_MOST_POINTS] @ turn[:3, :3].T.astype(np.float32) + shift.astype(np.float32)
    return np.asarray(xyz[np.abs(xyz[:, 2]) < _GATE_MM], dtype=np.float64)
