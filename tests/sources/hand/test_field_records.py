"""A readings table becomes records: signs, units, uncertainties, and what was taken for granted."""

from __future__ import annotations

import csv
import dataclasses
import math
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest

from flatscan.settings import ReadSettings
from flatscan.sources.hand.field_readings import FieldReadings
from flatscan.sources.hand.read_field import is_field_table, read_field_readings
from flatscan.sources.hand.read_readings import read_hand_readings

LINES = """\
# Invented room, read on a wet Tuesday
# room: 5.0 x 4.0 m
# unit: mm
# place unit: m
# straightedge length: 2 m
# straightedge resolution: 0.5 mm
# straightedge repeatability: 0.2 mm (one standard deviation)
# straightedge straightness: 0.1 mm (standard uncertainty at mid-length)
# feet height: 10 mm
# level resolution: 1 mm
# level repeatability: 0.3 mm
# level tilt: 0.1 mm/m
# level drift: 0.5 mm
# joints searched: yes (the whole floor was walked, these are the worst)
"""
HEAD = "number,what,x_m,y_m,to_x_m,to_y_m,rule,set_up,line,joint,edge_m,value_mm,u_mm,0.25 m,0.50 m,1.75 m,note"
ROWS = """\
1,straightedge,0.3,0.5,2.3,0.5,resting,,,,,,,c,0.5,3.25,by the door
2,straightedge,1,1,1,3,feet,,,,,,0.4,10.5,,8,turned
3,straightedge,1,1,3,1,line,,,,,,,30,31,32,
4,hump,1,2,3,2,,,,,,2.5,,,,,
5,free_end,1,2,3,2,,,,,,5,,,,,
6,staff,0.5,0.5,,,,A,L1,,,1502,,,,,
7,staff,0.5,3.5,,,,A,L1,,,1497.5,,,,,
8,height,4.5,3.5,,,,B,,,,-3,0.8,,,,
9,gap,2,2,,,,,,,2,3.5,,,,,
10,lip,2,2.5,,,,,,J7,,0.9,0.15,,,,
11,joint_width,2,2.5,,,,,,J7,,4,,,,,
12,step,0,2,3,2,,,,,,,,,,,edge of the oak
13,tap,1,3,,,,,,,,hollow,,,,,
14,crack,1,3,2,3,,,,,,0.3,,,,,
15,crack,1,3.5,2,3.5,,,,,,,,,,,
"""


def read(tmp_path: Path, text: str, name: str = "readings.csv", **settings: Any) -> FieldReadings:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    assert is_field_table(path)
    return read_field_readings(path, ReadSettings(**settings))


@pytest.fixture
def field(tmp_path: Path) -> FieldReadings:
    return read(tmp_path, LINES + HEAD + "\n" + ROWS)


def test_every_kind_of_row_becomes_its_record(field: FieldReadings) -> None:
    rested, feet, line = field.placements
    assert (rested.row, rested.number, rested.start, rested.end) == (16, "1", (300.0, 500.0), (2300.0, 500.0))
    assert (rested.rule, feet.rule, line.rule) == ("resting", "feet", "line")
    assert (rested.turned, feet.turned, rested.note) == (False, True, "by the door")
    np.testing.assert_array_equal(rested.at_mm, [250.0, 500.0, 1750.0])
    np.testing.assert_array_equal(rested.gap_mm, [0.0, 0.5, 3.25])
    np.testing.assert_array_equal(rested.contact, [True, False, False])
    np.testing.assert_array_equal(feet.at_mm, [250.0, 1750.0])
    assert (rested.bar.length_mm, rested.bar.feet_mm, feet.bar.feet_mm) == (2000.0, 0.0, 10.0)
    assert [(h.number, h.height.value) for h in field.humps] == [("4", 2.5), ("5", 2.5)]
    assert [(s.what, s.joint, s.edge_mm, s.number) for s in field.spots] == [
        ("gap", None, 2000.0, "9"),
        ("lip", "J7", None, "10"),
        ("joint_width", "J7", None, "11"),
    ]
    assert [(s.start, s.end, s.note) for s in field.steps] == [((0.0, 2000.0), (3000.0, 2000.0), "edge of the oak")]
    assert [(s.number, s.sounds) for s in field.soundings] == [("13", "hollow")]
    assert [None if c.width is None else c.width.value for c in field.cracks] == [0.3, None]
    assert field.outline is not None
    assert field.outline.tolist() == [[0, 0], [5000, 0], [5000, 4000], [0, 4000]]
    assert (field.gravity, field.joints_searched, field.left_out) == (True, True, ())
    assert (field.inferences, field.caveats) == ((), ())  # everything is stated


