"""A pinhole camera and where a person holds it: poses, rays, a walk over the floor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: OpenCV camera axes (x right, y down, z forward) from OpenGL ones (x right, y up, z back), and the reverse.
OPENCV_FROM_OPENGL = np.diag([1.0, -1.0, -1.0, 1.0])


@dataclass(frozen=True, slots=True)
class Pinhole:
    """Intrinsics in pixels; pixel (0, 0) is the centre of the corner pixel."""

    width: int
    height: int
    focal: float

    @property
    def centre(self) -> tuple[float, float]:
        """Principal point: the middle of the image."""
        return (self.width - 1) / 2.0, (self.height - 1) / 2.0

    def rays(self) -> NDArray[np.float64]:
        """(height · width, 3) directions in OpenCV camera axes, z = 1: a distance along one is its z depth."""
        cx, cy = self.centre
        u, v = np.meshgrid((np.arange(self.width) - cx) / self.focal, (np.arange(self.height) - cy) / self.focal)
        return np.stack([u, v, np.ones_like(u)], axis=-1).reshape(-1, 3)

    def scaled(self, factor: float) -> Pinhole:
        """The same view on ``factor`` times as many pixels each way."""
        return Pinhole(round(self.width * factor), round(self.height * factor), self.focal * factor)


def pose(at_mm: tuple[float, float, float], *, heading_rad: float, down_rad: float) -> NDArray[np.float64]:
    """Room-from-camera (4, 4), OpenCV axes: looking along ``heading_rad`` (from x), ``down_rad`` below level."""
    forward = np.array(
        [np.cos(heading_rad) * np.cos(down_rad), np.sin(heading_rad) * np.cos(down_rad), -np.sin(down_rad)]
    )
    right = np.array([np.sin(heading_rad), -np.cos(heading_rad), 0.0])
    room_from_camera = np.eye(4)
    room_from_camera[:3, :3] = np.stack([right, np.cross(forward, right), forward], axis=1)
    room_from_camera[:3, 3] = at_mm
    return room_from_camera


def walk(
    outline_mm: NDArray[np.float64],
    *,
    rng: np.random.Generator,
    height_mm: float = 1200.0,
    spacing_mm: tuple[float, float] = (520.0, 420.0),
    down_rad: float = np.deg2rad(65.0),
    margin_mm: float = 350.0,
) -> tuple[NDArray[np.float64], ...]:
    """Poses of a phone carried up and down the room in lanes, looking down and ahead, held as by a hand.

    Lanes run along x, ``spacing_mm`` is (along a lane, between lanes); every other lane runs back. Poses
    outside the outline are left out.
    """
    from flatscan.synth.outline import inside

    low, high = outline_mm.min(axis=0) + margin_mm, outline_mm.max(axis=0) - margin_mm
    stops, lanes = (max(2, round(float(n)) + 1) for n in (high - low) / np.array(spacing_mm))
    poses = []
    for lane, y in enumerate(np.linspace(low[1], high[1], lanes)):
        back = lane % 2 == 1
        for x in np.linspace(low[0], high[0], stops)[:: -1 if back else 1]:
            at = np.array([x, y]) + rng.normal(0.0, 30.0, 2)
            if not inside(outline_mm, at[:1], at[1:])[0]:
                continue
            heading = (np.pi if back else 0.0) + rng.normal(0.0, np.deg2rad(8.0))
            down = min(down_rad + rng.normal(0.0, np.deg2rad(4.0)), np.deg2rad(89.0))
            at_mm = (float(at[0]), float(at[1]), height_mm + float(rng.normal(0.0, 40.0)))
            poses.append(pose(at_mm, heading_rad=heading, down_rad=down))
    return tuple(poses)
