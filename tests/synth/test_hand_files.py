"""Readings of an invented floor as files: what stands in the cells, and that the samples are what their seeds write."""

from __future__ import annotations

import csv
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import openpyxl
import pytest

from flatscan.sources.hand.field_readings import FieldReadings
from flatscan.sources.hand.read_field import is_field_table, read_field_readings
from flatscan.synth import samples
from flatscan.synth.floor import make_floor
from flatscan.synth.hand import Laying, Layout, SetUp, read_by_hand, write_readings
from flatscan.synth.hand.notation import feet_and_inches, inches
from flatscan.synth.hand.person import INCHES, METRIC
from flatscan.synth.laying import Tiling
from flatscan.synth.outline import l_shape, rectangle

SAMPLES = Path(__file__).parents[2] / "sample_scans"
BY_HAND = ("dining_room_straightedge", "shop_floor_levels", "basement_feet_inches")
INCH, FOOT = 25.4, 304.8


def walked(outline=None) -> FieldReadings:
    """One of everything."""
    rng = np.random.default_rng(8)
    outline = rectangle(4000.0, 3000.0) if outline is None else outline
    floor = make_floor(outline, rng=rng, waves_rms_mm=2.0, tiling=Tiling(lip_sd_mm=0.4, width_sd_mm=0.5))
    along = Laying((300.0, 500.0), (2300.0, 500.0))
    layout = Layout(
        layings=(along, replace(along, turned=True), replace(along, rule="feet")),
        humps=((along.start, along.end),),
        searches=(along,),
        set_ups=(SetUp("A", ((200.0, 200.0), (1500.0, 900.0)), ("L1", "")), SetUp("B", ((200.0, 200.0),))),
        widest=2,
        highest=2,
        soundings=(((700.0, 800.0), "hollow"),),
        cracks=(((0.0, 100.0), (900.0, 400.0), 0.4), ((0.0, 0.0), (1.0, 900.0), None)),
        steps=(((0.0, 1800.0), (1500.0, 1800.0)),),
    )
    person = replace(METRIC, bar=replace(METRIC.bar, feet_mm=12.0))
    return read_by_hand(floor, layout, person, rng=rng)


def table(path: Path) -> tuple[list[str], list[dict[str, str]]]:
    lines = path.read_text(encoding="utf-8").splitlines()
    said = [line for line in lines if line.startswith("#")]
    return said, list(csv.DictReader(lines[len(said) :]))


def test_metric_cells_hold_the_readings(tmp_path: Path) -> None:
    field = walked()
    said, rows = table(write_readings(field, tmp_path / "a.csv", title="invented"))
    assert said[:3] == ["# invented", "# room: 4.0 x 3.0 m", "# unit: mm"]
    assert "# feet height: 12 mm" in said
    assert "# joints searched: yes" in said
    first, placed = rows[0], field.placements[0]
    assert (first["what"], first["x_m"], first["to_x_m"], first["rule"]) == ("straightedge", "0.3", "2.3", "resting")
    for at, gap, contact in zip(placed.at_mm, placed.gap_mm, placed.contact, strict=True):
        cell = first[f"{at / 1000:.2f} m"]
        assert cell == "c" if contact else float(cell) == pytest.approx(gap, abs=1e-9)
    assert rows[1]["turned"] == "yes"
    staff = [row for row in rows if row["what"] == "staff"]
    assert [float(row["value_mm"]) for row in staff] == [-level.height_mm for level in field.levels]
    assert [(row["set_up"], row["line"]) for row in staff] == [("A", "L1"), ("A", ""), ("B", "")]
    whats = {row["what"] for row in rows}
    assert whats >= {"hump", "gap", "joint_width", "joint_depth", "lip", "tap", "crack", "step"}
    assert len(rows) == len({row["number"] for row in rows})


def test_feet_and_inches_are_the_same_lengths_as_a_tape_says_them() -> None:
    """1/8 inch for places, 1/64 or a thousandth for readings: half of that is the most that is lost."""
    for mm in np.random.default_rng(1).uniform(0.0, 9000.0, 300):
        feet, rest = feet_and_inches(float(mm)).removesuffix('"').split("' ")
        said = int(feet) * FOOT + float(sum(Fraction(part) for part in rest.split())) * INCH
        assert said == pytest.approx(mm, abs=INCH / 16 + 1e-9)
    for mm in np.random.default_rng(2).uniform(0.0, 40.0, 300):
        said = float(sum(Fraction(part) for part in inches(float(mm)).split())) * INCH
        assert said == pytest.approx(mm, abs=INCH / 10_000)
    assert [inches(n * INCH / 32) for n in (1, 6, 4, 32, 40)] == ["1/32", "3/16", "1/8", "1", "1 1/4"]


def test_a_room_of_another_shape_gives_its_corners(tmp_path: Path) -> None:
    said, _ = table(write_readings(walked(l_shape(4000.0, 3000.0, 1500.0, 1000.0)), tmp_path / "a.csv"))
    assert said[0] == "# outline: 0.0 0.0; 4.0 0.0; 4.0 2.0; 2.5 2.0; 2.5 3.0; 0.0 3.0 (unit m)"


