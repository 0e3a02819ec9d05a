"""``flatscan level`` and the levelling options: what cannot be used is one sentence, exit code 2, and no file."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from flatscan.cli.main import run
from flatscan.levelling.basis import Basis
from flatscan.report.saved_basis import FILE_NAME, basis_bytes
from flatscan.surface.surface import NoiseModel, Surface

PRODUCT = 'name = "a"\nsource = "b"\nkg_per_m2_mm = 1.6\nbag_kg = 20\nleast_layer_mm = 1\nwaste_share = 0.1\n'
ZONE = '[[zone]]\nname = "drain"\nkind = "{}"\ncorners = {}\n'
FAR = "[[30.0, 30.0], [31.0, 30.0], [31.0, 31.0]]"
NEAR = "[[0.5, 0.5], [1.0, 0.5], [1.0, 1.0], [0.5, 1.0]]"
SAMPLE = Path(__file__).parents[2] / "sample_scans" / "living_room_levels" / "levels.csv"


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to stand in, with a result of 2 x 1.5 m in ``result`` and a few things beside it."""
    height = np.zeros((30, 40), dtype=np.float32)
    height[10:16, 12:20] = -6.0
    surface = Surface(
        height_mm=height,
        estimate_mm=height.copy(),
        white_mm=np.full_like(height, 0.1),
        count=np.ones(height.shape, dtype=np.int32),
        inside=np.ones(height.shape, dtype=bool),
        cell_mm=50.0,
        origin_mm=(0.0, 0.0),
        floor_from_scan=np.eye(4),
        outline=(np.array([[0.0, 0.0], [2000.0, 0.0], [2000.0, 1500.0], [0.0, 1500.0]]),),
        noise=NoiseModel(0.1, 0.0, 50.0, 0.0, "stated"),
        slope=None,
        kind="cloud",
    )
    basis = Basis(surface, ((1000.0, 3.0),), ("over-old-tiles",), "level_areas", None, directions=4)
    for folder in ("result", "broken", "empty"):
        (tmp_path / folder).mkdir()
    content = basis_bytes(basis)
    (tmp_path / "result" / FILE_NAME).write_bytes(content)
    (tmp_path / "broken" / FILE_NAME).write_bytes(content[: len(content) // 2])
    (tmp_path / "note.txt").write_text("no result")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def files(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def ends(monkeypatch: pytest.MonkeyPatch, *words: str) -> int:
    monkeypatch.setattr(sys, "argv", ["flatscan", *words])
    with pytest.raises(SystemExit) as ended:
        run()
    return int(ended.value.code or 0)


def refused(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *words: str, folder: str = "plan"
) -> str:
    """The one sentence; nothing is printed beside it and no file is made or changed."""
    before = files(place)
    assert ends(monkeypatch, *words, "--out", folder) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert said.err.startswith("flatscan: ")
    assert said.err.endswith((".\n", "?\n"))
    assert "Traceback" not in said.err
    assert files(place) == before
    assert not (place / "plan").exists()
    return said.err


def test_the_result_that_is_broken_below_can_be_planned(place: Path, monkeypatch, capsys) -> None:
    """Else everything would be refused for the result itself."""
    (place / "mine.toml").write_text(PRODUCT)
    (place / "survey.toml").write_text(ZONE.format("no grinding", NEAR))
    assert ends(monkeypatch, "level", "result", "--product", "mine.toml", "--survey", "survey.toml", "--json") == 0
    assert '"chosen": "patch"' in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--method", "spread"), "'spread' is not a way of levelling known here. Use one of patch, grind-and-patch,"),
        (("--method", ""), "is not a way of levelling known here"),
        (("--paper", "a5"), "'a5' is not a paper known here. Use a4 or letter."),
        (("--margin", "-1"), "--margin: '-1' is not a usable length"),
        (("--margin", "much"), "--margin: 'much' is not a length"),
        (("--margin", "3 mm"), "--margin: a margin of 3 mm leaves nothing of a limit. Use a smaller one."),
        (("--product", "none.toml"), "--product none.toml: there is no such file. Check the path."),
        (("--product", "empty"), "--product empty: this is a folder. Name the file in it."),
        (("--product", "note.txt"), "note.txt: not a readable TOML file"),
        (("--survey", "none.toml"), "--survey none.toml: there is no such file. Check the path."),
        (("--survey", "result"), "--survey result: this is a folder. Name the file in it."),
        (("--survey", f"result/{FILE_NAME}"), f"{FILE_NAME}: it is not text, so it cannot be a survey file"),
        (("--seed", "-1"), "--seed"),
        (("--seed", "one"), "--seed"),
        (("--metod", "patch"), "No such option"),
    ],
)
def test_an_option_that_cannot_be_used(place: Path, monkeypatch, capsys, words, sentence) -> None:
    assert sentence in refused(place, monkeypatch, capsys, "level", "result", *words)


@pytest.mark.parametrize(
    ("lines", "sentence"),
    [
        ('currency = "EUR"\nbag_price = -3\n', "mine.toml: bag_price must be 0 or more"),
        ('currency = "EUR"\nbag_price = nan\n', "mine.toml: bag_price must be 0 or more"),
        ("greatest_layer_mm = 0.5\n", "mine.toml: greatest_layer_mm must be more than least_layer_mm"),
        ("bag = 3\n", "mine.toml: unknown key bag"),
    ],
)
def test_a_product_that_cannot_be(place: Path, monkeypatch, capsys, lines, sentence) -> None:
    (place / "mine.toml").write_text(PRODUCT + lines)
    assert sentence in refused(place, monkeypatch, capsys, "level", "result", "--product", "mine.toml")


@pytest.mark.parametrize(
    ("survey", "sentence"),
    [
        (ZONE.format("no fill", FAR), "'drain' lies outside the judged floor; the floor is 2.0 m by 1.5 m"),
        (ZONE.format("no fil", NEAR), 'there is no kind "no fil". Did you mean "no fill"?'),
        ("[[door]]\nline = [[9, 9], [9, 8]]\ngreatest_build_up_mm = 5\n", "'door 1' lies outside the judged floor"),
        ("[levelling]\nmovement_joints = [[[9, 9], [9, 8]]]\n", "'movement joint 1' lies outside the judged floor"),
        (ZONE.format("tiles come out", NEAR), "[[zone]] 1 ('drain'): depth_mm is missing"),
    ],
)
def test_a_survey_that_does_not_fit(place: Path, monkeypatch, capsys, survey, sentence) -> None:
    (place / "survey.toml").write_text(survey)
    said = refused(place, monkeypatch, capsys, "level", "result", "--survey", "survey.toml")
    assert said.startswith("flatscan: survey.toml: ")
    assert sentence in said


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ("none", "none: there is no such folder. Give the result folder that flatscan check wrote with --out."),
        ("note.txt", "note.txt: this is a file. Give the result folder"),
        (f"result/{FILE_NAME}", f"{FILE_NAME}: this is a file. Give the result folder"),
        (".", f"{FILE_NAME}: the folder has no such file. Run flatscan check again"),
        ("empty", f"{FILE_NAME}: the folder has no such file. Run flatscan check again"),
    ],
)
def test_what_is_no_result_folder(place: Path, monkeypatch, capsys, given, sentence) -> None:
    if given == ".":  # the plan would be made inside it, which is no fault
        assert sentence in refused(place, monkeypatch, capsys, "level", given, folder="empty/plan")
        return
    assert sentence in refused(place, monkeypatch, capsys, "level", given)


