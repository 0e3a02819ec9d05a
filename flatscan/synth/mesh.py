"""A room as the mesh that a phone's fused scan would give: smoothed, wavy, with the walls' feet in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.synth.outline import inside
from flatscan.synth.scene import Box
from flatscan.synth.sensors.fields import correlated_field

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.synth.scene import Scene

#: Finer than the joints, so that smoothing averages what a voxel would average.
_FINE_MM = 2.0


def room_mesh(
    scene: Scene,
    *,
    rng: np.random.Generator,
    cell_mm: float = 15.0,
    smooth_mm: float = 12.0,
    noise_mm: float = 0.8,
    correlation_mm: float = 45.0,
    wall_mm: float = 600.0,
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Vertices (n, 3) mm and triangles (m, 3) of the floor, the walls' feet and the boxes.

    The floor's true height is averaged by a Gaussian of ``smooth_mm`` (what fusing into voxels does) and
    carries a correlated error of standard deviation ``noise_mm``. Floor beneath boxes is left out.
    """
    parts = [_floor(scene, rng, cell_mm, smooth_mm, noise_mm, correlation_mm)]
    outline = scene.floor.outline_mm
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        parts.append(_upright(scene, a, b, wall_mm, cell_mm * 2.0, noise_mm, rng))
    parts.extend(_box(scene, solid) for solid in scene.solids if isinstance(solid, Box))
    vertices, triangles, count = [], [], 0
    for vertex, triangle in parts:
        vertices.append(vertex)
        triangles.append(triangle + count)
        count += len(vertex)
    return np.concatenate(vertices), np.concatenate(triangles)


def _floor(
    scene: Scene, rng: np.random.Generator, cell_mm: float, smooth_mm: float, noise_mm: float, correlation_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    from scipy.ndimage import gaussian_filter

    low, high = scene.floor.outline_mm.min(axis=0), scene.floor.outline_mm.max(axis=0)
    every = max(1, round(cell_mm / _FINE_MM))
    x = np.arange(low[0], high[0] + _FINE_MM, _FINE_MM)
    y = np.arange(low[1], high[1] + _FINE_MM, _FINE_MM)
    fine = gaussian_filter(scene.floor.height_mm(x[None, :], y[:, None]), smooth_mm / _FINE_MM, mode="nearest")
    x, y, height = x[::every], y[::every], fine[::every, ::every]
    step_mm = every * _FINE_MM
    # Filter sigma is the correlation length over √2.
    height = height + noise_mm * correlated_field(height.shape, correlation_mm / np.sqrt(2.0) / step_mm, rng)
    grid_x, grid_y = np.meshgrid(x, y)
    vertex = np.stack([grid_x, grid_y, height], axis=-1).reshape(-1, 3)
    keep = inside(scene.floor.outline_mm, vertex[:, 0], vertex[:, 1])
    for solid in scene.solids:
        if isinstance(solid, Box) and solid.bottom_mm < 0:
            keep &= ~inside(_plan(solid), vertex[:, 0], vertex[:, 1])
    return _only(vertex, _grid_triangles(*height.shape), keep)


def _grid_triangles(rows: int, cols: int) -> NDArray[np.int64]:
    index = np.arange(rows * cols, dtype=np.int64).reshape(rows, cols)
    a, b, c, d = (part.ravel() for part in (index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]))
    return np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])


def _only(
    vertex: NDArray[np.float64], triangle: NDArray[np.int64], keep: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    number = np.cumsum(keep) - 1
    return vertex[keep], number[triangle[keep[triangle].all(axis=1)]]


def _upright(
    scene: Scene,
    a: NDArray[np.float64],
    b: NDArray[np.float64],
    wall_mm: float,
    cell_mm: float,
    noise_mm: float,
    rng: np.random.Generator,
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """A wall from a to b, from the floor up."""
    length = float(np.hypot(*(b - a)))
    along = np.linspace(0.0, 1.0, max(2, round(length / cell_mm)))
    up = np.linspace(0.0, 1.0, max(2, round(wall_mm / cell_mm)))
    foot = a + along[:, None] * (b - a)
    foot_mm = scene.floor.shape_mm(foot[:, 0], foot[:, 1])
    normal = np.array([-(b - a)[1], (b - a)[0]]) / length
    away = noise_mm * correlated_field((len(up), len(along)), 2.0, rng)
    flat = foot[None, :, :] + away[..., None] * normal
    z = foot_mm[None, :] + up[:, None] * (wall_mm - foot_mm[None, :])
    vertex = np.concatenate([flat, z[..., None]], axis=-1)
    return vertex.reshape(-1, 3), _grid_triangles(*away.shape)


def _plan(box: Box) -> NDArray[np.float64]:
    cos, sin = np.cos(box.turn_rad), np.sin(box.turn_rad)
    corner = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(box.size_mm) / 2.0
    return np.asarray(corner @ np.array([[cos, sin], [-sin, cos]]) + np.array(box.centre_mm), dtype=np.float64)


def _box(scene: Scene, box: Box) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Sides and top; a box that stands on the floor starts at the floor."""
    plan = _plan(box)
    foot = scene.floor.shape_mm(plan[:, 0], plan[:, 1]) if box.bottom_mm < 0 else np.full(4, box.bottom_mm)
    vertex = np.concatenate([np.column_stack([plan, foot]), np.column_stack([plan, np.full(4, box.top_mm)])])
    quads = [[0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7], [4, 5, 6, 7]]
    triangle = [t for q in quads for t in ([q[0], q[1], q[2]], [q[0], q[2], q[3]])]
    return vertex, np.array(triangle, dtype=np.int64)
