"""The result folder is whole or not there."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from flatscan.errors import OutputError
from flatscan.levelling.basis import Basis
from flatscan.report import output
from flatscan.report.output import FILE_NAMES, write_report
from flatscan.report.report import Report
from flatscan.report.saved_basis import load_basis

#: Files of what this report has none of: joints, hand readings, a way that was chosen, what it was planned from.
NOT_HERE = {
    "joints.csv", "stations.csv", "floor.jpg", "readings.csv", "next_readings.csv", "after.png", "joint_work.csv",
    "floor.npz",
}  # fmt: skip


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch, small_png: bytes) -> None:
    """The picture is tested elsewhere; here it only takes time."""
    monkeypatch.setattr("flatscan.report.picture.heatmap.heatmap_png", lambda _: small_png)


def test_every_file_is_written_and_nothing_else(report: Report, tmp_path: Path) -> None:
    out = tmp_path / "result"
    files = write_report(report, out)
    wanted = [name for name in FILE_NAMES if name not in NOT_HERE]
    assert [path.name for path in files] == wanted
    assert sorted(p.name for p in out.iterdir()) == sorted(wanted)
    assert all(path.stat().st_size > 0 for path in files)
    assert [p.name for p in out.parent.iterdir()] == ["result"]
    assert (out / "result.json").read_text(encoding="utf-8").rstrip("\n") == output.as_json(report)


@pytest.mark.usefixtures("quick")
def test_what_the_plan_was_made_from_is_kept_with_it(report: Report, tmp_path: Path) -> None:
    basis = Basis(report.surface, ((2000.0, 3.0),), ("bs8204-sr1",), "level_areas", None)
    files = write_report(replace(report, basis=basis), tmp_path / "result")
    assert {path.name for path in files} == set(FILE_NAMES) - NOT_HERE | {"floor.npz"}
    kept = load_basis(tmp_path / "result" / "floor.npz")
    assert kept.surface.estimate_mm.tobytes() == report.surface.estimate_mm.tobytes()
    assert kept.gap_limits == basis.gap_limits


@pytest.mark.usefixtures("quick")
def test_nothing_to_mark_out_nothing_drawn(report: Report, tmp_path: Path) -> None:
    files = write_report(replace(report, plan=replace(report.plan, areas=())), tmp_path / "result")
    assert {path.name for path in files} == set(FILE_NAMES) - NOT_HERE - {
        "marking_out.pdf",
        "marking_out.csv",
        "plan.dxf",
    }


@pytest.mark.parametrize("error", [RuntimeError("boom"), KeyboardInterrupt()])
@pytest.mark.usefixtures("quick")
def test_a_failure_midway_leaves_nothing(
    report: Report, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: BaseException
) -> None:
    def fail(*_: object) -> str:
        raise error

    monkeypatch.setattr("flatscan.report.page.page.page_html", fail)
    with pytest.raises(type(error)):
        write_report(report, tmp_path / "result")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("quick")
def test_a_failure_midway_keeps_the_old_result(report: Report, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "result"
    out.mkdir()
    (out / "result.json").write_text("old")

    def fail(*_: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("flatscan.report.tables.tables.areas_csv", fail)
    with pytest.raises(OutputError, match="No space left on device"):
        write_report(report, out, force=True)
    assert [p.name for p in tmp_path.iterdir()] == ["result"]
    assert (out / "result.json").read_text() == "old"


@pytest.mark.usefixtures("quick")
def test_a_failed_rename_puts_the_old_result_back(
    report: Report, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "result"
    write_report(report, out)
    (out / "gaps.csv").write_text("old")
    rename = Path.rename

    def fail_for_new(self: Path, target: Path) -> Path:
        if self.name.endswith(".part"):
            raise OSError(5, "Input/output error")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", fail_for_new)
    with pytest.raises(OutputError, match="Input/output error"):
        write_report(report, out, force=True)
    assert [p.name for p in tmp_path.iterdir()] == ["result"]
    assert (out / "gaps.csv").read_text() == "old"


@pytest.mark.usefixtures("quick")
def test_an_existing_folder_is_refused_even_when_empty(report: Report, tmp_path: Path) -> None:
    out = tmp_path / "result"
    out.mkdir()
    with pytest.raises(OutputError, match="pass --force"):
        write_report(report, out)
    assert list(out.iterdir()) == []


@pytest.mark.usefixtures("quick")
def test_force_replaces_a_result(report: Report, tmp_path: Path) -> None:
    out = tmp_path / "result"
    write_report(report, out)
    (out / "gaps.csv").write_text("stale")
    write_report(report, out, force=True)
    assert (out / "gaps.csv").read_text(encoding="utf-8").startswith("letter,")
    assert [p.name for p in tmp_path.iterdir()] == ["result"]


@pytest.mark.usefixtures("quick")
def test_force_never_removes_what_flatscan_did_not_write(report: Report, tmp_path: Path) -> None:
    # --out pointed at a home folder with --force must not empty it.
    out = tmp_path / "home"
    out.mkdir()
    (out / "photos.zip").write_text("precious")
    with pytest.raises(OutputError, match=r"photos\.zip"):
        write_report(report, out, force=True)
    assert (out / "photos.zip").read_text() == "precious"


#: A sheet of next readings, and a readings table of one's own by a name that results use too.
TYPED = {
    "next_readings.csv": "number,what,x_m,y_m,value_mm,u_mm,note\n1,lip,1,2,{},,\n",
    "readings.csv": "number,what,x_m,y_m,value_mm,0.50 m\n1,straightedge,1,2,,{}\n",
}


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("name", TYPED)
def test_force_never_removes_what_a_person_typed(report: Report, tmp_path: Path, name: str) -> None:
    # Whoever fills in a result's next readings and checks again into the same folder must not lose them.
    out = tmp_path / "result"
    write_report(report, out)
    (out / name).write_text(TYPED[name].format("0.4"))
    with pytest.raises(OutputError, match=rf"'{name}' in the folder holds readings that were typed in"):
        write_report(report, out, force=True)
    with pytest.raises(OutputError, match=r"the folder exists. Choose another folder\.$"):
        write_report(report, out)
    assert (out / name).read_text() == TYPED[name].format("0.4")
    (out / name).write_text(TYPED[name].format(""))
    write_report(report, out, force=True)
    assert not (out / name).exists()


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("force", [False, True])
def test_a_file_of_that_name_is_refused(report: Report, tmp_path: Path, force: bool) -> None:
    out = tmp_path / "result"
    out.write_text("a file")
    with pytest.raises(OutputError, match="file of that name"):
        write_report(report, out, force=force)
    assert out.read_text() == "a file"


@pytest.mark.usefixtures("quick")
def test_a_parent_that_is_a_file_or_missing_is_one_sentence(report: Report, tmp_path: Path) -> None:
    (tmp_path / "note").write_text("a file")
    for parent in ("note", "not there"):
        with pytest.raises(OutputError, match=f"there is no folder .*{parent}"):
            write_report(report, tmp_path / parent / "result")
    assert [p.name for p in tmp_path.iterdir()] == ["note"]


@pytest.mark.usefixtures("quick")
def test_a_link_to_a_result_keeps_being_a_link(report: Report, tmp_path: Path) -> None:
    out, link = tmp_path / "result", tmp_path / "latest"
    write_report(report, out)
    link.symlink_to(out, target_is_directory=True)
    write_report(report, link, force=True)
    assert link.is_symlink()
    assert (out / "result.json").exists()


def test_hostile_names_are_written_without_harm(hostile: Report, tmp_path: Path) -> None:
    files = write_report(hostile, tmp_path / "result")
    assert all(path.exists() for path in files)
