"""Broken readings files: one sentence each, naming row and column."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from flatscan.errors import InputError
from flatscan.sources.hand.read_readings import read_hand_readings

HEAD = "what,x_m,y_m,joint,edge_m,instrument,resolves,value_mm,u_mm,note\n"


def lip(value: str, u: str = "") -> str:
    return f"lip,1,2,J4,,,,{value},{u},\n"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "empty"),
        ("\n \n", "holds no table. Write a header line such as what, x_m"),
        (HEAD, "no value is filled in: all 0 rows"),
        (HEAD + lip("") + lip(" ") + lip("-"), "no value is filled in: all 3 rows"),
        ("what,x_m,y_m,joint\n" + "lip,1,2,J4\n", "no column is called value_mm"),
        ("what,x_m,y_m,value_kg\nlip,1,2,0.1\n", "no column is called value_mm"),
        ("what,x,y_m,value_mm\nlip,1,2,0.1\n", "row 2, column 'x': nothing states the unit of '1'"),
        ("x_m,y_m,value_mm\n1,2,0.1\n", "no column is called what"),
        ("what,x_m,x_m,y_m,value_mm\nlip,1,1,2,0.1\n", "two columns are called x_m"),
        (HEAD + lip("1") + lip("-0.5"), r"row 3, column 'value_mm': -0.5 is negative"),
        (HEAD + lip("abc"), r"row 2, column 'value_mm': 'abc' is not a number"),
        (HEAD + lip("nan"), "'nan' is not a number"),
        (HEAD + lip("1e3"), "'1e3' is not a number|holds two numbers"),
        (HEAD + lip("1.2 / 1.4"), "'1.2 / 1.4' holds two numbers"),
        (HEAD + lip("1-2"), "'1-2' holds two numbers"),
        (HEAD + lip("1.2 kg"), "'1.2 kg' is not in a unit of length. Use one of mm, cm, m, in, ft"),
        (HEAD + lip("3/16"), "'3/16' is a fraction where mm is the unit. Write its unit: 3/16 in"),
        (HEAD + lip("1.234.5"), "'1.234.5' is not a number"),
        (HEAD + lip("=A1+1"), "formula =A1"),
        (HEAD + lip("2026-02-01 00:00:00"), "holds a date"),
        (HEAD + lip("999"), "999 mm is too large"),
        (HEAD + lip("<abc"), "'<abc' is not understood"),
        (HEAD + lip("<-1"), "'<-1' is not understood"),
        (HEAD + lip("1", "0"), "column 'u_mm': 0 mm cannot be the uncertainty"),
        (HEAD + lip("1", "-1"), "column 'u_mm': -1 is negative"),
        (HEAD + lip("0", "5"), "was a decimal comma meant"),
        (HEAD + "lip,1,2,J4,,,,0,5,,\n", "has 11 cells where the header has 10"),
        (HEAD + "lips,1,2,J4,,,,1,,\n", "'lips' is not a thing that is read. Did you mean lip?"),
        (HEAD + "moisture,1,2,J4,,,,1,,\n", "Write one of gap, lip, joint_width, joint_depth"),
        (HEAD + ",1,2,J4,,,,1,,\n", "column 'what'"),
        (HEAD + "lip,,2,J4,,,,1,,\n", "column 'x_m': the cell is empty"),
        (HEAD + "lip,1,1250,J4,,,,1,,\n", "column 'y_m': 1250 m is no place in a room"),
        (HEAD + "lip,1,left,J4,,,,1,,\n", "column 'y_m': 'left' is not a number. Write a plain number of metres"),
        (HEAD + "gap,1,2,,,,,1,,\n", "column 'edge_m': the cell is empty"),
        (HEAD + "gap,1,2,,2000,,,1,,\n", "2000 m is no straightedge's length"),
        (HEAD + '"lip",1,2,"1\x00",,,,1,,\n', "not a text table"),
    ],
)
def test_bad_readings(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "readings.csv").write_text(text)
    with pytest.raises(InputError, match=says) as caught:
        read_hand_readings(tmp_path / "readings.csv")
    assert "\n" not in str(caught.value)


def test_rows_after_comments_and_gaps_keep_the_files_number(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text("# mine\n\n" + HEAD + "# more\n" + lip("1") + lip("x"))
    with pytest.raises(InputError, match="row 6, column 'value_mm'"):
        read_hand_readings(tmp_path / "readings.csv")


def test_files_that_are_no_table(tmp_path: Path) -> None:
    with pytest.raises(InputError):
        read_hand_readings(tmp_path / "missing.csv")
    with pytest.raises(InputError):
        read_hand_readings(tmp_path)
    (tmp_path / "readings.xlsx").write_bytes(b"PK\x03\x04 broken")
    with pytest.raises(InputError, match="not a readable XLSX"):
        read_hand_readings(tmp_path / "readings.xlsx")
    book = openpyxl.Workbook()
    book.active.append(["what", "x_m", "y_m", "value_mm"])
    book.active.append(["lip", 1, 2, "=1+1"])
    book.save(tmp_path / "formula.xlsx")
    with pytest.raises(InputError, match="row 2, column 'value_mm': holds the formula"):
        read_hand_readings(tmp_path / "formula.xlsx")
