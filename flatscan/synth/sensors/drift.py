"""How a walked camera loses its place: recorded poses are the true ones composed with drift."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """A random walk along the path: standard deviations after one metre, growing with its square root.

    Attributes
    ----------
    along_mm : horizontal drift, each way ("0.3 / 0.8 / 2 % of path")
    up_mm : vertical drift
    yaw_rad : turn about the vertical
    tilt_rad : constant error of the gravity direction, each way, per capture
    jump_mm : one sudden shift (size of it, direction random) somewhere on the way; 0 none
    closes : the device came back to its start and spread the closing error over the path
    """

    along_mm: float
    up_mm: float
    yaw_rad: float
    tilt_rad: float
    jump_mm: float = 0.0
    closes: bool = True


#: Assumptions of the same standing as the phone's depth figures.
PHONE_DRIFT: dict[str, Drift] = {
    "none": Drift(along_mm=0.0, up_mm=0.0, yaw_rad=0.0, tilt_rad=0.0),
    "optimistic": Drift(along_mm=3.0, up_mm=1.0, yaw_rad=np.deg2rad(0.05), tilt_rad=np.deg2rad(0.05)),
    "typical": Drift(along_mm=8.0, up_mm=3.0, yaw_rad=np.deg2rad(0.1), tilt_rad=np.deg2rad(0.2)),
    "pessimistic": Drift(
        along_mm=20.0, up_mm=10.0, yaw_rad=np.deg2rad(0.3), tilt_rad=np.deg2rad(0.5), jump_mm=10.0, closes=False
    ),
}


def recorded_poses(
    room_from_camera: Sequence[NDArray[np.float64]], drift: Drift, rng: np.random.Generator
) -> tuple[NDArray[np.float64], ...]:
    """Poses (4, 4) as the device believes them; the first is right but for the tilt of gravity."""
    places = np.array([pose[:3, 3] for pose in room_from_camera])
    step_m = np.concatenate([[0.0], np.linalg.norm(np.diff(places, axis=0), axis=1) / 1000.0])
    walk = np.cumsum(rng.standard_normal((len(places), 4)) * np.sqrt(step_m)[:, None], axis=0)
    if drift.jump_mm > 0 and len(places) > 1:
        direction = rng.standard_normal(3)
        after = int(rng.integers(1, len(places)))
        jump = np.zeros((len(places), 3))
        jump[after:] = drift.jump_mm * direction / np.linalg.norm(direction)
    else:
        jump = np.zeros((len(places), 3))
    path = np.cumsum(step_m)
    if drift.closes and path[-1] > 0:
        walk -= walk[-1] * (path / path[-1])[:, None]
    shift = walk[:, :3] * np.array([drift.along_mm, drift.along_mm, drift.up_mm]) + jump
    tilt = _tilt(*(drift.tilt_rad * rng.standard_normal(2)))
    recorded = []
    for pose, moved, turn in zip(room_from_camera, shift, walk[:, 3] * drift.yaw_rad, strict=True):
        wrong = pose.copy()
        cos, sin = np.cos(turn), np.sin(turn)
        yaw = np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])
        wrong[:3, :3] = tilt @ yaw @ pose[:3, :3]
        wrong[:3, 3] = tilt @ (pose[:3, 3] - places[0] + moved) + places[0]
        recorded.append(wrong)
    return tuple(recorded)


def _tilt(about_x_rad: float, about_y_rad: float) -> NDArray[np.float64]:
    cx, sx, cy, sy = np.cos(about_x_rad), np.sin(about_x_rad), np.cos(about_y_rad), np.sin(about_y_rad)
    about_x = np.array([[1.0, 0.0, 0.0], [0.0, cx, -sx], [0.0, sx, cx]])
    about_y = np.array([[cy, 0.0, sy], [0.0, 1.0, 0.0], [-sy, 0.0, cy]])
    return np.asarray(about_x @ about_y, dtype=np.float64)