@pytest.mark.parametrize(("letter", "sounds"), [("s", "sound"), ("H", "hollow"), ("l", "loose")])
def test_a_tap_is_told_by_the_letter_that_the_sheet_has_room_for(tmp_path: Path, letter: str, sounds: str) -> None:
    text = LINES + HEAD + "\n" + ROWS.replace(",hollow,", f",{letter},")
    assert [s.sounds for s in read(tmp_path, text).soundings] == [sounds]


def test_a_staff_that_reads_more_stands_on_a_lower_floor(field: FieldReadings) -> None:
    assert [(r.height_mm, r.set_up, r.order, r.line) for r in field.levels] == [
        (-1502.0, "A", 0, "L1"),
        (-1497.5, "A", 1, "L1"),
        (-3.0, "B", 0, ""),
    ]


def test_uncertainties_follow_from_step_and_reader(field: FieldReadings) -> None:
    """A step r spreads evenly over its width: r / sqrt(12) (JCGM 100, 4.3.7); the reader's adds in squares."""
    gap, level = math.hypot(0.5 / 12**0.5, 0.2), math.hypot(1 / 12**0.5, 0.3)
    rested, feet, _ = field.placements
    assert rested.u_mm == pytest.approx([0.1, gap, gap])  # a contact: 0.1 mm, common practice, no source
    assert feet.u_mm == pytest.approx([0.4, 0.4])
    assert rested.bar.bow_mm == 0.1
    # What is read is the free end's clearance; halving it halves its uncertainty.
    assert [h.height.u for h in field.humps] == pytest.approx([gap / 2, gap / 2])
    assert [r.u_mm for r in field.levels] == pytest.approx([level, level, 0.8])
    assert field.spots[0].value.u == pytest.approx(math.hypot(gap, 0.1))  # the bar's bow stays in a gap by itself
    assert field.level is not None
    assert dataclasses.astuple(field.level) == (1.0, 0.3, 0.1, 0.5)


def test_a_bound_is_half_of_it_spread_evenly(tmp_path: Path) -> None:
    (placement,) = read(tmp_path, LINES + HEAD + "\n1,straightedge,1,1,3,1,resting,,,,,,,c,<0.6,c,\n").placements
    assert placement.gap_mm.tolist() == [0.0, 0.3, 0.0]
    assert placement.u_mm[1] == pytest.approx(math.sqrt(0.25 / 12 + 0.04 + 0.36 / 12))


def in_feet(metric: str) -> str:
    """The same table in feet and inches: every metric length times 1 in / 25.4 mm, as an exact fraction."""
    lines = [line for line in LINES.splitlines() if "unit" not in line]
    room = "# room: 6250/381 ft x 5000/381 ft"
    lines = [room if line.startswith("# room") else line for line in lines]
    head = HEAD.replace("_mm", "_in").replace("_m", "_ft").replace("0.25 m", "at 0.25 m").replace("1.75 m", "1750 mm")
    titles = HEAD.split(",")
    out = []
    for row in csv.reader(metric.splitlines()):
        cells = []
        for title, cell in zip(titles, row, strict=True):
            per = Fraction(10, 3048) if title in ("x_m", "y_m", "to_x_m", "to_y_m", "edge_m") else Fraction(10, 254)
            scale = 1000 if title in ("x_m", "y_m", "to_x_m", "to_y_m", "edge_m") else 1
            length = title.endswith(("_m", "_mm", " m")) and cell not in ("", "c", "hollow")
            cells.append(mixed(Fraction(cell) * scale * per, " in" if title.endswith(" m") else "") if length else cell)
        out.append(",".join(cells))
    return "\n".join([*lines, head, *out]) + "\n"


