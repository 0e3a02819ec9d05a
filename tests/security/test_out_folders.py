"""Where files are written: never outside the result folder, and there whole or not at all."""

from __future__ import annotations

import importlib
import os
import sys
from pathlib import Path

import pytest

from flatscan import new_folder
from flatscan.errors import FlatscanError

from .hostile import QUICK, write_cloud
from .running import refused, run, snapshot, watched

CLOUD = "cloud.csv"
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pipes, links and devices of other systems")


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
    "flatscan.report.picture.heatmap.heatmap_png", "flatscan.report.page.page.page_html",
    "flatscan.report.tables.tables.findings_csv",
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
