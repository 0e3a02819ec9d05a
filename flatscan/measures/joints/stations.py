"""Places along the joints where they are measured, as arrays with one row per station."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.joints.network import JointNetwork


@dataclass(frozen=True, slots=True, eq=False)
class Stations:
    """Stations of a network, ordered by piece and along it.

    Attributes
    ----------
    piece : (n,) int32 index into ``JointNetwork.pieces``
    along_mm : (n,) float64 distance from the piece's start
    at_mm : (n, 2) float64 floor-frame position on the centre line
    along : (n, 2) float64 unit vector from start to end; the normal to the left of it is (-along_y, along_x)
    stretch_mm : (n,) float64 length of joint that the station stands for
    """

    piece: NDArray[np.int32]
    along_mm: NDArray[np.float64]
    at_mm: NDArray[np.float64]
    along: NDArray[np.float64]
    stretch_mm: NDArray[np.float64]

    @property
    def left(self) -> NDArray[np.float64]:
        """(n, 2) unit vectors square to the joint, to the left of the way from start to end."""
        return np.column_stack([-self.along[:, 1], self.along[:, 0]])

    def __len__(self) -> int:
        return len(self.piece)


def stations_along(network: JointNetwork, spacing_mm: float) -> Stations:
    """Stations no further apart than ``spacing_mm``, each in the middle of its stretch of joint."""
    if spacing_mm <= 0.0:
        raise ValueError("spacing_mm must be positive")
    piece, along_mm, stretch = list[np.ndarray](), list[np.ndarray](), list[np.ndarray]()
    for index, one in enumerate(network.pieces):
        count = max(1, math.ceil(one.length_mm / spacing_mm))
        step = one.length_mm / count
        piece.append(np.full(count, index, dtype=np.int32))
        along_mm.append((np.arange(count) + 0.5) * step)
        stretch.append(np.full(count, step))
    if not piece:
        none = np.empty(0)
        return Stations(np.empty(0, np.int32), none, np.empty((0, 2)), np.empty((0, 2)), none)
    rows, way = np.concatenate(piece), np.concatenate(along_mm)
    starts = np.array([one.start for one in network.pieces], dtype=np.float64)
    ends = np.array([one.end for one in network.pieces], dtype=np.float64)
    unit = (ends - starts) / np.linalg.norm(ends - starts, axis=1)[:, None]
    return Stations(rows, way, starts[rows] + way[:, None] * unit[rows], unit[rows], np.concatenate(stretch))
