"""A look at a few frames of a capture, to decide what its files leave unsaid."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.errors import InputError
from flatscan.sources.depth.confidence import MisfitByLevel
from flatscan.sources.depth.depth_image import read_confidence, read_depth
from flatscan.sources.depth.depth_meaning import SeenPlane, bowl_ratio, is_ray_length, rise_slope, tilt_spread_rad
from flatscan.sources.depth.dominant_plane import FramePlane, dominant_plane

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.sources.depth.camera import LastRays, PixelRays
    from flatscan.sources.depth.depth_capture import DepthCapture, DepthFrame

#: Frames looked at, spread evenly over the capture.
SAMPLE_FRAMES = 16
#: Points of each frame used to find its largest plane, along the longer side.
_SAMPLE_SIDE = 80
#: A plane holding less of the frame than this says nothing.
_LEAST_SHARE = 0.2
#: Frames must disagree by this, and agree to that under another reading, before poses are refused.
_TILT_WRONG = math.radians(12.0)
_TILT_RIGHT = math.radians(4.0)
_LEAST_FRAMES = 3
#: Float images whose values repeat this much are made of steps.
_REPEATS = 8


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """What the sampled frames show.

    Attributes
    ----------
    is_ray : values are ray lengths
    bowl : misfit of the other reading over that of the chosen one
    seen : largest plane of each sampled frame that has one
    float_step : step between values of a float image, in its counts; 0 if none is seen
    weights : (256,) float32, weight of each confidence level
    weight_text : the sentence to print about them, or ""
    """

    is_ray: bool
    bowl: float
    seen: tuple[SeenPlane, ...]
    float_step: float
    weights: NDArray[np.float32]
    weight_text: str


def gather(capture: DepthCapture, rays: LastRays) -> Evidence:
    """Decode up to 16 frames and judge them; raises InputError when the poses contradict the depth."""
    sample = _spread(capture.frames)
    pairs: list[tuple[FramePlane, FramePlane]] = []
    owners: list[DepthFrame] = []
    float_steps: list[float] = []
    for frame in sample:
        counts = read_depth(frame.depth_path, frame.header)
        float_steps.append(0.0 if "int" in frame.header.dtype else _step(counts))
        as_z, as_ray = (dominant_plane(_thinned(counts, rays.of(frame.camera), ray=ray)) for ray in (False, True))
        if as_z is not None and as_ray is not None and max(as_z.share, as_ray.share) >= _LEAST_SHARE:
            pairs.append((as_z, as_ray))
            owners.append(frame)
    is_ray = is_ray_length(pairs) if capture.is_ray is None else capture.is_ray
    seen = tuple(SeenPlane(pair[is_ray], f.scan_from_camera) for pair, f in zip(pairs, owners, strict=True))
    _refuse_wrong_poses(capture, owners, seen)
    weights, text = _weights(sample, rays, is_ray=is_ray)
    ratio = bowl_ratio(pairs)
    return Evidence(is_ray, 1.0 / ratio if is_ray else ratio, seen, float(np.median(float_steps)), weights, text)


def _spread(frames: Sequence[DepthFrame]) -> list[DepthFrame]:
    picked = np.unique(np.linspace(0, len(frames) - 1, SAMPLE_FRAMES).round().astype(int))
    return [frames[i] for i in picked]


def _thinned(counts: NDArray[np.float32], rays: PixelRays, *, ray: bool) -> NDArray[np.float64]:
    """(rows, columns, 3) float64 camera points in counts, about 80 along the longer side."""
    stride = max(1, max(counts.shape) // _SAMPLE_SIDE)
    return _camera_points(counts[::stride, ::stride], rays, stride, ray=ray)


def _camera_points(counts: NDArray[np.float32], rays: PixelRays, stride: int, *, ray: bool) -> NDArray[np.float64]:
    xy = rays.xy[::stride, ::stride].astype(np.float64)
    depth = counts.astype(np.float64)
    if ray:
        depth = depth / rays.length[::stride, ::stride]
    return np.concatenate([xy * depth[..., None], depth[..., None]], axis=-1)


def _step(counts: NDArray[np.float32]) -> float:
    """Step between neighbouring values of a float image; 0 when values hardly repeat."""
    seen = counts[np.isfinite(counts)]
    values = np.unique(seen)
    return float(np.median(np.diff(values))) if 1 < len(values) < len(seen) / _REPEATS else 0.0


def _refuse_wrong_poses(capture: DepthCapture, owners: Sequence[DepthFrame], seen: Sequence[SeenPlane]) -> None:
    """Frames that contradict each other as given but agree when the poses are meant another way."""
    if len(seen) < _LEAST_FRAMES:
        return
    given = [s.scan_from_camera[:3, :3] for s in seen]
    tilt, slope = tilt_spread_rad(seen, given), rise_slope(seen, given)
    backwards = slope is not None and slope < 0.0
    if tilt < _TILT_WRONG and not backwards:
        return
    what = f"as given the poses tilt the surface by {math.degrees(tilt):.0f} degrees between frames"
    if backwards:
        what = "as given the poses bring the camera nearer to the surface while the depth grows"
    place = {id(f): i for i, f in enumerate(capture.frames)}
    for advice, turns in capture.other_poses.items():
        other = [turns[place[id(f)]] for f in owners]
        other_slope = rise_slope(seen, other)
        if tilt_spread_rad(seen, other) < _TILT_RIGHT and (other_slope is None or other_slope > 0.0):
            raise InputError(capture.where, f"{what}; meant another way they agree", advice)


def _weights(sample: Sequence[DepthFrame], rays: LastRays, *, is_ray: bool) -> tuple[NDArray[np.float32], str]:
    misfits = MisfitByLevel()
    for frame in sample:
        if frame.confidence_path is not None:
            level = read_confidence(frame.confidence_path, frame.header.size)
            counts = read_depth(frame.depth_path, frame.header)
            misfits.add(_camera_points(counts, rays.of(frame.camera), 1, ray=is_ray), level)
    weights = misfits.weights()
    used = np.flatnonzero(misfits.count)
    if len(used) == 0:
        return weights, ""
    shown = used if len(used) <= 3 else used[[0, len(used) // 2, -1]]  # noqa: PLR2004
    levels = ", ".join(f"{weights[i]:.2g} at level {i}" for i in shown)
    return weights, f"Confidence levels weighed by the misfit of the depth itself: {levels}"