def mixed(value: Fraction, unit: str) -> str:
    whole, rest = divmod(abs(value), 1)
    parts = ([str(whole)] if whole or not rest else []) + ([f"{rest.numerator}/{rest.denominator}"] if rest else [])
    return ("-" if value < 0 else "") + " ".join(parts) + unit


def numbers(record: object) -> Iterator[float]:
    """Every number in a record, in order."""
    if dataclasses.is_dataclass(record):
        for part in dataclasses.fields(record):
            if part.name not in ("row", "inputs"):
                yield from numbers(getattr(record, part.name))
    elif isinstance(record, np.ndarray):
        yield from record.astype(float).ravel().tolist()
    elif isinstance(record, tuple):
        for part in record:
            yield from numbers(part)
    elif isinstance(record, (int, float)):
        yield float(record)


def words(field: FieldReadings) -> list[tuple[str, ...]]:
    everything = (*field.placements, *field.humps, *field.levels, *field.spots, *field.cracks, *field.soundings)
    return [(type(r).__name__, r.number, r.note) for r in everything]


def test_metric_and_imperial_copies_give_equal_records(tmp_path: Path, field: FieldReadings) -> None:
    imperial = read(tmp_path, in_feet(ROWS), "feet.csv")
    assert words(imperial) == words(field)
    here, there = list(numbers(imperial)), list(numbers(field))
    assert len(here) == len(there) > 140
    # Every fraction here has a finer step than the metric table's instruments, so the uncertainties agree too.
    for a, b in zip(here, there, strict=True):
        assert a == pytest.approx(b, abs=1e-9)


def test_a_workbook_gives_what_the_text_gives(tmp_path: Path, field: FieldReadings) -> None:
    book = openpyxl.Workbook()
    for line in LINES.splitlines():
        book.active.append([line])
    for number, cells in enumerate(csv.reader((HEAD + "\n" + ROWS).splitlines())):
        typed = [float(c) if number and c.replace(".", "").replace("-", "").isdigit() else c or None for c in cells]
        book.active.append(typed)
    book.create_sheet("empty")
    book.save(tmp_path / "readings.xlsx")
    assert is_field_table(tmp_path / "readings.xlsx")
    sheet = read_field_readings(tmp_path / "readings.xlsx")
    assert words(sheet) == words(field)
    assert list(numbers(sheet)) == list(numbers(field))


def test_semicolons_decimal_commas_and_what_spreadsheets_add(tmp_path: Path, field: FieldReadings) -> None:
    body = (HEAD + "\n" + ROWS).replace(",", ";").replace(".", ",").replace("1497;5", "1497,5")
    lines = "".join(f'"{line}";;;;;\n' for line in LINES.splitlines())
    commas = read(tmp_path, "\ufeff" + lines + body)
    assert list(numbers(commas)) == list(numbers(field))


@pytest.mark.parametrize(
    ("gaps", "contacts", "said"),
    [
        ("c,0,1", [True, False, False], ""),
        ("0,1,0", [True, False, True], "Where no contact is marked, gaps of 0 were taken as contacts (7)"),
        ("1,2,1", [False, False, False], "Neither a contact nor a gap of 0 is given"),
    ],
)
def test_zeros_are_contacts_only_where_none_is_marked(
    tmp_path: Path, gaps: str, contacts: list[bool], said: str
) -> None:
    found = read(tmp_path, LINES + HEAD + f"\n7,straightedge,1,1,3,1,resting,,,,,,,{gaps},\n")
    (placement,) = found.placements
    assert placement.contact.tolist() == contacts
    assert found.inferences == () if not said else found.inferences[0].startswith(said)
    assert placement.u_mm[0] == pytest.approx(0.1 if gaps.startswith("c") else math.hypot(0.5 / 12**0.5, 0.2))