def test_a_result_that_was_cut_short(place: Path, monkeypatch, capsys) -> None:
    said = refused(place, monkeypatch, capsys, "level", "broken")
    assert f"{FILE_NAME}: it is broken or from another version. Run flatscan check again" in said


def test_a_place_that_cannot_be_written_is_told_before_the_work(place: Path, monkeypatch, capsys) -> None:
    monkeypatch.setattr("flatscan.replanning.replan", lambda *_, **__: pytest.fail("it was planned first"))
    for folder, sentence in (
        ("note.txt", "a file of that name exists"),
        ("no/plan", "there is no folder"),
        ("empty", "the folder exists"),
        ("result", "the folder exists"),
    ):
        assert sentence in refused(place, monkeypatch, capsys, "level", "result", folder=folder)
    for folder in ("result", "broken"):
        said = refused(place, monkeypatch, capsys, "level", "result", "--force", folder=folder)
        assert f"'{FILE_NAME}', which is not part of a levelling plan, so it is not replaced" in said
    (place / "empty" / "mine.toml").write_text(PRODUCT)
    beside = ("level", "result", "--product", "empty/mine.toml", "--force")
    assert "'mine.toml'" in refused(place, monkeypatch, capsys, *beside, folder="empty")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--method", "spread"), "'spread' is not a way of levelling known here"),
        (("--paper", "a5"), "'a5' is not a paper known here"),
        (("--product", "none.toml"), "--product none.toml: there is no such file"),
        (("--survey", "empty"), "--survey empty: this is a folder"),
        (("--survey", "note.txt"), "note.txt: not a readable TOML file"),
    ],
)
def test_check_refuses_the_same_before_it_reads_the_capture(place: Path, monkeypatch, capsys, words, sentence) -> None:
    monkeypatch.setattr("flatscan.workflow.read", lambda *_, **__: pytest.fail("the capture was read first"))
    assert sentence in refused(place, monkeypatch, capsys, "check", str(SAMPLE), *words)
