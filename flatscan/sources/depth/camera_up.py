"""Which way is up, from where the cameras look: people hold a camera upright and film a floor from above."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

AXES: dict[str, tuple[float, float, float]] = {
    "x": (1.0, 0.0, 0.0),
    "y": (0.0, 1.0, 0.0),
    "z": (0.0, 0.0, 1.0),
    "-x": (-1.0, 0.0, 0.0),
    "-y": (0.0, -1.0, 0.0),
    "-z": (0.0, 0.0, -1.0),
}
#: A floor's normal is within this of the rough up that the cameras' turn gives.
_FLOOR_LIKE = math.cos(math.radians(50.0))
#: A world axis this near the floor's normal is taken for the intended up.
_AXIS_NEAR = math.cos(math.radians(10.0))
#: Without a floor plane the rough up alone may name an axis this near.
_AXIS_ROUGH = math.cos(math.radians(35.0))


def axis_vector(axis: str) -> NDArray[np.float64]:
    """Unit vector of ``x``, ``y``, ``z``, ``-x``, ``-y`` or ``-z``."""
    return np.array(AXES[axis])


def infer_up(
    rotations: Sequence[NDArray[np.float64]], plane_normals: Sequence[NDArray[np.float64]]
) -> tuple[NDArray[np.float64], str, str] | None:
    """Up in scan axes, as (unit vector, its name, the reason); None when nothing tells.

    Parameters
    ----------
    rotations : scan from camera (3 x 3) of every frame, OpenCV camera axes
    plane_normals : (3,) in scan axes, towards the camera, of the largest planes some frames see

    Notes
    -----
    A camera pitched down by p looks along (cos p, -sin p) with its upper edge at (sin p, cos p): the
    difference of the two points up by at least 1 whatever p from 0 to 90 degrees, and its level part
    cancels between frames that look different ways. Planes facing that way are floors; their common
    normal decides, a world axis near it being preferred because captures are axis-aligned.
    """
    rough = np.mean([-r[:, 1] - r[:, 2] for r in rotations], axis=0)
    size = float(np.linalg.norm(rough))
    if size == 0.0:
        return None
    rough = rough / size
    floors = [n for n in plane_normals if n @ rough > _FLOOR_LIKE]
    if not floors:
        name = _nearest_axis(rough)
        if axis_vector(name) @ rough < _AXIS_ROUGH:
            return None
        return axis_vector(name), name, "the cameras are held upright about it"
    normal = np.median(floors, axis=0)
    normal = normal / np.linalg.norm(normal)
    name = _nearest_axis(normal)
    if axis_vector(name) @ normal > _AXIS_NEAR:
        return axis_vector(name), name, "the cameras look down it on the floor"
    text = ", ".join(f"{c:.3f}" for c in normal)
    return normal, f"({text})", "it is square to the floor the cameras look down on, and no axis is near it"


def _nearest_axis(direction: NDArray[np.float64]) -> str:
    return max(AXES, key=lambda name: float(axis_vector(name) @ direction))
