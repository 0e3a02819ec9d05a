"""Broken depth captures: one sentence each with what, where and what to do, and nothing decoded that is too big."""

from __future__ import annotations

import json
import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image

from flatscan.errors import InputError
from flatscan.settings import ReadSettings
from flatscan.sources.depth.depth_capture import DepthCapture
from flatscan.sources.depth.posed_frames import read_transforms
from flatscan.sources.depth.single_depth import read_single_depth
from flatscan.sources.depth.tum import read_tum

SETTINGS = ReadSettings()
CAMERA = {"fl_x": 60.0, "fl_y": 60.0, "cx": 31.5, "cy": 23.5, "w": 64, "h": 48}
DOWN = [[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 1.2], [0, 0, 0, 1]]  # OpenGL axes: looks along -z


def depth_png(path: Path, counts: float = 1200.0, dtype: type = np.uint16) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(np.full((48, 64), counts, dtype)).save(path)
    return path


def capture(folder: Path, **changes: Any) -> Path:
    listed = []
    for i in range(3):
        depth_png(folder / "depth" / f"{i}.png")
        listed.append({"depth_file_path": f"depth/{i}.png", "transform_matrix": DOWN})
    content: dict[str, Any] = {**CAMERA, "depth_per_m": 1000, "frames": listed}
    content |= changes
    (folder / "transforms.json").write_text(json.dumps({k: v for k, v in content.items() if v is not None}))
    return folder


def edited(folder: Path, **frame: Any) -> Path:
    """The capture with keys of its second frame changed (None removes one)."""
    content = json.loads((folder / "transforms.json").read_text())
    merged = {**content["frames"][1], **frame}
    content["frames"][1] = {k: v for k, v in merged.items() if v is not None}
    (folder / "transforms.json").write_text(json.dumps(content))
    return folder


def refused(folder: Path, says: str, settings: ReadSettings = SETTINGS) -> None:
    with pytest.raises(InputError, match=says) as caught:
        read_transforms(folder, settings)
    assert str(caught.value).endswith(".")
    assert "\n" not in str(caught.value)


def test_the_unbroken_capture_is_read(tmp_path: Path) -> None:
    assert len(read_transforms(capture(tmp_path), SETTINGS).points_mm) == 3 * 64 * 48


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"frames": []}, "lists no frames, though 3 pictures lie beside it"),
        ({"frames": None}, "lists no frames"),
        ({"frames": [3]}, "frame 1: is not an object"),
        ({"fl_x": None, "fl_y": None}, "no focal length"),
        ({"fl_x": -1.0}, "not positive"),
        ({"fl_x": "wide"}, "fl_x is 'wide', not a number"),
        ({"cx": 500.0}, "far from the middle"),
        ({"w": 48, "h": 64}, "for 48 x 64 pixels, the image has 64 x 48"),
        ({"w": 0}, "is not a size"),
        ({"camera_model": "OPENCV_FISHEYE"}, "OPENCV_FISHEYE is not read"),
        ({"k3": 0.2}, "lens term k3"),
        ({"camera_axes": "left"}, "camera_axes is 'left'"),
        ({"depth_is": "disparity"}, "depth_is is 'disparity'"),
        ({"depth_per_m": "mm"}, "depth_per_m is 'mm'"),
        ({"depth_per_m": None, "depth_scale": 0.5}, "more than one way"),
        ({"depth_per_m": 1.0}, "1.2e\\+03 m from the camera"),
        ({"depth_per_m": 1e6}, "0.0012 m from the camera"),
    ],
)
def test_bad_top_level(tmp_path: Path, changes: dict[str, Any], says: str) -> None:
    refused(capture(tmp_path, **changes), says)


