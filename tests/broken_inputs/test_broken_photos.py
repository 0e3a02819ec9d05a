"""Broken photos leave the depth usable: they are left out with a caveat that names the first, never a traceback."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from flatscan.errors import FlatscanError
from flatscan.settings import JointSettings, ReadSettings, SurfaceSettings
from flatscan.sources import read
from flatscan.sources.depth.posed_frames import read_transforms
from flatscan.surface import find_surface
from flatscan.surface.picture.build import aligned_photos, floor_picture

_SPEC = importlib.util.spec_from_file_location(
    "photos_of_captures", Path(__file__).parents[1] / "sources/test_photos.py"
)
_MADE = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(_MADE)
capture, photo, PHOTO = _MADE.capture, _MADE.photo, _MADE.PHOTO
SETTINGS = ReadSettings()


def not_a_picture(path: Path) -> None:
    path.write_text("this is a letter, not a picture")


def empty(path: Path) -> None:
    path.write_bytes(b"")


def half_as_wide(path: Path) -> None:
    photo(path, (160, 240))


def turned_without_saying(path: Path) -> None:
    photo(path, (240, 320))


def mirrored(path: Path) -> None:
    photo(path, (240, 320), orientation=5)


def enormous(path: Path) -> None:
    """A PNG header that declares 60 000 x 60 000 pixels over no data."""
    import struct
    import zlib

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0))
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", b"") + chunk(b"IEND", b""))


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (not_a_picture, "not a picture"),
        (empty, "not a picture"),
        (half_as_wide, "the photo has 160 x 240"),
        (turned_without_saying, "the photo has 240 x 320"),
        (mirrored, "the photo has 240 x 320"),
        (enormous, "60000 x 60000|cannot be|not a picture|exceeds"),
    ],
)
def test_one_bad_photo_is_left_out_and_named(tmp_path: Path, spoil, says: str) -> None:
    paths = [photo(tmp_path / f"{i}.jpg") for i in range(3)]
    spoil(paths[1])
    scan = read_transforms(capture(tmp_path, list(paths)), SETTINGS)
    assert [f.colour_path is not None for f in scan.frames] == [True, False, True]
    (doubt,) = [c for c in scan.caveats if c.name == "photo_left_out"]
    assert doubt.text.startswith("1 of 3 photos cannot be used, the first 1.jpg: ")
    import re

    assert re.search(says, doubt.text)
    assert len(scan.points_mm) == 3 * 64 * 48


def test_photo_of_another_size_and_same_shape_is_used_at_its_scale(tmp_path: Path) -> None:
    paths = [photo(tmp_path / f"{i}.jpg") for i in range(3)]
    photo(paths[1], (160, 120))
    frame = read_transforms(capture(tmp_path, list(paths)), SETTINGS).frames[1]
    assert frame.colour_size == (160, 120)
    assert frame.colour_camera[0] == pytest.approx(PHOTO["fl_x"] / 2)


def test_numbers_without_a_size_are_for_the_usual_photo(tmp_path: Path) -> None:
    """One thumbnail among photos, and no size stated for the numbers: the thumbnail is scaled."""
    paths = [photo(tmp_path / f"{i}.jpg") for i in range(3)]
    photo(paths[0], (160, 120))
    frames = read_transforms(capture(tmp_path, list(paths), w=None, h=None), SETTINGS).frames
    assert frames[0].colour_camera[0] == pytest.approx(PHOTO["fl_x"] / 2)
    assert frames[1].colour_camera[0] == pytest.approx(PHOTO["fl_x"])


def test_photos_without_camera_numbers(tmp_path: Path) -> None:
    paths = [photo(tmp_path / f"{i}.jpg") for i in range(2)]
    gone = dict.fromkeys(PHOTO)
    scan = read_transforms(capture(tmp_path, list(paths), **gone), SETTINGS)
    (doubt,) = [c for c in scan.caveats if c.name == "photo_left_out"]
    assert "no focal length" in doubt.text
    assert all(f.colour_camera is None for f in scan.frames)


def test_bad_pose_of_a_photo_without_depth_costs_only_that_photo(tmp_path: Path) -> None:
    paths = [photo(tmp_path / f"{i}.jpg") for i in range(4)]
    folder = capture(tmp_path, list(paths), lone=2)
    content = json.loads((folder / "transforms.json").read_text())
    content["frames"][2]["transform_matrix"] = [[1, 0], [0, 1]]
    (folder / "transforms.json").write_text(json.dumps(content))
    scan = read_transforms(folder, SETTINGS)
    assert len(scan.frames) == 3
    assert any(c.name == "photo_left_out" and "4 x 4" in c.text for c in scan.caveats)


def test_a_folder_of_pictures_without_poses_is_refused_in_words(tmp_path: Path) -> None:
    for i in range(3):
        photo(tmp_path / f"{i}.jpg")
    with pytest.raises(FlatscanError) as caught:
        read([tmp_path], SETTINGS)
    assert "\n" not in str(caught.value)
    assert "3 pictures but neither depth nor where they were taken from" in str(caught.value)


def flat_capture(folder: Path, *, cut_short: bool) -> Path:
    """Four frames of a dead-flat floor, each with a photo of noise; the photos may be cut short behind the header."""
    rng = np.random.default_rng(0)
    frames = []
    for i, (x, y) in enumerate(((0.0, 0.0), (0.5, 0.0), (0.0, 0.5), (0.5, 0.5))):
        (folder / "depth").mkdir(parents=True, exist_ok=True)
        noise = rng.normal(0.0, 1.0, (192, 256))
        Image.fromarray((1200 + noise).astype(np.uint16)).save(folder / "depth" / f"{i}.png")
        path = photo(folder / f"{i}.jpg", (512, 384))
        if cut_short:
            path.write_bytes(path.read_bytes()[: path.stat().st_size // 3])
        pose = [[1, 0, 0, x], [0, 1, 0, y], [0, 0, 1, 1.2], [0, 0, 0, 1]]
        frames.append({"depth_file_path": f"depth/{i}.png", "file_path": f"{i}.jpg", "transform_matrix": pose})
    camera = {"fl_x": 424.0, "fl_y": 424.0, "cx": 255.5, "cy": 191.5, "w": 512, "h": 384}
    (folder / "transforms.json").write_text(json.dumps({**camera, "depth_per_m": 1000, "frames": frames}))
    return folder


def test_photos_cut_short_are_found_out_when_they_are_needed(tmp_path: Path) -> None:
    """The header is whole, so reading goes well; no picture can then be made of them, and the photos say why."""
    scan = read([flat_capture(tmp_path, cut_short=True)], SETTINGS)
    surface = find_surface(scan, SurfaceSettings(), seed_rng=np.random.default_rng(0))
    photos = aligned_photos(scan, surface)
    assert floor_picture(scan, surface, JointSettings(), photos=photos) is None
    (doubt,) = [c for c in photos.caveats if c.name == "photo_left_out"]
    assert doubt.text.startswith("4 of 4 photos")
    assert "cannot be decoded" in doubt.text
