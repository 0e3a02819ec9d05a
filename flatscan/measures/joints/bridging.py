"""A straightedge bridges a joint: fine cells over joints take the height of the faces beside them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.measures.joints.network import JointPiece
    from flatscan.surface.surface import Surface

#: Larger cells hold so much more face than joint that their robust mean is the face's height already.
_FINE_CELL_MM = 10.0
#: Half of a wide joint with its rounded edges.
_HALF_JOINT_MM = 5.0


def bridge_joints(surface: Surface, pieces: Sequence[JointPiece]) -> Surface:
    """The surface with cells over joints at the height of the faces either side.

    The gap under a straightedge is judged on tile faces, the joint by its own limits; a fine cell in a joint would
    show the joint's depth as a gap. Surfaces of cells over 10 mm are returned as they are.
    """
    if not pieces or surface.cell_mm > _FINE_CELL_MM:
        return surface
    over = joint_cells(surface, pieces, half_mm=_HALF_JOINT_MM + 0.5 * surface.cell_mm)
    faces = surface.seen & ~over
    reach_mm = 2.0 * _HALF_JOINT_MM + surface.cell_mm
    return replace(
        surface,
        height_mm=_from_faces(surface.height_mm, over, faces, reach_mm / surface.cell_mm),
        estimate_mm=_from_faces(surface.estimate_mm, over, faces, reach_mm / surface.cell_mm),
    )


def joint_cells(surface: Surface, pieces: Sequence[JointPiece], *, half_mm: float) -> NDArray[np.bool_]:
    """(rows, cols) bool: cells whose middle lies within ``half_mm`` of a joint's centre line."""
    rows, cols = surface.height_mm.shape
    over = np.zeros((rows, cols), dtype=bool)
    cell, (x0, y0) = surface.cell_mm, surface.origin_mm
    for piece in pieces:
        ends = np.array([piece.start, piece.end])
        low = np.floor((ends.min(axis=0) - half_mm - (x0, y0)) / cell).astype(int)
        high = np.ceil((ends.max(axis=0) + half_mm - (x0, y0)) / cell).astype(int)
        c0, r0 = max(int(low[0]), 0), max(int(low[1]), 0)
        c1, r1 = min(int(high[0]), cols), min(int(high[1]), rows)
        if c1 <= c0 or r1 <= r0:
            continue
        x = x0 + (np.arange(c0, c1) + 0.5) * cell - piece.start[0]
        y = y0 + (np.arange(r0, r1) + 0.5) * cell - piece.start[1]
        way = (ends[1] - ends[0]) / max(piece.length_mm, 1e-9)
        along = np.clip(x[None, :] * way[0] + y[:, None] * way[1], 0.0, piece.length_mm)
        off = np.hypot(x[None, :] - along * way[0], y[:, None] - along * way[1])
        over[r0:r1, c0:c1] |= off <= half_mm
    return over


def _from_faces(
    values: NDArray[np.float32], over: NDArray[np.bool_], faces: NDArray[np.bool_], sigma_cells: float
) -> NDArray[np.float32]:
    """Cells over joints as the mean of the face cells around, weighted by a Gaussian; the rest as they are."""
    from scipy.ndimage import gaussian_filter

    weight = gaussian_filter(faces.astype(np.float64), sigma_cells, mode="constant")
    total = gaussian_filter(np.where(faces, values, 0.0).astype(np.float64), sigma_cells, mode="constant")
    bridged = np.array(values)
    known = over & np.isfinite(values) & (weight > 1e-6)  # noqa: PLR2004 - nothing within reach
    bridged[known] = (total[known] / weight[known]).astype(values.dtype)
    return bridged
