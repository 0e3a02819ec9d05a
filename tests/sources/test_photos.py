"""Photos of captures: pixels as stored, camera numbers for those pixels, photos without depth kept."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image

from flatscan.errors import InputError
from flatscan.settings import ReadSettings
from flatscan.sources.depth.camera import Camera
from flatscan.sources.depth.photos import PhotoHeader, camera_of_photo, photo_header, read_photo
from flatscan.sources.depth.posed_frames import read_transforms
from flatscan.sources.depth.tum import read_tum
from flatscan.surface.picture.posed_photo import PosedPhoto

DEPTH = {"fl_x": 60.0, "fl_y": 61.0, "cx": 31.0, "cy": 24.0, "w": 64, "h": 48}
PHOTO = {
    "fl_x": 300.0,
    "fl_y": 310.0,
    "cx": 155.0,
    "cy": 122.0,
    "w": 320,
    "h": 240,
    "k1": 0.05,
    "p1": 0.01,
    "p2": -0.02,
}
DOWN = np.array([[1.0, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 1.2], [0, 0, 0, 1]])  # OpenGL axes: looks along -z
SETTINGS = ReadSettings()


def photo(path: Path, size: tuple[int, int] = (320, 240), orientation: int | None = None) -> Path:
    """A picture in which every place differs, with an EXIF turn."""
    path.parent.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(4)
    image = Image.fromarray(rng.integers(0, 255, (size[1] // 8, size[0] // 8, 3)).astype(np.uint8)).resize(size)
    exif = Image.Exif()
    if orientation is not None:
        exif[0x0112] = orientation
    image.save(path, exif=exif)
    return path


def capture(folder: Path, photos: list[Path | None], lone: int = 0, **top: Any) -> Path:
    """Frames with depth and a photo each; the last ``lone`` have no depth."""
    frames = []
    for i, path in enumerate(photos):
        pose = DOWN.copy()
        pose[0, 3] = 0.1 * i
        frame: dict[str, Any] = {"transform_matrix": pose.tolist()}
        if i < len(photos) - lone:
            (folder / "depth").mkdir(parents=True, exist_ok=True)
            Image.fromarray(np.full((48, 64), 1200, np.uint16)).save(folder / "depth" / f"{i}.png")
            frame["depth_file_path"] = f"depth/{i}.png"
        if path is not None:
            frame["file_path"] = str(path.relative_to(folder))
        frames.append(frame)
    content = {**PHOTO, "depth": DEPTH, "depth_per_m": 1000, "frames": frames, **top}
    (folder / "transforms.json").write_text(json.dumps({k: v for k, v in content.items() if v is not None}))
    return folder


@pytest.mark.parametrize("orientation", [None, 1, 3, 6, 8])
@pytest.mark.parametrize("suffix", ["jpg", "png"])
def test_pixels_are_as_stored(tmp_path: Path, orientation: int | None, suffix: str) -> None:
    """OpenCV told to ignore the turn reads the same (JPEG decoders may round a level or two apart)."""
    path = photo(tmp_path / f"a.{suffix}", orientation=orientation)
    frame = read_transforms(capture(tmp_path, [path] * 2), SETTINGS).frames[0]
    theirs = cv2.imread(str(path), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)[..., ::-1]
    ours = read_photo(frame)
    assert ours.shape == (240, 320, 3)
    assert np.abs(ours.astype(int) - theirs).max() <= 3
    assert photo_header(path) == PhotoHeader((320, 240), orientation or 1)


@pytest.mark.parametrize(("orientation", "turn"), [(6, Image.Transpose.ROTATE_270), (8, Image.Transpose.ROTATE_90)])
def test_numbers_of_the_photo_as_shown_are_turned_once(orientation: int, turn: Image.Transpose) -> None:
    """Where a point is seen in the photo as shown is where it is seen in the stored one after the viewer's turn.

    The turn itself is Pillow's, which knows nothing of cameras: one marked pixel is turned as a picture.
    """
    stored_size, shown_size = (32, 20), (20, 32)
    shown = Camera(30.0, 33.0, 8.5, 17.25, *shown_size, (0.1, -0.05, 0.02, -0.03))
    turned = camera_of_photo(shown, PhotoHeader(stored_size, orientation), "x")
    assert (turned.camera.width, turned.camera.height) == stored_size
    assert turned.shown_from_stored is not None

    def seen(camera: Camera, pose: np.ndarray, point: np.ndarray) -> np.ndarray:
        numbers = (camera.fx, camera.fy, camera.cx, camera.cy)
        view = PosedPhoto(0, pose, *numbers, size=(camera.width, camera.height), lens=camera.lens, frame=None)
        return view.project(point[None])[0][0]

    for at in ((3, 5), (14, 28), (0, 31)):
        marks = np.zeros(stored_size[::-1], np.uint8)
        # Find the stored pixel that the viewer shows at ``at``.
        for row, col in np.ndindex(marks.shape):
            marks[:] = 0
            marks[row, col] = 1
            if np.asarray(Image.fromarray(marks).transpose(turn))[at[1], at[0]]:
                break
        # A point that the shown camera sees about there, then exactly where both see it.
        point = np.array([(at[0] - shown.cx) / shown.fx, (at[1] - shown.cy) / shown.fy, 1.0]) * 900.0
        in_shown = seen(shown, np.eye(4), point)
        in_stored = seen(turned.camera, turned.shown_from_stored, point)
        # The viewer's turn maps stored steps to shown ones rigidly, so the offsets from the marked pixel agree.
        off_shown, off_stored = in_shown - at, in_stored - (col, row)
        quarter = np.array([[0.0, -1.0], [1.0, 0.0]]) if orientation == 6 else np.array([[0.0, 1.0], [-1.0, 0.0]])
        assert quarter @ off_stored == pytest.approx(off_shown, abs=1e-9)


def test_turned_photo_with_upright_depth_keeps_the_frame_s_pose(tmp_path: Path) -> None:
    """Stored 320 x 240 like the depth, shown 240 x 320 with numbers for that: only the numbers turn."""
    path = photo(tmp_path / "a.jpg", orientation=6)
    turned = {"w": 240, "h": 320, "cx": 122.0, "cy": 155.0, "fl_x": 310.0, "fl_y": 300.0, "k1": 0, "p1": 0, "p2": 0}
    scan = read_transforms(capture(tmp_path, [path] * 2, **turned), SETTINGS)
    frame = scan.frames[0]
    assert frame.colour_size == (320, 240)
    assert frame.colour_camera == pytest.approx((300.0, 310.0, 155.0, 239.0 - 122.0))
    assert frame.scan_from_photo is None
    assert any("turned once" in line for line in scan.inferences)


def test_turned_photo_without_depth_takes_its_turn_into_the_pose(tmp_path: Path) -> None:
    upright, turned = photo(tmp_path / "a.jpg"), photo(tmp_path / "b.jpg", orientation=8)
    folder = capture(tmp_path, [upright, turned], lone=1)
    content = json.loads((folder / "transforms.json").read_text())
    content["frames"][1] |= {"w": 240, "h": 320, "cx": 119.5, "cy": 159.5, "fl_x": 300.0, "fl_y": 300.0}
    (folder / "transforms.json").write_text(json.dumps(content))
    frame = read_transforms(folder, SETTINGS).frames[1]
    assert frame.depth_path is None
    assert frame.colour_size == (320, 240)
    # Stored x runs up the photo as shown, that is along -y of the shown camera, here along scan +y.
    assert frame.scan_from_camera[:3, 0] == pytest.approx([0.0, 1.0, 0.0], abs=1e-12)


def test_photos_without_depth_are_kept_and_hashed(tmp_path: Path) -> None:
    paths = [photo(tmp_path / f"photo/{i}.jpg") for i in range(4)]
    scan = read_transforms(capture(tmp_path, list(paths), lone=2), SETTINGS)
    assert [f.colour_path for f in scan.frames] == paths
    assert [f.depth_path is None for f in scan.frames] == [False, False, True, True]
    assert scan.frames[3].scan_from_camera[0, 3] == pytest.approx(300.0)
    assert scan.view_of_point is not None
    assert scan.view_of_point.max() == 1
    hashed = {f.path: f.sha256 for f in scan.inputs if f.kind == "photo"}
    assert hashed == {p: hashlib.sha256(p.read_bytes()).hexdigest() for p in paths}
    assert scan.caveats == () or all(c.name != "photo_left_out" for c in scan.caveats)


def tum(folder: Path, photo_times: list[float]) -> Path:
    """Depth at 0, 1, 2 s; a pose every 5 ms that moves 1 m/s along x."""
    for i in range(3):
        (folder / "depth").mkdir(parents=True, exist_ok=True)
        Image.fromarray(np.full((48, 64), 6000, np.uint16)).save(folder / "depth" / f"{i}.png")
    (folder / "depth.txt").write_text("".join(f"{float(i)} depth/{i}.png\n" for i in range(3)))
    for i in range(len(photo_times)):
        photo(folder / "rgb" / f"{i}.png", (128, 96))
    (folder / "rgb.txt").write_text("".join(f"{t} rgb/{i}.png\n" for i, t in enumerate(photo_times)))
    times = np.arange(0, 2.5, 0.005)
    # Looks straight down: half a turn about x.
    (folder / "trajectory.txt").write_text("".join(f"{t:.3f} {t:.3f} 0 1.2 1 0 0 0\n" for t in times))
    (folder / "camera.json").write_text(json.dumps(DEPTH))
    return folder


def test_tum_photo_takes_the_pose_of_its_own_moment(tmp_path: Path) -> None:
    scan = read_tum(tum(tmp_path, [0.0, 1.015, 1.5, 9.0]), SETTINGS)
    first, second, third = scan.frames[:3]
    assert second.scan_from_camera[0, 3] == pytest.approx(1000.0)
    assert second.scan_from_photo is not None
    assert second.scan_from_photo[0, 3] == pytest.approx(1015.0)
    assert second.colour_camera == pytest.approx((120.0, 122.0, 62.5, 48.5))
    assert first.colour_size == (128, 96)
    assert third.colour_path is None
    # The photo between depth images is kept by itself; the one long after the trajectory has no pose.
    lone = scan.frames[3:]
    assert [f.colour_path.name for f in lone] == ["2.png"]
    assert lone[0].scan_from_camera[0, 3] == pytest.approx(1500.0)
    assert sum(f.kind == "photo" for f in scan.inputs) == 3


def test_read_photo_says_which_file(tmp_path: Path) -> None:
    path = photo(tmp_path / "a.jpg")
    frame = read_transforms(capture(tmp_path, [path] * 2), SETTINGS).frames[0]
    photo(path, (64, 48))
    with pytest.raises(InputError, match=r"a\.jpg: it has 64 x 48 pixels, not 320 x 240"):
        read_photo(frame)
    path.write_bytes(path.read_bytes()[:400])
    with pytest.raises(InputError, match=r"a\.jpg: it cannot be decoded"):
        read_photo(frame)
