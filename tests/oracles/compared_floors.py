"""Two surfaces of one floor that is known as a formula."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Polygon, contains_xy

from flatscan.comparing import Kept, Measured, PlannedArea
from flatscan.comparing.pose import SAME, Pose
from flatscan.quantity import Quantity
from flatscan.surface.surface import NoiseModel, Slope, Surface

L_ROOM = np.array([[0, 0], [4200, 0], [4200, 2300], [2800, 2300], [2800, 3400], [0, 3400]], dtype=np.float64)
RECTANGLE = np.array([[0, 0], [4200, 0], [4200, 3000], [0, 3000]], dtype=np.float64)
QUIET = NoiseModel(0.0, 0.0, 50.0, 0.0, "stated")


def relief(x, y):
    """A floor with a dip, a crest and waves: no turn of it looks like another."""
    waves = 1.2 * np.sin(x / 700.0 + 0.3) * np.cos(y / 900.0)
    return waves - 4.0 * np.exp(-((x - 1100) ** 2 + (y - 900) ** 2) / 2 / 300**2)


@dataclass(frozen=True)
class Bump:
    """A cap depth · (1 - r²) on a disc: its volume is π R² h / 2."""

    x: float
    y: float
    radius: float
    height: float

    def __call__(self, x, y):
        r2 = ((x - self.x) ** 2 + (y - self.y) ** 2) / self.radius**2
        return self.height * np.maximum(0.0, 1.0 - r2)

    @property
    def litres(self) -> float:
        return math.pi * self.radius**2 * self.height / 2.0 / 1e6

    def ring(self, more: float = 1.0) -> np.ndarray:
        turn = np.linspace(0.0, 2.0 * np.pi, 49)[:-1]
        return np.column_stack([self.x + more * self.radius * np.cos(turn), self.y + more * self.radius * np.sin(turn)])


def surface_of(
    floor: Callable[..., np.ndarray],
    outline: np.ndarray,
    pose: Pose = SAME,
    *,
    cell_mm: float = 20.0,
    noise: NoiseModel = QUIET,
    error: Callable[[tuple[int, int]], np.ndarray] | None = None,
    tilt: tuple[float, float, float] = (0.0, 0.0, 0.0),
    slope: Slope | None = None,
) -> Surface:
    """``floor(x, y)`` within ``outline``, both in a room, seen on a map where ``pose`` lays the room.

    ``tilt``: mm and mm/m added on the map, as another reference plane would. ``error``: noise of the grid's shape.
    """
    ring = pose.apply(outline)
    low = np.floor(ring.min(axis=0) / cell_mm) * cell_mm
    cols, rows = np.ceil((ring.max(axis=0) - low) / cell_mm).astype(int)
    x, y = np.meshgrid(low[0] + (np.arange(cols) + 0.5) * cell_mm, low[1] + (np.arange(rows) + 0.5) * cell_mm)
    inside = contains_xy(Polygon(ring).buffer(-cell_mm / 2.0), x, y)
    room = pose.back(np.stack([x, y], axis=-1))
    height = floor(room[..., 0], room[..., 1]) + tilt[0] + (tilt[1] * x + tilt[2] * y) / 1000.0
    if error is not None:
        height = height + error(height.shape)
    height = np.where(inside, height, np.nan).astype(np.float32)
    return Surface(
        height_mm=height,
        estimate_mm=height.copy(),
        white_mm=np.where(inside, noise.white_mm, np.nan).astype(np.float32),
        count=inside.astype(np.int32),
        inside=inside,
        cell_mm=cell_mm,
        origin_mm=(float(low[0]), float(low[1])),
        floor_from_scan=np.eye(4),
        outline=(ring,),
        noise=noise,
        slope=slope,
        kind="cloud",
    )


def measured_of(
    surface: Surface,
    *,
    areas: Sequence[PlannedArea] = (),
    planned: Callable[..., np.ndarray] | None = None,
    joints: Sequence[np.ndarray] = (),
    kept_places: Sequence[np.ndarray] = (),
) -> Measured:
    """A floor as it was measured before or after; ``planned(x, y)`` on its own map."""
    rows, cols = surface.height_mm.shape
    x, y = np.meshgrid(
        surface.origin_mm[0] + (np.arange(cols) + 0.5) * surface.cell_mm,
        surface.origin_mm[1] + (np.arange(rows) + 0.5) * surface.cell_mm,
    )
    change = np.zeros((rows, cols)) if planned is None else planned(x, y)
    return Measured(
        surface,
        ((2000.0, 3.0),),
        ("over-old-tiles",),
        "level_areas",
        "Level the marked areas, then lay.",
        0.95,
        (),
        tuple(joints),
        tuple(areas),
        "patch" if areas else None,
        Kept(np.where(surface.seen, change, np.nan).astype(np.float32), ()),
        tuple(kept_places),
    )


def area_of(bump: Bump, number: int = 1, *, more: float = 1.05) -> PlannedArea:
    ring = bump.ring(more)
    return PlannedArea(
        number, (ring,), Polygon(ring).area / 1e6, Quantity(bump.litres, 0.02, "l"), bump.height / 2, bump.height
    )
