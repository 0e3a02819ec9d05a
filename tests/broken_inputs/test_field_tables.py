"""Broken readings tables: one sentence each, naming the cell and the cure; no sign and no unit is guessed."""

from __future__ import annotations

import csv
import datetime as dt
import io
import tempfile
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatscan.errors import InputError
from flatscan.settings import ReadSettings
from flatscan.sources.hand.read_field import is_field_table, read_field_readings

TOP = """\
# room: 5.0 x 4.0 m
# unit: mm
# place unit: m
# straightedge length: 2 m
"""
TITLES = (
    "number", "what", "x_m", "y_m", "to_x_m", "to_y_m", "rule", "set_up", "edge_m", "value_mm", "u_mm", "time",
    "turned", "0.25 m", "1 m", "1.75 m", "note",
)  # fmt: skip
HEAD = ",".join(TITLES) + "\n"


def row(number: int = 1, what: str = "lip", x: str = "1", y: str = "1", **cells: str) -> str:
    filled = {"number": str(number), "what": what, "x_m": x, "y_m": y} | cells
    return ",".join(filled.get(title, "") for title in TITLES) + "\n"


def bar(number: int = 1, gaps: str = "c 0.5 c", to: str = "2.3", rule: str = "resting", **cells: str) -> str:
    at = dict(zip(("0.25 m", "1 m", "1.75 m"), (g.replace("~", " ") for g in gaps.split()), strict=True))
    return row(number, "straightedge", "0.3", "0.5", to_x_m=to, to_y_m="0.5", rule=rule, **at, **cells)


def staff(number: int, what: str = "staff", value: str = "1500", set_up: str = "A", **cells: str) -> str:
    return row(number, what, value_mm=value, set_up=set_up, **cells)


