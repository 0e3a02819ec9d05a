"""The main job on a tiled floor with photos, from the files of a capture to the files of a result, and back again."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from flatscan.cli.main import app
from flatscan.synth.outline import rectangle
from flatscan.synth.tile_captures import capture_tiles
from flatscan.synth.tiled_room import tiled_scene

TILE_MM, JOINT_MM = 200.0, 5.5


@pytest.fixture(scope="module")
def capture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small tiled floor, 1.3 × 1.0 m, seen by structured light from 0.5 m, one tile 2 mm too high."""
    folder = tmp_path_factory.mktemp("tiles") / "capture"
    scene = tiled_scene(
        np.random.default_rng(7),
        pattern="stack",
        size_mm=(TILE_MM, TILE_MM),
        outline_mm=rectangle(1300.0, 1000.0),
        joint_mm=JOINT_MM,
        joint_sd_mm=0.2,
        radius_mm=0.4,
        lip_sd_mm=0.05,
        bad=((620.0, 520.0, 2.0),),
    )
    capture_tiles(
        folder, scene, np.random.default_rng(8), sensor="structured_light", height_mm=520.0, photo_size=(1440, 1080)
    )
    return folder


@pytest.fixture(scope="module")
def result(capture: Path) -> Path:
    """The result folder of the first run."""
    out = capture.parent / "result"
    done = CliRunner().invoke(app, ["check", str(capture), "--out", str(out), "--edges", "0.2 m, 1 m"])
    assert done.exit_code == 0, done.output
    return out


def of(result: Path) -> dict:
    return json.loads((result / "result.json").read_text(encoding="utf-8"))


def test_the_joints_are_found_with_their_pitch(result: Path) -> None:
    tiles = of(result)["tiles"]
    # The pitch is in a picture whose scale is the depth camera's, good to 0.2 % (one standard deviation of its unit).
    assert tiles["pitch_long"]["value"] == pytest.approx(TILE_MM + JOINT_MM, rel=0.01)
    assert tiles["bond"] == "stack"


def test_the_high_tile_is_over_and_its_neighbours_are_not(result: Path) -> None:
    over = [f for f in of(result)["findings"] if f["what"] == "lip" and f["verdict"] == "over"]
    assert over
    # 2 mm against its four neighbours, whose own heights scatter by 0.05 mm and tilts by 0.5 mm per m.
    assert all(abs(abs(f["value"]["value"]) - 2.0) < 4 * max(f["value"]["u"], 0.1) for f in over)
    middles = np.array([f["at"] for f in over])
    assert np.ptp(middles, axis=0).max() < TILE_MM + 2 * JOINT_MM + 50.0


def test_every_file_is_written(result: Path) -> None:
    names = {path.name for path in result.iterdir()}
    assert {"joints.csv", "stations.csv", "next_readings.csv", "floor.jpg", "heatmap.png", "report.html"} <= names


def test_filled_in_readings_decide_what_was_open(result: Path, capture: Path, tmp_path: Path) -> None:
    sheet = tmp_path / "filled.csv"
    with (result / "next_readings.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    asked = [row for row in rows if row["what"] == "joint_depth"]
    assert asked
    for row in asked:
        row["value_mm"] = "0.4"
    with sheet.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    out = tmp_path / "again"
    arguments = ["check", str(capture), "--out", str(out), "--edges", "0.2 m, 1 m", "--readings", str(sheet)]
    done = CliRunner().invoke(app, arguments)
    assert done.exit_code == 0, done.output
    before, after = of(result)["joint_tally"]["depth"], of(out)["joint_tally"]["depth"]
    assert before["within"] == 0.0
    assert after["within"] > 0.0
    assert [held["taken"] is not None for held in of(out)["hand_readings"]] == [True] * len(asked)
    assert any(entry["kind"] == "readings" for entry in of(out)["inputs"])


def test_a_wrong_tile_size_is_said(capture: Path, tmp_path: Path) -> None:
    out = tmp_path / "wrong"
    arguments = ["check", str(capture), "--out", str(out), "--edges", "1 m", "--tile", "220x220"]
    assert CliRunner().invoke(app, arguments).exit_code == 0
    assert "tile_size_disagrees" in {caveat["name"] for caveat in of(out)["caveats"]}


def test_without_joints_none_is_looked_for(capture: Path, tmp_path: Path) -> None:
    out = tmp_path / "none"
    arguments = ["check", str(capture), "--out", str(out), "--edges", "1 m", "--no-joints"]
    assert CliRunner().invoke(app, arguments).exit_code == 0
    assert of(out)["joints"] == []
