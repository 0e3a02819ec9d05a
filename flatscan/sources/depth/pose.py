"""Camera poses: matrices and quaternions checked and brought to one form.

One form: 4 x 4, camera to scan, metres, OpenCV camera axes (x right, y down, z forward).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: OpenGL cameras look along -z with y up; the same camera in OpenCV axes. Its own inverse.
OPENCV_FROM_OPENGL = np.diag([1.0, -1.0, -1.0, 1.0])

#: Text files round rotations to 4 decimals or more; a real scale or shear is far larger.
_RIGID_TOLERANCE = 2e-3
_UNIT_TOLERANCE = 1e-2


def rigid_pose(matrix: Any, where: object) -> NDArray[np.float64]:
    """A 4 x 4 (or 3 x 4) matrix as a proper rigid motion; its rotation is made exactly orthonormal.

    Raises InputError for anything scaled, sheared, mirrored or not finite.
    """
    try:
        pose = np.array(matrix, dtype=np.float64)
    except (TypeError, ValueError):
        pose = np.empty(0)
    if pose.shape == (3, 4):
        pose = np.vstack([pose, [0.0, 0.0, 0.0, 1.0]])
    if pose.shape != (4, 4) or not np.isfinite(pose).all():
        raise InputError(where, "the transform_matrix is not 4 x 4 finite numbers", "Export the camera poses again")
    if np.abs(pose[3] - (0.0, 0.0, 0.0, 1.0)).max() > _RIGID_TOLERANCE:
        raise InputError(
            where, "the last row of the transform_matrix is not 0 0 0 1", "Write the matrix by rows, translation last"
        )
    rotation = pose[:3, :3]
    left, stretch, right = np.linalg.svd(rotation)
    if np.abs(stretch - 1.0).max() > _RIGID_TOLERANCE:
        raise InputError(
            where,
            f"the transform_matrix stretches by {stretch.max():.4g} and {stretch.min():.4g}, so it is no camera pose",
            "Export poses that only turn and move",
        )
    if np.linalg.det(rotation) < 0.0:
        raise InputError(where, "the transform_matrix mirrors (determinant -1)", "Export right-handed camera poses")
    pose[:3, :3] = left @ right
    pose[3] = (0.0, 0.0, 0.0, 1.0)
    return pose


def pose_from_quaternion(
    position: NDArray[np.float64], q_xyzw: NDArray[np.float64], where: object
) -> NDArray[np.float64]:
    """Pose from a position and a quaternion, **w last** (the TUM order)."""
    norm = float(np.linalg.norm(q_xyzw))
    if not np.isfinite(position).all() or not abs(norm - 1.0) <= _UNIT_TOLERANCE:
        raise InputError(
            where, f"the quaternion has length {norm:.4g} instead of 1", "Write each line as t tx ty tz qx qy qz qw"
        )
    x, y, z, w = q_xyzw / norm
    pose = np.eye(4)
    pose[:3, :3] = (
        (1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)),
        (2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)),
        (2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)),
    )
    pose[:3, 3] = position
    return pose