def test_what_the_instruments_can_do_is_assumed_aloud(tmp_path: Path) -> None:
    found = read(
        tmp_path, "# unit: mm\nwhat,x_m,y_m,to_x_m,to_y_m,value,0.5 m\nstraightedge,1,1,3,1,,2\nstaff,1,1,,,1500,\n"
    )
    assert [c.name for c in found.caveats] == ["instrument_assumed", "instrument_assumed"]
    assert "resolution 1 mm, repeatability 0.2 mm, straightness 0.15 mm per m" in found.caveats[0].text
    assert "resolution 1 mm, repeatability 0.5 mm, tilt 0.1 mm/m, drift 0.5 mm" in found.caveats[1].text
    assert found.placements[0].bar.bow_mm == pytest.approx(0.3)  # 0.15 mm per m of 2 m
    assert [p.number for p in found.placements] == ["row 3"]


def test_gaps_in_sixteenths_were_not_read_to_half_a_millimetre(tmp_path: Path) -> None:
    head = "what,x_ft,y_ft,to_x_ft,to_y_ft,12 in,24 in\n"
    (placement,) = read(tmp_path, head + "straightedge,1,1,9,1,3/16 in,1/8 in\n").placements
    assert placement.bar.step_mm == 1.5875
    assert placement.gap_mm.tolist() == [4.7625, 3.175]


@pytest.mark.parametrize(
    ("line", "bow"),
    [
        ("# straightedge reversal: 0.3 mm (two readings, bar turned)", 0.15),
        ("# straightedge straightness: 0.1 mm\n# straightedge reversal: 0.3 mm", 0.15),
        ("# straightedge straightness: 0.2 mm\n# straightedge reversal: 0.3 mm", 0.2),
    ],
)
def test_half_of_what_turning_showed_is_the_bow(tmp_path: Path, line: str, bow: float) -> None:
    text = line + "\nwhat,x_m,y_m,to_x_m,to_y_m,500 mm\nstraightedge,1,1,3,1,2 mm\n"
    assert read(tmp_path, text).placements[0].bar.bow_mm == pytest.approx(bow)


@pytest.mark.parametrize(("gap", "bent"), [("2.5", False), ("3.0", False), ("3.5", True)])
def test_a_bar_that_reads_differently_when_turned(tmp_path: Path, gap: str, bent: bool) -> None:
    """Allowed: 3 hypot(u1, u2, 2 x bow) with u = hypot(0.5 / sqrt(12), 0.2) = 0.247 and bow 0.1: 1.21 mm."""
    rows = f"1,straightedge,1,1,3,1,resting,,,,,,,c,2,c,\n2,straightedge,1.01,1,3,1,resting,,,,,,,c,{gap},c,turned\n"
    found = read(tmp_path, LINES + HEAD + "\n" + rows)
    assert len(found.placements) == 2
    assert [c.name for c in found.caveats] == (["straightedge_bent"] if bent else [])
    if bent:
        assert (
            "Readings 1 and 2, the straightedge turned, differ by 1.5 mm; at most 1.2 mm fit" in found.caveats[0].text
        )


def test_unread_rows_are_told_with_their_share(tmp_path: Path) -> None:
    staffs = "".join(f"{k},staff,{k / 4},1,,,,,,,,{1500 + k if k > 4 else ''},,,,,\n" for k in range(1, 11))
    found = read(tmp_path, LINES + HEAD + "\n" + staffs + "J1,lip,,,,,,,,,,,,,,,\n")
    assert len(found.levels) == 6
    assert found.inferences == ("5 of 11 rows hold no reading and were left out",)
    assert found.caveats[0].text.startswith("40 % of the placements and levels listed in the table were not read (4 of")


