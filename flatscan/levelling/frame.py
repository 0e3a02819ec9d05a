"""What every way of levelling is worked out with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM2_PER_M2, MM3_PER_LITRE
from flatscan.levelling.filling.least_fill import EdgeRule

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.levelling.basis import Basis
    from flatscan.levelling.binding.bounds import Bounds
    from flatscan.levelling.joints.joint_work import LipDown
    from flatscan.levelling.plan import Product
    from flatscan.levelling.targets import Target
    from flatscan.sources.survey.survey import Door


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """The floor, what it must meet and what binds it.

    ``limits`` as the sets say them, ``targets`` less the margin. ``ramps_mm``: (rows, cols) float32, what runs up to
    lips that cannot be ground; a patch lies on it. ``lips_left``: lips that nothing takes down; ``lips_to_grind``:
    those that grinding takes down. ``too_short``: limits as the sets say them whose edge the cells are too coarse for.
    """

    basis: Basis
    bounds: Bounds
    limits: tuple[Target, ...]
    targets: tuple[Target, ...]
    product: Product
    doors: tuple[Door, ...]
    ramps_mm: NDArray[np.float32]
    lips_left: tuple[LipDown, ...]
    lips_to_grind: tuple[LipDown, ...] = ()
    too_short: tuple[Target, ...] = ()

    @property
    def rule(self) -> EdgeRule:
        """How the edge is laid."""
        return EdgeRule(
            cell_mm=self.basis.surface.cell_mm, directions=self.basis.directions, bridge_mm=self.basis.bridge_mm
        )

    @property
    def floor_mm(self) -> NDArray[np.float64]:
        """(rows, cols) best estimate of the heights, without the cells of movement joints."""
        return self.without_joints(self.basis.surface.estimate_mm)

    def without_joints(self, height_mm: NDArray[np.floating]) -> NDArray[np.float64]:
        """The same heights; NaN in movement joints, which the edge bridges and no compound fills."""
        height = np.array(height_mm, dtype=np.float64)
        height[self.bounds.blocked] = np.nan
        return height

    @property
    def lifted_m2(self) -> float:
        """Area of the tiles that come out."""
        return float((self.bounds.void_mm > 0.0).sum()) * self.basis.surface.cell_mm**2 / MM2_PER_M2

    @property
    def void_l(self) -> float:
        """Litres in the holes of tiles that come out."""
        return float(self.bounds.void_mm.sum(dtype=np.float64)) * self.basis.surface.cell_mm**2 / MM3_PER_LITRE
