"""The compiled loops of photos: one ray for a pixel on a plain face, sixteen where an edge may lie."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit, prange

import flatscan.threads  # noqa: F401 - for its effect
from flatscan.synth.baked import (
    FACE,
    GROUT,
    MORTAR,
    ROUND,
    SIDE,
    WALL,
    in_field,
    inside_at,
    lit,
    meet,
    on_faces,
    spot_at,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.synth.baked import Baked

#: Light that comes off the other walls of a joint, as a share of what falls on them.
_BOUNCE = 0.35


@njit(cache=True, error_model="numpy")
def _ray(turn: NDArray[np.float64], camera: NDArray[np.float64], col: float, row: float) -> NDArray[np.float64]:
    """Room direction of an image place; ``camera``: focal, cx, cy. Its length makes distances z depths."""
    u, v = (col - camera[1]) / camera[0], (row - camera[2]) / camera[0]
    direction: NDArray[np.float64] = turn[:, 0] * u + turn[:, 1] * v + turn[:, 2]
    return direction


@njit(cache=True, error_model="numpy", parallel=True)
def faces(
    b: Baked, turn: NDArray[np.float64], at: NDArray[np.float64], camera: NDArray[np.float64], throw: float,
    rows: int, cols: int,
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.bool_]]:  # fmt: skip
    """Per pixel, as if it met a plain face: place (rows, cols, 2), cell (−1 beyond the walls), and whether it may not.

    ``throw``: how far a step of 1 mm throws its shadow.
    """
    place = np.empty((rows, cols, 2), np.float64)
    cell = np.empty((rows, cols), np.int64)
    edge = np.zeros((rows, cols), np.bool_)
    for row in prange(rows):
        last = 0
        for col in range(cols):
            d = _ray(turn, camera, float(col), float(row))
            t = on_faces(b, at, d, last)
            x, y = at[0] + t * d[0], at[1] + t * d[1]
            u, v = in_field(b, x, y)
            spot = spot_at(b, u, v, last)
            last = spot.cell
            place[row, col, 0], place[row, col, 1] = x, y
            cell[row, col] = spot.cell if inside_at(b, x, y) else -1
            slant = np.hypot(d[0], d[1]) / -d[2]
            # A tile that stands higher hides what is behind it, or shades it.
            reach = 1.5 * t / camera[0] * (1.0 + slant) + b.tile[spot.cell, 13] * (slant + throw) + b.radius
            if spot.code == MORTAR:
                edge[row, col] = spot.near < reach + b.radius + 1.0
            else:
                edge[row, col] = spot.code != FACE or spot.near < reach
    for row in range(rows):
        for col in range(cols):
            if row > 0 and (cell[row, col] < 0) != (cell[row - 1, col] < 0):
                edge[row, col] = edge[row - 1, col] = True
            elif col > 0 and (cell[row, col] < 0) != (cell[row, col - 1] < 0):
                edge[row, col] = edge[row, col - 1] = True
    return place, cell, edge


@njit(cache=True, error_model="numpy")
def _sky(spot_code: int, near: float, far: float, deep: float) -> float:
    """Share of an open sky's light that reaches a point of a long groove, with the light its walls give back."""
    if spot_code == GROUT:
        share = 0.5 * (near / np.hypot(near, deep) + far / np.hypot(far, deep))
    else:
        # On a wall, ``deep`` below the edge and ``far`` from the other wall.
        share = 0.5 * (1.0 - deep / np.hypot(deep, max(far, 0.1)))
    value: float = share / (1.0 - _BOUNCE * (1.0 - share))
    return value


@njit(cache=True, error_model="numpy", parallel=True)
def edges(
    b: Baked, turn: NDArray[np.float64], at: NDArray[np.float64], camera: NDArray[np.float64],
    pixels: NDArray[np.int64], offsets: NDArray[np.float64], light: NDArray[np.float64], ambient: float, sun: float,
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int8], NDArray[np.float32]]:  # fmt: skip
    """Samples of edge pixels (n, 2 row col), ``offsets`` (m, 2) within a pixel: place (n·m, 2), cell, code, light.

    ``light`` points to the sun; a level floor in full light gets ambient + sun · its third part.
    """
    n, m = len(pixels), len(offsets)
    place, cell = np.empty((n * m, 2), np.float64), np.empty(n * m, np.int64)
    code, shine = np.empty(n * m, np.int8), np.empty(n * m, np.float32)
    for k in prange(n):
        last = 0
        for s in range(m):
            i = k * m + s
            d = _ray(turn, camera, pixels[k, 1] + offsets[s, 0], pixels[k, 0] + offsets[s, 1])
            t, spot = meet(b, at, d, last)
            last = spot.cell
            x, y, z = at[0] + t * d[0], at[1] + t * d[1], at[2] + t * d[2]
            place[i, 0], place[i, 1], cell[i] = x, y, spot.cell
            if not inside_at(b, x, y):
                code[i], shine[i] = WALL, ambient
                continue
            code[i] = spot.code
            sky, up, out = 1.0, 1.0, 0.0
            if spot.code == ROUND:
                out = (b.radius - spot.near) / b.radius
                up = np.sqrt(1.0 - out * out)
                sky = 0.5 * (1.0 + up)
            elif spot.code == GROUT:
                deep = max(b.tile[spot.cell, 9] - spot.relief, b.radius)
                sky = _sky(spot.code, spot.near, spot.far, deep)
            elif spot.code == SIDE:
                out, up = 1.0, 0.0
                sky = _sky(spot.code, 0.0, spot.far, max(b.tile[spot.cell, 9] - spot.relief, 0.0))
            direct = 0.0
            if sun > 0.0:
                nx, ny = 0.0, 0.0
                if out > 0.0:
                    fx = -1.0 if spot.side == 0 else (1.0 if spot.side == 2 else 0.0)  # noqa: PLR2004
                    fy = -1.0 if spot.side == 1 else (1.0 if spot.side == 3 else 0.0)  # noqa: PLR2004
                    nx, ny = b.cos * fx - b.sin * fy, b.sin * fx + b.cos * fy
                facing = out * (nx * light[0] + ny * light[1]) + up * light[2]
                if facing > 0.0 and lit(b, x, y, z, light, spot.cell):
                    direct = sun * facing
            shine[i] = ambient * sky + direct
    return place, cell, code, shine
