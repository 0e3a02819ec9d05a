"""The record this stage hands on: floor points in one frame, with what the source knows about them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from flatscan.caveats import Caveat

ScanKind = Literal["depth_frames", "cloud", "mesh", "readings"]


@dataclass(frozen=True, slots=True)
class InputFile:
    """One file that was read: ``kind`` names the reader (``"las"``, ``"transforms"``, …)."""

    path: Path
    sha256: str
    kind: str


@dataclass(frozen=True, slots=True, eq=False)
class PosedFrame:
    """One frame with its pose, depth or photo or both, kept for stages that go back to the pictures.

    ``scan_from_camera`` is 4 x 4, mm, OpenCV camera axes (x right, y down, z forward), mapping to
    absolute scan coordinates. ``depth_camera`` is (fx, fy, cx, cy) in pixels of the depth image,
    ``colour_camera`` the same for the colour image; pixel (0, 0) is the centre of the corner pixel.
    ``scan_from_photo`` is the photo's own pose where it is not the depth's (another moment, or pixels stored
    turned). Without depth (``depth_path`` None) the depth camera and size repeat the photo's.
    """

    depth_path: Path | None
    colour_path: Path | None
    scan_from_camera: NDArray[np.float64]
    depth_camera: tuple[float, float, float, float]
    depth_size: tuple[int, int]
    colour_camera: tuple[float, float, float, float] | None = None
    colour_size: tuple[int, int] | None = None
    distortion: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    scan_from_photo: NDArray[np.float64] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Scan:
    """Points of a captured floor and its surroundings, read-only.

    Attributes
    ----------
    kind : what the points came from
    points_mm : (n, 3) float32, mm, in the scan's own axes, relative to ``origin_mm``; finite
    origin_mm : (3,) float64, mm; absolute position = ``origin_mm + points_mm`` (the origin is
        subtracted in float64 before the narrowing, so map coordinates keep their millimetres)
    up : (3,) float64 unit vector away from the ground in scan axes; None when nothing tells
    gravity_known : True only where the source promises that ``up`` is truly vertical
    inputs : the files read
    view_of_point : (n,) uint16 index into ``viewpoints_mm``: which station or frame saw the point;
        None when unknown
    viewpoints_mm : (v, 3) float64, mm, camera or scanner positions relative to ``origin_mm``; None when
        unknown, even where ``view_of_point`` tells the stations apart
    weight : (n,) float32 in (0, 1], relative trust (confidence images); None: all alike
    colour : (n, 3) uint8 RGB, or None
    step_mm : the file's own coordinate step (0: none seen)
    frames : posed frames behind a depth capture, for measuring in the pictures; those that ``view_of_point``
        counts come first, those of photos without depth after them
    inferences : sentences to print: what was inferred and from what
    caveats : doubts raised while reading
    """

    kind: ScanKind
    points_mm: NDArray[np.float32]
    origin_mm: NDArray[np.float64]
    up: NDArray[np.float64] | None
    gravity_known: bool
    inputs: tuple[InputFile, ...]
    view_of_point: NDArray[np.uint16] | None = None
    viewpoints_mm: NDArray[np.float64] | None = None
    weight: NDArray[np.float32] | None = None
    colour: NDArray[np.uint8] | None = None
    step_mm: float = 0.0
    frames: tuple[PosedFrame, ...] = ()
    inferences: tuple[str, ...] = ()
    caveats: tuple[Caveat, ...] = ()

    def __post_init__(self) -> None:
        n = len(self.points_mm)
        if self.points_mm.shape != (n, 3) or self.points_mm.dtype != np.float32:
            raise ValueError(f"points_mm must be (n, 3) float32, got {self.points_mm.shape} {self.points_mm.dtype}")
        if self.origin_mm.shape != (3,):
            raise ValueError("origin_mm must be (3,)")
        if self.up is not None and abs(float(np.linalg.norm(self.up)) - 1.0) > 1e-6:  # noqa: PLR2004
            raise ValueError("up must be a unit vector")
        if self.gravity_known and self.up is None:
            raise ValueError("gravity_known needs up")
        for name, per_point in (
            ("view_of_point", self.view_of_point),
            ("weight", self.weight),
            ("colour", self.colour),
        ):
            if per_point is not None and len(per_point) != n:
                raise ValueError(f"{name} must have one row per point")
        for array in (
            self.points_mm,
            self.origin_mm,
            self.up,
            self.view_of_point,
            self.viewpoints_mm,
            self.weight,
            self.colour,
        ):
            if array is not None:
                array.setflags(write=False)
