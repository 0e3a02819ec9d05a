"""How each view saw the floor: which views count as one, and how far its smoothing reaches from an edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.sources.scan import Scan
    from flatscan.surface.surface import Surface

#: Nearer than this and turned less than this, two frames are one held still: their noise is much the same
#: (assumption of the sensor model in use).
_STILL_MM, _STILL_COS = 20.0, float(np.cos(np.deg2rad(2.0)))
#: Half a joint with a tile's rounded edge, and what a joint's place is in doubt by.
HALF_JOINT_MM = 5.0
#: What a laser's spot or a mesh's smoothing reaches beyond an edge, joint included.
_REACH_OF_SPOT_MM = 8.0
_REACH_OF_MESH_MM = 30.0
#: Smoothing of depth images across edges, sigma in depth pixels: a phone's, and close structured light's.
_BLUR_PX, _BLUR_FINE_PX = 6.0, 1.5
#: Two sigmas of smoothing leave 2 % of a lip (exact: 1 - Phi(2)).
BLUR_SIGMAS = 2.0
_FINE_PIXEL_MM, _FINE_WIDTH_PX = 1.5, 480


@dataclass(frozen=True, slots=True, eq=False)
class Viewing:
    """The views of a scan in the floor frame.

    Attributes
    ----------
    floor_from_points : (4, 4) float64, from ``scan.points_mm`` to floor-frame mm
    group : (v,) int32 which independent view each view number belongs to; frames of a camera held still are one
    eye_mm : (v, 3) float64 where it was seen from; axis : (v, 3) unit vector of the line of sight's middle
    turn : (v, 3, 3) float64 floor from camera axes
    focal_px : (v,) float64 of the depth image, 0: not a depth camera
    blur_px : (v,) float64 smoothing across edges
    base_mm : distance from a joint's middle line within which no sample counts, smoothing of pixels apart
    """

    floor_from_points: NDArray[np.float64]
    group: NDArray[np.int32]
    eye_mm: NDArray[np.float64]
    axis: NDArray[np.float64]
    turn: NDArray[np.float64]
    focal_px: NDArray[np.float64]
    blur_px: NDArray[np.float64]
    base_mm: float

    @property
    def groups(self) -> int:
        """Number of independent views."""
        return int(self.group.max()) + 1

    @property
    def by_pixel(self) -> bool:
        """Whether noise and smoothing go by pixels of depth images."""
        return bool(self.focal_px[0] > 0.0)

    @property
    def close(self) -> bool:
        """Whether most frames are a close structured-light camera's."""
        return self.by_pixel and float(np.median(self.blur_px)) < _BLUR_PX


def viewing_of(scan: Scan, surface: Surface) -> Viewing:
    """The views of ``scan`` as the surface's floor frame has them."""
    floor_from_points = surface.floor_from_scan @ _shift(scan.origin_mm)
    views = 1 if scan.view_of_point is None else int(scan.view_of_point.max(initial=0)) + 1
    group = np.arange(views, dtype=np.int32)
    eye, axis = np.zeros((views, 3)), np.tile([0.0, 0.0, -1.0], (views, 1))
    focal, blur, turn = np.zeros(views), np.zeros(views), np.tile(np.eye(3), (views, 1, 1))
    if scan.viewpoints_mm is not None and len(scan.viewpoints_mm) >= views:
        eye = scan.viewpoints_mm[:views] @ floor_from_points[:3, :3].T + floor_from_points[:3, 3]
    if scan.kind == "depth_frames" and len(scan.frames) >= views:
        poses = np.array([surface.floor_from_scan @ frame.scan_from_camera for frame in scan.frames[:views]])
        eye, axis, turn = poses[:, :3, 3], poses[:, :3, 2], poses[:, :3, :3]
        focal = np.array([(frame.depth_camera[0] + frame.depth_camera[1]) / 2.0 for frame in scan.frames[:views]])
        wide = np.array([max(frame.depth_size) for frame in scan.frames[:views]])
        down = np.maximum(-axis[:, 2], 0.3)
        fine = (eye[:, 2] / down / focal < _FINE_PIXEL_MM) & (wide >= _FINE_WIDTH_PX)
        blur = np.where(fine, _BLUR_FINE_PX, _BLUR_PX)
        group = _moved(poses)
    base = {"mesh": _REACH_OF_MESH_MM, "depth_frames": HALF_JOINT_MM}.get(scan.kind, _REACH_OF_SPOT_MM)
    return Viewing(floor_from_points, group, eye, axis, turn, focal, blur, base)


def pixel_at(viewing: Viewing, view: NDArray[np.int32], at_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) size on the floor, mm, of a depth pixel of each view at floor places (n, 2); 1 where pixels do not count."""
    if not viewing.by_pixel:
        return np.ones(len(view))
    away = np.column_stack([at_mm, np.zeros(len(at_mm))]) - viewing.eye_mm[view]
    depth = np.einsum("ij,ij->i", away, viewing.axis[view])
    return np.asarray(np.maximum(depth, 1.0) / viewing.focal_px[view], dtype=np.float64)


def _moved(poses: NDArray[np.float64]) -> NDArray[np.int32]:
    """Number of the still stretch each frame belongs to: a new one wherever the camera left the last one's place."""
    group = np.zeros(len(poses), dtype=np.int32)
    first = 0
    for k in range(1, len(poses)):
        turn = poses[first, :3, :3].T @ poses[k, :3, :3]
        cos = (np.trace(turn) - 1.0) / 2.0
        still = np.linalg.norm(poses[k, :3, 3] - poses[first, :3, 3]) < _STILL_MM and cos > _STILL_COS
        group[k] = group[k - 1] + (not still)
        first = first if still else k
    return group


def _shift(by_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    move = np.eye(4)
    move[:3, 3] = by_mm
    return move