@pytest.mark.parametrize(
    ("frame", "says"),
    [
        ({"transform_matrix": None}, "frame 2: has no transform_matrix"),
        ({"transform_matrix": [[1, 0], [0, 1]]}, "not 4 x 4 finite"),
        ({"transform_matrix": "none"}, "not 4 x 4 finite"),
        ({"transform_matrix": (np.array(DOWN) * np.nan).tolist()}, "not 4 x 4 finite"),
        ({"transform_matrix": np.array(DOWN).T.tolist()}, "last row"),
        ({"transform_matrix": (np.diag([1.7, 1.7, 1.7, 1.0]) @ DOWN).tolist()}, "stretches by 1.7"),
        ({"transform_matrix": (np.diag([1.0, 1.0, -1.0, 1.0]) @ DOWN).tolist()}, "mirrors"),
        ({"depth_file_path": "depth/9.png"}, "1 of 3 depth images it names are not there, first depth/9.png"),
    ],
)
def test_bad_frame(tmp_path: Path, frame: dict[str, Any], says: str) -> None:
    refused(edited(capture(tmp_path), **frame), says)


def test_photos_and_poses_but_no_depth(tmp_path: Path) -> None:
    Image.new("RGB", (64, 48)).save(tmp_path / "a.jpg")
    frames = [{"file_path": "a.jpg", "transform_matrix": DOWN}]
    refused(_with(tmp_path, frames), "no depth images")


def _with(folder: Path, frames: list[dict[str, Any]], per_m: float = 1000.0) -> Path:
    (folder / "transforms.json").write_text(json.dumps({**CAMERA, "depth_per_m": per_m, "frames": frames}))
    return folder


@pytest.mark.parametrize("text", ["", "{", "[1, 2]", "\x00\x01", '{"frames": '])
def test_not_json(tmp_path: Path, text: str) -> None:
    (tmp_path / "transforms.json").write_text(text)
    refused(tmp_path, "JSON")


def test_json_that_is_a_folder_or_missing(tmp_path: Path) -> None:
    refused(tmp_path, "transforms.json")
    (tmp_path / "transforms.json").mkdir()
    refused(tmp_path, "transforms.json")


def _rgb(path: Path) -> None:
    Image.new("RGB", (64, 48), (9, 9, 9)).save(path, format="PNG")


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda p: depth_png(p, 12, np.uint8), "cannot be uint8"),
        (_rgb, "cannot be a colour picture"),
        (lambda p: Image.new("L", (64, 48)).save(p, format="JPEG"), "JPEG smears"),
        (lambda p: p.write_bytes(p.read_bytes()[:60]), "1.png"),
        (lambda p: p.write_bytes(p.read_bytes()[:-30]), "1.png"),
        (lambda p: p.write_bytes(b""), "empty"),
        (lambda p: p.write_text("hello"), "not a PNG, TIFF or NPY"),
        (lambda p: tifffile.imwrite(p, np.zeros((3, 48, 64), np.float32), photometric="minisblack"), "holds 3 pages"),
        (lambda p: tifffile.imwrite(p, np.zeros((48, 64), np.uint8)), "cannot be uint8"),
        (lambda p: p.write_bytes(b"II*\x00" + b"\xff" * 40), "TIFF"),
        (lambda p: p.write_bytes(b"\x93NUMPY\x01\x00\xff"), "NPY"),
        (lambda p: p.write_bytes(_npy(np.zeros((48, 64, 3), np.float32))), "rows and columns only"),
        (lambda p: p.write_bytes(_npy(np.zeros((48, 64), np.float32))[:-100]), "cannot be decoded"),
        (lambda p: p.write_bytes(_npy(np.zeros((48, 64), complex))), "cannot be complex128"),
        (lambda p: p.write_bytes(_npy(np.array([{}], dtype=object), pickle=True)), "1.png"),
    ],
)
def test_bad_depth_image(tmp_path: Path, spoil: Any, says: str) -> None:
    folder = capture(tmp_path)
    spoil(folder / "depth" / "1.png")
    refused(folder, says)


def _npy(array: np.ndarray, pickle: bool = False) -> bytes:
    import io

    out = io.BytesIO()
    np.save(out, array, allow_pickle=pickle)
    return out.getvalue()


