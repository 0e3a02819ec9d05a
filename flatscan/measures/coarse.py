"""A surface on coarser cells: what is simulated dozens of times need not be finer than the edge feels."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.noise.denoise import best_estimate

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.surface.surface import NoiseModel, Surface

#: An edge is simulated on cells of at most this share of it, where that needs no more than ``MOST_CELLS``,
CELLS_PER_EDGE = 40.0
#: and else on cells of at most this share.
LEAST_CELLS_PER_EDGE = 10.0
MOST_CELLS = 100_000


def coarsening(surface: Surface, edge_mm: float) -> int:
    """How many cells to a side are merged for simulating an edge of this length."""
    reach = min(edge_mm, surface.longest_mm)
    factor, most = (
        max(1, math.floor(reach / share / surface.cell_mm)) for share in (CELLS_PER_EDGE, LEAST_CELLS_PER_EDGE)
    )
    while factor < most and surface.height_mm.size > MOST_CELLS * factor**2:
        factor += 1
    return factor


def coarsen(surface: Surface, factor: int) -> Surface:
    """The surface with ``factor`` x ``factor`` cells merged into their means, its noise with them.

    A merged cell is floor if half its area is; it is seen if any of that is. White noise averages down;
    correlated noise keeps the share ``ρ`` of its variance that its own correlation leaves in a block mean.
    """
    if factor == 1:
        return surface
    seen = surface.seen
    n = _blocks(seen, factor)
    inside = _blocks(surface.inside, factor) >= 0.5 * factor**2
    some = (n > 0) & inside
    share = np.where(some, 1.0 / np.maximum(n, 1.0), np.nan)
    height = (_blocks(np.where(seen, surface.height_mm, 0.0), factor) * share).astype(np.float32)
    white = np.sqrt(_blocks(np.where(seen, np.square(surface.white_mm), 0.0), factor)) * share
    white = white.astype(np.float32)
    noise = _coarse_noise(
        surface.noise, surface.cell_mm, factor, float(np.sqrt(np.nanmean(white**2))) if some.any() else 0.0
    )
    cell_mm = surface.cell_mm * factor
    scale = surface.correlated_scale
    if scale is not None:
        scale = (_blocks(np.where(seen, scale, 0.0), factor) * share).astype(np.float32)
    return replace(
        surface,
        height_mm=height,
        estimate_mm=best_estimate(height, white, inside, noise, cell_mm, scale),
        white_mm=white,
        count=_blocks(surface.count, factor).astype(np.int32),
        inside=inside,
        cell_mm=cell_mm,
        noise=noise,
        correlated_scale=scale,
    )


def refine(field: NDArray[np.float32], factor: int, shape: tuple[int, int]) -> NDArray[np.float32]:
    """A coarse field brought back to fine cells, each taking its block's value.

    Parameters
    ----------
    field : coarse (rows, cols); NaN stays NaN
    shape : fine (rows, cols)
    """
    if factor == 1:
        return field
    return np.repeat(np.repeat(field, factor, axis=0), factor, axis=1)[: shape[0], : shape[1]]


def _blocks(field: NDArray[np.generic], factor: int) -> NDArray[np.float64]:
    """Sums over blocks; the grid is padded with zeros to a whole number of them."""
    rows, cols = field.shape
    padded = np.pad(field.astype(np.float64), ((0, -rows % factor), (0, -cols % factor)))
    return np.asarray(padded.reshape(padded.shape[0] // factor, factor, -1, factor).sum(axis=(1, 3)))


def _coarse_noise(noise: NoiseModel, cell_mm: float, factor: int, white_mm: float) -> NoiseModel:
    """Block means of a Gaussian-correlated field: variance times the mean correlation, length grown by the block's."""
    steps = np.arange(factor)
    lag = (steps[:, None] - steps[None, :]) * cell_mm / noise.length_mm
    kept = float(np.exp(-0.5 * lag**2).mean())  # per axis; the variance keeps its square
    length = math.hypot(noise.length_mm, factor * cell_mm / math.sqrt(6.0))
    return replace(noise, white_mm=white_mm, correlated_mm=noise.correlated_mm * kept, length_mm=length)
