"""Where files are written and which are read: never outside the result folder, never one that has no end."""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from flatscan import new_folder
from flatscan.errors import FlatscanError
from flatscan.sources import read
from flatscan.sources.survey import read_survey

from .hostile import NAME, QUICK, refused, run, snapshot, soon, watched, write_cloud, write_photo

CLOUD = "cloud.csv"
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pipes, links and devices of other systems")


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working directory with a capture, a folder of somebody's and a file of somebody's."""
    place = tmp_path / "work"
    (place / "mine").mkdir(parents=True)
    (place / "mine" / "letter.txt").write_text("mine", encoding="utf-8")
    (place / "file").write_text("mine", encoding="utf-8")
    (place / "capture").mkdir()
    write_cloud(place / "capture" / CLOUD)
    monkeypatch.chdir(place)
    return place


def out_refused(here: Path, out: str, *more: str) -> str:
    before = snapshot(here)
    said = refused("check", f"capture/{CLOUD}", "--out", out, *more)
    assert snapshot(here) == before
    return said


@pytest.mark.parametrize("force", [(), ("--force",)])
def test_what_is_there_is_not_replaced(here: Path, force: tuple[str, ...]) -> None:
    """--out names a place to write: a file, a stranger's folder or the capture must survive it, forced or not."""
    (here / "link to mine").symlink_to(here / "mine")
    (here / "loose").symlink_to(here / "nowhere")
    (here / "link to file").symlink_to(here / "file")
    for out in (
        "file",
        "mine",
        "capture",
        ".",
        "mine/../mine",
        "link to mine",
        "loose",
        "link to file",
        "",
        "/",
        "/dev/null",
    ):
        out_refused(here, out, *force)
    out_refused(here, f"capture/{CLOUD}", *force)
    out_refused(here, "not there/result", *force)
    out_refused(here, "x" * 300)


def test_an_unwritable_place_is_told_before_the_work(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Minutes of work must not end in a refusal that was known before."""
    monkeypatch.setattr(
        os, "access", lambda _, mode, **__: mode != os.W_OK
    )  # the tests may run as somebody who may do anything
    assert "you may not write into" in out_refused(here, "result")


def test_a_result_through_a_link_stays_in_its_place(here: Path) -> None:
    """A link put where the result will be must not lead the files elsewhere."""
    ran = run("check", f"capture/{CLOUD}", *QUICK, "--out", "result")
    assert ran.code == 0
    (here / "link").symlink_to(here / "result")
    inside = {path.name for path in (here / "result").iterdir()}
    (here / "result" / "letter.txt").write_text("mine", encoding="utf-8")
    out_refused(here, "link", "--force")
    (here / "result" / "letter.txt").unlink()
    for name in ("report.html", "gaps.csv"):  # what a result is made of, made a link: what it leads to stays
        (here / "result" / name).unlink()
        (here / "result" / name).symlink_to(here / "file")
    before = snapshot(here / "mine", here / "capture")
    ran = run("check", f"capture/{CLOUD}", *QUICK, "--out", "result", "--force")
    assert ran.code == 0, ran.err
    assert (here / "file").read_text(encoding="utf-8") == "mine"
    assert not any(path.is_symlink() for path in (here / "result").iterdir())
    assert {path.name for path in (here / "result").iterdir()} == inside
    assert snapshot(here / "mine", here / "capture") == before
    assert {path.name for path in here.iterdir()} == {"capture", "file", "link", "mine", "result"}


WRITERS = [
    "flatscan.report.heatmap.heatmap_png", "flatscan.report.page.page_html", "flatscan.report.tables.findings_csv",
    "flatscan.report.marking.dxf.plan_dxf", "flatscan.report.record.record_pdf.record_pdf",
]  # fmt: skip


FAILURES = (RuntimeError("broken"), OSError(28, "No space left on device"), KeyboardInterrupt())


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> object:
    """One report, to be written many times."""
    from flatscan.settings import JointSettings, MeasureSettings, Settings, SurfaceSettings
    from flatscan.workflow import check

    path = tmp_path_factory.mktemp("small") / CLOUD
    write_cloud(path)
    settings = Settings(
        measure=MeasureSettings(edges_mm=(1000.0,), directions=4, draws=4),
        surface=SurfaceSettings(cell_mm=40.0),
        joints=JointSettings(find=False),
    )
    return check(path, settings=settings)


@pytest.mark.parametrize(
    ("writer", "error"),
    list(zip(WRITERS, [*FAILURES, *FAILURES], strict=False)),
    ids=lambda one: str(one).rsplit(".", 1)[-1],
)
def test_a_failure_in_the_middle_leaves_nothing(
    small: object, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, writer: str, error: BaseException
) -> None:
    """Half a result looks like a whole one; and an older one must survive the failure of its successor."""
    from flatscan.report.output import write_report

    def fails(*_: object, **__: object) -> None:
        raise error

    with watched(tmp_path) as changed:
        (tmp_path / "old").mkdir()
        (tmp_path / "old" / "result.json").write_text("{}", encoding="utf-8")
        module, _, name = writer.rpartition(".")
        monkeypatch.setattr(importlib.import_module(module), name, fails)
        for out, force in ((tmp_path / "result", False), (tmp_path / "old", True)):
            with pytest.raises((type(error), FlatscanError)):
                write_report(small, out, force=force)  # type: ignore[arg-type]
        left = {Path(name).name for name in changed() if "/home/" not in name and not name.endswith("/home")}
        assert left <= {"old", "result.json", "passing"}
        assert list((tmp_path / "passing").iterdir()) == []
    assert (tmp_path / "old" / "result.json").read_text(encoding="utf-8") == "{}"


def test_the_old_result_comes_back_when_the_last_step_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Between taking the old folder away and putting the new one there the machine may fail."""
    out = tmp_path / "out"
    out.mkdir()
    (out / "a").write_text("old", encoding="utf-8")
    true_rename = Path.rename

    def rename(self: Path, target: Path) -> Path:
        if self.name.endswith(".part"):
            raise OSError(5, "Input/output error")
        return true_rename(self, target)

    monkeypatch.setattr(Path, "rename", rename)
    with pytest.raises(FlatscanError, match="cannot be written"):
        new_folder.write_folder(out, lambda _: None, may_hold=("a",), part_of="a test", force=True)
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
    assert (out / "a").read_text(encoding="utf-8") == "old"


def test_commands_that_write_one_thing_keep_to_it(here: Path) -> None:
    """`survey new` through a link would overwrite what the link leads to; a demo in a folder of somebody's too."""
    (here / "link.toml").symlink_to(here / "file")
    (here / "loose.toml").symlink_to(here / "mine" / "new.toml")
    before = snapshot(here)
    refused("survey", "new", "link.toml")
    refused("survey", "new", "mine")
    refused("survey", "new", "not there/x.toml")
    refused("demo", "mine")
    refused("sheet", "--room", "3 x 2 m", "--out", "mine")
    refused("sheet", "--room", "3 x 2 m", "--out", "mine", "--force")
    assert snapshot(here) == before


# What has no end, or is no file


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
