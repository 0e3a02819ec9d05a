"""Where one floor's map lies on the other's: a turn and a shift in the plane of the floor."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

_QUARTER_DEG = 90


@dataclass(frozen=True, slots=True)
class Pose:
    """after = turn(``angle_rad``) · before + ``shift_mm``; anticlockwise, both maps in mm."""

    angle_rad: float
    shift_mm: tuple[float, float]

    @property
    def after_from_before(self) -> NDArray[np.float64]:
        """(3, 3) float64 of homogeneous places (x, y, 1)."""
        c, s = math.cos(self.angle_rad), math.sin(self.angle_rad)
        return np.array([[c, -s, self.shift_mm[0]], [s, c, self.shift_mm[1]], [0.0, 0.0, 1.0]])

    @property
    def turned_deg(self) -> int:
        """The nearest of 0, 90, 180 and 270 degrees."""
        return round(math.degrees(self.angle_rad) / _QUARTER_DEG) * _QUARTER_DEG % 360

    def apply(self, xy_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """(..., 2) places of the map before, on the map after."""
        matrix = self.after_from_before
        return np.asarray(xy_mm @ matrix[:2, :2].T + matrix[:2, 2])

    def back(self, xy_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """(..., 2) places of the map after, on the map before."""
        matrix = self.after_from_before
        return np.asarray((xy_mm - matrix[:2, 2]) @ matrix[:2, :2])

    def far_from(self, other: Pose, middle_mm: NDArray[np.float64]) -> tuple[float, float]:
        """How far apart two poses put the place ``middle_mm`` of the map before, mm, and their angle, radians."""
        apart = float(np.linalg.norm(self.apply(middle_mm) - other.apply(middle_mm)))
        angle = (self.angle_rad - other.angle_rad + math.pi) % (2.0 * math.pi) - math.pi
        return apart, abs(angle)


SAME = Pose(0.0, (0.0, 0.0))


def about(angle_rad: float, middle_mm: NDArray[np.float64], to_mm: NDArray[np.float64]) -> Pose:
    """The pose that turns by an angle and brings ``middle_mm`` of the map before to ``to_mm`` of the map after."""
    turned = Pose(angle_rad, (0.0, 0.0)).apply(middle_mm)
    x, y = (to_mm - turned).tolist()
    return Pose(angle_rad, (x, y))
