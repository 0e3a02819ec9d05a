"""Where the picture was seen, asked at places in mm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

_AROUND = 16


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """``tone`` (rows, cols), NaN unseen, with its pixel."""

    tone: NDArray[np.float32]
    pixel_mm: float

    def near_border(self, at_mm: NDArray[np.float64], within_mm: float) -> NDArray[np.bool_]:
        """Which places have something unseen, or the picture's end, about this far away."""
        rows, cols = self.tone.shape
        near = np.zeros(len(at_mm), dtype=np.bool_)
        for share in (0.5, 1.0):
            for turn in np.arange(_AROUND) * (2.0 * np.pi / _AROUND):
                place = (at_mm + share * within_mm * np.array([np.cos(turn), np.sin(turn)])) / self.pixel_mm
                col, row = np.floor(place).astype(np.int64).T
                out = (row < 0) | (col < 0) | (row >= rows) | (col >= cols)
                near |= out | np.isnan(self.tone[np.clip(row, 0, rows - 1), np.clip(col, 0, cols - 1)])
        return near
