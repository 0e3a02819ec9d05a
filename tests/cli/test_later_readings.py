"""A first table of readings and what was read later: one floor, given as two files."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from flatscan.errors import InputError
from flatscan.report.report import Report
from flatscan.report.tables.next_readings import readings_csv
from flatscan.report.tables.readings import field_csv
from flatscan.settings import JointSettings, MeasureSettings, Settings, SurfaceSettings
from flatscan.workflow import check

LINES = "# room: 2.4 x 2.2 m\n# unit: mm\n# straightedge length: 2 m\n"
HEAD = "number,what,x_m,y_m,to_x_m,to_y_m,value_mm,0.00 m,0.50 m,1.00 m,1.50 m,2.00 m\n"
#: Three bars along x and two along y over a dip of some 2 mm in the middle, and the corners by staff.
ROWS = """\
1,straightedge,0.2,0.3,2.2,0.3,,c,0.5,0.5,0.5,c
2,straightedge,0.2,1.1,2.2,1.1,,c,1.5,2.5,1.5,c
3,straightedge,0.2,1.9,2.2,1.9,,c,0.5,0.5,0.5,c
4,straightedge,0.6,0.1,0.6,2.1,,c,1,1.5,1,c
5,straightedge,1.8,0.1,1.8,2.1,,c,1,1.5,1,c
S1,staff,0.1,0.1,,,1200,,,,,
S2,staff,2.3,0.1,,,1200,,,,,
S3,staff,2.3,2.1,,,1200,,,,,
S4,staff,0.1,2.1,,,1200,,,,,
J1w,joint_width,1.0,1.0,,,5,,,,,
"""


def checked(first: Path, later: Path | None = None) -> Report:
    """Few draws and one edge: what is looked at here does not hang on them."""
    settings = Settings(
        surface=SurfaceSettings(realisations=40),
        measure=MeasureSettings(edges_mm=(2000.0,), directions=4),
        joints=JointSettings(readings_file=later),
        limits=("over-old-tiles",),
    )
    return check(first, settings=settings)


@pytest.fixture
def first(tmp_path: Path) -> Path:
    path = tmp_path / "readings.csv"
    path.write_text(LINES + HEAD + ROWS)
    return path


def test_the_next_readings_of_a_floor_read_by_hand_come_back_with_its_first_table(first: Path, tmp_path: Path) -> None:
    before = checked(first)
    sheet = list(csv.DictReader(io.StringIO(readings_csv(before.verdict))))
    width = next(row for row in sheet if row["what"] == "joint_width")
    assert width["number"].startswith("N")  # the sheet has a straightedge 1 of its own
    width |= {"value_mm": "4.0", "u_mm": "0.05"}
    later = tmp_path / "next_readings.csv"
    with later.open("w", newline="") as file:
        writer = csv.DictWriter(file, list(sheet[0]))
        writer.writeheader()
        writer.writerows(sheet)
    after = checked(first, later)
    assert [one.path for one in after.inputs] == [first, later]
    assert {h.reading.number for h in after.measurement.hand} == {"J1w", width["number"]}
    assert len(after.measurement.placements) == len(before.measurement.placements) == 5
    # 5 mm read with a rule, then 4.00 mm with a calliper: the open width is decided, by both together.
    said = [[f.verdict for f in r.verdict.findings if f.what == "joint_width" and f.at] for r in (before, after)]
    assert said == [["not_decided"], ["within"]]


def test_later_shape_readings_join_the_surface_and_keep_their_names(first: Path, tmp_path: Path) -> None:
    later = tmp_path / "later.csv"
    # As many lines above its rows as the first table: its straightedge and its staff stand in lines 5 and 6 as well.
    rows = (
        "S1,staff,1.2,1.1,,,1302,,,,,\nS2,staff,0.1,0.1,,,1300,,,,,\n1,straightedge,0.2,1.1,2.2,1.1,,c,1.5,2.5,1.5,c\n"
    )
    later.write_text(LINES + HEAD + rows)
    report = checked(first, later)
    assert report.surface.fit is not None
    assert {"S1", "S1 of later", "1", "1 of later"} <= set(report.surface.fit.number)
    kinds = {row["number"]: row["what"] for row in csv.DictReader(io.StringIO(field_csv(report))) if row["u_mm"]}
    assert (kinds["1"], kinds["S1 of later"], kinds["S2"]) == ("placement gap", "staff", "staff")


def test_a_later_place_outside_the_first_tables_room_is_named(first: Path, tmp_path: Path) -> None:
    later = tmp_path / "later.csv"
    later.write_text("number,what,x_m,y_m,value_mm\nN1,lip,1.0,3.0,0.5\n")
    with pytest.raises(InputError, match=r"later\.csv, row 2, column 'y_m': 3 m lies beyond the room"):
        checked(first, later)
