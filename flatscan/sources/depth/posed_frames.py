"""Posed depth frames listed in a ``transforms.json``.

What is read (the widespread convention, with a few keys of our own marked *):

- at the top or in each frame: ``fl_x fl_y cx cy w h``, optional ``k1 k2 p1 p2``; the photo's camera. A photo that
  fits none is left out with a caveat; photos with a pose and no depth are kept as photos;
- ``depth``: an object with the same keys for a depth camera of its own, at the top or in each frame.
  Without it the photo's numbers are scaled to the depth image's size;
- ``frames[]``: ``transform_matrix`` (camera to world, metres), ``depth_file_path``, ``file_path`` (the
  photo, or the depth itself when it is a depth image), ``confidence_file_path``*; else a confidence
  image is looked for beside the depth: ``confidence/NAME.png`` next to its folder;
- ``camera_axes``*: ``"opengl"`` (the convention: x right, y up, z back) or ``"opencv"`` (y down, z forward);
- depth scale: ``depth_per_m``* (counts per metre), ``depth_unit_scale_factor`` or ``integer_depth_scale``
  (metres per count), ``depth_scale`` (counts per metre if 100 or more, metres per count if 0.01 or less;
  in between it is ambiguous and refused, save 1 on float depth);
- ``depth_is``*: ``"z"`` or ``"ray"``; unstated, it is judged from the frames.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from flatscan.errors import InputError
from flatscan.progress import SILENT, Progress
from flatscan.sources.depth.camera import Camera, camera_from_keys, has_camera
from flatscan.sources.depth.depth_capture import DepthCapture, DepthFrame, LonePhoto, scan_of
from flatscan.sources.depth.depth_image import depth_header, image_kind
from flatscan.sources.depth.depth_keys import confidence_beside, depth_keys, stated_ray, stated_scale
from flatscan.sources.depth.photos import PhotoDesk
from flatscan.sources.depth.pose import OPENCV_FROM_OPENGL, rigid_pose
from flatscan.sources.guard import library_errors, named_by

if TYPE_CHECKING:
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.settings import ReadSettings
    from flatscan.sources.scan import Scan

FILE_NAME = "transforms.json"
_DEPTH_SUFFIXES = {".npy", ".tif", ".tiff"}
_PHOTO_SUFFIXES = {".jpg", ".jpeg", ".png", ".heic", ".webp"}
_SNIFF_BYTES = 65_536


def is_transforms(path: Path) -> bool:
    """Whether ``path`` is a folder with transforms.json, or such a file."""
    if path.is_dir():
        return (path / FILE_NAME).exists()
    if path.suffix.lower() != ".json":
        return False
    if path.name == FILE_NAME:
        return True
    try:
        with path.open("rb") as file:
            return b'"frames"' in file.read(_SNIFF_BYTES)
    except OSError:
        return False


def read_transforms(path: Path, settings: ReadSettings, progress: Progress = SILENT) -> Scan:
    """Read a folder with ``transforms.json``, or that file itself; see the module for what is read.

    Raises InputError naming the frame that is at fault.
    """
    json_path = path / FILE_NAME if path.is_dir() else path
    top = read_json(json_path)
    listed = top.get("frames")
    if not isinstance(listed, list) or not listed:
        photos = sum(1 for p in json_path.parent.rglob("*") if p.suffix.lower() in _PHOTO_SUFFIXES)
        beside = f", though {photos} pictures lie beside it" if photos else ""
        raise InputError(json_path, f"lists no frames{beside}", "Export the capture with its camera poses")
    opengl = _axes_are_opengl(top, json_path)
    found = _frames(top, listed, json_path, opengl=opengl)
    whole = "int" in found.frames[0].header.dtype
    return scan_of(
        DepthCapture(
            where=json_path,
            kind="transforms",
            frames=found.frames,
            photos=found.lone_photos,
            side_files=(json_path,),
            depth_per_m=stated_scale(depth_keys(top), json_path, whole=whole),
            is_ray=stated_ray(depth_keys(top), json_path),
            other_poses=_other_poses(found.frames, opengl=opengl),
            inferences=found.notes,
            caveats=found.caveats,
        ),
        settings,
        progress,
    )


def read_json(path: Path) -> dict[str, Any]:
    """A JSON object from a file; raises InputError."""
    with library_errors(path, "is not readable JSON", "Export the capture again"):
        value = json.loads(path.read_text(encoding="utf-8-sig"))
    if not isinstance(value, dict):
        raise InputError(path, "is JSON but not an object", "Export the capture again")
    return value


@dataclass(frozen=True, slots=True, eq=False)
class _Listed:
    """What the list of frames holds."""

    frames: tuple[DepthFrame, ...]
    lone_photos: tuple[LonePhoto, ...]
    notes: tuple[str, ...]
    caveats: tuple[Caveat, ...]


def _frames(top: Mapping[str, Any], listed: list[Any], json_path: Path, *, opengl: bool) -> _Listed:
    named: list[tuple[Path | None, Path | None]] = []
    for number, keys in enumerate(listed, start=1):
        if not isinstance(keys, Mapping):
            raise InputError(f"{json_path}, frame {number}", "is not an object", "Export the capture again")
        named.append(_paths(keys, json_path))
    missing = [
        str(keys.get("depth_file_path", keys.get("file_path")))
        for keys, (depth, _) in zip(listed, named, strict=True)
        if depth is not None and not depth.is_file()
    ]
    if missing:
        raise InputError(
            json_path,
            f"{len(missing)} of {len(listed)} depth images it names are not there, first {missing[0]}",
            "Copy the whole folder, or export again",
        )
    if all(depth is None for depth, _ in named):
        raise InputError(
            json_path, "has poses and photos but no depth images", "Export with depth (depth_file_path in each frame)"
        )
    photos = dict.fromkeys(photo for _, photo in named if photo is not None)
    lost = [photo for photo in photos if not photo.is_file()]
    desk = PhotoDesk.of(photo for photo in photos if photo not in lost)
    frames: list[DepthFrame] = []
    lone: list[LonePhoto] = []
    for number, (keys, (depth, photo)) in enumerate(zip(listed, named, strict=True), start=1):
        where = f"{json_path}, frame {number}"
        if depth is not None:
            frames.append(_frame(top, keys, where, json_path, (depth, photo), desk, opengl=opengl))
        elif photo in desk.headers:
            lone += _lone_photo(top, keys, where, photo, desk, opengl=opengl)
    notes = list(desk.said)
    if len(frames) < len(listed):
        notes.append(f"{len(listed) - len(frames)} of {len(listed)} frames have no depth and give no points")
    if lost:
        notes.append(f"{len(lost)} photos that {FILE_NAME} names are not there; their depth is used")
    return _Listed(tuple(frames), tuple(lone), tuple(notes), desk.caveats)


def _pose(keys: Mapping[str, Any], where: str, *, opengl: bool) -> NDArray[np.float64]:
    """(4, 4) scan from camera, m, OpenCV axes."""
    if "transform_matrix" not in keys:
        raise InputError(where, "has no transform_matrix", "Export the capture with its camera poses")
    pose = rigid_pose(keys["transform_matrix"], where)
    return pose @ OPENCV_FROM_OPENGL if opengl else pose


def _frame(
    top: Mapping[str, Any],
    keys: Mapping[str, Any],
    where: str,
    json_path: Path,
    paths: tuple[Path, Path | None],
    desk: PhotoDesk,
    *,
    opengl: bool,
) -> DepthFrame:
    depth_path, photo_path = paths
    pose = _pose(keys, where, opengl=opengl)
    header = depth_header(depth_path)
    stated, depth = _cameras(top, keys, where, desk.usual_size if photo_path in desk.headers else None, header.size)
    photo = desk.take(photo_path, stated, pose, header.size)
    confidence = keys.get("confidence_file_path")
    return DepthFrame(
        depth_path=depth_path,
        header=header,
        camera=depth,
        scan_from_camera=pose,
        confidence_path=named_by(json_path, str(confidence)) if confidence else confidence_beside(depth_path),
        colour_path=None if photo is None else photo.path,
        colour_camera=None if photo is None else photo.camera,
        scan_from_photo=None if photo is None else photo.scan_from_photo,
    )


def _lone_photo(
    top: Mapping[str, Any], keys: Mapping[str, Any], where: str, path: Path, desk: PhotoDesk, *, opengl: bool
) -> list[LonePhoto]:
    """The photo of a frame without depth; one that cannot be placed is left out, for the depth of others counts."""
    try:
        pose = _pose(keys, where, opengl=opengl)
        numbers = {**top, **keys}
        size = desk.usual_size or desk.headers[path].size
        stated = camera_from_keys(numbers, where, size) if has_camera(numbers) else None
    except InputError as error:
        desk.left_out.append(f"{path.name}: {error.what}")
        return []
    photo = desk.take(path, stated, pose, None)
    if photo is None:
        return []
    return [LonePhoto(path, photo.camera, pose if photo.scan_from_photo is None else photo.scan_from_photo)]


def _cameras(
    top: Mapping[str, Any],
    keys: Mapping[str, Any],
    where: str,
    photo_size: tuple[int, int] | None,
    depth_size: tuple[int, int],
) -> tuple[Camera | None, Camera]:
    """(photo's camera as stated or None, depth camera at the depth image's size)."""
    photo_keys, own_keys = {**top, **keys}, {**_inner(top), **_inner(keys)}
    as_stated = camera_from_keys(photo_keys, where, photo_size or depth_size) if has_camera(photo_keys) else None
    if has_camera(own_keys):
        depth = camera_from_keys(own_keys, where, depth_size).scaled_to(depth_size, where)
    elif as_stated is not None:
        depth = as_stated.scaled_to(depth_size, where)
    else:
        raise InputError(where, "no focal length is stated", "Add fl_x, fl_y, cx, cy, w and h to the file")
    return as_stated, depth


def _inner(keys: Mapping[str, Any]) -> Mapping[str, Any]:
    inner = keys.get("depth")
    return inner if isinstance(inner, Mapping) else {}


def _paths(keys: Mapping[str, Any], json_path: Path) -> tuple[Path | None, Path | None]:
    """(depth image, photo) a frame names; a ``file_path`` that is itself a depth image counts as one."""
    photo = _named(keys.get("file_path"), json_path)
    depth = _named(keys.get("depth_file_path"), json_path)
    if depth is None and photo is not None and _is_depth(photo):
        return photo, None
    return depth, photo


def _named(name: object, json_path: Path) -> Path | None:
    if not isinstance(name, str) or not name:
        return None
    path = named_by(json_path, name.replace("\\", "/"))
    if not path.suffix:  # some writers leave the suffix to the reader
        return next((p for s in sorted(_PHOTO_SUFFIXES) if (p := path.with_suffix(s)).is_file()), path)
    return path


def _is_depth(path: Path) -> bool:
    if path.suffix.lower() in _DEPTH_SUFFIXES:
        return True
    if path.suffix.lower() != ".png" or not path.is_file() or image_kind(path) != "png":
        return False
    try:
        depth_header(path)
    except InputError:
        return False
    return True


def _axes_are_opengl(top: Mapping[str, Any], where: Path) -> bool:
    axes = str(top.get("camera_axes", "opengl")).lower()
    if axes not in {"opengl", "opencv"}:
        raise InputError(where, f"camera_axes is {axes!r}", 'Write "opengl" (the convention) or "opencv"')
    return axes == "opengl"


def _other_poses(frames: tuple[DepthFrame, ...], *, opengl: bool) -> dict[str, list[NDArray[np.float64]]]:
    """Mistakes worth naming: the other camera axes, and poses written world to camera."""
    flip = OPENCV_FROM_OPENGL[:3, :3]
    turns = [f.scan_from_camera[:3, :3] for f in frames]
    other = "opencv" if opengl else "opengl"
    # With R the written turn, OpenGL poses carry R F; the inverse of the written pose is then R^T F.
    return {
        f'Add "camera_axes": "{other}" to the file': [r @ flip for r in turns],
        "Write transform_matrix as camera to world, not world to camera": [
            (r @ flip).T @ flip if opengl else r.T for r in turns
        ],
    }
