"""Invented surfaces for the measures' tests."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from flatscan.quantity import Quantity
from flatscan.surface.noise.denoise import best_estimate
from flatscan.surface.noise.draws import draw_noise
from flatscan.surface.surface import NoiseModel, Slope, Surface

QUIET = NoiseModel(0.0, 0.0, 100.0, 0.0, "invented: no noise")


def make_surface(
    floor_mm: np.ndarray,
    *,
    noise: NoiseModel = QUIET,
    cell_mm: float = 50.0,
    inside: np.ndarray | None = None,
    slope: Slope | None = None,
    rng: np.random.Generator | None = None,
) -> Surface:
    """A capture of ``floor_mm`` (rows, cols; NaN is not seen), with noise drawn from its own model."""
    shape = floor_mm.shape
    room = np.ones(shape, bool) if inside is None else inside
    floor = np.where(room, floor_mm, np.nan).astype(np.float32)
    white = np.where(np.isfinite(floor), noise.white_mm, np.nan).astype(np.float32)

    def surface(height: np.ndarray, estimate: np.ndarray) -> Surface:
        return Surface(
            height_mm=height,
            estimate_mm=estimate,
            white_mm=white.copy(),
            count=np.isfinite(height).astype(np.int32),
            inside=room.copy(),
            cell_mm=cell_mm,
            origin_mm=(0.0, 0.0),
            floor_from_scan=np.eye(4),
            outline=(),
            noise=noise,
            slope=slope,
            kind="cloud",
        )

    height = floor.copy()
    if rng is not None:
        height = (floor + draw_noise(surface(floor.copy(), floor.copy()), rng)).astype(np.float32)
    return surface(height, best_estimate(height, white, room, noise, cell_mm))


@pytest.fixture
def surface_of() -> Callable[..., Surface]:
    return make_surface


@pytest.fixture
def fall() -> Callable[[float, float], Slope]:
    return lambda mm_per_m, direction: Slope(Quantity(mm_per_m, 0.1, "mm/m"), direction)
