"""Which part of the floor belongs to which face, and which face lies either side of each piece of joint."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.joints.network import JointNetwork, JointPiece

#: Where no closed face was found, samples this far from the piece may be its neighbours.
_STRIP_MM = 250.0
#: Pixel of the map of faces: what it gets wrong lies nearer to a joint than any sample that counts.
_PIXEL_MM = 4.0
#: Open parts are cut along the pieces, and looked up just off them.
_CUT_PX, _JUST_OFF_MM = 3, 16.0


@dataclass(frozen=True, slots=True, eq=False)
class Regions:
    """Faces of the network, and what lies open beside pieces where no closed face was found.

    Attributes
    ----------
    border : (k, 4) float64 straight joints (x, y, x, y) that bound the regions, floor-frame mm, region by region
    first : (m + 1,) int64 where each region's borders start
    label : (rows, cols) int32 region of each pixel, -1: none; rows along y
    origin_mm : outer corner of pixel [0, 0]; pixel_mm : its side
    beside : (p, 2) int32 region to the left and right of each piece, -1: none
    """

    border: NDArray[np.float64]
    first: NDArray[np.int64]
    label: NDArray[np.int32]
    origin_mm: tuple[float, float]
    pixel_mm: float
    beside: NDArray[np.int32]

    @property
    def count(self) -> int:
        """Number of regions."""
        return len(self.first) - 1


def regions_of(network: JointNetwork) -> Regions:
    """Lay the regions out, faces first and in their order. The network has at least one piece."""
    import cv2

    lines = np.array([[*piece.start, *piece.end] for piece in network.pieces], dtype=np.float64)
    beside = np.array([[-1 if face is None else face for face in piece.faces] for piece in network.pieces], np.int32)
    strips = {(k, side): _strip(network.pieces[k], side) for k, side in np.argwhere(beside < 0).tolist()}
    corners = np.concatenate([lines.reshape(-1, 2), *(face.ring for face in network.faces), *strips.values()])
    low = corners.min(axis=0) - _PIXEL_MM
    cols, rows = np.ceil((corners.max(axis=0) - low) / _PIXEL_MM).astype(int) + 1

    def pixels(xy_mm: NDArray[np.float64]) -> NDArray[np.int32]:
        return np.asarray(np.rint((xy_mm - low) / _PIXEL_MM - 0.5), dtype=np.int32)

    faces = len(network.faces)
    label = np.full((rows, cols), -1, dtype=np.int32)
    for index, face in enumerate(network.faces):
        cv2.fillPoly(label, [pixels(face.ring)], index)
    borders = [np.column_stack([face.ring, np.roll(face.ring, -1, axis=0)]) for face in network.faces]
    if strips:
        parts = _open_parts(label, [pixels(strip) for strip in strips.values()], pixels(lines.reshape(-1, 2)))
        label = np.where(parts > 0, parts + (faces - 1), label).astype(np.int32)
        for k, side in strips:
            beside[k, side] = _region_at(label, pixels(_just_off(network.pieces[k], side)), faces)
        borders.extend(_borders(lines, beside, region) for region in range(faces, int(label.max()) + 1))
    first = np.concatenate([[0], np.cumsum([len(border) for border in borders])]).astype(np.int64)
    return Regions(np.concatenate(borders), first, label, (float(low[0]), float(low[1])), _PIXEL_MM, beside)


def _open_parts(
    label: NDArray[np.int32], strips: list[NDArray[np.int32]], ends: NDArray[np.int32]
) -> NDArray[np.int32]:
    """(rows, cols) int32 number, from 1, of each connected open part within the strips, cut along the pieces; 0: none.

    ``ends``: pixels of the pieces' ends, two rows each.
    """
    import cv2

    area = np.zeros(label.shape, dtype=np.uint8)
    for strip in strips:
        cv2.fillPoly(area, [strip], 1)
    for start, end in ends.reshape(-1, 2, 2).tolist():
        cv2.line(area, start, end, 0, _CUT_PX)
    area[label >= 0] = 0
    return np.asarray(cv2.connectedComponents(area, connectivity=4)[1], dtype=np.int32)


def _region_at(label: NDArray[np.int32], pixel: NDArray[np.int32], faces: int) -> int:
    """Open region at a pixel; -1 where there is none."""
    found = int(label[pixel[1], pixel[0]])
    return found if found >= faces else -1


def _borders(lines: NDArray[np.float64], beside: NDArray[np.int32], region: int) -> NDArray[np.float64]:
    """(k, 4) pieces that an open region's samples keep clear of: its own, and all that run near them."""
    own = lines[(beside == region).any(axis=1)].reshape(-1, 2)
    if len(own) == 0:
        return lines[:1]
    low, high = own.min(axis=0) - _STRIP_MM, own.max(axis=0) + _STRIP_MM
    near = np.minimum(lines[:, :2], lines[:, 2:]) <= high
    near &= np.maximum(lines[:, :2], lines[:, 2:]) >= low
    return np.asarray(lines[near.all(axis=1)], dtype=np.float64)


def _just_off(piece: JointPiece, side: int) -> NDArray[np.float64]:
    """(2,) place beside the middle of a piece."""
    start, end = np.array(piece.start), np.array(piece.end)
    along = (end - start) / piece.length_mm
    out = np.array([-along[1], along[0]]) * (_JUST_OFF_MM if side == 0 else -_JUST_OFF_MM)
    return np.asarray((start + end) / 2.0 + out, dtype=np.float64)


def _strip(piece: JointPiece, side: int) -> NDArray[np.float64]:
    """(4, 2) ring of the strip beside a piece, to its left (0) or right (1)."""
    start, end = np.array(piece.start), np.array(piece.end)
    out = (_just_off(piece, side) - (start + end) / 2.0) * (_STRIP_MM / _JUST_OFF_MM)
    return np.array([start, end, end + out, start + out])
