"""The compiled passes over all samples: which view and face each belongs to, and the samples in that order."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from flatscan.constants import SIGMA_PER_MAD
from flatscan.measures.joints.lips.viewing import BLUR_SIGMAS

#: Steeper than 60 degrees the smoothing's reach is not stretched further.
_LEAST_COS = 0.5


@njit(cache=True)
def keys(
    points: Any, view: Any, many_views: bool, t: Any, group: Any, eye: Any, axis: Any, focal: Any, blur: Any,
    base: float, border: Any, first: Any, label: Any, x0: float, y0: float, pixel: float, height: Any, hx0: float,
    hy0: float, cell: float, gate: float, key: Any,
) -> None:  # fmt: skip
    """Fill ``key`` (n,): group · regions + region of each sample, -1 for those that do not count.

    A sample counts when it lies on a face, within ``gate`` of the floor's known height there, and further from every
    joint of that face than its view's smoothing reaches.
    """
    rows, cols = label.shape
    regions = len(first) - 1
    for i in range(len(points)):
        key[i] = -1
        px, py, pz = np.float64(points[i, 0]), np.float64(points[i, 1]), np.float64(points[i, 2])
        z = t[2, 0] * px + t[2, 1] * py + t[2, 2] * pz + t[2, 3]
        x = t[0, 0] * px + t[0, 1] * py + t[0, 2] * pz + t[0, 3]
        y = t[1, 0] * px + t[1, 1] * py + t[1, 2] * pz + t[1, 3]
        col, row = int(np.floor((x - x0) / pixel)), int(np.floor((y - y0) / pixel))
        if row < 0 or row >= rows or col < 0 or col >= cols:
            continue
        region = label[row, col]
        if region < 0:
            continue
        hcol, hrow = int(np.floor((x - hx0) / cell)), int(np.floor((y - hy0) / cell))
        if hrow < 0 or hrow >= height.shape[0] or hcol < 0 or hcol >= height.shape[1]:
            continue
        # NaN compares false: strips along walls and things on the floor are no floor.
        if not abs(z - np.float64(height[hrow, hcol])) <= gate:
            continue
        v = view[i] if many_views else 0
        clear = base
        if focal[v] > 0.0:
            dx, dy, dz = x - eye[v, 0], y - eye[v, 1], z - eye[v, 2]
            depth = dx * axis[v, 0] + dy * axis[v, 1] + dz * axis[v, 2]
            cos = max(-dz / np.sqrt(dx * dx + dy * dy + dz * dz), _LEAST_COS)
            clear += BLUR_SIGMAS * blur[v] * depth / focal[v] / cos
        if _nearest_edge2(x, y, border, first[region], first[region + 1]) < clear * clear:
            continue
        key[i] = group[v] * regions + region


@njit(cache=True, inline="always")
def _nearest_edge2(x: float, y: float, border: Any, start: int, end: int) -> float:
    """Squared distance of a place to the nearest of some straight joints."""
    least = np.inf
    for k in range(start, end):
        ex, ey = border[k, 2] - border[k, 0], border[k, 3] - border[k, 1]
        wx, wy = x - border[k, 0], y - border[k, 1]
        length2 = ex * ex + ey * ey
        share = 0.0
        if length2 > 0.0:
            share = min(max((wx * ex + wy * ey) / length2, 0.0), 1.0)
        dx, dy = wx - share * ex, wy - share * ey
        least = min(least, dx * dx + dy * dy)
    return least


@njit(cache=True)
def in_order(points: Any, t: Any, key: Any, start: Any, xyz: Any) -> None:
    """Fill ``xyz`` (kept, 3) floor-frame with the samples in order of their key; ``start`` (keys + 1,) offsets."""
    place = start.copy()
    for i in range(len(points)):
        k = key[i]
        if k < 0:
            continue
        px, py, pz = np.float64(points[i, 0]), np.float64(points[i, 1]), np.float64(points[i, 2])
        at = place[k]
        for axis in range(3):
            xyz[at, axis] = t[axis, 0] * px + t[axis, 1] * py + t[axis, 2] * pz + t[axis, 3]
        place[k] = at + 1


@njit(cache=True)
def drop_strays(xyz: Any, start: Any, sigmas: float, least: float) -> None:
    """Set to NaN the height of samples off their block's plane by more than ``sigmas`` robust deviations (3 rounds)."""
    for k in range(len(start) - 1):
        a, b = start[k], start[k + 1]
        if b - a < 6:  # noqa: PLR2004 - a plane and a scatter
            continue
        block = xyz[a:b]
        x0, y0 = np.float64(block[0, 0]), np.float64(block[0, 1])
        limit = np.inf
        plane: Any = np.zeros(3)
        for _ in range(3):
            m = np.zeros((3, 3))
            r = np.zeros(3)
            for i in range(b - a):
                dx, dy, z = block[i, 0] - x0, block[i, 1] - y0, np.float64(block[i, 2])
                if abs(z - plane[0] - plane[1] * dx - plane[2] * dy) > limit:
                    continue
                m[0, 0] += 1.0
                m[0, 1] += dx
                m[0, 2] += dy
                m[1, 1] += dx * dx
                m[1, 2] += dx * dy
                m[2, 2] += dy * dy
                r[0] += z
                r[1] += z * dx
                r[2] += z * dy
            m[1, 0], m[2, 0], m[2, 1] = m[0, 1], m[0, 2], m[1, 2]
            m[1, 1] += 1.0
            m[2, 2] += 1.0
            if m[0, 0] < 3.0:  # noqa: PLR2004
                break
            plane = np.linalg.solve(m, r)
            off = np.empty(b - a)
            for i in range(b - a):
                off[i] = abs(block[i, 2] - plane[0] - plane[1] * (block[i, 0] - x0) - plane[2] * (block[i, 1] - y0))
            limit = max(sigmas * SIGMA_PER_MAD * np.median(off), least)
        for i in range(b - a):
            dx, dy = block[i, 0] - x0, block[i, 1] - y0
            if abs(block[i, 2] - plane[0] - plane[1] * dx - plane[2] * dy) > limit:
                block[i, 2] = np.nan
