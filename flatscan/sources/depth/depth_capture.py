"""Depth frames with poses become one ``Scan``: the common road of every depth reader."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from flatscan.caveats import Caveat, caveat
from flatscan.constants import MM_PER_M
from flatscan.errors import InputError, SettingsError
from flatscan.progress import SILENT, Progress
from flatscan.sources.depth.camera import Camera, LastRays
from flatscan.sources.depth.camera_up import axis_vector, infer_up
from flatscan.sources.depth.depth_edges import on_surface
from flatscan.sources.depth.depth_evidence import Evidence, gather
from flatscan.sources.depth.depth_image import ImageHeader, read_confidence, read_depth
from flatscan.sources.depth.depth_meaning import FLOAT_SCALES, WHOLE_SCALES, DepthScale, check_scale, choose_scale
from flatscan.sources.depth.kept_frames import kept_frames
from flatscan.sources.guard import fingerprint
from flatscan.sources.scan import InputFile, Scan
from flatscan.units import mm_per

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray

    from flatscan.settings import ReadSettings

#: Depth pixels kept at most (12 bytes each, 500 MB); larger captures are thinned and say so.
MAX_POINTS = 40_000_000
MAX_FRAMES = 65_535
#: Steps coarser than this are worth a word.
_COARSE_MM = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class DepthFrame:
    """One frame to read; ``scan_from_camera`` is 4 x 4, metres, OpenCV camera axes."""

    depth_path: Path
    header: ImageHeader
    camera: Camera
    scan_from_camera: NDArray[np.float64]
    confidence_path: Path | None = None
    colour_path: Path | None = None
    colour_camera: Camera | None = None
    scan_from_photo: NDArray[np.float64] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class LonePhoto:
    """A posed photo without depth; ``scan_from_camera`` as in DepthFrame."""

    path: Path
    camera: Camera
    scan_from_camera: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class DepthCapture:
    """What a reader found out before any depth was decoded.

    Attributes
    ----------
    where : file or folder to name in messages
    kind : name of the reader
    frames : at least one
    photos : photos with a pose and no depth
    side_files : the other files read (poses, cameras)
    depth_per_m : counts per metre where stated
    usual_scales : scales to try first where none is stated, and who says so
    is_ray : True or False where stated
    other_poses : other ways the poses may be meant (name and advice to turns 3 x 3), to catch a mistake
    """

    where: Path
    kind: str
    frames: tuple[DepthFrame, ...]
    side_files: tuple[Path, ...]
    photos: tuple[LonePhoto, ...] = ()
    depth_per_m: float | None = None
    usual_scale: float | None = None
    is_ray: bool | None = None
    other_poses: Mapping[str, list[NDArray[np.float64]]] = field(default_factory=dict)
    inferences: tuple[str, ...] = ()
    caveats: tuple[Caveat, ...] = ()


def scan_of(capture: DepthCapture, settings: ReadSettings, progress: Progress = SILENT) -> Scan:
    """Decode every frame, decide what the files left unsaid, and place the points.

    Raises InputError when no pixel of the capture can be used.
    """
    if len(capture.frames) > MAX_FRAMES:
        raise InputError(capture.where, f"holds {len(capture.frames)} frames", f"Split it; {MAX_FRAMES} can be read")
    rays = LastRays()
    evidence = gather(capture, rays)
    scale = _scale(capture, settings, evidence)
    step_mm = (1.0 if _is_whole(capture) else evidence.float_step) * MM_PER_M / scale.per_m
    said, doubts = _sayings(capture, evidence, scale, step_mm)
    against = _overruled(capture, settings, scale)
    if against is not None:
        said.append(against.text)
        doubts.append(against)
    up, gravity_known, up_said, up_doubts = _up(capture, settings, evidence)
    cameras_mm = np.array([f.scan_from_camera[:3, 3] for f in capture.frames]) * MM_PER_M
    origin_mm = np.round(cameras_mm.mean(axis=0))
    points = _points(capture, rays, evidence, MM_PER_M / scale.per_m, step_mm, origin_mm, progress)
    if points.keep_one_in > 1:
        doubts.append(caveat("points_thinned", million=MAX_POINTS / 1e6, keep_one_in=points.keep_one_in))
    return Scan(
        kind="depth_frames",
        points_mm=points.points_mm,
        origin_mm=origin_mm,
        up=up,
        gravity_known=gravity_known,
        inputs=_inputs(capture),
        view_of_point=points.view,
        viewpoints_mm=cameras_mm - origin_mm,
        weight=points.weight,
        step_mm=step_mm,
        frames=kept_frames(capture),
        inferences=(*capture.inferences, *said, *up_said),
        caveats=(*capture.caveats, *doubts, *up_doubts),
    )


@dataclass(slots=True, eq=False)
class _Points:
    """Rows of the scan being filled."""

    points_mm: NDArray[np.float32]
    view: NDArray[np.uint16]
    weight: NDArray[np.float32] | None
    keep_one_in: int


def _points(
    capture: DepthCapture,
    rays: LastRays,
    evidence: Evidence,
    mm_per_count: float,
    step_mm: float,
    origin_mm: NDArray[np.float64],
    progress: Progress,
) -> _Points:
    """One pass over the frames into arrays taken once and shrunk in place."""
    pixels = sum(f.camera.width * f.camera.height for f in capture.frames)
    keep_one_in = math.ceil(pixels / MAX_POINTS)
    room = sum(math.ceil(f.camera.width / keep_one_in) * f.camera.height for f in capture.frames)
    weighed = any(f.confidence_path for f in capture.frames)
    out = _Points(
        np.empty((room, 3), np.float32),
        np.empty(room, np.uint16),
        np.ones(room, np.float32) if weighed else None,
        keep_one_in,
    )
    filled = 0
    frames = progress.track(capture.frames, label="reading frames", total=len(capture.frames))
    for index, frame in enumerate(frames):
        seen = rays.of(frame.camera)
        along_ray_mm = read_depth(frame.depth_path, frame.header)
        along_ray_mm *= np.float32(mm_per_count)
        if not evidence.is_ray:
            along_ray_mm *= seen.length
        keep = on_surface(along_ray_mm, seen, step_mm) & np.isfinite(seen.length)
        if keep_one_in > 1:
            rows, columns = np.arange(keep.shape[0])[:, None], np.arange(keep.shape[1])
            # A shifted lattice: every row is thinned alike, and neighbouring rows keep other columns.
            keep &= (columns + 2 * rows + index) % keep_one_in == 0
        depth_mm = (along_ray_mm / seen.length)[keep]
        camera_mm = np.column_stack([seen.xy[keep] * depth_mm[:, None], depth_mm])
        turn = frame.scan_from_camera[:3, :3].astype(np.float32)
        shift = (frame.scan_from_camera[:3, 3] * MM_PER_M - origin_mm).astype(np.float32)
        end = filled + len(camera_mm)
        out.points_mm[filled:end] = camera_mm @ turn.T + shift
        out.view[filled:end] = index
        if out.weight is not None and frame.confidence_path is not None:
            out.weight[filled:end] = evidence.weights[read_confidence(frame.confidence_path, frame.header.size)[keep]]
        filled = end
    if filled == 0:
        raise InputError(
            capture.where,
            "no depth image has a usable pixel (all are 0, NaN or infinite, or lie on edges)",
            "Check that the depth files are the right ones",
        )
    out.points_mm.resize((filled, 3), refcheck=False)
    out.view.resize(filled, refcheck=False)
    if out.weight is not None:
        out.weight.resize(filled, refcheck=False)
    return out


def _is_whole(capture: DepthCapture) -> bool:
    return "int" in capture.frames[0].header.dtype


def _scale(capture: DepthCapture, settings: ReadSettings, evidence: Evidence) -> DepthScale:
    stated = capture.depth_per_m
    if settings.unit is not None:
        stated = MM_PER_M / mm_per(settings.unit)
    if settings.depth_per_m is not None:
        stated = settings.depth_per_m
    if stated is not None:
        if not (math.isfinite(stated) and stated > 0.0):
            raise SettingsError("--depth-per-m", f"{stated:g} is not a scale", "Give the counts per metre, e.g. 1000")
        check_scale(evidence.seen, stated, capture.where)
        return DepthScale(stated, None)
    whole = _is_whole(capture)
    scales: tuple[float, ...] = WHOLE_SCALES if whole else FLOAT_SCALES
    usual = capture.usual_scale if whole else FLOAT_SCALES[0]
    if usual is not None:
        scales = (usual, *(s for s in scales if s != usual))
    return choose_scale(evidence.seen, scales, capture.where)


def _overruled(capture: DepthCapture, settings: ReadSettings, scale: DepthScale) -> Caveat | None:
    """The doubt to raise when an option contradicts the scale that the capture states."""
    stated = capture.depth_per_m
    if stated is None or math.isclose(stated, scale.per_m, rel_tol=1e-5):
        return None
    option = "--unit" if settings.depth_per_m is None else "--depth-per-m"
    taken = f"{scale.per_m:g}" if settings.depth_per_m is not None else f"{settings.unit} ({scale.per_m:g})"
    return caveat("unit_overruled", said=f"{stated:g} counts per metre", taken=taken, option=option)


def _sayings(
    capture: DepthCapture, evidence: Evidence, scale: DepthScale, step_mm: float
) -> tuple[list[str], list[Caveat]]:
    """Sentences and caveats about the depth's scale, meaning and step."""
    said: list[str] = []
    doubts: list[Caveat] = []
    if scale.reason is not None:
        said.append(f"Depth read at {scale.per_m:g} counts per metre: {scale.reason}")
        if scale.per_m != capture.usual_scale:
            doubts.append(caveat("depth_scale_inferred", per_m=scale.per_m, reason=scale.reason))
    if evidence.is_ray and capture.is_ray is None:
        said.append(
            "Depth read as the length of the ray, not along the camera axis: "
            f"read the other way the flattest surface is a bowl with {evidence.bowl:.0f} times the misfit"
        )
    if step_mm > _COARSE_MM:
        doubts.append(caveat("coarse_step", step_mm=step_mm))
    if evidence.weight_text:
        said.append(evidence.weight_text)
    return said, doubts


