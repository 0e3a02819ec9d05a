"""Which files are read: none without an end, none outside the folder of the one that names it."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from flatscan.errors import FlatscanError
from flatscan.sources import read
from flatscan.sources.survey import read_survey

from .hostile import NAME, write_photo
from .running import refused, soon

CLOUD = "cloud.csv"
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pipes, links and devices of other systems")


def pipe(path: Path) -> None:
    os.mkfifo(path)


def folder(path: Path) -> None:
    path.mkdir()


def endless(path: Path) -> None:
    path.symlink_to("/dev/zero")


def sparse(path: Path) -> None:
    """A file that says it is 20 GB large and takes no room."""
    with path.open("wb") as stream:
        stream.truncate(20_000_000_000)


ODD = [pipe, folder, endless, sparse]


@pytest.mark.parametrize("make", ODD)
@pytest.mark.parametrize("option", ["--product", "--survey", "--limits", "--camera", "--readings"])
def test_no_option_reads_what_has_no_end(here: Path, make: Callable[[Path], None], option: str) -> None:
    """A file from a stranger's archive may be a pipe, a device or endless: reading it stops the machine."""
    name = "odd.csv" if option == "--readings" else "odd.toml"
    make(here / name)
    source = f"capture/{CLOUD}"
    if option == "--camera":
        np.save(here / "depth.npy", np.full((40, 50), 1500, np.uint16))
        source = "depth.npy"
    refused("check", source, option, name)


@pytest.mark.parametrize("make", ODD)
@pytest.mark.parametrize("command", ["check", "level", "compare", "limits", "survey check"])
def test_no_argument_reads_what_has_no_end(here: Path, make: Callable[[Path], None], command: str) -> None:
    """The same where it is the main thing that is read."""
    make(here / "odd.toml")
    refused(*command.split(), *["odd.toml"] * (2 if command == "compare" else 1))


@pytest.mark.parametrize(
    "suffix",
    [".csv", ".xlsx", ".las", ".laz", ".e57", ".ply", ".pcd", ".obj", ".glb", ".gltf", ".stl", ".png", ".npy", ".xyz"],
)
@pytest.mark.parametrize("make", [pipe, endless])
def test_no_kind_of_capture_is_read_without_end(here: Path, make: Callable[[Path], None], suffix: str) -> None:
    """Every reader opens files; none may open these."""
    make(here / f"odd{suffix}")
    refused("check", f"odd{suffix}")
    shutil.move(here / f"odd{suffix}", here / "mine")
    refused("check", "mine")


@pytest.mark.parametrize("make", ODD)
@pytest.mark.parametrize("name", ["floor.npz", "result.json"])
def test_no_file_of_a_result_is_read_without_end(here: Path, make: Callable[[Path], None], name: str) -> None:
    """A result folder is sent by mail and unpacked."""
    (here / "result").mkdir()
    for other in ("floor.npz", "result.json"):
        (here / "result" / other).write_text("{}", encoding="utf-8")
    (here / "result" / name).unlink()
    make(here / "result" / name)
    refused("compare", "result", "result")
    if name == "floor.npz":
        refused("level", "result")


def survey_with(folder: Path, *lines: str) -> Path:
    path = folder / "survey.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


@pytest.mark.parametrize("make", ODD)
def test_a_survey_photo_is_a_file_of_an_end(here: Path, make: Callable[[Path], None]) -> None:
    """A photo that is a pipe would hang the survey; one that is endless would fill the memory."""
    make(here / "odd.jpg")
    survey_with(here, "[[photo]]", 'file = "odd.jpg"')
    refused("survey", "check", "survey.toml")


@pytest.mark.parametrize(
    "name",
    [
        "/etc/hostname",
        "../secret.jpg",
        "a/../../secret.jpg",
        "link.jpg",
        "link/secret.jpg",
        "C:/secret.jpg",
        "a\\\\b.jpg",
        ".",
    ],
)
def test_a_survey_photo_lies_beside_its_file(here: Path, name: str) -> None:
    """A survey from a stranger would otherwise put the reader's own pictures into a report that is sent back."""
    job = here / "job"
    (job / "a").mkdir(parents=True)
    write_photo(here / "secret.jpg")
    (job / "link.jpg").symlink_to(here / "secret.jpg")
    (job / "link").symlink_to(here)
    survey_with(job, "[[photo]]", f'file = "{name}"')
    refused("survey", "check", "job/survey.toml")


def test_a_limit_set_that_a_survey_names_is_a_file_of_limits(here: Path) -> None:
    """The survey of a stranger names files of the reader: nothing of them may be told."""
    (here / "secret.toml").write_text('password = "SECRETWORD"\n', encoding="utf-8")
    (here / "odd.toml").symlink_to("/dev/zero")
    for name in ("/etc/passwd", "secret.toml", "odd.toml", "/dev/stdin", "../../etc/passwd"):
        survey_with(here, "[covering]", f'limits = ["{name}"]')
        said = refused("survey", "check", "survey.toml")
        assert "SECRETWORD" not in said
        assert "root:" not in said


