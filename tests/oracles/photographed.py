"""A pinhole camera of our own, ray by ray, that photographs a painted floor into a capture for the floor picture.

Written apart from the package: the lens is undone by repeated division, the ground is met by fixed-point steps.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from flatscan.sources.scan import PosedFrame, Scan
from flatscan.surface.surface import NoiseModel, Surface

Field = Callable[[np.ndarray, np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Lens:
    fx: float = 300.0
    fy: float = 305.0
    cx: float = 157.0
    cy: float = 118.0
    size: tuple[int, int] = (320, 240)
    k: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)


def level(x, y):
    return 0.0 * x + 0.0 * y


def looking(at_xy, height_mm, tilt_x_deg=0.0, tilt_y_deg=0.0, roll_deg=0.0, offset=(0.0, 0.0)):
    """(4, 4) floor from camera: above ``at_xy``, straight down (x right, image top towards +y), then tilted."""
    down = np.array([[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, -1.0]])

    def about(axis, deg):
        return cv2.Rodrigues(np.radians(deg) * np.eye(3)[axis])[0]

    pose = np.eye(4)
    pose[:3, :3] = about(0, tilt_x_deg) @ about(1, tilt_y_deg) @ about(2, roll_deg) @ down
    pose[:3, 3] = (at_xy[0] + offset[0], at_xy[1] + offset[1], height_mm)
    return pose


def undone(u, v, k, steps=40):
    """(n, 2) the ray that Brown's lens bends to (u, v): x = (u - tangential(x)) / radial(x), repeated."""
    k1, k2, p1, p2 = k
    x, y = u.copy(), v.copy()
    for _ in range(steps if any(k) else 1):
        r2 = x * x + y * y
        radial = 1 + k1 * r2 + k2 * r2**2
        x, y = (
            (u - 2 * p1 * x * y - p2 * (r2 + 2 * x * x)) / radial,
            (v - p1 * (r2 + 2 * y * y) - 2 * p2 * x * y) / radial,
        )
    return np.column_stack([x, y])


def photograph(paint: Field, ground: Field, pose: np.ndarray, lens: Lens, gain=1.0, samples=3) -> np.ndarray:
    """(h, w) linear light 0 to 1, each pixel the mean of samples² rays."""
    w, h = lens.size
    steps = (np.arange(samples) + 0.5) / samples - 0.5
    light = np.zeros((h, w))
    for dv in steps:
        for du in steps:
            u, v = np.meshgrid(np.arange(w) + du, np.arange(h) + dv)
            xy = undone((u.ravel() - lens.cx) / lens.fx, (v.ravel() - lens.cy) / lens.fy, lens.k)
            ray = np.column_stack([xy, np.ones(len(xy))]) @ pose[:3, :3].T
            eye = pose[:3, 3]
            z = np.zeros(len(ray))
            for _ in range(12):
                reach = (z - eye[2]) / ray[:, 2]
                x, y = eye[0] + reach * ray[:, 0], eye[1] + reach * ray[:, 1]
                z = ground(x, y)
            light += paint(x, y).reshape(h, w)
    return gain * light / samples**2


def as_bytes(light: np.ndarray) -> np.ndarray:
    """(h, w, 3) sRGB bytes of linear light (the standard's formula)."""
    value = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    return np.repeat(np.rint(np.clip(value, 0, 1) * 255).astype(np.uint8)[..., None], 3, axis=2)


def write_photo(path: Path, light: np.ndarray) -> Path:
    Image.fromarray(as_bytes(light)).save(path)
    return path


def frame_of(path: Path, pose: np.ndarray, lens: Lens) -> PosedFrame:
    camera = (lens.fx, lens.fy, lens.cx, lens.cy)
    return PosedFrame(None, path, pose, camera, lens.size, camera, lens.size, lens.k)


def surface_of(ground: Field, size_mm=(800.0, 600.0), cell_mm=20.0, margin_mm=40.0, holes=()) -> Surface:
    """A surface whose heights are the ground's, judged up to ``margin_mm`` from the outline."""
    cols, rows = (round(s / cell_mm) for s in size_mm)
    x, y = np.meshgrid((np.arange(cols) + 0.5) * cell_mm, (np.arange(rows) + 0.5) * cell_mm)
    height = np.broadcast_to(ground(x, y), x.shape).astype(np.float32).copy()
    inside = (x > margin_mm) & (x < size_mm[0] - margin_mm) & (y > margin_mm) & (y < size_mm[1] - margin_mm)
    height[~inside] = np.nan
    for x0, y0, x1, y1 in holes:
        height[(x > x0) & (x < x1) & (y > y0) & (y < y1)] = np.nan
    w, h = size_mm
    return Surface(
        height_mm=height,
        estimate_mm=height.copy(),
        white_mm=np.where(np.isnan(height), np.nan, 0.1).astype(np.float32),
        count=np.where(np.isnan(height), 0, 100).astype(np.int32),
        inside=inside,
        cell_mm=cell_mm,
        origin_mm=(0.0, 0.0),
        floor_from_scan=np.eye(4),
        outline=(np.array([[0.0, 0.0], [w, 0.0], [w, h], [0.0, h], [0.0, 0.0]]),),
        noise=NoiseModel(0.1, 0.1, 50.0, 0.1, "made up"),
        slope=None,
        kind="depth_frames",
        strip_mm=margin_mm,
    )


def scan_of(frames=(), points=None, kind="depth_frames", **more) -> Scan:
    points = np.zeros((1, 3)) if points is None else points
    return Scan(
        kind=kind,
        points_mm=np.asarray(points, dtype=np.float32),
        origin_mm=np.zeros(3),
        up=None,
        gravity_known=False,
        inputs=(),
        frames=tuple(frames),
        **more,
    )