def _png_header_only(width: int, height: int) -> bytes:
    body = b"IHDR" + struct.pack(">IIBBBBB", width, height, 16, 0, 0, 0, 0)
    end = b"IEND"
    chunk = struct.pack(">I", 13) + body + struct.pack(">I", zlib.crc32(body))
    data = zlib.compress(b"\0" * 1000)
    idat = struct.pack(">I", len(data)) + b"IDAT" + data + struct.pack(">I", zlib.crc32(b"IDAT" + data))
    return b"\x89PNG\r\n\x1a\n" + chunk + idat + struct.pack(">I", 0) + end + struct.pack(">I", zlib.crc32(end))


@pytest.mark.parametrize(("width", "height"), [(9000, 9000), (12_000, 12_000), (60_000, 60_000)])
def test_an_image_bomb_is_refused_by_its_header(
    tmp_path: Path, width: int, height: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("flatscan.sources.depth.depth_image._pixels", lambda *_: pytest.fail("decoded a bomb"))
    folder = capture(tmp_path)
    (folder / "depth" / "1.png").write_bytes(_png_header_only(width, height))
    refused(folder, "million|exceeds limit")
    header = np.lib.format.header_data_from_array_1_0(np.empty((0, 0), np.float32)) | {"shape": (height, width)}
    with (folder / "depth" / "1.png").open("wb") as file:
        np.lib.format.write_array_header_1_0(file, header)
    refused(folder, "million")


def test_no_valid_pixel(tmp_path: Path) -> None:
    folder = capture(tmp_path)
    for i in range(3):
        depth_png(folder / "depth" / f"{i}.png", 0)
    refused(folder, "no depth image has a usable pixel")


def test_confidence_of_another_size_or_kind(tmp_path: Path) -> None:
    folder = capture(tmp_path)
    (folder / "confidence").mkdir()
    Image.new("L", (32, 24)).save(folder / "confidence" / "1.png")
    refused(folder, "32 x 24 pixels, its depth image 64 x 48")
    depth_png(folder / "confidence" / "1.png")
    refused(folder, "cannot be uint16")
    (folder / "confidence" / "1.png").unlink()
    refused(edited(folder, confidence_file_path="confidence/none.png"), "none.png")


def test_poses_in_another_unit_than_the_depth(tmp_path: Path) -> None:
    """Camera heights written in millimetres beside depth in metres."""
    frames = []
    for i, height in enumerate((1.0, 1.1, 1.2, 1.35, 1.5)):
        depth_png(tmp_path / "depth" / f"{i}.png", height * 1000.0)
        matrix = np.array(DOWN, dtype=float)
        matrix[2, 3] = height * 1000.0
        frames.append({"depth_file_path": f"depth/{i}.png", "transform_matrix": matrix.tolist()})
    refused(_with(tmp_path, frames), "not in one unit.*one metre is 1 counts")


def _height(i: int) -> float:
    return 1.2 + 0.07 * (i % 3)


def _oblique(i: int) -> tuple[np.ndarray, np.ndarray]:
    """A camera (OpenCV axes) looking down 50 degrees, turned about the vertical; its depth of a floor at 0."""
    a, d = 0.9 * i, np.radians(50.0)
    ahead = np.array([np.cos(a) * np.cos(d), np.sin(a) * np.cos(d), -np.sin(d)])
    right = np.array([np.sin(a), -np.cos(a), 0.0])
    turn = np.column_stack([right, np.cross(ahead, right), ahead])
    u, v = np.meshgrid((np.arange(64) - 31.5) / 60.0, (np.arange(48) - 23.5) / 60.0)
    depth = -_height(i) / (np.stack([u, v, np.ones_like(u)], axis=-1) @ turn[2])
    return turn, np.where((depth > 0) & (depth < 6), depth, 0.0)


@pytest.mark.parametrize(
    ("meant", "says"), [("opencv", 'Add "camera_axes": "opencv"'), ("inverse", "camera to world, not world to camera")]
)
def test_poses_meant_another_way_are_named(tmp_path: Path, meant: str, says: str) -> None:
    frames = []
    for i in range(5):
        turn, depth = _oblique(i)
        path = tmp_path / f"{i}.npy"
        np.save(path, depth)
        matrix = np.eye(4)
        matrix[2, 3] = _height(i)
        matrix[:3, :3] = turn if meant == "opencv" else (turn @ np.diag([1, -1, -1])).T
        frames.append({"depth_file_path": path.name, "transform_matrix": matrix.tolist()})
    refused(_with(tmp_path, frames, 1.0), says)


def tum(folder: Path, order: str = "xyzw") -> Path:
    from scipy.spatial.transform import Rotation

    depths, poses = [], []
    (folder / "depth").mkdir()
    for i in range(5):
        turn, depth = _oblique(i)
        Image.fromarray(np.rint(depth * 5000).astype(np.uint16)).save(folder / "depth" / f"{i}.png")
        depths.append(f"{i}.0 depth/{i}.png")
        q = Rotation.from_matrix(turn).as_quat()
        q = q if order == "xyzw" else np.roll(q, 1)
        poses.append(f"{i}.0 0 0 {_height(i)} {q[0]} {q[1]} {q[2]} {q[3]}")
    (folder / "depth.txt").write_text("\n".join(depths))
    (folder / "trajectory.txt").write_text("\n".join(poses))
    (folder / "camera.json").write_text(json.dumps(CAMERA))
    return folder


def test_tum_with_w_first_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="w last"):
        read_tum(tum(tmp_path, "wxyz"), SETTINGS)


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("trajectory.txt", None, "no poses"),
        ("trajectory.txt", "# only a comment", "lists nothing"),
        ("trajectory.txt", "0 1 2 3", "line 1: has 4 numbers"),
        ("trajectory.txt", "0 0 0 x 0 0 0 1", "'x' is not a number"),
        ("trajectory.txt", "0 0 0 1.2 0 0 0 2", "length 2 instead of 1"),
        ("trajectory.txt", "900 0 0 1.2 0 0 0 1", "no pose lies within 0.02 s"),
        ("depth.txt", "0.0 depth/0.png\n1.0 depth/77.png", "names depth/77.png, which is not there"),
        ("depth.txt", "0.0", "line 1: has 1 words"),
        ("depth.txt", "", "lists nothing"),
        ("camera.json", None, "no camera file"),
        ("camera.json", "{", "not a readable camera file"),
        ("camera.json", "{}", "states nothing"),
        ("camera.json", '{"w": 64}', "no focal length"),
    ],
)
def test_bad_tum_files(tmp_path: Path, name: str, text: str | None, says: str) -> None:
    folder = tum(tmp_path)
    if text is None:
        (folder / name).unlink()
    else:
        (folder / name).write_text(text)
    with pytest.raises(InputError, match=says):
        read_tum(folder, SETTINGS)


@pytest.mark.parametrize(
    ("text", "says"),
    [("60 60 31", "has 3 numbers"), ("focal", "not a name and a value"), ("fx wide\nfy 60\n", "fx is 'wide'")],
)
def test_bad_camera_lines(tmp_path: Path, text: str, says: str) -> None:
    path = depth_png(tmp_path / "one.png")
    (tmp_path / "camera.txt").write_text(text)
    with pytest.raises(InputError, match=says):
        read_single_depth(path, SETTINGS)


def test_single_depth_without_a_camera_file(tmp_path: Path) -> None:
    path = depth_png(tmp_path / "one.png")
    with pytest.raises(InputError, match=r"no camera file.*--camera"):
        read_single_depth(path, SETTINGS)
    with pytest.raises(InputError, match="nowhere"):
        read_single_depth(path, ReadSettings(camera_file=str(tmp_path / "nowhere.json")))


def test_capture_record_keeps_no_default_poses() -> None:
    assert DepthCapture(Path("a"), "k", (), ()).other_poses == {}
