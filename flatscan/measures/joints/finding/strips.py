"""The picture turned so that joints run along its rows, and averaged along them over short cells."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Rows turned at a time: bounds the memory.
_BAND_ROWS = 1024
_CELL_MM = 10.0
#: Less seen than this share of a cell is rounding at the border.
_SOME_SEEN = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Strips:
    """A picture in a turned frame: ``v`` across the lines in pixels (rows), ``u`` along them in cells (columns).

    Attributes
    ----------
    tone : (rows, cells) float32, mean tone of the cell; 0 where nothing was seen
    seen : (rows, cells) float32, share of the cell that was seen
    pixel_mm : height of a row; ``cell_mm``: length of a cell
    direction_rad : of the lines, from picture x
    corner_mm : picture position (x, y) of the frame's corner u = v = 0
    """

    tone: NDArray[np.float32]
    seen: NDArray[np.float32]
    pixel_mm: float
    cell_mm: float
    direction_rad: float
    corner_mm: tuple[float, float]

    def to_picture(self, u_mm: NDArray[np.float64], v_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 2) picture positions of points given along and across the lines, mm."""
        c, s = math.cos(self.direction_rad), math.sin(self.direction_rad)
        return np.column_stack([self.corner_mm[0] + c * u_mm - s * v_mm, self.corner_mm[1] + s * u_mm + c * v_mm])

    def from_picture(self, at_mm: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Places along and across the lines of (n, 2) picture positions, mm."""
        c, s = math.cos(self.direction_rad), math.sin(self.direction_rad)
        x, y = at_mm[:, 0] - self.corner_mm[0], at_mm[:, 1] - self.corner_mm[1]
        return c * x + s * y, -s * x + c * y


def strips_along(tone: NDArray[np.float32], pixel_mm: float, direction_rad: float) -> Strips:
    """Turn the picture so that ``direction_rad`` runs along the rows and average along it.

    Parameters
    ----------
    tone : (rows, cols) float32, NaN unseen
    pixel_mm : side of a pixel; the corner of pixel [0, 0] is the origin of the picture's mm
    """
    import cv2

    rows, cols = tone.shape
    c, s = math.cos(direction_rad), math.sin(direction_rad)
    corners = np.array([(0, 0), (cols, 0), (0, rows), (cols, rows)], dtype=np.float64)
    u, v = corners @ (c, s), corners @ (-s, c)
    low_u, low_v = math.floor(u.min()), math.floor(v.min())
    step = max(1, round(_CELL_MM / pixel_mm))
    cells = math.ceil((u.max() - low_u) / step)
    high = math.ceil(v.max() - low_v)
    weight = np.isfinite(tone).astype(np.float32)
    filled = np.where(weight > 0, tone, np.float32(0.0)).astype(np.float32)
    mean, seen = np.zeros((high, cells), np.float32), np.zeros((high, cells), np.float32)
    for first in range(0, high, _BAND_ROWS):
        band = min(_BAND_ROWS, high - first)
        # Pixel centres: picture pixel = turned pixel, turned back, with half a pixel taken off before and after.
        start_u, start_v = low_u + 0.5, low_v + first + 0.5
        back = np.array([[c, -s, c * start_u - s * start_v - 0.5], [s, c, s * start_u + c * start_v - 0.5]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        value = cv2.warpAffine(filled, back, (cells * step, band), flags=flags)
        share = cv2.warpAffine(weight, back, (cells * step, band), flags=flags)
        value, share = (a.reshape(band, cells, step).mean(axis=2) for a in (value, share))
        mean[first : first + band] = np.divide(value, share, out=np.zeros_like(value), where=share > _SOME_SEEN)
        seen[first : first + band] = share
    corner = (c * low_u - s * low_v) * pixel_mm, (s * low_u + c * low_v) * pixel_mm
    return Strips(mean, seen, pixel_mm, step * pixel_mm, direction_rad, corner)
