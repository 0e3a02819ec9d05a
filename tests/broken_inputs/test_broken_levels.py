"""Broken levels tables: one sentence each, naming row and column."""

from __future__ import annotations

import zipfile
from pathlib import Path

import openpyxl
import pytest

import flatscan
from flatscan.errors import InputError
from flatscan.settings import ReadSettings
from flatscan.sources.hand.read_field import read_levels_as_field

HEAD = "x [m],y [m],staff [mm]\n"
GOOD = "0,0,1\n1,0,2\n0,1,3\n1,1,4\n"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "empty"),
        ("\n \n", "no table"),
        ("# unit: mm\n", "no table"),
        (HEAD, "no value is filled in: all 0 rows are empty"),
        (GOOD, "no header"),
        ("a,b,c\n" + GOOD, "no column is called x"),
        ("x [m],b,staff [mm]\n" + GOOD, "no column is called y"),
        ("x [m],y [m],z2\n" + GOOD, "no column is called height or staff"),
        ("x,y,staff\n" + GOOD, "row 2, column 'x': nothing states the unit of '0'"),
        ("x [m],y [m],staff [kg]\n" + GOOD, "'kg' is not a length unit"),
        ("x [m],y [m],staff [mm],height [mm]\n0,0,1,1\n", "compete"),
        ("x [m],x [mm],y [m],staff [mm]\n0,0,1,1\n", "compete"),
        ("# sign: height\n" + HEAD + GOOD, "contradicts"),
        ("# sign: up\n" + HEAD + GOOD, "sign 'up'"),
        ("# gravity: maybe\n" + HEAD + GOOD, "gravity 'maybe'"),
        ("# reading sgma_mm: 0.5\n" + HEAD + GOOD, "not understood"),
        ("# reading sigma_mm: -1\n" + HEAD + GOOD, "not a positive length"),
        ("# unit: furlong\n" + HEAD + GOOD, "'furlong' is not a length unit"),
        (HEAD + GOOD + "2,0,abc\n", r"row 6, column 'staff \[mm\]': 'abc' is not a number"),
        ("# free words\n\n" + HEAD + "# more\n" + GOOD + "2,0,abc\n", "row 9, column"),
        (HEAD + GOOD + "2,,5\n", r"row 6, column 'y \[m\]': the cell is empty"),
        (HEAD + GOOD + "2,0,nan\n", "'nan' is not a number"),
        (HEAD + GOOD + "2,0,inf\n", "'inf' is not a number"),
        (HEAD + GOOD + "2,0,1e999\n", "'1e999' holds two numbers"),
        (HEAD + GOOD + "2,0,5 kg\n", "'5 kg' is not in a unit of length"),
        (HEAD + GOOD + "2,0,=A1+1\n", "formula =A1"),
        (HEAD + GOOD + "1,0,2.5\n", "rows 3 and 6: give two readings"),
        (HEAD + "0,0,1,5\n" + GOOD, "has 4 cells where the header has 3"),
        ("x [m];y [m];staff [mm]\n0;0;1,5\n1;0;1.250\n", "'1.250' may mean 1,250 or 1250"),
        ("x [m];y [m];staff [mm]\n0;0;1.234,5\n1;0;2\n1;1;1\n0;1;1\n", "'1.234,5' is not a number"),
        ('x [m],y [m],staff [mm]\n0,0,"1\x00"\n', "not a text table"),
    ],
)
def test_bad_text_tables(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "levels.csv").write_text(text)
    with pytest.raises(InputError, match=says):
        read_levels_as_field(tmp_path / "levels.csv", ReadSettings())


def workbook(path: Path, *sheets: list[list[object]]) -> Path:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for number, rows in enumerate(sheets):
        sheet = book.create_sheet(f"Room {number}")
        for row in rows:
            sheet.append(row)
    book.save(path)
    return path


ROWS: list[list[object]] = [["x [m]", "y [m]", "staff [mm]"], [0, 0, 1], [1, 0, 2], [0, 1, 3], [1, 1, 4]]


@pytest.mark.parametrize(
    ("sheets", "says"),
    [
        ([[]], "no sheet with data"),
        ([ROWS, ROWS], "data on 2 sheets"),
        ([[*ROWS, [2, 0, "=A1"]]], r"sheet Room 0, row 6, column 'staff \[mm\]': holds the formula =A1"),
        ([[*ROWS, [2, 0, True]]], "'True' is not a number"),
        ([[*ROWS, ["2a", 0, 1]]], r"row 6, column 'x \[m\]'"),
    ],
)
def test_bad_workbooks(tmp_path: Path, sheets: list[list[list[object]]], says: str) -> None:
    with pytest.raises(InputError, match=says):
        read_levels_as_field(workbook(tmp_path / "levels.xlsx", *sheets), ReadSettings())


def test_damaged_misnamed_and_swollen_workbooks(tmp_path: Path) -> None:
    path = workbook(tmp_path / "levels.xlsx", ROWS)
    path.write_bytes(path.read_bytes()[:1500])
    with pytest.raises(InputError, match="not a readable XLSX"):
        read_levels_as_field(path, ReadSettings())
    path.write_text(HEAD + GOOD)
    with pytest.raises(InputError, match="not an XLSX workbook in spite of its name"):
        read_levels_as_field(path, ReadSettings())
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b" " * 60_000_000)
    assert path.stat().st_size < 100_000
    with pytest.raises(InputError, match="unpacks to 60 MB"):
        read_levels_as_field(path, ReadSettings())


def test_missing_file_and_folder(tmp_path: Path) -> None:
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(InputError):
            read_levels_as_field(path, ReadSettings())


def test_three_places_are_no_floor(tmp_path: Path) -> None:
    (tmp_path / "levels.csv").write_text(HEAD + "0,0,1\n1,0,2\n0,1,3\n")
    with pytest.raises(InputError, match=r"heights were read at 3 places\. A floor takes at least 4"):
        flatscan.check(tmp_path / "levels.csv")
