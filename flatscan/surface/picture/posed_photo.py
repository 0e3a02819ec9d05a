"""A photo with its place above the floor: where a point of the floor falls in it, and its pixels."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from flatscan.sources.depth.camera import lens_applied
from flatscan.sources.depth.photos import open_photo, read_photo
from flatscan.sources.guard import library_errors

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.sources.scan import PosedFrame, Scan
    from flatscan.surface.surface import Surface

#: Nearer to the camera's own plane than this, a point has no place in a picture.
_LEAST_DEPTH_MM = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class PosedPhoto:
    """One photo above the floor.

    Attributes
    ----------
    index : into ``Scan.frames``
    floor_from_camera : (4, 4) float64, mm; OpenCV camera axes (x right, y down, z forward)
    fx, fy, cx, cy : pixels; (0, 0) is the centre of the corner pixel
    size : (width, height) of the pixels as stored
    lens : k1, k2, p1, p2 of Brown's model as in OpenCV's calib3d manual
    """

    index: int
    floor_from_camera: NDArray[np.float64]
    fx: float
    fy: float
    cx: float
    cy: float
    size: tuple[int, int]
    lens: tuple[float, float, float, float]
    frame: PosedFrame
    #: Square of the radius (tangent of the angle off the axis) where the lens polynomial turns back.
    fold_r2: float = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "fold_r2", _fold_r2(self.lens))
        self.floor_from_camera.setflags(write=False)

    @property
    def position_mm(self) -> NDArray[np.float64]:
        """(3,) float64, floor frame: where the camera was."""
        return self.floor_from_camera[:3, 3]

    def project(
        self, xyz_mm: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
        """Where points of the floor frame fall in the photo.

        Parameters
        ----------
        xyz_mm : (n, 3), floor frame

        Returns
        -------
        uv : (n, 2) float64, pixels (column, row); NaN where ``ok`` is False for lying behind or past the lens's fold
        depth_mm : (n,) float64, along the camera's axis
        ok : (n,) bool, in front of the camera, within the lens's range, and between centres of the picture's pixels
        """
        turn = self.floor_from_camera[:3, :3]
        seen = (np.asarray(xyz_mm, dtype=np.float64) - self.position_mm) @ turn
        depth_mm = seen[:, 2]
        front = depth_mm > _LEAST_DEPTH_MM
        xy = seen[:, :2] / np.where(front, depth_mm, np.nan)[:, None]
        front &= np.einsum("ij,ij->i", xy, xy) < self.fold_r2
        xy[~front] = np.nan
        uv = lens_applied(xy, self.lens) * (self.fx, self.fy) + (self.cx, self.cy)
        width, height = self.size
        with np.errstate(invalid="ignore"):
            ok = front & (uv >= 0.0).all(axis=1) & (uv[:, 0] <= width - 1.0) & (uv[:, 1] <= height - 1.0)
        return uv, depth_mm, ok

    def load(self) -> NDArray[np.uint8]:
        """(h, w, 3) uint8 RGB, pixels as stored. Raises InputError naming the file."""
        return read_photo(self.frame)

    def load_small(self, factor: int) -> tuple[NDArray[np.uint8], int]:
        """The photo made smaller by 1, 2, 4 or 8, at most by ``factor``, where its file decodes faster so (JPEG).

        Returns (h, w, 3) uint8 RGB, pixels as stored, and by how much. Raises InputError naming the file.
        """
        path = self.frame.colour_path
        if path is None or factor < 2:  # noqa: PLR2004 - half is the least
            return self.load(), 1
        advice = "Copy it again, or leave it out"
        with library_errors(path, "it cannot be decoded as a picture", advice), open_photo(path) as image:
            if image.format != "JPEG" or image.size != self.size:
                return self.load(), 1
            width, height = image.size
            image.draft("RGB", (-(-width // factor), -(-height // factor)))
            pixels = np.asarray(image.convert("RGB"))
        return pixels, round(width / pixels.shape[1])


def posed_photos(scan: Scan, surface: Surface) -> tuple[PosedPhoto, ...]:
    """The photos of a capture above its floor, in the order of ``scan.frames``."""
    photos = []
    for index, frame in enumerate(scan.frames):
        if frame.colour_path is None or frame.colour_camera is None or frame.colour_size is None:
            continue
        pose = frame.scan_from_camera if frame.scan_from_photo is None else frame.scan_from_photo
        photos.append(
            PosedPhoto(
                index,
                surface.floor_from_scan @ pose,
                *frame.colour_camera,
                size=frame.colour_size,
                lens=frame.distortion,
                frame=frame,
            )
        )
    return tuple(photos)


def _fold_r2(lens: tuple[float, float, float, float]) -> float:
    """Smallest r² > 0 where d(r (1 + k1 r² + k2 r⁴))/dr = 0: beyond it far points fold back into the picture."""
    k1, k2 = lens[:2]
    roots = [float(r.real) for r in np.roots([5.0 * k2, 3.0 * k1, 1.0]) if abs(r.imag) == 0.0 and r.real > 0.0]
    return min(roots, default=math.inf)
