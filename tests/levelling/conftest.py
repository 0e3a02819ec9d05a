"""A surface made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.quantity import Quantity
from flatscan.surface.surface import NoiseModel, Slope, Surface


@pytest.fixture
def make_surface():
    def make(
        height: np.ndarray | None = None,
        *,
        estimate: np.ndarray | None = None,
        noise: NoiseModel | None = None,
        fall: float | None = None,
        direction_rad: float = 0.0,
        cell_mm: float = 50.0,
    ) -> Surface:
        height = np.zeros((70, 120)) if height is None else height
        height = height.astype(np.float32)
        noise = noise or NoiseModel(0.0, 0.0, 50.0, 0.0, "stated")
        rows, cols = height.shape
        return Surface(
            height_mm=height,
            estimate_mm=height.copy() if estimate is None else estimate.astype(np.float32),
            white_mm=np.where(np.isfinite(height), noise.white_mm, np.nan).astype(np.float32),
            count=np.ones(height.shape, dtype=np.int32),
            inside=np.ones(height.shape, dtype=bool),
            cell_mm=cell_mm,
            origin_mm=(0.0, 0.0),
            floor_from_scan=np.eye(4),
            outline=(np.array([[0.0, 0.0], [cols, 0.0], [cols, rows], [0.0, rows]]) * cell_mm,),
            noise=noise,
            slope=None if fall is None else Slope(Quantity(fall, 0.1, "mm/m"), direction_rad),
            kind="cloud",
        )

    return make
