"""Small measurements written down by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flatscan.measures.measurement import Flatness, GapMap, GapSpot, Measurement
from flatscan.quantity import Quantity
from flatscan.surface.surface import NoiseModel, Surface

ROWS, COLS, CELL_MM = 70, 120, 50.0


def mm(value: float, u: float = 0.25) -> Quantity:
    return Quantity(value, u, "mm")


@pytest.fixture
def make_surface():
    def make(unseen: np.ndarray | None = None, inside: np.ndarray | None = None) -> Surface:
        inside = np.ones((ROWS, COLS), dtype=bool) if inside is None else inside
        height = np.where(inside, 0.0, np.nan).astype(np.float32)
        if unseen is not None:
            height[unseen] = np.nan
        return Surface(
            height_mm=height,
            estimate_mm=height.copy(),
            white_mm=np.where(np.isfinite(height), 0.2, np.nan).astype(np.float32),
            count=np.ones((ROWS, COLS), dtype=np.int32),
            inside=inside,
            cell_mm=CELL_MM,
            origin_mm=(0.0, 0.0),
            floor_from_scan=np.eye(4),
            outline=(np.array([[0.0, 0.0], [6000.0, 0.0], [6000.0, 3500.0], [0.0, 3500.0]]),),
            noise=NoiseModel(0.2, 0.0, 50.0, 0.0, "stated"),
            slope=None,
            kind="cloud",
        )

    return make


@pytest.fixture
def make_spot():
    def make(value: float, *, u: float = 0.25, edge_mm: float = 2000.0, at=(1000.0, 1000.0), bridges=False) -> GapSpot:
        return GapSpot(
            edge_mm=edge_mm,
            gap=mm(value, u),
            raw_mm=value + 0.3,
            noise_floor_mm=0.4,
            at=at,
            contacts=((at[0] - 900.0, at[1]), (at[0] + 900.0, at[1])),
            span_mm=1800.0,
            direction_rad=0.0,
            bridges_hole=bridges,
        )

    return make


@pytest.fixture
def make_measurement():
    def make(spots, *, over: dict[float, np.ndarray] | None = None, u_map: float = 0.25) -> Measurement:
        """``over``: edge length to the gap map's values (rows, cols) in mm."""
        flat = Flatness(*(mm(1.0) for _ in range(5)))
        maps = tuple(
            GapMap(edge, g.astype(np.float32), g.astype(np.float32), np.full(g.shape, u_map, np.float32), 0.4)
            for edge, g in (over or {}).items()
        )
        ordered = tuple(sorted(spots, key=lambda s: -s.gap.value))
        return Measurement(flat, ordered, maps, (), None, ())

    return make


@pytest.fixture
def grid_of():
    def make(value: float, **patches: tuple[slice, slice, float]) -> np.ndarray:
        grid = np.full((ROWS, COLS), value)
        for rows, cols, patch in patches.values():
            grid[rows, cols] = patch
        return grid

    return make


@pytest.fixture
def diagonal_mm() -> float:
    return CELL_MM * math.hypot(ROWS, COLS)
