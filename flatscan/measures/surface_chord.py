"""What a surface says of one chord: the height of the line between two places over a third."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.left_noise import LeftNoise
from flatscan.measures.realised import further_draw
from flatscan.quantity import Quantity
from flatscan.surface.noise.noise_fields import bend_mix
from flatscan.surface.readings.nodes import crosses

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.sources.hand.field_readings import StepLine
    from flatscan.surface.surface import Surface

#: A place so many cells off the grid's outermost centres is read there: bars reach to the wall.
_BESIDE_CELLS = 1.0
#: Shares of a cell this small are rounding: a line along cell centres needs no cell beside it.
_ROUNDING = 1e-6
#: The four cells around a place, (row, col).
_CORNERS = np.array([(0, 0), (0, 1), (1, 0), (1, 1)])


@dataclass(frozen=True, slots=True, eq=False)
class SurfaceChord:
    """``left``: what the estimate of a scan still holds of noise; None where floors were drawn.

    ``steps``: lines across which the floor jumps; nothing beyond one tells of a place on this side. ``bends``:
    (3, 3) float64, 1/mm, what the slow bends that a scan may hide do to a chord: one at share s of a chord (dx, dy)
    lies ``s (1 - s) (bends @ (dx², dx dy, dy²))`` off, times three independent unit normals.
    """

    surface: Surface
    left: LeftNoise | None
    steps: tuple[StepLine, ...] = ()
    bends: NDArray[np.float64] = field(default_factory=lambda: np.zeros((3, 3)))

    @classmethod
    def of(cls, surface: Surface, steps: tuple[StepLine, ...] = (), left: LeftNoise | None = None) -> SurfaceChord:
        """Worked out once for many chords. ``left``: where it was worked out already."""
        if surface.realisations_mm is not None:
            return cls(surface, None, steps)
        return cls(surface, LeftNoise.of(surface) if left is None else left, steps, _bends(surface))

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
        estimate = self.heights(self.surface.estimate_mm, places)
        if not np.isfinite(estimate).all():
            return None
        value = float(weight @ estimate)
        floors = self.surface.realisations_mm
        if floors is not None:
            drawn = np.stack([self.heights(floor, places) for floor in floors]) @ weight
            return further_draw(value, float(drawn.std(ddof=1)), len(drawn))
        # The three places err on their own.
        sigma = 0.0 if self.left is None else self.left.sigma_mm[self._nearest(places)].astype(np.float64)
        beneath = float(np.linalg.norm(weight * sigma))
        dx, dy = second - first
        bend = share * (1.0 - share) * float(np.linalg.norm(self.bends @ np.array([dx * dx, dx * dy, dy * dy])))
        return Quantity.from_budget(value, "mm", noise_left=beneath, slow_bends=bend)

    def no_gap(self, place: NDArray[np.float64]) -> Quantity | None:
        """0 with the doubt that a height there and two contacts half an edge away, known as well as it, would give."""
        (row,), (col,) = self._nearest(place[None])
        floors = self.surface.realisations_mm
        if floors is None:
            sigma = 0.0 if self.left is None else float(self.left.sigma_mm[row, col])
            return Quantity.from_budget(0.0, "mm", noise_left=sigma * np.sqrt(1.5)) if np.isfinite(sigma) else None
        drawn = np.concatenate([self.heights(floor, place[None]) for floor in floors])
        return further_draw(0.0, float(drawn.std(ddof=1)) * float(np.sqrt(1.5)), len(drawn))

    def on_floor(self, places: NDArray[np.float64]) -> NDArray[np.bool_]:
        """(n,) whether the nearest cell of each place is one that an edge can pass, seen or not."""
        on = np.isfinite(self._row_col(places)[:, 0])
        rows, cols = self._nearest(places)
        return on & self.surface.inside[rows, cols]

    def heights(self, height_mm: NDArray[np.floating], places: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) heights between the four cells around; of the nearest cell where one of them was not seen.

        Where a step passes between, of those of the four that lie on the place's own side. ``height_mm``: (rows, cols)
        on the surface's grid; ``places``: (n, 2) floor mm. NaN off the grid.
        """
        at = np.nan_to_num(self._row_col(places))
        low = np.floor(at + _ROUNDING).astype(np.int64)
        part = np.maximum(at - low, 0.0)
        corner = low[:, None] + _CORNERS
        share = np.prod(np.where(_CORNERS == 1, part[:, None], 1.0 - part[:, None]), axis=2)
        share[share <= _ROUNDING] = 0.0
        corner = np.minimum(corner, np.array(height_mm.shape) - 1)
        share = self._own_side(places, corner, share)
        values = height_mm[corner[..., 0], corner[..., 1]].astype(np.float64)
        values[share == 0.0] = 0.0
        between = (share * values).sum(axis=1) / share.sum(axis=1)
        rows, cols = self._nearest(places)
        found = np.where(np.isfinite(between), between, height_mm[rows, cols])
        found[np.isnan(self._row_col(places)[:, 0])] = np.nan
        return np.asarray(found, dtype=np.float64)

    def _row_col(self, places: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 2) rows and columns in cells, 0 the centre of the first; NaN off the grid."""
        at = (places - np.asarray(self.surface.origin_mm))[..., ::-1] / self.surface.cell_mm - 0.5
        most = np.array(self.surface.height_mm.shape) - 1.0
        off = (at < -_BESIDE_CELLS) | (at > most + _BESIDE_CELLS)
        return np.where(off.any(axis=-1, keepdims=True), np.nan, np.clip(at, 0.0, most))

    def _nearest(self, places: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Rows and columns of the nearest cells, halves up; cell [0, 0] off the grid."""
        cells = np.floor(np.nan_to_num(self._row_col(places)) + 0.5 + _ROUNDING).astype(np.int64)
        cells = np.minimum(cells, np.array(self.surface.height_mm.shape) - 1)
        return cells[:, 0], cells[:, 1]

    def _own_side(
        self, places: NDArray[np.float64], corner: NDArray[np.int64], share: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Shares (n, 4) of the four cells around, those that a step parts from their place left out, if any is left."""
        if not self.steps:
            return share
        centre = np.asarray(self.surface.origin_mm) + (corner[..., ::-1] + 0.5) * self.surface.cell_mm
        apart = crosses(np.repeat(places, 4, axis=0), centre.reshape(-1, 2), self.steps).reshape(share.shape)
        own = np.where(apart, 0.0, share)
        return np.where(own.sum(axis=1, keepdims=True) > 0.0, own, share)


def _bends(surface: Surface) -> NDArray[np.float64]:
    mix = bend_mix(surface.seen) if surface.noise.systematic_mm > 0.0 else None
    if mix is None:
        return np.zeros((3, 3))
    rows, cols = surface.height_mm.shape
    # The terms run from -1 to 1 between the outermost centres.
    per_x, per_y = (2.0 / (max(1, n - 1) * surface.cell_mm) for n in (cols, rows))
    unit = np.array([per_x * per_x, per_x * per_y, per_y * per_y])
    return np.asarray(surface.noise.systematic_mm * mix[3:].T * unit)
