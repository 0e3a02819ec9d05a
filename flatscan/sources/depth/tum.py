"""The TUM RGB-D layout: ``depth.txt``, ``rgb.txt``, a trajectory, and a small camera file.

``depth.txt`` and ``rgb.txt`` hold lines ``time file``; ``groundtruth.txt`` or ``trajectory.txt`` lines
``time tx ty tz qx qy qz qw``: camera to world, metres, quaternion with w last, OpenCV camera axes. Lines
that start with ``#`` are comments. Each depth image takes the pose and the photo nearest in time, at
most 0.02 s away (the bound of the layout's own association script); frames without a pose are left
out and counted. 5000 counts per metre, the layout's own, unless the camera file or an option says
otherwise or the view contradicts it. Camera file: see ``camera_file``. Layout: J. Sturm et al., "A
benchmark for the evaluation of RGB-D SLAM systems", IROS 2012 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.caveats import Caveat, caveat
from flatscan.errors import InputError
from flatscan.progress import SILENT, Progress
from flatscan.sources.depth.camera import Camera, camera_from_keys
from flatscan.sources.depth.camera_file import find_camera_file, read_camera_file
from flatscan.sources.depth.depth_capture import DepthCapture, DepthFrame, scan_of
from flatscan.sources.depth.depth_image import depth_header, picture_size
from flatscan.sources.depth.depth_keys import confidence_beside, depth_keys, stated_ray, stated_scale
from flatscan.sources.depth.pose import OPENCV_FROM_OPENGL, pose_from_quaternion
from flatscan.sources.guard import library_errors

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

    from numpy.typing import NDArray

    from flatscan.settings import ReadSettings
    from flatscan.sources.scan import Scan

DEPTH_LIST = "depth.txt"
PHOTO_LIST = "rgb.txt"
TRAJECTORIES = ("groundtruth.txt", "trajectory.txt")
USUAL_PER_M = 5000.0
#: Seconds between a depth image and its pose.
ASSOCIATION_S = 0.02
_POSE_COLUMNS = 8
#: Times above these are in ns, µs, ms: no clock in seconds has counted so far.
_TIME_UNITS = ((1e17, 1e9, "nanoseconds"), (1e14, 1e6, "microseconds"), (1e11, 1e3, "milliseconds"))


def is_tum(path: Path) -> bool:
    """Whether ``path`` is a folder in this layout."""
    return path.is_dir() and (path / DEPTH_LIST).is_file()


def read_tum(folder: Path, settings: ReadSettings, progress: Progress = SILENT) -> Scan:
    """Read a folder in the TUM RGB-D layout; see the module. Raises InputError naming file and line."""
    trajectory = next((p for name in TRAJECTORIES if (p := folder / name).is_file()), None)
    if trajectory is None:
        raise InputError(folder, "has depth images but no poses", f"Add {' or '.join(TRAJECTORIES)}")
    depth_list = folder / DEPTH_LIST
    depth_times, depth_names = _file_list(depth_list)
    poses = _trajectory(trajectory)
    camera_path = find_camera_file(folder, settings)
    keys = depth_keys(read_camera_file(camera_path))
    nearest = _nearest(depth_times.seconds, poses.seconds)
    if (nearest < 0).all():
        raise InputError(
            trajectory,
            f"no pose lies within {ASSOCIATION_S:g} s of any depth image",
            "Give poses and depth images the same clock",
        )
    frames = _frames(folder, depth_times.seconds, depth_names, nearest, poses, keys, camera_path)
    side_files = [depth_list, trajectory, camera_path]
    if (folder / PHOTO_LIST).is_file():
        side_files.insert(1, folder / PHOTO_LIST)
    return scan_of(
        DepthCapture(
            where=folder,
            kind="tum",
            frames=frames,
            side_files=tuple(side_files),
            depth_per_m=stated_scale(keys, camera_path, whole="int" in frames[0].header.dtype),
            usual_scale=USUAL_PER_M,
            is_ray=stated_ray(keys, camera_path),
            other_poses=_other_poses(poses, nearest[nearest >= 0]),
            inferences=_time_sayings(depth_times, poses),
            caveats=_left_out(nearest),
        ),
        settings,
        progress,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Times:
    """``seconds`` (n,) float64; ``unit`` names the unit they were written in when it was not seconds."""

    seconds: NDArray[np.float64]
    unit: str | None


@dataclass(frozen=True, slots=True, eq=False)
class _Poses(_Times):
    """Positions (n, 3) m, quaternions (n, 4) as written, and the line each stands on."""

    position: NDArray[np.float64]
    quaternion: NDArray[np.float64]
    where: tuple[str, ...]


def _lines(path: Path) -> list[tuple[str, list[str]]]:
    with library_errors(path, "cannot be read"):
        text = path.read_text(encoding="utf-8-sig")
    rows = [
        (f"{path}, line {number}", line.replace(",", " ").split())
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not rows:
        raise InputError(path, "lists nothing", "Export the capture again")
    return rows


def _file_list(path: Path) -> tuple[_Times, list[str]]:
    times, names = [], []
    for where, words in _lines(path):
        if len(words) != 2:  # noqa: PLR2004
            raise InputError(where, f"has {len(words)} words", "Write each line as time and file name")
        times.append(_number(words[0], where))
        names.append(words[1])
    return _Times(*_in_seconds(np.array(times))), names


def _trajectory(path: Path) -> _Poses:
    rows, places = [], []
    for where, words in _lines(path):
        if len(words) != _POSE_COLUMNS:
            raise InputError(where, f"has {len(words)} numbers", "Write each line as t tx ty tz qx qy qz qw")
        rows.append([_number(word, where) for word in words])
        places.append(where)
    table = np.array(rows)
    seconds, unit = _in_seconds(table[:, 0])
    order = np.argsort(seconds, kind="stable")
    table = table[order]
    return _Poses(seconds[order], unit, table[:, 1:4], table[:, 4:], tuple(places[i] for i in order))


def _number(word: str, where: str) -> float:
    try:
        value = float(word)
    except ValueError:
        value = np.nan
    if not np.isfinite(value):
        raise InputError(where, f"{word!r} is not a number", "Export the capture again")
    return value


def _in_seconds(times: NDArray[np.float64]) -> tuple[NDArray[np.float64], str | None]:
    for above, per_second, name in _TIME_UNITS:
        if float(np.median(times)) > above:
            return times / per_second, name
    return times, None


def _nearest(times: NDArray[np.float64], others: NDArray[np.float64]) -> NDArray[np.int64]:
    """Index into sorted ``others`` of the time nearest to each of ``times``; -1 beyond the bound."""
    after = np.searchsorted(others, times).clip(0, len(others) - 1)
    before = (after - 1).clip(0)
    index = np.where(np.abs(others[before] - times) <= np.abs(others[after] - times), before, after)
    return np.where(np.abs(others[index] - times) <= ASSOCIATION_S, index, -1)


def _frames(
    folder: Path,
    times: NDArray[np.float64],
    names: list[str],
    nearest: NDArray[np.int64],
    poses: _Poses,
    keys: dict[str, Any],
    camera_path: Path,
) -> tuple[DepthFrame, ...]:
    photos = _photos(folder, times)
    frames = []
    for index, (name, pose) in enumerate(zip(names, nearest, strict=True)):
        path = folder / name
        if not path.is_file():
            raise InputError(folder / DEPTH_LIST, f"names {name}, which is not there", "Copy the whole folder")
        if pose < 0:
            continue
        header = depth_header(path)
        photo = photos[index]
        photo_size = picture_size(photo) if photo is not None else None
        frames.append(
            DepthFrame(
                depth_path=path,
                header=header,
                camera=camera_from_keys(keys, camera_path, header.size).scaled_to(header.size, camera_path),
                scan_from_camera=pose_from_quaternion(poses.position[pose], poses.quaternion[pose], poses.where[pose]),
                confidence_path=confidence_beside(path),
                colour_path=photo if photo_size is not None else None,
                colour_camera=_photo_camera(keys, camera_path, header.size, photo_size),
            )
        )
    return tuple(frames)


def _photo_camera(
    keys: dict[str, Any], camera_path: Path, depth_size: tuple[int, int], photo_size: tuple[int, int] | None
) -> Camera | None:
    """In this layout depth is already registered to the photo: one camera serves both."""
    if photo_size is None:
        return None
    return camera_from_keys(keys, camera_path, depth_size).scaled_to(photo_size, camera_path)


def _photos(folder: Path, times: NDArray[np.float64]) -> list[Path | None]:
    photo_list = folder / PHOTO_LIST
    if not photo_list.is_file():
        return [None] * len(times)
    photo_times, names = _file_list(photo_list)
    order = np.argsort(photo_times.seconds, kind="stable")
    nearest = _nearest(times, photo_times.seconds[order])
    paths = [folder / names[order[i]] if i >= 0 else None for i in nearest]
    return [p if p is not None and p.is_file() else None for p in paths]


def _other_poses(poses: _Poses, used: NDArray[np.int64]) -> dict[str, list[NDArray[np.float64]]]:
    """Mistakes worth naming: w first, OpenGL camera axes, poses written world to camera."""
    written = [poses.quaternion[i] for i in used]
    turns = [pose_from_quaternion(np.zeros(3), q, "")[:3, :3] for q in written]
    w_first = [pose_from_quaternion(np.zeros(3), np.roll(q, -1), "")[:3, :3] for q in written]
    return {
        "Write each line as t tx ty tz qx qy qz qw, w last": w_first,
        "Give poses in OpenCV camera axes (x right, y down, z forward)": [
            r @ OPENCV_FROM_OPENGL[:3, :3] for r in turns
        ],
        "Write the poses camera to world, not world to camera": [r.T for r in turns],
    }


def _time_sayings(depth: _Times, poses: _Poses) -> tuple[str, ...]:
    files = ((DEPTH_LIST, depth.unit), ("The trajectory", poses.unit))
    return tuple(f"{name}: times read as {unit}, by their size" for name, unit in files if unit is not None)


def _left_out(nearest: NDArray[np.int64]) -> tuple[Caveat, ...]:
    count = int((nearest < 0).sum())
    if not count:
        return ()
    return (caveat("frames_without_pose", count=count, total=len(nearest), bound_s=ASSOCIATION_S),)
