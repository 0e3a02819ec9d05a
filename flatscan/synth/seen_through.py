"""A floor whose heights are known, as a capture with stated noise sees it: no sensor, no reader, no gridding."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.noise.denoise import best_estimate
from flatscan.surface.noise.draws import draw_noise
from flatscan.surface.surface import Surface

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.surface.surface import NoiseModel


def seen_through(
    true_mm: NDArray[np.floating],
    noise: NoiseModel,
    rng: np.random.Generator,
    *,
    cell_mm: float,
    white_mm: NDArray[np.floating] | None = None,
    inside: NDArray[np.bool_] | None = None,
) -> tuple[Surface, Surface]:
    """What is seen of the floor, and the floor itself.

    Parameters
    ----------
    true_mm : (rows, cols) heights, NaN where nothing is seen
    noise : what the capture adds
    rng : chance
    cell_mm : side of a cell
    white_mm : (rows, cols) white noise of each cell; None: that of ``noise`` everywhere
    inside : (rows, cols) the floor to be judged; None: all
    """
    true = true_mm.astype(np.float32)
    within = np.ones(true.shape, dtype=np.bool_) if inside is None else inside
    white = np.full(true.shape, noise.white_mm) if white_mm is None else white_mm
    white = np.where(np.isfinite(true), white, np.nan).astype(np.float32)
    truth = Surface(
        height_mm=true,
        estimate_mm=true.copy(),
        white_mm=white,
        count=np.isfinite(true).astype(np.int32),
        inside=within,
        cell_mm=cell_mm,
        origin_mm=(0.0, 0.0),
        floor_from_scan=np.eye(4),
        outline=(),
        noise=noise,
        slope=None,
        kind="cloud",
    )
    height = (true + draw_noise(truth, rng)).astype(np.float32)
    estimate = best_estimate(height, white, within, noise, cell_mm)
    return replace(truth, height_mm=height, estimate_mm=estimate), truth
