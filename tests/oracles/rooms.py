"""Invented rooms made of flat patches: what stands where is known, so floor, outline and heights are too.

Plain on purpose: every surface is a parallelogram of random points. Lengths in mm.
"""

from __future__ import annotations

import numpy as np

from flatscan.sources.scan import Scan

#: Corners of an L, anticlockwise: 5.3 m x 3.7 m with a 2.1 m x 1.3 m bite out of its upper right corner.
L_SHAPE = ((0, 0), (5300, 0), (5300, 2400), (3200, 2400), (3200, 3700), (0, 3700))
OBLONG = ((0, 0), (5300, 0), (5300, 3700), (0, 3700))


def patch(rng, corner, u, v, per_m2):
    u, v = np.asarray(u, float), np.asarray(v, float)
    n = int(np.linalg.norm(np.cross(u, v)) / 1e6 * per_m2)
    share = rng.random((n, 2))
    return np.asarray(corner, float) + share[:, :1] * u + share[:, 1:] * v


def within(corners, xy):
    """(n,) bool, by crossing number: independent of the polygon code under test."""
    inside = np.zeros(len(xy), bool)
    for (x0, y0), (x1, y1) in zip(corners, corners[1:] + corners[:1], strict=True):
        if y0 != y1:
            crosses = ((y0 > xy[:, 1]) != (y1 > xy[:, 1])) & (xy[:, 0] < x0 + (x1 - x0) * (xy[:, 1] - y0) / (y1 - y0))
            inside ^= crosses
    return inside


def area_m2(corners):
    x, y = np.asarray(corners, float).T
    return abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2e6


def floor(rng, corners, per_m2, height=None):
    low, high = np.min(corners, axis=0), np.max(corners, axis=0)
    p = patch(rng, (*low, 0), (high[0] - low[0], 0, 0), (0, high[1] - low[1], 0), per_m2)
    p = p[within(corners, p[:, :2])]
    if height is not None:
        p[:, 2] = height(p[:, 0], p[:, 1])
    return p


def walls(rng, corners, per_m2, top=2500.0):
    sides = zip(corners, corners[1:] + corners[:1], strict=True)
    return np.vstack([patch(rng, (*a, 0), (b[0] - a[0], b[1] - a[1], 0), (0, 0, top), per_m2) for a, b in sides])


def block(rng, x, y, top, per_m2, *, lid=True):
    """A box from the floor up over x = (x0, x1), y = (y0, y1): four faces and, with ``lid``, a top."""
    corners = ((x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1]))
    faces = walls(rng, corners, per_m2, top)
    return np.vstack([faces, sheet(rng, x, y, top, per_m2)]) if lid else faces


def sheet(rng, x, y, z, per_m2):
    return patch(rng, (x[0], y[0], z), (x[1] - x[0], 0, 0), (0, y[1] - y[0], 0), per_m2)


def hidden(points, x, y, below=np.inf):
    """Without the points under a thing."""
    under = (points[:, 0] > x[0]) & (points[:, 0] < x[1]) & (points[:, 1] > y[0]) & (points[:, 1] < y[1])
    return points[~(under & (points[:, 2] < below))]


def turned(points, degrees):
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    return points @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]])


def tilted(points, mm_per_m, degrees):
    """Rotated so that the floor falls by ``mm_per_m`` towards ``degrees`` from x."""
    angle, way = np.arctan(mm_per_m / 1000.0), np.deg2rad(degrees)
    axis = np.array([-np.sin(way), np.cos(way), 0.0])
    k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return points @ (np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * k @ k).T


def scan(points, rng, *, sigma=0.5, origin=(0.0, 0.0, 0.0), up=(0, 0, 1.0), gravity=True, **more):
    p = (points + rng.normal(0, sigma, points.shape)).astype(np.float32)
    up = None if up is None else np.asarray(up, float)
    return Scan(more.pop("kind", "cloud"), p, np.asarray(origin, float), up, gravity and up is not None, (), **more)
