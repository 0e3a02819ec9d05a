"""A pose refined on walls and joints by the iterative closest point method (point to plane), by open3d."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.comparing.line_points import along
from flatscan.comparing.pose import Pose
from flatscan.errors import MissingPackageError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.comparing.measured import Measured

_STEP_MM = 25.0
#: Walls are drawn at these heights and joints at those, so that neither is taken for the other. The spread holds the
#: tilts of a motion that is free in space; the floor between them holds its height.
_WALL_AT_MM, _JOINT_AT_MM = (600.0, 1200.0), (-600.0, -1200.0)
_FLOOR_STEP_MM = 400.0
#: Farthest pair that is believed, round by round, and where a pair begins to count less (Tukey's biweight).
_ROUNDS_MM = ((200.0, 120.0), (60.0, 30.0))
_MOST_STEPS = 60


@dataclass(frozen=True, slots=True, eq=False)
class Cloud:
    """Walls, joints and floor of one map as (n, 3) points with (n, 3) normals."""

    points: NDArray[np.float64]
    normals: NDArray[np.float64]


def cloud_of(measured: Measured) -> Cloud:
    """What can be laid on the other map's: heights of the floor are left out, for they are what is compared."""
    points, normals = [], []
    for lines, closed, heights in (
        (measured.surface.outline, True, _WALL_AT_MM),
        (measured.joint_lines, False, _JOINT_AT_MM),
    ):
        at, square = along(lines, _STEP_MM, closed=closed)
        for height in heights:
            points.append(np.column_stack([at, np.full(len(at), height)]))
            normals.append(np.column_stack([square, np.zeros(len(at))]))
    ring = measured.surface.outline[0]
    low, high = ring.min(axis=0), ring.max(axis=0)
    x, y = (np.arange(a, b, _FLOOR_STEP_MM) for a, b in zip(low, high, strict=True))
    floor = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    points.append(np.column_stack([floor, np.zeros(len(floor))]))
    normals.append(np.tile([0.0, 0.0, 1.0], (len(floor), 1)))
    return Cloud(np.concatenate(points), np.concatenate(normals))


def refined(before: Cloud, after: Cloud, start: Pose) -> Pose:
    """The pose near ``start`` that lays the walls and joints of one map best on the other's.

    Raises
    ------
    MissingPackageError
        where open3d is not installed
    """
    open3d = _open3d()
    registration = open3d.pipelines.registration
    moving, standing = (_point_cloud(open3d, cloud) for cloud in (before, after))
    matrix = np.eye(4)
    matrix[:2, :2] = start.after_from_before[:2, :2]
    matrix[:2, 3] = start.shift_mm
    criteria = registration.ICPConvergenceCriteria(1e-9, 1e-9, _MOST_STEPS)
    for reach_mm, soft_mm in _ROUNDS_MM:
        kernel = registration.TukeyLoss(k=soft_mm)
        way = registration.TransformationEstimationPointToPlane(kernel)
        found = registration.registration_icp(moving, standing, reach_mm, matrix, way, criteria)
        if not np.isfinite(found.transformation).all():
            return start
        matrix = np.asarray(found.transformation)
    angle = math.atan2(matrix[1, 0] - matrix[0, 1], matrix[0, 0] + matrix[1, 1])
    x, y = matrix[:2, 3].tolist()
    return Pose(angle, (x, y))


def _point_cloud(open3d: Any, cloud: Cloud) -> Any:
    made = open3d.geometry.PointCloud(open3d.utility.Vector3dVector(cloud.points))
    made.normals = open3d.utility.Vector3dVector(cloud.normals)
    return made


def _open3d() -> Any:
    try:
        import open3d
    except ImportError as error:
        raise MissingPackageError(
            "flatscan compare",
            "laying one map on the other needs the package open3d, which is not installed",
            "Install it with: pip install 'flatscan[align]'",
        ) from error
    return open3d