def test_bad_rows_are_left_out_when_told_to(tmp_path: Path) -> None:
    rows = "1,lip,1,1,,,,,,J1,,abc,,,,,\n2,lip,1,1,,,,,,J1,,0.5,,,,,\n3,lip,9,1,,,,,,J1,,0.5,,,,,\n"
    found = read(tmp_path, LINES + HEAD + "\n" + rows, leave_out_bad_rows=True)
    assert [s.number for s in found.spots] == ["2"]
    said = [s.split("readings.csv, ")[1] for s in found.left_out]
    assert said == [
        "row 16, column 'value_mm': 'abc' is not a number. Write a plain number of millimetres.",
        (
            "row 18, column 'x_m': 9 m lies beyond the room, which reaches from 0 to 5 m. "
            "Check it; were two columns swapped?"
        ),
    ]
    (doubt,) = found.caveats
    assert doubt.name == "rows_left_out"
    assert doubt.text == "2 of 3 rows cannot be used and were left out (rows 16, 18)"


def test_the_next_readings_file_is_the_same_kind_of_table(tmp_path: Path) -> None:
    head = "number,what,x_m,y_m,joint,edge_m,where,instrument,resolves,value_mm,u_mm,note\n"
    text = head + '1,gap,1.5,2.25,,2,"here, there",feeler gauges,0.2 mm,3.1,,\n2,lip,1,1,J1,,,,,,,\n'
    found = read(tmp_path, text)
    assert found.spots == read_hand_readings(tmp_path / "readings.csv")
    assert (found.spots[0].number, found.spots[0].value.u) == ("1", pytest.approx(math.hypot(0.2 / 12**0.5, 0.3)))
    assert not found.shows_shape
    assert [c.name for c in found.caveats] == []


def test_the_option_serves_only_what_nothing_states(tmp_path: Path) -> None:
    text = "# place unit: m\nwhat,x,y,value\nlip,1,2,0.5\nlip,1,3,0.5 mm\n"
    found = read(tmp_path, text, unit="cm")
    assert [s.value.value for s in found.spots] == [5.0, 0.5]
    assert found.spots[0].at == (1000.0, 2000.0)
    assert found.inferences == ("Numbers whose unit the table does not state were read in cm (--unit)",)


def test_gravity_is_the_option_s_else_the_table_s(tmp_path: Path) -> None:
    text = "# gravity: no\nwhat,x_m,y_m,value_mm\nstaff,1,2,1500\n"
    assert not read(tmp_path, text).gravity
    assert read(tmp_path, text, gravity=True).gravity


def test_stations_may_stand_in_any_order(tmp_path: Path) -> None:
    head = "# unit: mm\nwhat,x_m,y_m,to_x_m,to_y_m,at 1.5 m,at 10 in,50 cm\n"
    (placement,) = read(tmp_path, head + "straightedge,1,1,3,1,3,1,2\n").placements
    assert placement.at_mm.tolist() == [254.0, 500.0, 1500.0]
    assert placement.gap_mm.tolist() == [1.0, 2.0, 3.0]


def test_lines_without_a_unit_take_the_table_s(tmp_path: Path) -> None:
    """Lengths along the floor that of places, steps that of readings."""
    lines = "# unit: in\n# place unit: ft\n# straightedge length: 6\n# straightedge resolution: 1/32\n"
    text = lines + "what,x,y,to_x,to_y,1 ft\nstraightedge,1,1,7,1,1/4\n"
    (placement,) = read(tmp_path, text).placements
    assert (placement.bar.length_mm, placement.bar.step_mm) == (1828.8, 0.79375)
    assert (placement.start, placement.end) == ((304.8, 304.8), (2133.6, 304.8))
    assert placement.gap_mm.tolist() == [6.35]
