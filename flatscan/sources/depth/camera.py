"""A camera as numbers: focal lengths, principal point, size, lens; and the ray of each pixel.

Pixel (0, 0) is the centre of the corner pixel, as in OpenCV. Key names are those of the widespread
``transforms.json`` convention; ``fx fy width height`` are read as well.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

#: Keys of a camera; the ones in one row mean the same.
CAMERA_KEYS: dict[str, tuple[str, ...]] = {
    "fx": ("fl_x", "fx"),
    "fy": ("fl_y", "fy"),
    "cx": ("cx",),
    "cy": ("cy",),
    "width": ("w", "width"),
    "height": ("h", "height"),
}
LENS_KEYS = ("k1", "k2", "p1", "p2")
_UNREAD_LENS_KEYS = ("k3", "k4", "k5", "k6")
_READ_MODELS = {"", "OPENCV", "PINHOLE", "SIMPLE_PINHOLE", "SIMPLE_RADIAL", "RADIAL", "PERSPECTIVE"}
ASPECT_TOLERANCE = 0.02
#: A principal point outside the middle of the picture by more than this share belongs to another size.
_CENTRE_TOLERANCE = 0.25
_LENS_STEPS = 30
#: Pixels: a lens model that cannot be undone to this is not used there.
_LENS_TOLERANCE_PX = 0.05


@dataclass(frozen=True, slots=True)
class Camera:
    """``fx fy cx cy`` in pixels of an image ``width`` x ``height``; ``lens`` is (k1, k2, p1, p2)."""

    fx: float
    fy: float
    cx: float
    cy: float
    width: int
    height: int
    lens: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)

    @property
    def intrinsics(self) -> tuple[float, float, float, float]:
        """(fx, fy, cx, cy), pixels."""
        return (self.fx, self.fy, self.cx, self.cy)

    def scaled_to(self, size: tuple[int, int], where: object) -> Camera:
        """The same view sampled at another image ``size`` (width, height).

        Pixel edges, not centres, scale: ``cx' = (cx + 0.5) s - 0.5``. The lens numbers are free of size.
        """
        width, height = size
        sx, sy = width / self.width, height / self.height
        if abs(sx / sy - 1.0) > ASPECT_TOLERANCE:
            raise InputError(
                where,
                f"the camera numbers are for {self.width} x {self.height} pixels, the image has {width} x {height}",
                "Give the depth camera's own numbers, for the turn (portrait or landscape) the pixels are stored in",
            )
        return replace(
            self,
            fx=self.fx * sx,
            fy=self.fy * sy,
            cx=(self.cx + 0.5) * sx - 0.5,
            cy=(self.cy + 0.5) * sy - 0.5,
            width=width,
            height=height,
        )


def has_camera(keys: Mapping[str, Any]) -> bool:
    """Whether ``keys`` state a focal length."""
    return any(k in keys for k in (*CAMERA_KEYS["fx"], "camera_angle_x"))


def camera_from_keys(keys: Mapping[str, Any], where: object, size: tuple[int, int]) -> Camera:
    """Camera of ``keys``; ``size`` (width, height) is what they refer to where they do not say.

    A missing ``fl_y`` equals ``fl_x``, a missing principal point is the middle of the image, and
    ``camera_angle_x`` (rad, whole width) stands in for ``fl_x``.
    """
    _refuse_unread_lens(keys, where)
    width = _number(keys, "width", where, size[0])
    height = _number(keys, "height", where, size[1])
    if width < 1 or height < 1:
        raise InputError(where, f"the image size {width:g} x {height:g} is not a size", "Give w and h in pixels")
    if any(k in keys for k in CAMERA_KEYS["fx"]):
        fx = _number(keys, "fx", where, math.nan)
    elif "camera_angle_x" in keys:
        fx = width / (2.0 * math.tan(_finite(keys["camera_angle_x"], "camera_angle_x", where) / 2.0))
    else:
        raise InputError(where, "no focal length is stated", "Add fl_x, fl_y, cx, cy, w and h of the depth camera")
    fy = _number(keys, "fy", where, fx)
    cx = _number(keys, "cx", where, (width - 1.0) / 2.0)
    cy = _number(keys, "cy", where, (height - 1.0) / 2.0)
    if fx <= 0 or fy <= 0:
        raise InputError(where, f"the focal length {fx:g}, {fy:g} is not positive", "Give fl_x and fl_y in pixels")
    if abs(cx / width - 0.5) > _CENTRE_TOLERANCE or abs(cy / height - 0.5) > _CENTRE_TOLERANCE:
        raise InputError(
            where,
            f"the principal point ({cx:g}, {cy:g}) is far from the middle of a {width:g} x {height:g} image",
            "State w and h of the image that the camera numbers belong to",
        )
    k1, k2, p1, p2 = (_finite(keys.get(k, 0.0), k, where) for k in LENS_KEYS)
    return Camera(fx, fy, cx, cy, int(width), int(height), (k1, k2, p1, p2))


@dataclass(frozen=True, slots=True, eq=False)
class PixelRays:
    """Where each pixel looks, in OpenCV camera axes.

    Attributes
    ----------
    xy : (h, w, 2) float32, the ray is (x, y, 1); NaN where the lens model cannot be undone
    length : (h, w) float32, length of (x, y, 1): ray length per z-depth
    step_right : (h, w - 1) float32, rad, angle to the next pixel in the row
    step_down : (h - 1, w) float32, rad, angle to the next pixel in the column
    """

    xy: NDArray[np.float32]
    length: NDArray[np.float32]
    step_right: NDArray[np.float32]
    step_down: NDArray[np.float32]


def pixel_rays(camera: Camera) -> PixelRays:
    """Rays of every pixel centre, lens undone at full size (never from a coarse map)."""
    u = (np.arange(camera.width) - camera.cx) / camera.fx
    v = (np.arange(camera.height) - camera.cy) / camera.fy
    xy = np.stack(np.meshgrid(u, v), axis=-1)
    if any(camera.lens):
        xy = _lens_undone(xy, camera)
    length = np.sqrt(1.0 + xy[..., 0] ** 2 + xy[..., 1] ** 2)
    unit = np.concatenate([xy, np.ones_like(xy[..., :1])], axis=-1) / length[..., None]
    return PixelRays(
        xy=xy.astype(np.float32),
        length=length.astype(np.float32),
        step_right=np.linalg.norm(np.diff(unit, axis=1), axis=-1).astype(np.float32),
        step_down=np.linalg.norm(np.diff(unit, axis=0), axis=-1).astype(np.float32),
    )


class LastRays:
    """Rays of the camera asked for last; kept because frames mostly share one camera."""

    def __init__(self) -> None:
        self._camera: Camera | None = None
        self._rays: PixelRays | None = None

    def of(self, camera: Camera) -> PixelRays:
        """Rays of ``camera``."""
        if self._rays is None or camera != self._camera:
            self._camera, self._rays = camera, pixel_rays(camera)
        return self._rays


def lens_applied(xy: NDArray[np.float64], lens: tuple[float, float, float, float]) -> NDArray[np.float64]:
    """Ideal ray (x, y, 1) to the ray the lens shows: Brown's model as in OpenCV's calib3d manual."""
    k1, k2, p1, p2 = lens
    x, y = xy[..., 0], xy[..., 1]
    r2 = x * x + y * y
    radial = 1.0 + r2 * (k1 + r2 * k2)
    return np.stack(
        [
            x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
            y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y,
        ],
        axis=-1,
    )


def _lens_undone(shown: NDArray[np.float64], camera: Camera) -> NDArray[np.float64]:
    """OpenCV's start, then its own fixed-point step until settled; NaN where it does not settle or folds."""
    import cv2

    start = cv2.undistortPoints(np.ascontiguousarray(shown.reshape(-1, 1, 2)), np.eye(3), np.array(camera.lens))
    ideal = np.asarray(start, dtype=np.float64).reshape(shown.shape)
    with np.errstate(over="ignore", invalid="ignore"):
        for _ in range(_LENS_STEPS):
            ideal = ideal + (shown - lens_applied(ideal, camera.lens))
        miss_px = np.linalg.norm((shown - lens_applied(ideal, camera.lens)) * (camera.fx, camera.fy), axis=-1)
        r2 = np.sum(ideal**2, axis=-1)
        # Past the radius where the radial curve turns back, far points fold into the picture.
        unfolded = 1.0 + r2 * (3.0 * camera.lens[0] + 5.0 * r2 * camera.lens[1]) > 0.0
    return np.where(((miss_px < _LENS_TOLERANCE_PX) & unfolded)[..., None], ideal, np.nan)


def _refuse_unread_lens(keys: Mapping[str, Any], where: object) -> None:
    model = str(keys.get("camera_model", "")).upper()
    if model not in _READ_MODELS:
        raise InputError(
            where, f"the camera model {model} is not read", "Export undistorted depth with a pinhole camera"
        )
    for key in _UNREAD_LENS_KEYS:
        if key in keys and _finite(keys[key], key, where) != 0.0:
            raise InputError(
                where, f"the lens term {key} is not read", "Export with k1, k2, p1, p2 only, or undistorted"
            )


def _number(keys: Mapping[str, Any], name: str, where: object, default: float) -> float:
    for key in CAMERA_KEYS[name]:
        if key in keys:
            return _finite(keys[key], key, where)
    return default


def _finite(value: Any, key: str, where: object) -> float:
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = math.nan
    if isinstance(value, bool) or not math.isfinite(number):
        raise InputError(where, f"{key} is {value!r}, not a number", "Give a plain number")
    return number