def _up(
    capture: DepthCapture, settings: ReadSettings, evidence: Evidence
) -> tuple[NDArray[np.float64] | None, bool, list[str], list[Caveat]]:
    if settings.up is not None:
        return axis_vector(settings.up), settings.gravity is True, [], []
    rotations = [f.scan_from_camera[:3, :3] for f in capture.frames]
    found = infer_up(rotations, [s.normal_in_scan for s in evidence.seen])
    # A floor's own normal is level by construction: it must never pass for gravity.
    if settings.gravity and (found is None or found[1].startswith("(")):
        raise SettingsError("--gravity", "no axis of this capture points up by its poses", "State the axis with --up")
    if found is None:
        return None, False, [], []
    up, name, reason = found
    return (
        up,
        settings.gravity is True,
        [f"Up taken as {name}: {reason}"],
        [caveat("up_inferred", axis=name, reason=reason)],
    )


def _inputs(capture: DepthCapture) -> tuple[InputFile, ...]:
    images = [p for f in capture.frames for p in (f.depth_path, f.confidence_path) if p is not None]
    photos = [f.colour_path for f in capture.frames if f.colour_path is not None and f.colour_camera is not None]
    photos += [p.path for p in capture.photos]
    return (
        *(fingerprint(path, capture.kind) for path in (*capture.side_files, *images)),
        *(fingerprint(path, "photo") for path in dict.fromkeys(photos)),
    )
