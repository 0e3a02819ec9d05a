"""What a run keeps so that a later measurement of the same floor can be held against it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.plan import LevellingPlan
    from flatscan.measures.measurement import GapMap, Measurement

#: Gaps are kept on blocks of cells of about this side: where an area begins is not known more closely.
_BLOCK_MM = 50.0
#: Kept to this fraction of a millimetre, which packs well and is far below what a capture can tell.
_PARTS = 256.0


@dataclass(frozen=True, slots=True, eq=False)
class GapGrid:
    """The largest gap in each block of cells under one edge, and its standard uncertainty.

    ``gap_mm``, ``u_mm``: (rows, cols) float32, NaN: not seen; blocks of ``block_mm`` from the surface's origin on,
    those at the far sides may reach beyond it.
    """

    edge_mm: float
    block_mm: float
    gap_mm: NDArray[np.float32]
    u_mm: NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """The plan and the gaps of a run.

    ``planned_mm``: (rows, cols) float32 on the surface's grid, how far the planned floor stands above the old one
    (below it where it is ground); NaN: not seen.
    """

    planned_mm: NDArray[np.float32]
    gaps: tuple[GapGrid, ...]


def kept_of(plan: LevellingPlan, measurement: Measurement, cell_mm: float) -> Kept:
    """The change that the chosen way makes, and the gaps of every edge that was laid."""
    planned = plan.fill_mm if plan.grind_mm is None else plan.fill_mm - plan.grind_mm
    return Kept(np.asarray(planned, dtype=np.float32), tuple(gap_grid(one, cell_mm) for one in measurement.gap_maps))


def gap_grid(gap_map: GapMap, cell_mm: float) -> GapGrid:
    """The worst of each block: the largest gap with the uncertainty that it has there."""
    step = max(1, math.floor(_BLOCK_MM / cell_mm + 1e-6))
    gap, u = _blocks(gap_map.gap_mm, step), _blocks(gap_map.u_mm, step)
    worst = np.where(np.isfinite(gap), gap, -np.inf).argmax(axis=0)
    chosen = [
        (np.rint(np.take_along_axis(values, worst[None], axis=0)[0] * _PARTS) / _PARTS).astype(np.float32)
        for values in (gap, u)
    ]
    return GapGrid(gap_map.edge_mm, step * cell_mm, *chosen)


def grid_for(grids: Sequence[GapGrid], edge_mm: float) -> GapGrid | None:
    """The grid of that edge; None where it was not laid."""
    return next((grid for grid in grids if math.isclose(grid.edge_mm, edge_mm, abs_tol=0.5)), None)


def _blocks(values: NDArray[np.float32], step: int) -> NDArray[np.float32]:
    """(step², rows, cols): the cells of each block one behind the other."""
    rows, cols = (-(-side // step) for side in values.shape)
    padded = np.full((rows * step, cols * step), np.nan, dtype=np.float32)
    padded[: values.shape[0], : values.shape[1]] = values
    return padded.reshape(rows, step, cols, step).transpose(1, 3, 0, 2).reshape(step * step, rows, cols)