@pytest.mark.parametrize("units", ["metric", "imperial"])
def test_a_workbook_holds_the_cells_of_the_csv(tmp_path: Path, units) -> None:
    field = walked()
    lines = write_readings(field, tmp_path / "a.csv", units=units).read_text(encoding="utf-8").splitlines()
    sheet = openpyxl.load_workbook(write_readings(field, tmp_path / "a.xlsx", units=units)).active
    rows = [["" if cell is None else str(cell) for cell in row] for row in sheet.iter_rows(values_only=True)]
    said = sum(line.startswith("#") for line in lines)
    assert [row[0] for row in rows[:said]] == lines[:said]
    for mine, theirs in zip(rows[said:], csv.reader(lines[said:]), strict=True):
        for cell, text in zip(mine, theirs, strict=True):
            assert cell == text or float(cell) == float(text)


def test_readings_in_32nds_are_written_as_such(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    floor = make_floor(rectangle(4000.0, 3000.0), rng=rng, waves_rms_mm=2.0)
    layout = Layout(layings=(Laying((304.8, 304.8), (7 * 304.8, 304.8)),), station_mm=304.8)
    field = read_by_hand(floor, layout, INCHES, rng=rng)
    _, (row,) = table(write_readings(field, tmp_path / "a.csv", units="imperial"))
    assert (row["x_ft"], row["to_x_ft"]) == ("1' 0\"", "7' 0\"")
    cells = [row[f"{12 * k} in"] for k in range(7)]
    for cell, gap in zip(cells, field.placements[0].gap_mm, strict=True):
        value = Fraction(0) if cell == "c" else sum(Fraction(part) for part in cell.split())
        assert 32 % Fraction(value).denominator == 0
        assert float(value) * INCH == pytest.approx(gap, abs=1e-9)


@pytest.mark.parametrize("name", BY_HAND)
def test_the_samples_by_hand_are_what_their_seeds_write(tmp_path: Path, name: str) -> None:
    samples.write_sample(tmp_path, name)
    for file in ("readings.csv", "README.md"):
        kept = (SAMPLES / name / file).read_bytes()
        assert (tmp_path / name / file).read_bytes() == kept
        assert len(kept) < 12_000


def same_place(mine, theirs, within_mm: float) -> None:
    np.testing.assert_allclose(np.array(mine), np.array(theirs), atol=within_mm)


@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
@pytest.mark.parametrize(("units", "place_mm", "value_mm"), [("metric", 0.06, 6e-4), ("imperial", 1.6, 1.4e-3)])
def test_the_reader_makes_the_same_record_of_the_file(tmp_path: Path, suffix, units, place_mm, value_mm) -> None:
    """Places are written to 0.1 mm or 1/8 inch, values to 0.001 mm or 0.0001 inch: half of that is lost at most."""
    field = walked()
    back = read_field_readings(write_readings(field, tmp_path / f"a{suffix}", units=units))
    assert back.left_out == ()
    same_place(back.outline, field.outline, place_mm)
    assert (back.gravity, back.joints_searched) == (field.gravity, field.joints_searched)
    for mine, theirs in zip(back.placements, field.placements, strict=True):
        assert (mine.number, mine.rule, mine.turned) == (theirs.number, theirs.rule, theirs.turned)
        same_place(mine.start, theirs.start, place_mm)
        same_place(mine.end, theirs.end, place_mm)
        np.testing.assert_allclose(mine.at_mm, theirs.at_mm, atol=place_mm)
        np.testing.assert_array_equal(mine.contact, theirs.contact)
        np.testing.assert_allclose(mine.gap_mm, theirs.gap_mm, atol=value_mm)
        # The repeatability and the step are each rounded as they are written.
        np.testing.assert_allclose(mine.u_mm, theirs.u_mm, atol=2 * value_mm)
        assert mine.bar.bow_mm == pytest.approx(theirs.bar.bow_mm, abs=value_mm)
        if mine.rule == "feet":
            assert mine.bar.feet_mm == pytest.approx(theirs.bar.feet_mm, abs=value_mm)
    for mine, theirs in zip(back.levels, field.levels, strict=True):
        assert (mine.set_up, mine.order, mine.line) == (theirs.set_up, theirs.order, theirs.line)
        same_place(mine.at, theirs.at, place_mm)
        assert mine.height_mm == pytest.approx(theirs.height_mm, abs=value_mm)
    assert back.humps[0].height.value == pytest.approx(field.humps[0].height.value, abs=value_mm)
    assert back.humps[0].height.u == pytest.approx(field.humps[0].height.u, abs=value_mm)
    for mine, theirs in zip(back.spots, field.spots, strict=True):
        assert (mine.what, mine.joint, mine.number) == (theirs.what, theirs.joint, theirs.number)
        same_place(mine.at, theirs.at, place_mm)
        assert mine.value.value == pytest.approx(theirs.value.value, abs=value_mm)
        assert mine.value.u == pytest.approx(theirs.value.u, abs=value_mm)
    assert [one.sounds for one in back.soundings] == ["hollow"]
    assert [one.width is None for one in back.cracks] == [False, True]
    same_place(back.steps[0].end, field.steps[0].end, place_mm)


@pytest.mark.parametrize("name", BY_HAND)
def test_the_samples_by_hand_are_read_whole(name: str) -> None:
    path = SAMPLES / name / "readings.csv"
    assert is_field_table(path)
    field = read_field_readings(path)
    rows = sum(not line.startswith("#") for line in path.read_text(encoding="utf-8").splitlines()) - 1
    assert field.left_out == ()
    assert field.caveats == ()
    assert rows == sum(
        len(part) for part in (field.placements, field.levels, field.spots, field.soundings, field.cracks)
    )
