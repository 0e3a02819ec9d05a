"""Two readings tables of one floor become one record, and nothing in it is lost, renamed without need or mixed up."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import pytest

from flatscan.errors import InputError
from flatscan.settings import ReadSettings
from flatscan.sources.hand.field_readings import FieldReadings
from flatscan.sources.hand.merging import merged
from flatscan.sources.hand.read_field import read_field_readings

LINES = """\
# room: 5 x 4 m
# unit: mm
# straightedge length: 2 m
# straightedge resolution: 0.5 mm
# straightedge repeatability: 0.2 mm
# straightedge straightness: 0.1 mm
# level resolution: 1 mm
# level repeatability: 0.3 mm
# level tilt: 0.1 mm/m
# level drift: 0.5 mm
"""
HEAD = "number,what,x_m,y_m,to_x_m,to_y_m,rule,set_up,line,joint,edge_m,value_mm,0.50 m,1.00 m,note\n"
ROWS = """\
1,straightedge,0.3,0.5,2.3,0.5,resting,,,,,,c,1.5,
2,hump,1,2,3,2,,,,,,2.5,,,
S1,staff,0.5,0.5,,,,1,A,,,1502,,,
S2,staff,4.5,3.5,,,,1,A,,,1499,,,
J1,lip,2,2.5,,,,,,J7,,0.9,,,
T1,tap,1,3,,,,,,,,hollow,,,
C1,crack,1,3,2,3,,,,,,0.3,,,
E1,step,0,2,3,2,,,,,,,,,
"""
LATER_LINES = "# unit: mm\n# straightedge length: 3 m\n# straightedge repeatability: 0.4 mm\n# level tilt: 0.3 mm/m\n"
LATER_ROWS = """\
1,straightedge,0.3,1.5,3.3,1.5,resting,,,,,,c,2.5,
3,straightedge,0.3,2.5,3.3,2.5,resting,,,,,,c,0.5,
S1,staff,0.5,0.5,,,,1,A,,,1312,,,
S9,staff,4.5,0.5,,,,,,,,1311,,,
N1,lip,2,2.5,,,,,,J7,,0.7,,,
"""


def table(path: Path, text: str, **settings: object) -> FieldReadings:
    path.write_text(text, encoding="utf-8")
    return read_field_readings(path, ReadSettings(**settings))  # type: ignore[arg-type]


@pytest.fixture
def first(tmp_path: Path) -> FieldReadings:
    return table(tmp_path / "readings.csv", LINES + HEAD + ROWS)


@pytest.fixture
def later(tmp_path: Path) -> FieldReadings:
    return table(tmp_path / "next_readings.csv", LATER_LINES + HEAD + LATER_ROWS)


def test_every_reading_is_there_once_and_no_two_share_a_number(first: FieldReadings, later: FieldReadings) -> None:
    both = merged(first, later)
    for kind in ("placements", "humps", "levels", "spots", "steps", "soundings", "cracks", "inputs"):
        assert len(getattr(both, kind)) == len(getattr(first, kind)) + len(getattr(later, kind)), kind
    numbers = [
        one.number
        for kind in (both.placements, both.humps, both.levels, both.spots, both.soundings, both.cracks)
        for one in kind
    ]
    assert len(set(numbers)) == len(numbers)
    assert numbers == [
        *("1", "1 of next_readings", "3", "2", "S1", "S2", "S1 of next_readings", "S9", "J1", "N1", "T1", "C1"),
    ]  # fmt: skip


def test_the_first_tables_own_readings_are_untouched(first: FieldReadings, later: FieldReadings) -> None:
    both = merged(first, later)
    for kind in ("placements", "humps", "levels", "spots", "steps", "soundings", "cracks"):
        assert getattr(both, kind)[: len(getattr(first, kind))] == getattr(first, kind)


def test_set_ups_and_runs_of_another_day_are_their_own_and_joints_are_not(
    first: FieldReadings, later: FieldReadings
) -> None:
    both = merged(first, later)
    assert [one.set_up for one in both.levels] == ["1", "1", "1 of next_readings", "of next_readings"]
    assert [one.line for one in both.levels] == ["A", "A", "A of next_readings", ""]
    assert [one.joint for one in both.spots] == ["J7", "J7"]


def test_each_bar_keeps_what_its_table_says_and_the_poorer_level_stands_for_both(
    first: FieldReadings, later: FieldReadings
) -> None:
    both = merged(first, later)
    assert [one.bar.length_mm for one in both.placements] == [2000.0, 3000.0, 3000.0]
    assert [one.bar.repeat_mm for one in both.placements] == [0.2, 0.4, 0.4]
    assert both.level is not None
    assert first.level is not None
    assert later.level is not None
    assert (both.level.tilt_mm_per_m, both.level.step_mm) == (0.3, 1.0)
    assert both.level.drift_mm == max(first.level.drift_mm, later.level.drift_mm)
    assert [one.u_mm for one in both.levels[2:]] == [one.u_mm for one in later.levels]


def test_room_gravity_and_search(first: FieldReadings, later: FieldReadings, tmp_path: Path) -> None:
    assert merged(first, later).outline is first.outline
    assert merged(later, first).outline is first.outline
    said = "# joints searched: yes\n# gaps searched: yes\n# gravity: no\n# unit: mm\n"
    walked = table(tmp_path / "walked.csv", said + HEAD + LATER_ROWS)
    assert not merged(first, later).joints_searched
    assert merged(first, walked).joints_searched
    assert not merged(first, later).gaps_searched
    assert merged(first, walked).gaps_searched
    assert merged(first, later).gravity
    assert not merged(first, walked).gravity


def test_a_room_measured_twice_is_one_room_and_another_is_refused(first: FieldReadings, tmp_path: Path) -> None:
    again = table(tmp_path / "again.csv", "# room: 5.03 x 3.98 m\n# unit: mm\n" + HEAD + "9,lip,1,1,,,,,,,,0.5,,,\n")
    assert merged(first, again).outline is first.outline
    turned = table(tmp_path / "turned.csv", "# room: 4 x 5 m\n# unit: mm\n" + HEAD + "9,lip,1,1,,,,,,,,0.5,,,\n")
    with pytest.raises(InputError, match=r"turned\.csv: states another room than the table before it"):
        merged(first, turned)


def test_the_same_readings_twice_are_refused(first: FieldReadings, tmp_path: Path) -> None:
    # The sheet's CSV and its XLSX filled in alike would count every reading twice.
    copy = table(tmp_path / "copy.csv", LINES + HEAD.replace(",", ";") + ROWS.replace(",", ";"))
    with pytest.raises(InputError, match=r"copy\.csv: repeats 5 readings of the table before it, number and value"):
        merged(first, copy)
    anew = ROWS.replace("c,1.5,", "c,2,").replace("1502", "1500").replace(",2.5,", ",3,")
    assert len(merged(first, table(tmp_path / "anew.csv", LINES + HEAD + anew)).placements) == 2


def test_a_third_table_of_the_second_ones_name_is_told_apart(
    first: FieldReadings, later: FieldReadings, tmp_path: Path
) -> None:
    (tmp_path / "third").mkdir()
    third = table(
        tmp_path / "third" / "next_readings.csv",
        LATER_LINES + HEAD + LATER_ROWS.replace("c,", "1,").replace("131", "141"),
    )
    both = merged(merged(first, later), third)
    assert [one.number for one in both.placements] == [
        *("1", "1 of next_readings", "3", "1 of next_readings (2)", "3 of next_readings (2)"),
    ]  # fmt: skip
    assert len({one.set_up for one in both.levels}) == 5


def test_what_was_said_of_each_table_is_said_once(first: FieldReadings, later: FieldReadings, tmp_path: Path) -> None:
    blank = HEAD + "7,lip,1,1,,,,,,,,0.5,,,\n8,lip,1,1,,,,,,,,,,,\n"
    half = table(tmp_path / "half.csv", "# unit: mm\n" + blank)
    assert merged(first, half).inferences == (*first.inferences, "half: 1 of 2 rows hold no reading and were left out")
    assert len(merged(later, first).caveats) == len(later.caveats)
    # No field of the record is forgotten: each is told by one of these tests.
    assert {one.name for one in fields(FieldReadings)} == {
        *("inputs", "placements", "humps", "levels", "spots", "steps", "soundings", "cracks", "level", "outline"),
        *("gravity", "joints_searched", "gaps_searched", "left_out", "inferences", "caveats"),
    }
