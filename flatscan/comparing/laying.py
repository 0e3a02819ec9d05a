"""A surface laid on another grid: each new cell is the mean of what was measured beneath it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.surface.surface import NoiseModel, Surface

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from flatscan.comparing.pose import Pose

#: A new cell is known where this share of it was seen.
_LEAST_SEEN = 0.5
_MOST_SUB = 8
#: White noise is drawn for so many floors at a time.
_BATCH = 20
#: Places nearer than this to a cell's centre, in cells, are that centre: no rounding mixes its neighbours in.
_ON_CENTRE = 1e-6


@dataclass(frozen=True, slots=True)
class Grid:
    """A regular grid: (rows, cols) cells of ``cell_mm`` from the outer corner ``origin_mm`` on."""

    shape: tuple[int, int]
    cell_mm: float
    origin_mm: tuple[float, float]

    def centres(self, sub: int = 1) -> NDArray[np.float64]:
        """(rows · sub, cols · sub, 2) float64 centres of the cells, or of ``sub`` x ``sub`` parts of each."""
        rows, cols = self.shape
        x, y = (
            origin + (np.arange(count * sub) + 0.5) * self.cell_mm / sub
            for origin, count in zip(self.origin_mm, (cols, rows), strict=True)
        )
        return np.stack(np.meshgrid(x, y), axis=-1)


def weights_for(surface: Surface, grid: Grid, pose: Pose) -> Weights:
    """What each new cell takes from the old ones."""
    return Weights.of(surface, grid, pose, min(_MOST_SUB, max(1, round(grid.cell_mm / surface.cell_mm))))


def laid_on(surface: Surface, grid: Grid, pose: Pose, weigh: Weights | None = None) -> Surface:
    """The surface on ``grid``, which lies on the map after; ``pose`` says where the surface's own map lies there.

    Heights are block means (bilinear between cells where the grids do not agree), so the white noise falls and the
    correlated noise, whose patches may be no larger than a block, falls and hangs together a little further: a mean
    over a square of side b acts on a Gaussian covariance nearly as one more Gaussian of variance b²/6. ``white_mm`` is
    that of one new cell; neighbours that take from the same old cell share some of it (``Weights.white_draws``).
    """
    weigh = weights_for(surface, grid, pose) if weigh is None else weigh
    seen = weigh.share >= _LEAST_SEEN
    noise, scale = surface.noise, surface.correlated_scale
    widened = math.sqrt(noise.length_mm**2 + grid.cell_mm**2 / 6.0)
    fallen = (noise.length_mm / widened) ** 2

    def mean(values: NDArray[np.float32]) -> NDArray[np.float32]:
        return np.where(seen, weigh.mean(values), np.nan).astype(np.float32)

    white = np.sqrt(weigh.mean_of_squares(np.square(surface.white_mm, dtype=np.float64)))
    inside = weigh.inside | seen
    return replace(
        surface,
        height_mm=mean(surface.height_mm),
        estimate_mm=mean(surface.estimate_mm),
        white_mm=np.where(seen, white, np.nan).astype(np.float32),
        count=seen.astype(np.int32),
        inside=inside,
        cell_mm=grid.cell_mm,
        origin_mm=grid.origin_mm,
        floor_from_scan=surface.floor_from_scan.copy(),
        outline=tuple(pose.apply(ring) for ring in surface.outline),
        noise=NoiseModel(
            noise.white_mm,
            noise.correlated_mm * math.sqrt(fallen),
            widened,
            noise.systematic_mm,
            noise.how,
            noise.floor_share,
        ),
        correlated_scale=None if scale is None else mean(scale),
        realisations_mm=None
        if surface.realisations_mm is None
        else np.stack([mean(one) for one in surface.realisations_mm]),
        fit=None,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Weights:
    """A sparse matrix (new cells, old cells) whose rows add up to 1, and what of each new cell was seen."""

    matrix: Any
    shape: tuple[int, int]
    share: NDArray[np.float64]
    inside: NDArray[np.bool_]

    @classmethod
    def of(cls, surface: Surface, grid: Grid, pose: Pose, sub: int) -> Weights:
        """Each new cell is the mean of ``sub`` x ``sub`` places in it, each bilinear between the old cells."""
        from scipy.sparse import csr_matrix

        rows, cols = surface.height_mm.shape
        at = pose.back(grid.centres(sub)) - np.array(surface.origin_mm)
        at = at / surface.cell_mm - 0.5
        nearest = np.rint(at)
        at = np.where(np.abs(at - nearest) < _ON_CENTRE, nearest, at).reshape(-1, 2)
        new = _block_of(grid.shape, sub)
        seen, within = _padded(surface.seen), _padded(surface.inside)
        base = np.floor(at).astype(np.int64)
        part = at - base
        corners, weights = [], []
        for dy in (0, 1):
            for dx in (0, 1):
                x = np.clip(base[:, 0] + dx, -1, cols)
                y = np.clip(base[:, 1] + dy, -1, rows)
                corners.append((y + 1) * (cols + 2) + x + 1)
                weights.append(np.abs(1 - dx - part[:, 0]) * np.abs(1 - dy - part[:, 1]))
        corner, weight = np.stack(corners), np.stack(weights)
        known = seen.ravel()[corner]
        whole = (known | (weight == 0.0)).all(axis=0)
        # Beside a hole the nearest cell has the word, if it was seen.
        most = weight.argmax(axis=0)
        alone = np.zeros_like(weight)
        alone[most, np.arange(len(most))] = known[most, np.arange(len(most))]
        weight = np.where(whole, weight, alone)
        part_seen = weight.sum(axis=0) > 0.0
        count = int(np.prod(grid.shape))
        seen_parts = np.bincount(new, weights=part_seen, minlength=count)
        in_parts = np.bincount(new, weights=within.ravel()[corner[most, np.arange(len(most))]], minlength=count)
        kept = weight > 0.0
        old_row, old_col = np.divmod(corner[kept], cols + 2)
        matrix = csr_matrix(
            (
                (weight / np.maximum(seen_parts, 1.0)[new])[kept],
                (np.broadcast_to(new, weight.shape)[kept], (old_row - 1) * cols + old_col - 1),
            ),
            shape=(count, rows * cols),
        )
        parts = float(sub * sub)
        return cls(
            matrix,
            grid.shape,
            (seen_parts / parts).reshape(grid.shape),
            (in_parts / parts >= _LEAST_SEEN).reshape(grid.shape),
        )

    def white_draws(
        self, white_mm: NDArray[np.float32], cells: NDArray[np.bool_], draws: int, rng: np.random.Generator
    ) -> Iterator[NDArray[np.float32]]:
        """Means of white noise of the old cells, ``draws`` of (n,) float32 mm for the new ``cells`` (rows, cols) bool.

        Drawn on the old cells: two new ones that share an old cell share its noise, and a patch of them is no better
        known than the old cells beneath it.
        """
        taken = self.matrix[cells.ravel()].tocsc()
        used = np.flatnonzero(np.diff(taken.indptr))
        taken = taken[:, used].tocsr().astype(np.float32)
        sigma = np.nan_to_num(white_mm.ravel()[used]).astype(np.float32)
        for first in range(0, draws, _BATCH):
            count = min(_BATCH, draws - first)
            yield from (taken @ (sigma[:, None] * rng.standard_normal((len(used), count), dtype=np.float32))).T

    def mean(self, values: NDArray[np.floating]) -> NDArray[np.float64]:
        """(rows, cols) means of the old cells' values."""
        return self._times(self.matrix, values)

    def mean_of_squares(self, variance: NDArray[np.float64]) -> NDArray[np.float64]:
        """Variance of the means of independent cells: the weights squared."""
        return self._times(self.matrix.multiply(self.matrix), variance)

    def _times(self, matrix: Any, values: NDArray[np.floating]) -> NDArray[np.float64]:
        flat = np.nan_to_num(values.ravel().astype(np.float64))
        return np.asarray(matrix @ flat).reshape(self.shape)


def _block_of(shape: tuple[int, int], sub: int) -> NDArray[np.int64]:
    """(parts,) index of the cell that each part belongs to."""
    rows, cols = shape
    row, col = np.arange(rows * sub) // sub, np.arange(cols * sub) // sub
    return (row[:, None] * cols + col[None, :]).ravel()


def _padded(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """A border of nothing round it, so that places beyond the grid are not seen."""
    return np.pad(mask, 1)
