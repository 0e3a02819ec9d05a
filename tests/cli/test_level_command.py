"""``flatscan level`` on the folder of a check, and the levelling options of ``flatscan check`` itself."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import get_args

import jsonschema
import pytest
from pypdf import PdfReader
from typer.testing import CliRunner

from flatscan.cli import options
from flatscan.cli.main import app
from flatscan.levelling.plan import METHOD_NAMES
from flatscan.report.level_output import FILE_NAMES
from flatscan.report.result.levelling_file import levelling_schema
from flatscan.settings import Paper

SCAN = Path(__file__).parents[2] / "sample_scans" / "hallway_cloud"
#: One edge in a few directions on coarse cells: the same road through the program in less time.
QUICK = ("--no-joints", "--edges", "2 m", "--directions", "4", "--cell", "40 mm")
#: What a plan with something to mark out and without joints writes, in the order in which it is told.
WRITTEN = ["levelling.json", "methods.csv", "areas.csv", "marking_out.pdf", "marking_out.csv", "plan.dxf", "after.png"]
#: Points of a page: 8.5 x 11 in and 210 x 297 mm, 72 points to an inch.
PAPERS = {"letter": (612.0, 792.0), "a4": (595.28, 841.89)}
PRICED = """name = "invented"
source = "invented"
kg_per_m2_mm = 1.6
bag_kg = 20
least_layer_mm = 1
greatest_layer_mm = 30
waste_share = 0.1
currency = "EUR"
bag_price = 20
primer_price_per_kg = 8
fill_price_per_m2 = 12
grind_price_per_m2_mm = 9
lift_price_per_m2 = 30
"""
SURVEY = """[[door]]
name = "hall door"
line = [[0.0, 0.2], [0.0, 1.1]]
greatest_build_up_mm = 25

