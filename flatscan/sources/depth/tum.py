"""The TUM RGB-D layout: ``depth.txt``, ``rgb.txt``, a trajectory, and a small camera file.

``depth.txt`` and ``rgb.txt`` hold lines ``time file``; ``groundtruth.txt`` or ``trajectory.txt`` lines
``time tx ty tz qx qy qz qw``: camera to world, metres, quaternion with w last, OpenCV camera axes. Lines
that start with ``#`` are comments. Each depth image takes the pose and the photo nearest in time, at
most 0.02 s away (the bound of the layout's own association script), each photo the pose nearest to its own
time; frames without a pose are left out and counted, photos that no depth image takes are kept as photos.
5000 counts per metre, the layout's own, unless the camera file or an option says otherwise or the view
contradicts it. Camera file: see ``camera_file``. Layout: J. Sturm et al., "A benchmark for the evaluation of
RGB-D SLAM systems", IROS 2012 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.caveats import Caveat, caveat
from flatscan.errors import InputError
from flatscan.progress import SILENT, Progress
from flatscan.sources.depth.camera import Camera, camera_from_keys
from flatscan.sources.depth.camera_file import find_camera_file, read_camera_file
from flatscan.sources.depth.depth_capture import DepthCapture, DepthFrame, LonePhoto, scan_of
from flatscan.sources.depth.depth_image import depth_header
from flatscan.sources.depth.depth_keys import confidence_beside, depth_keys, stated_ray, stated_scale
from flatscan.sources.depth.photos import FramePhoto, PhotoDesk
from flatscan.sources.depth.pose import OPENCV_FROM_OPENGL, pose_from_quaternion
from flatscan.sources.guard import library_errors, named_by

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
    photos = _Photos.of(folder, poses)
    frames = _frames(folder, depth_times.seconds, depth_names, nearest, poses, keys, camera_path, photos)
    side_files = [depth_list, trajectory, camera_path]
    if (folder / PHOTO_LIST).is_file():
        side_files.insert(1, folder / PHOTO_LIST)
    return scan_of(
        DepthCapture(
            where=folder,
            kind="tum",
            frames=frames,
            photos=photos.left(camera_from_keys(keys, camera_path, frames[0].header.size)),
            side_files=tuple(side_files),
            depth_per_m=stated_scale(keys, camera_path, whole="int" in frames[0].header.dtype),
            usual_scale=USUAL_PER_M,
            is_ray=stated_ray(keys, camera_path),
            other_poses=_other_poses(poses, nearest[nearest >= 0]),
            inferences=(*_time_sayings(depth_times, poses), *photos.desk.said),
            caveats=(*_left_out(nearest), *photos.desk.caveats),
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

    def at(self, index: int) -> NDArray[np.float64]:
        """(4, 4) scan from camera, m."""
        return pose_from_quaternion(self.position[index], self.quaternion[index], self.where[index])


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
    if len(others) == 0:
        return np.full(len(times), -1, dtype=np.int64)
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
    photos: _Photos,
) -> tuple[DepthFrame, ...]:
    of_depth = _nearest(times, photos.seconds)
    frames = []
    for name, pose, index in zip(names, nearest, of_depth, strict=True):
        path = named_by(folder / DEPTH_LIST, name)
        if not path.is_file():
            raise InputError(folder / DEPTH_LIST, f"names {name}, which is not there", "Copy the whole folder")
        if pose < 0:
            continue
        header = depth_header(path)
        stated = camera_from_keys(keys, camera_path, header.size)
        # In this layout depth is already registered to the photo: one camera serves both.
        photo = photos.take(index, stated, header.size) if index >= 0 else None
        frames.append(
            DepthFrame(
                depth_path=path,
                header=header,
                camera=stated.scaled_to(header.size, camera_path),
                scan_from_camera=poses.at(pose),
                confidence_path=confidence_beside(path),
                colour_path=None if photo is None else photo.path,
                colour_camera=None if photo is None else photo.camera,
                scan_from_photo=None if photo is None else photo.scan_from_photo,
            )
        )
    return tuple(frames)


@dataclass(slots=True, eq=False)
class _Photos:
    """Photos in the order of their times; each takes the pose nearest to its own moment, which is not the depth's."""

    seconds: NDArray[np.float64]
    paths: tuple[Path, ...]
    nearest: NDArray[np.int64]
    poses: _Poses
    desk: PhotoDesk
    taken: set[int]

    @classmethod
    def of(cls, folder: Path, poses: _Poses) -> _Photos:
        photo_list = folder / PHOTO_LIST
        if not photo_list.is_file():
            return cls(np.empty(0), (), np.empty(0, np.int64), poses, PhotoDesk(None, {}), set())
        times, names = _file_list(photo_list)
        order = np.argsort(times.seconds, kind="stable")
        paths = tuple(named_by(photo_list, names[i]) for i in order)
        desk = PhotoDesk.of(path for path in paths if path.is_file())
        seconds = times.seconds[order]
        return cls(seconds, paths, _nearest(seconds, poses.seconds), poses, desk, set())

    def take(self, index: int, stated: Camera, depth_size: tuple[int, int] | None) -> FramePhoto | None:
        """Photo ``index`` with its camera and pose; None where it has no pose or cannot be used."""
        if self.nearest[index] < 0:
            return None
        self.taken.add(index)
        pose = self.poses.at(self.nearest[index])
        photo = self.desk.take(self.paths[index], stated, pose, depth_size)
        return photo if photo is None or photo.scan_from_photo is not None else replace(photo, scan_from_photo=pose)

    def left(self, stated: Camera) -> tuple[LonePhoto, ...]:
        """The photos that no depth image took."""
        rest = (self.take(i, stated, None) for i in range(len(self.paths)) if i not in self.taken)
        return tuple(
            LonePhoto(photo.path, photo.camera, photo.scan_from_photo)
            for photo in rest
            if photo is not None and photo.scan_from_photo is not None
        )


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
