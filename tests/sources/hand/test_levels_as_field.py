"""A plain table of levels is read as level readings, the sign turned once."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest

from flatscan.errors import InputError
from flatscan.settings import ReadSettings
from flatscan.sources.hand.field_readings import FieldReadings
from flatscan.sources.hand.read_field import read_field_readings, read_levels_as_field


def read(tmp_path: Path, text: str, **settings: Any) -> FieldReadings:
    path = tmp_path / "levels.csv"
    path.write_text(text, encoding="utf-8")
    return read_levels_as_field(path, ReadSettings(**settings))


TABLE = "x [m],y [m],staff [mm]\n0,0,1500\n1.5,0,1503.5\n0,2.5,1497\n1.5,2.5,-\n3,2.5,1500\n"


def test_every_row_is_a_reading_in_its_turn(tmp_path: Path) -> None:
    found = read(tmp_path, TABLE)
    assert [(*r.at, r.height_mm, r.order) for r in found.levels] == [
        (0.0, 0.0, -1500.0, 0),
        (1500.0, 0.0, -1503.5, 1),
        (0.0, 2500.0, -1497.0, 2),
        (3000.0, 2500.0, -1500.0, 3),
    ]
    assert found.inferences == ("1 of 5 rows hold no reading and were left out",)


def test_the_reader_of_readings_takes_it_too(tmp_path: Path) -> None:
    found = read(tmp_path, TABLE)
    again = read_field_readings(tmp_path / "levels.csv")
    assert (again.levels, again.level) == (found.levels, found.level)


def test_units_in_a_second_row_fractions_and_the_sign_line(tmp_path: Path) -> None:
    text = "# sign: staff\nx;y;reading;set-up;line\nft;ft;in;;\n1;2;5' 3 1/2\";A;L1\n1;3' 6\";63,5;B;L1\n"
    found = read(tmp_path, text)
    assert [(r.at, r.height_mm, r.set_up, r.line) for r in found.levels] == [
        ((304.8, 609.6), -1612.9, "A", "L1"),
        ((304.8, 1066.8), -1612.9, "B", "L1"),
    ]


def test_turns_follow_the_clock_where_all_of_a_set_up_have_one(tmp_path: Path) -> None:
    rows = "1,1,0,A,10:30\n1,2,1,A,09:15\n1,3,2,A,9:20\n2,1,3,B,11:00\n2,2,4,B,\n"
    found = read(tmp_path, "x_m,y_m,height_mm,set_up,time\n" + rows)
    assert [(r.set_up, r.order) for r in found.levels] == [("A", 2), ("A", 0), ("A", 1), ("B", 0), ("B", 1)]


def test_what_the_table_states_of_a_reading_holds(tmp_path: Path) -> None:
    lines = "# reading sigma_mm: 0.7\n# instrument resolution_mm: 0.5\n# level tilt: 0.2 mm/m\n# room: 3 x 2.5 m\n"
    found = read(tmp_path, lines + TABLE)
    assert {r.u_mm for r in found.levels} == {0.7}
    assert found.level is not None
    assert (found.level.step_mm, found.level.tilt_mm_per_m) == (0.5, 0.2)
    assert found.outline is not None
    # Unstated: 1 mm steps with 0.5 mm by eye (common practice, no source), and it is said.
    plain = read(tmp_path, TABLE)
    assert plain.levels[0].u_mm == pytest.approx(math.hypot(1 / 12**0.5, 0.5))
    assert [c.name for c in plain.caveats] == ["instrument_assumed"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("x_m,y_m,reading_mm\n1,1,1500\n", "column 'reading_mm' does not say whether it grows"),
        ("x_m,y_m,staff\n1,1,1500\n", "row 2, column 'staff': nothing states the unit of '1500'"),
        ("x_m,y_m,staff (kg)\n1,1,1500\n", "'kg' is not a length unit"),
        ("x_m,y_m,staff_mm\n1,1,\n", "no value is filled in: all 1 rows are empty"),
        ("x_m,y_m,staff_mm\n1,1,abc\n1,2,1\n", "row 2, column 'staff_mm': 'abc' is not a number"),
        ("# room: 3 x 2 m\nx_m,y_m,staff_mm\n1,2.5,1500\n", "column 'y_m': 2.5 m lies beyond the room"),
        ("x_m,y_m,staff_m\n1,1,1500\n", "column 'staff_m': 1.5e\\+06 mm is too large"),
    ],
)
def test_what_cannot_be_used(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        read(tmp_path, text)
