"""The compiled passes over points: where each lies on the floor, and adding them into pixels, blocks and cells."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit


@njit(cache=True)
def add_at(key: Any, value: Any, total: Any, count: Any) -> None:
    """``total[key] += value``, ``count[key] += 1``; ``value`` (n, k), ``total`` (pixels, k)."""
    for i in range(len(key)):
        at = key[i]
        for k in range(value.shape[1]):
            total[at, k] += value[i, k]
        count[at] += np.float32(1.0)


@njit(cache=True, inline="always")
def _ground_at(ground: Any, x0: float, y0: float, cell: float, x: float, y: float) -> Any:
    """Bilinear height of the ground, beyond its border as on it."""
    last_row, last_col = ground.shape[0] - 1, ground.shape[1] - 1
    v = min(max((y - y0) / cell - 0.5, 0.0), float(last_row))
    u = min(max((x - x0) / cell - 0.5, 0.0), float(last_col))
    g0, h0 = min(int(v), max(last_row - 1, 0)), min(int(u), max(last_col - 1, 0))
    g1, h1 = min(g0 + 1, last_row), min(h0 + 1, last_col)
    fv, fu = v - g0, u - h0
    near = ground[g0, h0] * (1.0 - fu) + ground[g0, h1] * fu
    far = ground[g1, h0] * (1.0 - fu) + ground[g1, h1] * fu
    return near * (1.0 - fv) + far * fv


@njit(cache=True)
def floor_places(
    points: Any,
    rows: Any,
    floor_from_points: Any,
    ground: Any,
    ground_x0: float,
    ground_y0: float,
    ground_cell: float,
    draw: Any,
    x0: float,
    y0: float,
    pixel_mm: float,
    per_cell: int,
    near_mm: float,
    kept: Any,
    key: Any,
    place: Any,
) -> int:
    """How many of ``rows`` of the points lie near the ground where a picture is drawn.

    Of those, in order: ``kept`` int64 their row, ``key`` int64 their pixel, ``place`` (n, 3) float32 x and y from the
    corner (x0, y0) and height above the ground, mm. ``floor_from_points`` (3, 4); ``draw`` (r, c) bool of cells of
    ``per_cell`` pixels.
    """
    t = floor_from_points
    height, width = draw.shape[0] * per_cell, draw.shape[1] * per_cell
    n = 0
    for i in range(len(rows)):
        a, b, c = points[rows[i], 0], points[rows[i], 1], points[rows[i], 2]
        x = t[0, 0] * a + t[0, 1] * b + t[0, 2] * c + t[0, 3]
        y = t[1, 0] * a + t[1, 1] * b + t[1, 2] * c + t[1, 3]
        col, row = int(np.floor((x - x0) / pixel_mm)), int(np.floor((y - y0) / pixel_mm))
        if row < 0 or row >= height or col < 0 or col >= width or not draw[row // per_cell, col // per_cell]:
            continue
        z = t[2, 0] * a + t[2, 1] * b + t[2, 2] * c + t[2, 3]
        above = z - _ground_at(ground, ground_x0, ground_y0, ground_cell, x, y)
        if abs(above) > near_mm:
            continue
        kept[n] = rows[i]
        key[n] = row * width + col
        place[n, 0], place[n, 1], place[n, 2] = x - x0, y - y0, above
        n += 1
    return n


@njit(cache=True)
def add_blocks(place: Any, block_mm: float, row0: int, col0: int, count: Any, total: Any) -> None:
    """Points and their heights into blocks; block [1, 1] is the one ``row0``, ``col0`` from the corner."""
    for i in range(len(place)):
        row, col = int(place[i, 1] / block_mm) - row0 + 1, int(place[i, 0] / block_mm) - col0 + 1
        count[row, col] += 1.0
        total[row, col] += place[i, 2]


@njit(cache=True)
def add_levelled(
    key: Any,
    place: Any,
    weight: Any,
    block_mm: float,
    row0: int,
    col0: int,
    level: Any,
    trust: Any,
    least_trust: float,
    total: Any,
    weights: Any,
) -> None:
    """Heights less the level there, bilinear between blocks, into pixels, by trust and weight; no weight: (0,)."""
    for i in range(len(key)):
        v, u = place[i, 1] / block_mm - row0 + 0.5, place[i, 0] / block_mm - col0 + 0.5
        row, col = int(v), int(u)
        fv, fu = v - row, u - col
        a, b = (1.0 - fv) * (1.0 - fu), (1.0 - fv) * fu
        c, d = fv * (1.0 - fu), fv * fu
        sure = a * trust[row, col] + b * trust[row, col + 1] + c * trust[row + 1, col] + d * trust[row + 1, col + 1]
        if sure <= least_trust:
            continue
        if len(weight):
            sure *= weight[i]
        here = a * level[row, col] + b * level[row, col + 1] + c * level[row + 1, col] + d * level[row + 1, col + 1]
        total[key[i]] += np.float32(sure * (place[i, 2] - here))
        weights[key[i]] += np.float32(sure)


@njit(cache=True)
def add_cover(
    points: Any,
    floor_from_points: Any,
    ground: Any,
    ground_x0: float,
    ground_y0: float,
    ground_cell: float,
    x0: float,
    y0: float,
    cell_mm: float,
    covers_mm: float,
    highest_mm: float,
    low: Any,
    high: Any,
    hides_mm: float,
    hiding: Any,
) -> int:
    """Count points low and high over the cells of a grid; ``hiding`` (n, 3), where not empty, takes what can hide."""
    t = floor_from_points
    n = 0
    for i in range(len(points)):
        a, b, c = points[i, 0], points[i, 1], points[i, 2]
        x = t[0, 0] * a + t[0, 1] * b + t[0, 2] * c + t[0, 3]
        y = t[1, 0] * a + t[1, 1] * b + t[1, 2] * c + t[1, 3]
        z = t[2, 0] * a + t[2, 1] * b + t[2, 2] * c + t[2, 3]
        above = z - _ground_at(ground, ground_x0, ground_y0, ground_cell, x, y)
        if abs(above) >= highest_mm:
            continue
        row, col = int(np.floor((y - y0) / cell_mm)), int(np.floor((x - x0) / cell_mm))
        if row >= 0 and row < low.shape[0] and col >= 0 and col < low.shape[1]:
            if above > covers_mm:
                high[row, col] += 1
            else:
                low[row, col] += 1
        if above > hides_mm and len(hiding):
            hiding[n, 0], hiding[n, 1], hiding[n, 2] = x, y, z
            n += 1
    return n
