"""Fall of the reference plane against gravity, with its uncertainty. Kept apart from flatness."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM_PER_M
from flatscan.quantity import Quantity
from flatscan.surface.surface import Slope

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.sources.scan import ScanKind
    from flatscan.surface.surface import NoiseModel

#: Standard uncertainty (mm/m) of what the instrument calls vertical. Cloud: a levelled scanner's compensator and its
#: check, from memory. Depth and mesh: gravity of a phone, 0.2° per session, an assumption.
LEVELLING_MM_PER_M: dict[ScanKind, float] = {
    "cloud": 0.1,
    "depth_frames": MM_PER_M * math.tan(math.radians(0.2)),
    "mesh": MM_PER_M * math.tan(math.radians(0.2)),
}


def slope_against(
    up_in_floor: NDArray[np.float64],
    seen: NDArray[np.bool_],
    cell_mm: float,
    noise: NoiseModel,
    kind: ScanKind,
) -> Slope:
    """Fall and downhill direction of the plane z = 0 of the floor frame.

    A point (x, y, 0) stands x·up_x + y·up_y above the origin, so water runs towards −(up_x, up_y) and the
    fall is |(up_x, up_y)| / up_z. Its uncertainty has four parts: independent and correlated noise through
    the plane fit, slow bends of the capture, and the instrument's own levelling. n cells whose errors
    correlate as exp(−½ (d/ℓ)²) count as area / 2πℓ² independent ones (2πℓ² is the integral of that
    correlation over the plane; exact in the limit of a floor much wider than ℓ), never more than n.

    Parameters
    ----------
    up_in_floor : (3,) unit vector away from the ground, floor frame
    seen : (rows, cols) bool, the cells the plane was fitted to
    """
    level = math.hypot(float(up_in_floor[0]), float(up_in_floor[1]))
    fall = MM_PER_M * level / float(up_in_floor[2])
    direction = math.atan2(-float(up_in_floor[1]), -float(up_in_floor[0]))
    rows, cols = np.nonzero(seen)
    along = (cols * math.cos(direction) + rows * math.sin(direction)) * cell_mm
    arm_mm = max(float(np.std(along)), cell_mm)
    cells = max(1, len(rows))
    patches = float(np.clip(cells * cell_mm**2 / (2.0 * math.pi * noise.length_mm**2), 1.0, cells))
    return Slope(
        Quantity.from_budget(
            fall,
            "mm/m",
            independent_noise=MM_PER_M * noise.white_mm / (arm_mm * math.sqrt(cells)),
            correlated_noise=MM_PER_M * noise.correlated_mm / (arm_mm * math.sqrt(patches)),
            slow_bend=MM_PER_M * noise.systematic_mm / arm_mm,
            levelling=LEVELLING_MM_PER_M[kind],
        ),
        direction,
    )
