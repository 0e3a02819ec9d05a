"""Levels read by hand: a laser plane, a staff, a person."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.synth.floor import InventedFloor


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelSet:
    """A level and its reader.

    Attributes
    ----------
    reading_sd_mm : spread of one reading
    resolution_mm : readings are written to this
    plane_mm_per_m : standard deviation, each way, of the plane's tilt against gravity
    drift_mm : standard deviation of how far the plane moves from first to last reading, in a straight line
    """

    name: str
    reading_sd_mm: float
    resolution_mm: float
    plane_mm_per_m: float = 0.0
    drift_mm: float = 0.0


#: Line laser and ruler: 0.5 mm reading (common practice, no source), plane within 0.3 mm/m (3 mm allowed in a
#: 5 m two-way check in line-laser manuals), taken as two standard deviations.
LINE_LASER = LevelSet(
    name="line laser and ruler", reading_sd_mm=0.5, resolution_mm=0.5, plane_mm_per_m=0.15, drift_mm=0.5
)
#: Optical level and staff with millimetre divisions, read to 0.5 mm (common practice, no source).
OPTICAL_LEVEL = LevelSet(
    name="optical level and staff", reading_sd_mm=0.4, resolution_mm=0.5, plane_mm_per_m=0.02, drift_mm=0.1
)


def read_staff(
    level: LevelSet,
    floor: InventedFloor,
    x_mm: NDArray[np.float64],
    y_mm: NDArray[np.float64],
    rng: np.random.Generator,
    *,
    plane_mm: float = 1250.0,
) -> NDArray[np.float64]:
    """Staff readings (n,) mm at points (n,) in the order read: they grow where the floor falls.

    The staff stands on tile faces, not in joints. ``plane_mm`` is the height of sight at the origin.
    """
    tilt_x, tilt_y = level.plane_mm_per_m / 1000.0 * rng.standard_normal(2)
    drift = level.drift_mm * rng.standard_normal() * np.linspace(0.0, 1.0, len(x_mm))
    sight = plane_mm + tilt_x * x_mm + tilt_y * y_mm + drift
    reading = sight - floor.face_mm(x_mm, y_mm) + level.reading_sd_mm * rng.standard_normal(len(x_mm))
    if level.resolution_mm > 0:
        reading = np.rint(reading / level.resolution_mm) * level.resolution_mm
    return np.asarray(reading, dtype=np.float64)