[[zone]]
name = "drain"
kind = "no fill"
corners = [[4.0, 0.2], [4.2, 0.2], [4.2, 0.4], [4.0, 0.4]]
"""


def said(*words: object) -> str:
    """What the command prints to standard output; it must not fail."""
    done = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


def planned(*words: object) -> dict:
    """``levelling`` of what ``flatscan level --json`` prints."""
    return json.loads(said("level", *words, "--json"))["levelling"]


def by_name(levelling: dict) -> dict:
    return {method["name"]: method for method in levelling["methods"]}


def told_as_written(words: str) -> list[str]:
    """The names under "Written"."""
    lines = words[words.index("\nWritten\n") :].replace("\n", " ")
    return [name.strip() for name in lines[lines.rindex(": ") + 2 :].split(",")]


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("level") / "result"
    said("check", SCAN, *QUICK, "--out", out)
    return out


@pytest.fixture(scope="module")
def product(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("product") / "mine.toml"
    path.write_text(PRICED)
    return path


@pytest.fixture(scope="module")
def survey(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("survey") / "survey.toml"
    path.write_text(SURVEY)
    return path


def test_the_options_offer_what_the_plan_knows() -> None:
    assert options.METHODS == METHOD_NAMES
    assert options.PAPERS == get_args(Paper) == ("a4", "letter")


def test_the_files_are_those_that_are_named(result: Path, tmp_path: Path) -> None:
    out = tmp_path / "plan"
    words = said("level", result, "--out", out, "--full")
    assert told_as_written(words) == WRITTEN
    screen = said("level", result)
    assert len(screen.splitlines()) <= 45 < len(words.splitlines())
    assert "--out FOLDER" in screen
    assert "US gal" not in screen
    assert "US gal" in said("level", result, "--units", "imperial")
    assert sorted(path.name for path in out.iterdir()) == sorted(WRITTEN)
    assert set(FILE_NAMES) - set(WRITTEN) == {"joint_work.csv"}
    assert [path.name for path in tmp_path.iterdir()] == ["plan"]
    assert (out / "after.png").read_bytes().startswith(b"\x89PNG")
    assert (out / "marking_out.pdf").read_bytes().startswith(b"%PDF")
    levelling = json.loads((out / "levelling.json").read_text(encoding="utf-8"))["levelling"]
    assert levelling["chosen"] == "patch"
    assert len((out / "methods.csv").read_text(encoding="utf-8").splitlines()) == 1 + len(levelling["methods"])
    assert len((out / "areas.csv").read_text(encoding="utf-8").splitlines()) == 1 + len(levelling["areas"])


def test_the_same_files_are_in_the_folder_of_the_check(result: Path) -> None:
    names = {path.name for path in result.iterdir()}
    assert set(WRITTEN) - {"levelling.json"} <= names
    assert {"floor.npz", "result.json"} <= names


def test_the_json_is_the_file_and_follows_its_schema(result: Path, tmp_path: Path) -> None:
    out = tmp_path / "plan"
    printed = said("level", result, "--out", out, "--json")
    assert printed == (out / "levelling.json").read_text(encoding="utf-8")
    data = json.loads(printed)
    jsonschema.Draft202012Validator.check_schema(levelling_schema())
    jsonschema.validate(data, levelling_schema())
    assert data["from"] == hashlib.sha256((result / "floor.npz").read_bytes()).hexdigest()
    assert tuple(method["name"] for method in data["levelling"]["methods"]) == METHOD_NAMES
    broken = data | {"levelling": data["levelling"] | {"draws": "twenty"}}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(broken, levelling_schema())


def test_a_plan_with_nothing_changed_is_the_plan_of_the_check(result: Path) -> None:
    of_check = json.loads((result / "result.json").read_text(encoding="utf-8"))["levelling"]
    assert planned(result) == of_check


def test_nothing_is_written_where_no_folder_is_named(result: Path, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    before = {path.name: path.stat().st_mtime_ns for path in result.iterdir()}
    words = said("level", result)
    assert "Written" not in words
    assert "Best is a patch by trowel" in words
    assert list(tmp_path.iterdir()) == []
    assert {path.name: path.stat().st_mtime_ns for path in result.iterdir()} == before


def test_the_same_seed_says_the_same_and_another_does_not(result: Path) -> None:
    first, again, other = (said("level", result, "--json", "--seed", seed) for seed in (7, 7, 8))
    assert first == again
    assert first != other
    volumes = [by_name(json.loads(one)["levelling"])["screed"] for one in (first, other)]
    assert volumes[0]["max_mm"] == volumes[1]["max_mm"]  # the plan is of the floor as measured


@pytest.mark.parametrize("name", METHOD_NAMES)
def test_each_way_can_be_asked_for(result: Path, name: str) -> None:
    levelling = planned(result, "--method", name.replace("_", "-").upper())
    method, first = by_name(levelling)[name], levelling["recommendation"][0]
    if method["possible"]:
        assert levelling["chosen"] == name
        assert first.startswith("Best is" if name == "patch" else "As asked")
    else:
        assert levelling["chosen"] is None
        assert levelling["areas"] == []
        assert f"was asked for and cannot be done: {method['why_not']}" in first


def test_ways_that_can_and_cannot_be_done_are_both_among_them(result: Path) -> None:
    possible = {name for name, method in by_name(planned(result)).items() if method["possible"]}
    assert {"patch", "screed", "flood"} <= possible
    assert "skim" not in possible


def test_a_margin_takes_more_and_is_told(result: Path) -> None:
    plain, deeper = planned(result), planned(result, "--margin", "1 mm")
    assert [t["limit_mm"] for t in plain["targets"]] == [3.0]
    assert [t["limit_mm"] for t in deeper["targets"]] == [2.0]
    assert by_name(deeper)["patch"]["volume_l"]["value"] > by_name(plain)["patch"]["volume_l"]["value"]


def test_prices_and_bounds_are_those_of_the_files(result: Path, product: Path, survey: Path) -> None:
    levelling = planned(result, "--product", product, "--survey", survey)
    methods = by_name(levelling)
    assert levelling["product"]["name"] == "invented"
    for method in methods.values():
        assert (method["cost"] is None) == (method["name"] == "lift_tiles" and not method["possible"])
        if method["cost"] is not None:
            assert method["cost"]["currency"] == "EUR"
            assert method["cost"]["value"] == pytest.approx(sum(p["value"] for p in method["cost"]["parts"]), abs=0.02)
    (door,) = methods["screed"]["doors"]
    assert (door["door"], door["most_allowed_mm"]) == ("hall door", 25.0)
    # Nothing lies on the drain, which the screed and the pour would cover.
    bare = planned(result, "--product", product)
    drain_m2 = 0.2 * 0.2
    assert by_name(bare)["screed"]["area_m2"] - methods["screed"]["area_m2"] == pytest.approx(drain_m2, abs=0.02)


@pytest.mark.parametrize("paper", PAPERS)
def test_the_drawing_is_on_the_paper_that_was_asked_for(result: Path, tmp_path: Path, paper: str) -> None:
    said("level", result, "--paper", paper.upper(), "--out", tmp_path / "plan")
    for page in PdfReader(tmp_path / "plan" / "marking_out.pdf").pages:
        sides = sorted((float(page.mediabox.width), float(page.mediabox.height)))
        assert sides == pytest.approx(PAPERS[paper], abs=1.0)


def test_a_plan_that_is_there_is_kept_unless_forced(result: Path, tmp_path: Path) -> None:
    out = tmp_path / "plan"
    said("level", result, "--out", out)
    (out / "areas.csv").write_text("mine")
    refused = CliRunner().invoke(app, ["level", str(result), "--out", str(out)])
    assert refused.exit_code != 0
    assert "pass --force to replace it" in str(refused.exception)
    assert (out / "areas.csv").read_text() == "mine"
    said("level", result, "--out", out, "--force")
    assert (out / "areas.csv").read_text() != "mine"
    (out / "note.txt").write_text("mine")
    refused = CliRunner().invoke(app, ["level", str(result), "--out", str(out), "--force"])
    assert "'note.txt'" in str(refused.exception)
    assert (out / "note.txt").read_text() == "mine"


def test_a_plan_never_replaces_the_result_it_is_made_from(result: Path) -> None:
    before = sorted(path.name for path in result.iterdir())
    refused = CliRunner().invoke(app, ["level", str(result), "--out", str(result), "--force"])
    assert refused.exit_code != 0
    assert sorted(path.name for path in result.iterdir()) == before


def test_check_takes_the_same_choices(tmp_path: Path, product: Path, survey: Path) -> None:
    out = tmp_path / "result"
    asked = ("--survey", survey, "--product", product, "--method", "screed", "--paper", "letter", "--margin", "0.5 mm")
    words = said("check", SCAN, *QUICK, *asked, "--out", out)
    assert "As asked" in words
    data = json.loads((out / "result.json").read_text(encoding="utf-8"))
    levelling = data["levelling"]
    assert levelling["chosen"] == "screed"
    assert levelling["product"]["name"] == "invented"
    assert [t["limit_mm"] for t in levelling["targets"]] == [2.5]
    assert [door["door"] for door in by_name(levelling)["screed"]["doors"]] == ["hall door"]
    assert [Path(entry["path"]).name for entry in data["inputs"] if entry["kind"] == "survey"] == ["survey.toml"]
    page = PdfReader(out / "marking_out.pdf").pages[0].mediabox
    assert sorted((float(page.width), float(page.height))) == pytest.approx(PAPERS["letter"], abs=1.0)
    # Planned again with the same choices: the same floor, so the same plan but for the draws.
    again = planned(out, *asked)
    for name, method in by_name(again).items():
        first = by_name(levelling)[name]
        same = ("possible", "why_not", "area_m2", "max_mm", "min_mm", "ground_l", "layers", "doors", "proof", "bound")
        assert {key: method[key] for key in same} == {key: first[key] for key in same}


def test_what_bound_the_check_binds_the_plan_made_anew(tmp_path: Path, product: Path, survey: Path) -> None:
    """Neither the drain nor the prices are forgotten, though their files are gone."""
    drawn, priced = tmp_path / "bounds.toml", tmp_path / "prices.toml"
    drawn.write_bytes(survey.read_bytes())
    priced.write_bytes(product.read_bytes())
    said("check", SCAN, *QUICK, "--survey", drawn, "--product", priced, "--out", tmp_path / "bound")
    of_check = json.loads((tmp_path / "bound" / "result.json").read_text(encoding="utf-8"))["levelling"]
    drawn.unlink()
    priced.unlink()
    assert planned(tmp_path / "bound") == of_check
    other = tmp_path / "other.toml"
    other.write_text("# nothing binds\n", encoding="utf-8")
    assert planned(tmp_path / "bound", "--survey", other)["product"]["name"] == "invented"
    assert planned(tmp_path / "bound", "--survey", other)["methods"] != of_check["methods"]
