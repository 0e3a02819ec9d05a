"""What the other commands make of the hostile result, and of results that somebody has tampered with."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import jsonschema
import openpyxl
import pytest

from flatscan.report.comparison.records import comparison_schema
from flatscan.report.result.levelling_file import levelling_schema

from .hostile import FORBIDDEN, NAME, PAYLOADS, QUICK, survey_text, write_cloud
from .looking import look_at, said_safely
from .running import Job, run, watched

#: Texts that JSON can hold and a survey file cannot.
JSON_TEXT = f"{NAME} {''.join(PAYLOADS)} \x00\u2028</script><script>window.broken=1</script>"


def test_the_plan_made_anew_is_as_tame(job: Job, tmp_path: Path) -> None:
    """`level` takes names from the kept floor: a result folder from a stranger is one more hostile file."""
    out = tmp_path / "plan"
    ran = run("level", job.result, "--product", job.inputs_of["product"], "--out", out, "--full", terminal=True)
    assert ran.code == 0, ran.err
    said_safely(ran.out, ran.err)
    look_at(out, "SECRET")
    found = json.loads((out / "levelling.json").read_bytes())
    jsonschema.validate(found, levelling_schema(), cls=jsonschema.Draft202012Validator)


def test_json_on_the_terminal_is_as_tame(job: Job) -> None:
    """What is printed for programs is seen by people first."""
    ran = run("level", job.result, "--json", terminal=True)
    said_safely(ran.out, ran.err)
    ran = run("survey", "check", job.inputs_of["survey"], "--json")
    said_safely(ran.out, ran.err)
    ran = run("survey", "check", job.inputs_of["survey"], terminal=True)
    said_safely(ran.out, ran.err)
    ran = run("limits", job.inputs_of["limits"], terminal=True)
    assert ran.code == 0
    said_safely(ran.out, ran.err)


@pytest.fixture(scope="module")
def after(job: Job, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same room later, one hollow filled, with the same hostile survey."""
    place = tmp_path_factory.mktemp("SECRETAFTER")
    cloud, survey = place / f"later {NAME}.csv", place / "survey.toml"
    write_cloud(cloud, filled=True)
    survey.write_text(survey_text([]), encoding="utf-8")
    ran = run(
        "check", cloud, *QUICK, "--survey", survey, "--limits", job.inputs_of["limits"],
        "--out", place / f"after {NAME}",
    )  # fmt: skip
    assert ran.code == 0, ran.err
    return place / f"after {NAME}"


def everywhere(value: Any, text: str) -> Any:
    """The same tree with every free text made hostile."""
    if isinstance(value, dict):
        return {
            key: text if key in _FREE and isinstance(inner, str) else everywhere(inner, text)
            for key, inner in value.items()
        }
    return [everywhere(inner, text) for inner in value] if isinstance(value, list) else value


#: Fields of result.json that may hold any text.
_FREE = {
    "where", "text", "path", "joint", "title", "document", "table", "reference", "note", "action", "reason", "why",
    "advice", "limit_id", "placement",
}  # fmt: skip


@pytest.fixture(scope="module")
def tampered(job: Job, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The hostile result, its result.json rewritten by somebody else's program."""
    folder = tmp_path_factory.mktemp("tampered") / f"before {NAME}"
    shutil.copytree(job.result, folder)
    path = folder / "result.json"
    path.write_text(json.dumps(everywhere(json.loads(path.read_bytes()), JSON_TEXT)), encoding="utf-8")
    return folder


@pytest.mark.parametrize("which", ["own", "tampered"])
def test_a_comparison_is_as_tame(job: Job, tampered: Path, after: Path, which: str, tmp_path: Path) -> None:
    """`compare` takes words from two result files that anybody may have written."""
    pytest.importorskip("open3d", reason="open3d has no wheel for this machine")
    out = tmp_path / "compared"
    with watched(tmp_path / "watched") as changed:
        ran = run(
            "compare", job.result if which == "own" else tampered, after, "--turned", "0", "--out", out, terminal=True
        )
        assert ran.code == 0, ran.err
        assert [name for name in changed() if "/home/" not in name and not name.endswith(("/home", "/passing"))] == []
    said_safely(ran.out, ran.err)
    look_at(out, "SECRET")
    found = json.loads((out / "comparison.json").read_bytes())
    jsonschema.validate(found, comparison_schema(), cls=jsonschema.Draft202012Validator)


@pytest.mark.parametrize("text", [PAYLOADS[1], PAYLOADS[7], PAYLOADS[16], NAME, "\ud800", "\x00", "x" * 5000])
def test_a_sheet_takes_any_title(text: str, tmp_path: Path) -> None:
    """The title goes to a PDF, a CSV and a workbook: a formula in the workbook would run on opening."""
    out = tmp_path / "sheet"
    ran = run("sheet", "--room", "3 x 2 m", "--with", "straightedge", "--title", text, "--out", out)
    if ran.code == 2:
        assert ran.err.startswith("flatscan: ")
        assert not FORBIDDEN & set(ran.err.rstrip("\n"))
        assert not out.exists()
        return
    assert ran.code == 0, ran.err
    said_safely(ran.out, ran.err)
    look_at(out, "SECRET")
    book = openpyxl.load_workbook(out / "readings.xlsx")
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type != "f", cell.value
                assert cell.hyperlink is None
    again = run("check", out)
    assert again.code == 2
    assert "nothing is filled in" in again.err


def test_new_survey_names_its_file_safely(tmp_path: Path) -> None:
    """The command repeats the name that it was given."""
    ran = run("survey", "new", tmp_path / f"{NAME}.toml", terminal=True)
    assert ran.code == 0
    said_safely(ran.out.rstrip("\n"), ran.err)


@pytest.mark.long
def test_a_demo_names_its_folder_safely(tmp_path: Path) -> None:
    """So does the demonstration, and the folder it makes is a result like any other."""
    folder = tmp_path / f"demo {NAME}"
    ran = run("demo", folder, "--kind", "levels", terminal=True)
    assert ran.code == 0, ran.err
    said_safely(ran.out, ran.err)
    look_at(folder / "result", str(tmp_path))