def frames_folder(place: Path, **keys: str) -> Path:
    """A folder of one depth frame whose list names files as ``keys`` say."""
    capture = place / "frames"
    capture.mkdir()
    np.save(capture / "depth.npy", np.full((40, 50), 1500, np.uint16))
    write_photo(capture / "photo.jpg")
    frame = {"transform_matrix": np.eye(4).tolist(), "depth_file_path": "depth.npy", "file_path": "photo.jpg"} | keys
    top = {"fl_x": 40.0, "fl_y": 40.0, "cx": 25.0, "cy": 20.0, "w": 50, "h": 40, "frames": [frame]}
    (capture / "transforms.json").write_text(json.dumps(top), encoding="utf-8")
    return capture


@pytest.mark.parametrize("key", ["file_path", "depth_file_path", "confidence_file_path"])
@pytest.mark.parametrize("name", ["{out}", "../secret.jpg", "link.jpg", "/dev/zero", "pipe"])
def test_a_capture_names_nothing_outside_its_folder(here: Path, key: str, name: str) -> None:
    """A capture's list is text of somebody's: the photo that it names is printed into the report."""
    write_photo(here / "secret.jpg")
    capture = frames_folder(here, **{key: name.format(out=here / "secret.jpg")})
    (capture / "link.jpg").symlink_to(here / "secret.jpg")
    os.mkfifo(capture / "pipe")
    assert "outside its folder" in (said := refused("check", "frames")) or "a pipe or a device" in said


def test_the_other_list_of_frames_names_nothing_outside_either(here: Path) -> None:
    """The same for lists of times and names."""
    capture = frames_folder(here)
    (capture / "transforms.json").unlink()
    (capture / "camera.txt").write_text("40 40 25 20 50 40\n", encoding="utf-8")
    (capture / "groundtruth.txt").write_text("1.0 0 0 0 0 0 0 1\n", encoding="utf-8")
    for names in (("../secret.npy", "photo.jpg"), ("depth.npy", "../secret.jpg")):
        for list_name, name in zip(("depth.txt", "rgb.txt"), names, strict=True):
            (capture / list_name).write_text(f"1.0 {name}\n", encoding="utf-8")
        assert "outside its folder" in refused("check", "frames")


@pytest.mark.parametrize("uri", ["../secret.bin", "pipe", "%2e%2e/secret.bin", "/etc/passwd"])
def test_a_mesh_names_nothing_outside_its_folder(here: Path, uri: str) -> None:
    """A glTF file names its geometry; a pipe there would hang the reader."""
    (here / "secret.bin").write_bytes(b"\0" * 64)
    os.mkfifo(here / "capture" / "pipe")
    tree = {"asset": {"version": "2.0"}, "buffers": [{"uri": uri, "byteLength": 64}], "scenes": [], "meshes": []}
    (here / "capture" / "room.gltf").write_text(json.dumps(tree), encoding="utf-8")
    refused("check", "capture/room.gltf")


PLY = """ply
format ascii 1.0
comment TextureFile pipe
element vertex 3
property float x
property float y
property float z
element face 1
property list uchar int vertex_indices
end_header
0 0 0
1 0 0
0 1 0
3 0 1 2
"""


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("room.obj", "mtllib pipe\nusemtl a\nv 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"),
        ("room.ply", PLY),
        ("room.gltf", '{"asset": {"version": "2.0"}, "images": [{"uri": "pipe"}], "textures": [{"source": 0}]}'),
    ],
)
def test_no_material_of_a_mesh_is_looked_for(here: Path, name: str, text: str) -> None:
    """Materials and textures are named by meshes too; one that is a pipe would hang the reader, and none is needed."""
    os.mkfifo(here / "capture" / "pipe")
    (here / "capture" / name).write_text(text, encoding="utf-8")
    with soon(30), contextlib.suppress(FlatscanError):
        read(here / "capture" / name)


def test_no_program_is_started_for_a_picture(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pillow shows EPS by starting Ghostscript; a stranger's photo.jpg may be one."""
    from PIL import EpsImagePlugin

    def started(*_: object, **__: object) -> None:
        raise AssertionError("a program was started")

    monkeypatch.setattr(EpsImagePlugin, "Ghostscript", started)
    monkeypatch.setattr("subprocess.Popen", started)
    capture = frames_folder(here)
    eps = b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 50 40\n%%EndComments\n(x) show\n%%EOF\n"
    (capture / "photo.jpg").write_bytes(eps)
    scan = read(capture)
    assert all(frame.colour_path is None for frame in scan.frames)
    survey_with(here, "[[photo]]", 'file = "eps.jpg"')
    (here / "eps.jpg").write_bytes(eps)
    with pytest.raises(FlatscanError, match="not a JPEG or PNG"):
        read_survey(here / "survey.toml")


def test_a_folder_with_control_signs_in_its_name(here: Path) -> None:
    """The name of a result folder is repeated in messages of every later command."""
    odd = here / NAME
    odd.mkdir()
    for command in (["level", odd], ["compare", odd, odd], ["check", odd], ["check", f"capture/{CLOUD}", "--out", odd]):
        refused(*command)
