"""What a surface says of one chord: the height of the line between two places over a third."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.chords import Contacts
from flatscan.measures.left_noise import LeftNoise
from flatscan.measures.realised import further_draw
from flatscan.quantity import Quantity
from flatscan.surface.readings.nodes import crosses

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.sources.hand.field_readings import StepLine
    from flatscan.surface.surface import Surface

#: A place so many cells off the grid's outermost centres is read there: bars reach to the wall.
_BESIDE_CELLS = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class SurfaceChord:
    """``left``: what the estimate of a scan still holds of noise; None where floors were drawn.

    ``steps``: lines across which the floor jumps; nothing beyond one tells of a place on this side.
    """

    surface: Surface
    left: LeftNoise | None
    steps: tuple[StepLine, ...] = ()

    @classmethod
    def of(cls, surface: Surface, steps: tuple[StepLine, ...] = ()) -> SurfaceChord:
        """Worked out once for many chords."""
        return cls(surface, LeftNoise.of(surface) if surface.realisations_mm is None else None, steps)

    def gap(
        self, place: NDArray[np.float64], first: NDArray[np.float64], second: NDArray[np.float64]
    ) -> Quantity | None:
        """Height of the chord over ``place``, all (2,) floor mm; below 0 where the floor stands above the chord.

        None where one of the places was not seen.
        """
        length = float(np.hypot(*(second - first)))
        share = float(np.hypot(*(place - first))) / length if length > 0.0 else 0.0
        weight = np.array([-1.0, 1.0 - share, share])
        places = np.stack([place, first, second])
        estimate = self._heights(self.surface.estimate_mm, places)
        if not np.isfinite(estimate).all():
            return None
        value = float(weight @ estimate)
        floors = self.surface.realisations_mm
        if floors is not None:
            drawn = np.stack([self._heights(floor, places) for floor in floors]) @ weight
            return further_draw(value, float(drawn.std(ddof=1)), len(drawn))
        cells = [self._cell(p) for p in places]
        contacts = Contacts(cells[1], cells[2], length, value)
        beneath = 0.0 if self.left is None else self.left.beneath(cells[0], contacts)
        return Quantity.from_budget(value, "mm", noise_left=beneath)

    def _row_col(self, places: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 2) rows and columns in cells, 0 the centre of the first; NaN off the grid."""
        at = (places - np.asarray(self.surface.origin_mm))[..., ::-1] / self.surface.cell_mm - 0.5
        most = np.array(self.surface.height_mm.shape) - 1.0
        off = (at < -_BESIDE_CELLS) | (at > most + _BESIDE_CELLS)
        return np.where(off.any(axis=-1, keepdims=True), np.nan, np.clip(at, 0.0, most))

    def _own_side(self, place: NDArray[np.float64], row: int, col: int, shape: tuple[int, ...]) -> NDArray[np.bool_]:
        """(rows, cols) which of the cells from (row, col) on no step parts from the place."""
        if not self.steps:
            return np.ones(shape, dtype=bool)
        centre = [self.surface.xy_mm(row + k, col + n) for k in range(shape[0]) for n in range(shape[1])]
        apart = crosses(np.broadcast_to(place, (len(centre), 2)), np.array(centre), self.steps)
        return np.asarray(~apart.reshape(shape))

    def _cell(self, place: NDArray[np.float64]) -> tuple[int, int]:
        row, col = np.rint(self._row_col(place)).astype(np.int64)
        return int(row), int(col)

    def _heights(self, height_mm: NDArray[np.float32], places: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) heights between the four cells around; of the nearest cell where one of them was not seen.

        Where a step passes between, of those of the four that lie on the place's own side.
        """
        at = self._row_col(places)
        found = np.full(len(at), np.nan)
        for i, (row, col) in enumerate(at):
            if np.isfinite(row):
                r, c = int(row), int(col)
                corners = height_mm[r : r + 2, c : c + 2].astype(np.float64)
                up = np.array([1.0 - (row - r), row - r])[: corners.shape[0]]
                right = np.array([1.0 - (col - c), col - c])[: corners.shape[1]]
                share = np.multiply.outer(up, right)
                own = self._own_side(places[i], r, c, corners.shape)
                if share[own].sum() > 0.0:
                    corners, share = corners[own], share[own] / share[own].sum()
                found[i] = float(np.sum(corners * share))
                if not np.isfinite(found[i]):
                    found[i] = height_mm[round(row), round(col)]
        return found
