"""Write depth captures: a transforms.json folder, or the TUM RGB-D layout."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.synth.camera import OPENCV_FROM_OPENGL, Pinhole

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from numpy.typing import NDArray

    from flatscan.synth.capture import Frame

_UINT16_MOST = 65535
_JPEG_QUALITY = 78
_TUM_COUNTS_PER_M = 5000.0
_FRAME_SECONDS = 0.5

#: A phone's world as tracking software gives it: y up, metres. From the room's z up: x → x, z → y, y → −z.
Y_UP_FROM_ROOM = np.array([[1.0, 0, 0, 0], [0, 0, 1.0, 0], [0, -1.0, 0, 0], [0, 0, 0, 1.0]])


def write_transforms(
    folder: Path,
    frames: Iterable[Frame],
    *,
    camera: Pinhole,
    photo_camera: Pinhole | None = None,
    world_from_room: NDArray[np.float64] = Y_UP_FROM_ROOM,
    metres_per_count: float = 0.001,
    jpeg_quality: int = _JPEG_QUALITY,
) -> None:
    """Write ``transforms.json`` with ``depth/``, ``confidence/`` and ``photo/`` beside it.

    Poses are camera-to-world in metres, OpenGL camera axes; ``world_from_room`` (4, 4) acts on mm. Depth
    is a 16-bit PNG, ``depth_unit_scale_factor`` metres per count, 0 no data; confidence 0 to 2.
    """
    entries: list[dict[str, Any]] = []
    for number, frame in enumerate(frames):
        name = f"{number:03d}"
        entry: dict[str, Any] = {
            "depth_file_path": f"depth/{name}.png",
            "confidence_file_path": f"confidence/{name}.png",
            "transform_matrix": _opengl_pose_m(world_from_room @ frame.room_from_camera),
        }
        _write_counts(folder / "depth" / f"{name}.png", frame.depth_mm / (1000.0 * metres_per_count))
        _write_image(folder / "confidence" / f"{name}.png", frame.confidence)
        if frame.photo is not None:
            entry["file_path"] = f"photo/{name}.jpg"
            _write_image(folder / "photo" / f"{name}.jpg", frame.photo, quality=jpeg_quality)
        entries.append(entry)
    content: dict[str, Any] = {"camera_model": "OPENCV", **_camera_keys(photo_camera or camera)}
    if photo_camera is not None:
        content["depth"] = _camera_keys(camera)
    content |= {"depth_unit_scale_factor": metres_per_count, "frames": entries}
    (folder / "transforms.json").write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")


def write_tum(folder: Path, frames: Iterable[Frame], *, camera: Pinhole) -> None:
    """Write the TUM RGB-D layout: ``depth/``, ``depth.txt``, ``groundtruth.txt``, ``camera.json``; 5000 counts per metre.

    The trajectory is camera-to-world in metres, OpenCV axes, the room's own z up.
    """  # noqa: E501
    listing, trajectory = ["# timestamp filename"], ["# timestamp tx ty tz qx qy qz qw"]
    for number, frame in enumerate(frames):
        stamp = f"{1000.0 + number * _FRAME_SECONDS:.6f}"
        name = f"depth/{stamp}.png"
        _write_counts(folder / name, frame.depth_mm / 1000.0 * _TUM_COUNTS_PER_M)
        listing.append(f"{stamp} {name}")
        place = " ".join(f"{value / 1000.0:.6f}" for value in frame.room_from_camera[:3, 3])
        turn = " ".join(f"{value:.8f}" for value in _quaternion(frame.room_from_camera[:3, :3]))
        trajectory.append(f"{stamp} {place} {turn}")
    (folder / "depth.txt").write_text("\n".join(listing) + "\n", encoding="utf-8")
    (folder / "groundtruth.txt").write_text("\n".join(trajectory) + "\n", encoding="utf-8")
    (folder / "camera.json").write_text(json.dumps(_camera_keys(camera)) + "\n", encoding="utf-8")


def _camera_keys(camera: Pinhole) -> dict[str, float]:
    cx, cy = camera.centre
    return {"fl_x": camera.focal, "fl_y": camera.focal, "cx": cx, "cy": cy, "w": camera.width, "h": camera.height}


def _opengl_pose_m(world_from_camera_mm: NDArray[np.float64]) -> list[list[float]]:
    pose = world_from_camera_mm @ OPENCV_FROM_OPENGL
    pose[:3, 3] /= 1000.0
    return [[round(float(value), 9) for value in row] for row in pose]


def _quaternion(rotation: NDArray[np.float64]) -> NDArray[np.float64]:
    from scipy.spatial.transform import Rotation

    return np.asarray(Rotation.from_matrix(rotation).as_quat(), dtype=np.float64)


def _write_counts(path: Path, counts: NDArray[np.float64]) -> None:
    _write_image(path, np.clip(np.rint(counts), 0, _UINT16_MOST).astype(np.uint16))


def _write_image(path: Path, pixels: NDArray[Any], *, quality: int = _JPEG_QUALITY) -> None:
    from PIL import Image

    path.parent.mkdir(parents=True, exist_ok=True)
    options: dict[str, Any] = {"quality": quality} if path.suffix == ".jpg" else {"optimize": True}
    Image.fromarray(pixels).save(path, **options)
