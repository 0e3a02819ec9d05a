"""Which part of the floor belongs to which face, and which face lies either side of each piece of joint."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.joints.network import JointNetwork, JointPiece

#: A strip where no closed face was found is laid out a little wider, for its far rim is kept clear of.
_STRIP_MM = 280.0
#: Pixel of the map of faces: what it gets wrong lies nearer to a joint than any sample that counts.
_PIXEL_MM = 4.0
_CLEAR_OF_JOINT_MM = 20.0


@dataclass(frozen=True, slots=True, eq=False)
class Regions:
    """Faces of the network, and a strip beside each piece where no closed face was found.

    Attributes
    ----------
    ring : (k, 2) float64 corners of all regions in one row, floor-frame mm
    first : (m + 1,) int64 where each region's corners start
    label : (rows, cols) int32 region of each pixel, -1: none; rows along y
    origin_mm : outer corner of pixel [0, 0]; pixel_mm : its side
    beside : (p, 2) int32 region to the left and right of each piece
    faces : number of regions that are faces of the network; they come first
    """

    ring: NDArray[np.float64]
    first: NDArray[np.int64]
    label: NDArray[np.int32]
    origin_mm: tuple[float, float]
    pixel_mm: float
    beside: NDArray[np.int32]
    faces: int

    @property
    def count(self) -> int:
        """Number of regions."""
        return len(self.first) - 1


def regions_of(network: JointNetwork) -> Regions:
    """Lay the regions out. The network has at least one piece."""
    import cv2

    rings = [face.ring for face in network.faces]
    beside = np.empty((len(network.pieces), 2), dtype=np.int32)
    for index, piece in enumerate(network.pieces):
        for side, face in enumerate(piece.faces):
            if face is None:
                rings.append(_strip(piece, side))
            beside[index, side] = len(rings) - 1 if face is None else face
    corners = np.concatenate(rings)
    low = corners.min(axis=0) - _PIXEL_MM
    cols, rows = np.ceil((corners.max(axis=0) - low) / _PIXEL_MM).astype(int) + 1
    label = np.full((rows, cols), -1, dtype=np.int32)

    def pixels(xy_mm: NDArray[np.float64]) -> NDArray[np.int32]:
        return np.asarray(np.rint((xy_mm - low) / _PIXEL_MM - 0.5), dtype=np.int32)

    faces = len(network.faces)
    for index in range(faces, len(rings)):
        cv2.fillPoly(label, [pixels(rings[index])], index)
    if len(rings) > faces:
        # No piece may run through a strip.
        for piece in network.pieces:
            line = pixels(np.array([piece.start, piece.end]))
            thick = round(2.0 * _CLEAR_OF_JOINT_MM / _PIXEL_MM)
            cv2.line(label, line[0].tolist(), line[1].tolist(), -1, thick)
    for index in range(faces):
        cv2.fillPoly(label, [pixels(rings[index])], index)
    first = np.concatenate([[0], np.cumsum([len(ring) for ring in rings])]).astype(np.int64)
    return Regions(corners, first, label, (float(low[0]), float(low[1])), _PIXEL_MM, beside, faces)


def _strip(piece: JointPiece, side: int) -> NDArray[np.float64]:
    """(4, 2) ring of the strip beside a piece, to its left (0) or right (1)."""
    start, end = np.array(piece.start), np.array(piece.end)
    along = (end - start) / np.linalg.norm(end - start)
    out = np.array([-along[1], along[0]]) * (_STRIP_MM if side == 0 else -_STRIP_MM)
    return np.array([start, end, end + out, start + out])