def lip(number: int, value: str = "0.5", x: str = "1", y: str = "1", **cells: str) -> str:
    return row(number, "lip", x, y, value_mm=value, **cells)


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        # columns swapped, places beyond the room
        (
            staff(1, value="1", x="1500"),
            ", row 6, column 'x_m': 1500 m is no place in a room. Write metres from the wall.",
        ),
        (
            lip(1, x="12"),
            (
                ", row 6, column 'x_m': 12 m lies beyond the room, which reaches from 0 to 5 m. "
                "Check it; were two columns swapped?"
            ),
        ),
        (
            lip(1, x="3", y="4.6"),
            (
                ", row 6, column 'y_m': 4.6 m lies beyond the room, which reaches from 0 to 4 m. "
                "Check it; were x_m and y_m swapped?"
            ),
        ),
        (
            bar(to="5.3"),
            (
                ", row 6, column 'to_x_m': 5.3 m lies beyond the room, which reaches from 0 to 5 m. "
                "Check it; were two columns swapped?"
            ),
        ),
        # gaps
        (
            bar(gaps="c~0.5 1 c"),
            (
                ", row 6, column '0.25 m': 'c 0.5' marks a contact and gives a gap. "
                "Write c where the bar touches, or the gap where it does not."
            ),
        ),
        (
            bar(gaps="c 0.5contact c"),
            (
                ", row 6, column '1 m': '0.5contact' marks a contact and gives a gap. "
                "Write c where the bar touches, or the gap where it does not."
            ),
        ),
        (
            bar(gaps="x 0.5 c"),
            (
                ", row 6, column '0.25 m': 'x' may mean that the bar touches, or that nothing was read. "
                "Write c where the bar touches, and leave empty what was not read."
            ),
        ),
        (
            bar(gaps="c -0.5 c"),
            (
                ", row 6, column '1 m': -0.5 is negative. "
                "A gap runs down from the bar; where the floor is higher than the bar, lay it on that place."
            ),
        ),
        (
            bar(gaps="c 300 c"),
            ", row 6, column '1 m': 300 mm is too large for a reading there. Check it and its unit.",
        ),
        (
            bar(gaps="c about~1 c"),
            ", row 6, column '1 m': 'about 1' is not a number. Write a plain number of millimetres.",
        ),
        (
            bar(gaps="c =B2*2 c"),
            ", row 6, column '1 m': holds the formula =B2*2. Replace formulas by their values.",
        ),
        (
            bar(gaps="c 3/16/2026 c"),
            ", row 6, column '1 m': holds a date, 3/16/2026. Format the column as text and write the number again.",
        ),
        (
            bar(gaps="c 8-Jan c"),
            ", row 6, column '1 m': holds a date, 8-Jan. Format the column as text and write the number again.",
        ),
        (
            bar(gaps="c 3/16 c"),
            ", row 6, column '1 m': '3/16' is a fraction where mm is the unit. Write its unit: 3/16 in.",
        ),
        # levels of another unit: one cell in metres, then all of a set-up
        (
            staff(1, value="1500") + staff(2, value="1.497", x="4") + staff(3, value="1502", y="3"),
            (
                ", row 7, column 'value_mm': this lies 1499 mm from the middle one of its set-up, more than any floor. "
                "Check it and its unit; write the unit into the cell, such as 1.25 m."
            ),
        ),
        (
            staff(1, value="1.500") + staff(2, value="1.497", x="4") + staff(3, value="1.502", y="3"),
            (
                ", row 6, column 'value_mm': a staff of 1.5 mm would stand right beneath the level's sight "
                "(2 more rows cannot be used: rows 7, 8). Were metres meant? Call the column value_m."
            ),
        ),
        # the bar
        (
            bar(to="2.9"),
            (
                ", row 6, column 'to_x_m': its ends lie 2.6 m apart, and the straightedge is 2 m long. "
                "Check where its two ends lay; a bar of another length states it in edge_m."
            ),
        ),
        (
            bar(to="2.0"),
            (
                ", row 6, column 'to_x_m': its ends lie 1.7 m apart, and the straightedge is 2 m long. "
                "Check where its two ends lay; a bar of another length states it in edge_m."
            ),
        ),
        (
            bar(to="1.5", edge_m="1.2"),
            (
                ", row 6, column '1.75 m': the station lies beyond the bar's end, 1.2 m from its start. "
                "Empty the cell, or check where the ends lay."
            ),
        ),
        (
            bar(to="0.3"),
            ", row 6, column 'to_x_m': both ends are at one place. Write where the other end lay.",
        ),
        (
            bar(rule="restin"),
            ", row 6, column 'rule': 'restin' is no way to lay a straightedge. Did you mean resting?",
        ),
        (
            bar(rule="feet", gaps="10 11 10"),
            (
                ", row 6, column 'rule': the bar stood on feet, and nothing states how high they are. "
                "Add a line such as # feet height: 10 mm."
            ),
        ),
        (
            bar(rule="line"),
            (
                ", row 6, column '0.25 m': marks a contact, and the rule of this row is line. "
                "Write resting, or the gap that was read."
            ),
        ),
        (
            bar(turned="perhaps"),
            ", row 6, column 'turned': 'perhaps' is not understood. Write yes where the bar lay end for end.",
        ),
        (
            bar(value_mm="3"),
            (
                ", row 6, column 'value_mm': a straightedge is read at stations, and this row gives a value. "
                "Move it to its station, or write what = gap for the one deepest gap."
            ),
        ),
        (
            row(1, "hump", value_mm="3"),
            ", row 6, column 'to_x_m': the cell is empty. Fill it in, or empty the row's value.",
        ),
        # levels
        (
            staff(1, "level"),
            (
                ", row 6, column 'what': 'level' does not say whether it grows as the floor rises or as it falls. "
                "Write height (grows as the floor rises) or staff (grows as it falls)."
            ),
        ),
        (
            staff(1) + staff(2, "height") + staff(3, "height", set_up="B"),
            (
                ", row 7, column 'what': height in set-up A, where row 6 says staff. "
                "One set-up reads one way; correct the word, or name another set-up."
            ),
        ),
        (
            staff(1, **{"1 m": "2"}),
            (
                ", row 6, column '1 m': a staff has no stations, and this one is filled. "
                "Move it to the column value, or write what = straightedge."
            ),
        ),
        (
            staff(1, time="25:10"),
            ", row 6, column 'time': '25:10' is no time of day. Write it like 09:15.",
        ),
        (
            staff(1, value='"1,250"'),
            (
                ", row 6, column 'value_mm': '1,250' may mean 1.250 or 1250 mm. "
                "Write it with a point, or without a thousands mark."
            ),
        ),
        (
            staff(1, value='"1,250 m"') + staff(2, value="1.5 m"),
            (
                ", row 6, column 'value_mm': '1,250 m' may mean 1.250 m or 1250 m. "
                "Write it like row 7, which has decimal points, without thousands marks."
            ),
        ),
        # spots, taps, cracks
        (
            row(1, "lipp", value_mm="1"),
            ", row 6, column 'what': 'lipp' is not a thing that is read. Did you mean lip?",
        ),
        (
            row(1, "tap", value_mm="hollw"),
            ", row 6, column 'value_mm': 'hollw' is no result of a tap test. Did you mean hollow?",
        ),
        (
            row(1, "tap", value_mm="7"),
            ", row 6, column 'value_mm': '7' is no result of a tap test. Write sound, hollow or loose.",
        ),
        (
            row(1, "gap", value_mm="3"),
            ", row 6, column 'edge_m': the cell is empty. Fill it in, or empty the row's value.",
        ),
        (
            lip(1, "-1"),
            ", row 6, column 'value_mm': -1 is negative. Write sizes without a sign; a lip's side does not matter.",
        ),
        (
            lip(1, u_mm="9"),
            (
                ", row 6, column 'u_mm': 9 mm cannot be the uncertainty of a reading by hand. "
                "Leave it empty, or write at most 2; was a decimal comma meant?"
            ),
        ),
        # rows
        (
            lip(1) + lip(1),
            ", row 7, column 'number': number 1 stands in row 6 already. Give each row a number of its own.",
        ),
        (
            lip(1).strip() + ",\n",
            ", row 6: has 18 cells where the header has 17. Write decimal points, or separate the cells by semicolons.",
        ),
        (
            lip(1, "0.5\x07"),
            ", row 6, column 'value_mm': holds a character that cannot be read. Type the cell again.",
        ),
        (
            lip(1, "x") + lip(2) + lip(3, "y"),
            (
                ", row 6, column 'value_mm': 'x' is not a number (1 more row cannot be used: row 8). "
                "Write a plain number of millimetres."
            ),
        ),
        (
            lip(1) + lip(2, "x") + "".join(lip(k, "-1") for k in range(3, 12)),
            (
                ", row 7, column 'value_mm': 'x' is not a number "
                "(9 more rows cannot be used: rows 8, 9, 10, 11, 12, 13 and 3 more). "
                "Write a plain number of millimetres."
            ),
        ),
        (
            bar(gaps="- n/a -") + lip(2, ""),
            (
                ": no value is filled in: all 2 rows are empty. "
                "Write what you read in the column value or at the stations, or leave the file out."
            ),
        ),
    ],
)
def test_bad_rows_name_the_cell_and_the_cure(tmp_path: Path, rows: str, message: str) -> None:
    path = tmp_path / "readings.csv"
    path.write_text(TOP + HEAD + rows, encoding="utf-8")
    assert is_field_table(path)
    with pytest.raises(InputError) as caught:
        read_field_readings(path)
    assert str(caught.value) == f"{path}{message}"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "what,x,y_m,value_mm\nlip,1,1,1\n",
            (
                ", row 2, column 'x': nothing states the unit of '1'. "
                "Write it in the column's title or in the cell, such as 1 m, or add a line # place unit: m."
            ),
        ),
        (
            "what,x_m,y_m,value\nlip,1,1,1\n",
            (
                ", row 2, column 'value': nothing states the unit of '1'. "
                "Write it in the column's title or in the cell, such as 1 mm, or add a line # unit: mm."
            ),
        ),
        (
            "what,x_m,y_m,to_x_m,to_y_m,0.5 m\nstraightedge,1,1,3,1,2\n",
            (
                ", row 2, column '0.5 m': nothing states the unit of '2'. "
                "Write it in the cell, such as 2 mm, or add a line # unit: mm."
            ),
        ),
        (
            "what,x_m,y_m,to_x_m,to_y_m,0.5\nstraightedge,1,1,3,1,2 mm\n",
            (
                ", row 1, column '0.5': nothing states the unit of this station. "
                "Write it in the title, such as 0.5 m, or add a line # place unit: m."
            ),
        ),
        (
            "what,x_m,y_m,value (kg)\nlip,1,1,1\n",
            ", row 1, column 'value (kg)': 'kg' is not a unit of length. Use one of mm, cm, m, in, ft.",
        ),
        ("what,x_m,x_m,y_m,value_mm\nlip,1,1,1,1\n", ", row 1: two columns are called x_m. Keep one of them."),
        (
            "what,x_m,y_m,value_mm,value_in\nlip,1,1,1,1\n",
            ", row 1: the columns 'value_mm' and 'value_in' both give value. Keep one of them.",
        ),
        (
            "what,x_m,y_m,to_x_m,to_y_m,0.25 m,25 cm\nstraightedge,1,1,3,1,1,1\n",
            ", row 1: the columns '0.25 m' and '25 cm' both give the station at 250 mm. Keep one of them.",
        ),
        (
            "what,x_m,y_m,to_x_m,to_y_m,note\nstraightedge,1,1,3,1,1\n",
            (
                ", row 1: no column is called value_mm, and none is a station of a straightedge, such as 0.25 m. "
                "Write a header such as what, x_m, y_m, to_x_m, to_y_m, joint, edge_m, value_mm, u_mm, "
                "0.25 m, 0.50 m, note."
            ),
        ),
        (
            "# room: 1.2 x 0.9 m\n# straightedge length: 2 m\nwhat,x_m,y_m,value_mm\nlip,1,0.5,1\n",
            ", row 2: the straightedge, 2 m, is longer than the room, 1.5 m. Check its length and the room's size.",
        ),
        (
            "# straightedge lenght: 2 m\nwhat,x_m,y_m,value_mm\nlip,1,1,1\n",
            ", row 1: the line '# straightedge lenght: 2 m' is not understood. Did you mean # straightedge length?",
        ),
        (
            "# straightedge length: 2\nwhat,x_m,y_m,value_mm\nlip,1,1,1\n",
            (
                ", row 1, line # straightedge length: nothing states the unit of '2'. "
                "Write it behind the number, like 2 mm."
            ),
        ),
        (
            "# level tilt: 0.1\nwhat,x_m,y_m,value_mm\nlip,1,1,1\n",
            ", row 1, line # level tilt: '0.1' is not understood. Write it like 0.1 mm/m or 1/8 in per 100 ft.",
        ),
        (
            "# unit: mm\n# unit: in\nwhat,x_m,y_m,value\nlip,1,1,1\n",
            ", row 2: states unit again, after row 1. Keep one of the two lines.",
        ),
        (
            "# outline: 0 0; 5 5; 5 0; 0 5 (unit m)\nwhat,x_m,y_m,value_mm\nlip,1,1,1\n",
            (
                ", row 1, line # outline: the corners '0 0; 5 5; 5 0; 0 5' enclose no room, or cross. "
                "Write it like: # outline: 0 0; 5 0; 5 4; 0 4 (unit m)."
            ),
        ),
        (
            "# outline: 0 0; 5 0; 5 2; 3 2; 3 3.5; 0 3.5 (unit m)\nwhat,x_m,y_m,value_mm\nlip,4,3,1\n",
            (
                ", row 3, columns 'x_m' and 'y_m': x 4, y 3 m lies outside the room's outline. "
                "Check it; were two columns swapped?"
            ),
        ),
    ],
)
def test_bad_headers_and_lines(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "readings.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_field_readings(path)
    assert str(caught.value) == f"{path}{message}"


@pytest.mark.parametrize(
    "rows",
    [
        # A garage whose floor rises 1 in 8 over 4 m; a zeroed digital level; heights above a nail, written finely.
        staff(1, x="0.5") + staff(2, x="2.5", value="1250") + staff(3, x="4.5", value="1000"),
        staff(1, value="0.000") + staff(2, value="1.250", x="3") + staff(3, value="-0.750", y="3"),
        "".join(staff(n, "height", value, x=str(n)) for n, value in enumerate(("0.125", "1.497", "2.502"), start=1)),
        staff(1, value="1500") + staff(2, value="1.2", set_up="B"),
    ],
    ids=["ramp", "zeroed", "heights", "two stands"],
)
def test_levels_that_floors_and_people_do_have_are_read(tmp_path: Path, rows: str) -> None:
    path = tmp_path / "levels.csv"
    path.write_text(TOP + HEAD + rows, encoding="utf-8")
    assert len(read_field_readings(path).levels) == rows.count("\n")


def test_a_far_level_can_be_left_out_by_name(tmp_path: Path) -> None:
    path = tmp_path / "levels.csv"
    rows = "".join(staff(n, x=str(n), value=v) for n, v in enumerate(("1500", "1.5", "1501", "1502"), start=1))
    path.write_text(TOP + HEAD + rows, encoding="utf-8")
    field = read_field_readings(path, ReadSettings(leave_out_bad_rows=True))
    assert [level.number for level in field.levels] == ["1", "3", "4"]
    assert "row 7" in field.left_out[0]


@pytest.mark.parametrize(("turned", "said"), [("x", True), ("✓", True), ("yes", True), ("", False), ("no", False)])
def test_a_tick_says_turned_and_on_feet_is_a_rule(tmp_path: Path, turned: str, said: bool) -> None:
    path = tmp_path / "bar.csv"
    table = TOP + "# feet height: 10 mm\n" + HEAD + bar(gaps="10 10.5 10", rule="On feet", turned=turned)
    path.write_text(table, encoding="utf-8")
    (placement,) = read_field_readings(path).placements
    assert (placement.rule, placement.turned) == ("feet", said)


def test_a_room_by_another_name_is_not_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "room.csv"
    path.write_text(TOP.replace("# room:", "# size of the room:") + HEAD + lip(1), encoding="utf-8")
    with pytest.raises(InputError, match=r"row 1: the line .* is not understood. Write it like: # room: 5.0 x 4.0 m"):
        read_field_readings(path)
    path.write_text("# room: 5 x 4 m\n# room number: 12\n# unit: mm\n" + HEAD + lip(1), encoding="utf-8")
    assert len(read_field_readings(path).spots) == 1


def test_a_place_in_feet_is_told_in_feet(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    path.write_text("# room: 16 ft x 12 ft\nwhat,x_ft,y_ft,value_in\nlip,18' 6\",1,1/16\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"18.5 ft lies beyond the room, which reaches from 0 to 16 ft"):
        read_field_readings(path)


def test_left_out_rows_may_not_be_all(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    path.write_text(TOP + HEAD + lip(1, "x") + lip(2, "y"), encoding="utf-8")
    with pytest.raises(InputError, match=r"'x' is not a number \(1 more row cannot be used: row 7\)"):
        read_field_readings(path, ReadSettings(leave_out_bad_rows=True))


def _workbook(path: Path, *sheets: list[list[object]]) -> Path:
    book = openpyxl.Workbook()
    for k, rows in enumerate(sheets):
        sheet = book.active if k == 0 else book.create_sheet()
        for cells in rows:
            sheet.append(cells)
    book.save(path)
    return path


HEADER: list[object] = ["what", "x_m", "y_m", "value_mm"]


@pytest.mark.parametrize(
    ("sheets", "message"),
    [
        (
            [[HEADER, ["lip", 1, 1, 1]], [HEADER, ["lip", 1, 1, 1]]],
            ": has data on 2 sheets (Sheet, Sheet1). Save the one to use as its own file.",
        ),
        (
            [[HEADER, ["lip", 1, 1, "=1+1"]]],
            ", sheet Sheet, row 2, column 'value_mm': holds the formula =1+1. Replace formulas by their values.",
        ),
        (
            [[["# note"], [], HEADER, ["lip", 1, 1, dt.datetime(2026, 3, 16)]]],  # noqa: DTZ001 - as sheets hold it
            (
                ", sheet Sheet, row 4, column 'value_mm': holds a date, 2026-03-16 00:00:00. "
                "Format the column as text and write the number again."
            ),
        ),
    ],
)
def test_bad_workbooks(tmp_path: Path, sheets: list[list[list[object]]], message: str) -> None:
    path = _workbook(tmp_path / "readings.xlsx", *sheets)
    assert is_field_table(path)
    with pytest.raises(InputError) as caught:
        read_field_readings(path)
    assert str(caught.value) == f"{path}{message}"


#: Scraps of what people, spreadsheets and wrong encodings put into cells.
SCRAPS = st.sampled_from([
    "c", "0", "-1", "1/0", "1/2", "½", "'", '"', "5'", "''", "<", "<c", "<1 in", "=", "=1", "1,2,3", "٣", "²", "nan",
    "1e400", "−3", "9" * 400, "0." + "0" * 400 + "1", "1 ft 2", "c c", "#", "x", "\u2028", "%s{}", "2026-01-01", "yes",
])  # fmt: skip


@given(column=st.sampled_from(TITLES), cell=st.one_of(SCRAPS, st.text(max_size=12)), kind=st.integers(0, 5))
@settings(max_examples=150, deadline=None)
def test_whatever_stands_in_a_cell_is_read_or_refused_in_one_sentence(column: str, cell: str, kind: int) -> None:
    whats = ["straightedge", "staff", "gap", "crack", "tap", "free_end"]
    filled = {"to_x_m": "2.3", "to_y_m": "1", "edge_m": "2", "value_mm": "2"} | {column: cell}
    if kind == 0:
        filled |= {"value_mm": "", "0.25 m": "c"} | {column: cell}
    table = io.StringIO()
    cells = {"number": "1", "what": whats[kind], "x_m": "0.3", "y_m": "1"} | filled
    csv.writer(table).writerow([cells.get(title, "") for title in TITLES])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.csv"
        path.write_text(TOP + HEAD + table.getvalue(), encoding="utf-8", errors="replace")
        is_field_table(path)
        try:
            found = read_field_readings(path)
        except InputError as error:
            assert "\n" not in str(error)  # noqa: PT017 - either outcome is right
        else:
            assert len(found.inputs) == 1
