"""The height samples that count, in order of view and face."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.lips.sorting_kernel import drop_strays, in_order, keys

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.joints.lips.regions import Regions
    from flatscan.measures.joints.lips.viewing import Viewing
    from flatscan.sources.scan import Scan
    from flatscan.surface.surface import Surface

#: Further than this from the floor's height there a sample is not floor: lips and joints stay well within.
_GATE_MM = 20.0
_STRAY_SIGMAS, _STRAY_LEAST_MM = 4.0, 0.2
#: Samples the depth camera itself mistrusts (weights learned from residuals).
_LEAST_WEIGHT = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Samples sorted by group of views, then by region.

    ``xyz_mm`` (n, 3) float32 in the floor frame, z NaN: a stray; ``start`` (groups, regions + 1) first row of each
    region seen by each group of views, and the end of the last.
    """

    xyz_mm: NDArray[np.float32]
    start: NDArray[np.int64]

    @property
    def count(self) -> NDArray[np.int64]:
        """(groups, regions) number of samples."""
        return np.diff(self.start, axis=1)


def samples_on(scan: Scan, surface: Surface, viewing: Viewing, regions: Regions) -> Samples:
    """Sort the scan's samples onto the faces. One pass to number them, one to place them."""
    key = np.empty(len(scan.points_mm), dtype=np.int32)
    many = scan.view_of_point is not None
    view = scan.view_of_point if scan.view_of_point is not None else np.zeros(1, dtype=np.uint16)
    keys(
        scan.points_mm, view, many, viewing.floor_from_points, viewing.group, viewing.eye_mm, viewing.axis,
        viewing.focal_px, viewing.blur_px, viewing.base_mm, regions.border, regions.first, regions.label,
        *regions.origin_mm, regions.pixel_mm, surface.height_mm, *surface.origin_mm, surface.cell_mm, _GATE_MM, key,
    )  # fmt: skip
    if scan.weight is not None:
        key[scan.weight < _LEAST_WEIGHT] = -1
    blocks = viewing.groups * regions.count
    counts = np.bincount(key[key >= 0], minlength=blocks)
    start = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    xyz = np.empty((int(start[-1]), 3), dtype=np.float32)
    in_order(scan.points_mm, viewing.floor_from_points, key, start, xyz)
    drop_strays(xyz, start, _STRAY_SIGMAS, _STRAY_LEAST_MM)
    rows = np.arange(viewing.groups)[:, None] * regions.count + np.arange(regions.count + 1)[None, :]
    return Samples(xyz, start[rows])
