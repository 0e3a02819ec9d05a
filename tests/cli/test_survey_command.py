"""``flatscan survey new`` and ``flatscan survey check``, as their user runs them."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
from typer.testing import CliRunner

from flatscan.cli import main
from flatscan.cli.main import app
from flatscan.errors import EXIT_BAD_INPUT
from flatscan.report.result.survey_check import survey_check_schema

SAMPLES = Path(__file__).parents[2] / "sample_scans"


def said(*words: object) -> str:
    done = CliRunner().invoke(app, ["survey", *map(str, words)], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


def refused(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *words: object) -> str:
    monkeypatch.setattr("sys.argv", ["flatscan", "survey", *map(str, words)])
    with pytest.raises(SystemExit) as ended:
        main.run()
    assert ended.value.code == EXIT_BAD_INPUT
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.count("\n") == 1
    return shown.err


def test_from_a_new_file_to_a_checked_one(tmp_path: Path) -> None:
    path = tmp_path / "my survey.toml"
    assert said("new", path) == f"Written: {path}. Fill in what you know, then run `flatscan survey check '{path}'`.\n"
    before = said("check", path)
    assert "Nothing is recorded yet." in before
    assert "not recorded (date in [visit])" in before
    path.write_text(path.read_text(encoding="utf-8").replace("# date", "date"), encoding="utf-8")
    after = said("check", path)
    assert "Recorded: 1 of the 35 things of a full record; " in after
    assert "2026-05-04" in after
    assert "not recorded (date" not in after


def test_new_replaces_nothing_unless_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "survey.toml"
    path.write_text("mine", encoding="utf-8")
    assert "the file exists" in refused(monkeypatch, capsys, "new", path)
    assert path.read_text(encoding="utf-8") == "mine"
    said("new", path, "--force")
    assert path.read_text(encoding="utf-8").startswith("# SURVEY OF A FLOOR")


@pytest.mark.parametrize("sample", ["old_tiled_kitchen", "shop_floor_levels", "dining_room_straightedge"])
def test_every_sample_leaves_something_out_on_purpose_and_says_so_in_80_columns(sample: str) -> None:
    shown = said("check", SAMPLES / sample / "survey.toml")
    lines = shown.splitlines()
    assert max(map(len, lines)) <= 80
    assert "survey.toml can be read." in lines[0]
    assert "not recorded (" in shown
    assert "invented" in shown


def test_units_are_those_of_the_reader() -> None:
    kitchen = SAMPLES / "old_tiled_kitchen" / "survey.toml"
    assert "64.4 °F" in said("check", kitchen, "--units", "imperial")
    assert "18 °C" in said("check", kitchen)


def test_for_programs_the_same_by_a_schema() -> None:
    found = json.loads(said("check", SAMPLES / "old_tiled_kitchen" / "survey.toml", "--json"))
    schema = survey_check_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(found)
    assert found["schema"] == "flatscan-survey-check/1"
    assert {entry["key"] for entry in found["missing"]} >= {"adhesive in [old_covering]", "moves in [[crack]]"}
    assert all(entry["told"] for entry in found["recorded"])
    assert found["survey"]["photos"][0]["file"] == "hollow_tile.jpg"


def test_a_limit_set_that_is_not_known_is_found_before_the_long_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "survey.toml"
    path.write_text('[covering]\nlimits = ["over-old-tile"]\n', encoding="utf-8")
    said_of_it = refused(monkeypatch, capsys, "check", path)
    assert "there is no limit set of that name. Did you mean over-old-tiles?" in said_of_it


def test_what_cannot_be_read_ends_with_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "survey.toml"
    path.write_text('[climate]\nair_c = "20"\n', encoding="utf-8")
    assert "[climate]: air_c is the text" in refused(monkeypatch, capsys, "check", path)
    assert "there is no such survey file" in refused(monkeypatch, capsys, "check", tmp_path / "none.toml")
    assert "Missing argument 'FILE'" in refused(monkeypatch, capsys, "check")


def test_without_a_command_the_help_is_shown() -> None:
    assert "Start or check a survey file" in said()


def test_the_survey_commands_load_nothing_heavy_for_their_help() -> None:
    import subprocess
    import sys

    code = (
        "import sys; sys.argv = ['flatscan', 'survey', 'check', '--help']\n"
        "from flatscan.cli.main import app\n"
        "try:\n    app(prog_name='flatscan')\nexcept SystemExit:\n    pass\n"
        "print('loaded', [m for m in ('numpy', 'PIL', 'shapely', 'msgspec') if m in sys.modules])"
    )
    shown = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout
    assert shown.endswith("loaded []\n")
