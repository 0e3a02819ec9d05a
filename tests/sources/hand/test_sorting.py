"""Readings tables are told from captures, whatever lies beside them."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

import flatscan
from flatscan.errors import InputError
from flatscan.sheet.layout import lay_out
from flatscan.sheet.request import request_from
from flatscan.sheet.table import as_csv, sheet_table
from flatscan.sheet.workbook import as_xlsx
from flatscan.sources.hand.read_field import is_field_table, sort_sources
from flatscan.sources.hand.typed import is_typed

TABLE = "# mine\n\nnumber;what;x_m;y_m;value_mm\n1;lip;1,5;2;0,5\n"


@pytest.mark.parametrize(
    ("name", "data", "is_one"),
    [
        ("a.csv", TABLE.encode(), True),
        ("a.txt", TABLE.encode("utf-16"), True),
        ("a.csv", b"x_m,y_m,staff_mm\n1,1,1500\n", False),
        ("a.csv", b"x,y,z\n1,1,1\n", False),
        ("a.csv", b"what,when\nlip,now\n", False),
        # So many columns of its own: its reader says that what or x is missing.
        ("a.csv", b"number,kind,x_m,y_m,rule,joint,value_mm\n1,lip,1,1,,,0.5\n", True),
        ("a.csv", b"x,y,z,value\n1,1,1,1\n", False),
        ("a.csv", b"", False),
        ("a.csv", b"\x00\xff" * 500, False),
        ("a.csv", b"# only comments\n", False),
        ("a.xlsx", b"PK\x03\x04 broken", False),
        ("a.xlsx", b"", False),
        ("a.png", TABLE.encode(), False),
    ],
)
def test_a_table_is_told_by_its_header(tmp_path: Path, name: str, data: bytes, is_one: bool) -> None:
    (tmp_path / name).write_bytes(data)
    assert is_field_table(tmp_path / name) is is_one


def test_neither_a_folder_nor_a_missing_file_is_one(tmp_path: Path) -> None:
    (tmp_path / "folder.csv").mkdir()
    assert not is_field_table(tmp_path / "folder.csv")
    assert not is_field_table(tmp_path / "missing.csv")


def test_captures_and_tables_keep_their_order(tmp_path: Path) -> None:
    folder = tmp_path / "room"
    folder.mkdir()
    (folder / "README.md").write_text("Invented.")
    (folder / "readings.csv").write_text(TABLE)
    loose, cloud, levels = tmp_path / "mine.csv", tmp_path / "cloud.xyz", tmp_path / "levels.csv"
    loose.write_text(TABLE)
    cloud.write_text("0 0 0\n1 1 0\n2 2 0\n")
    levels.write_text("x_m,y_m,staff_mm\n1,1,1500\n")
    captures, tables = sort_sources([levels, folder, cloud, loose, tmp_path / "missing"])
    assert captures == [cloud, tmp_path / "missing"]
    assert tables == [levels, folder / "readings.csv", loose]
    (folder / "readings.csv").write_text("x_m,y_m,height_mm\n1,1,1500\n")
    assert sort_sources([folder]) == ([], [folder / "readings.csv"])
    (tmp_path / "broken.xlsx").write_text("no sheet")  # whatever it is, its reader says what it lacks
    assert sort_sources([tmp_path / "broken.xlsx"]) == ([], [tmp_path / "broken.xlsx"])


def test_a_table_beside_a_capture_leaves_the_folder_a_capture(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text(TABLE)
    (tmp_path / "cloud.xyz").write_text("".join(f"{x} {y} 0\n" for x in range(12) for y in range(12)))
    assert sort_sources([tmp_path]) == ([tmp_path], [])
    assert len(flatscan.read(tmp_path).points_mm) == 144


def test_two_filled_tables_in_a_folder_are_not_chosen_between(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(TABLE)
    (tmp_path / "b.csv").write_text(TABLE)
    with pytest.raises(InputError, match=r"a.csv and b.csv are filled in. Name the one to read, such as .*a.csv\."):
        sort_sources([tmp_path])


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    """What ``flatscan sheet`` writes, blank."""
    request = request_from("3 x 2.5 m", None, tools="both", edge=None, spacing=None, units="metric", paper="a4")
    table = sheet_table(request, lay_out(request))
    (tmp_path / "field_sheet.pdf").write_bytes(b"%PDF")
    (tmp_path / "readings.csv").write_text(as_csv(table), newline="")
    (tmp_path / "readings.xlsx").write_bytes(as_xlsx(table))
    return tmp_path


def fill_csv(path: Path, old: str, new: str) -> None:
    text = path.read_text()
    assert text.count(old) == 1
    path.write_text(text.replace(old, new))


def test_a_blank_sheet_says_so(sheet: Path) -> None:
    with pytest.raises(InputError, match=r"nothing is filled in yet: readings.csv and readings.xlsx hold no value"):
        sort_sources([sheet])


#: A gap at a station, a value, and a crack whose width was not measured: each is one reading.
TYPED = [
    ("1,straightedge,0.05,0.42,2.05,0.42,resting,,,,,,,", "1,straightedge,0.05,0.42,2.05,0.42,resting,,,,,,,c"),
    ("S1,staff,0.10,0.10,,,,1,,,,", "S1,staff,0.10,0.10,,,,1,,,,1250"),
    ("C1,crack,,,,", "C1,crack,1,1,2,1"),
]


@pytest.mark.parametrize(("old", "new"), TYPED, ids=["gap", "staff", "crack"])
def test_of_a_sheets_two_tables_the_filled_one_is_read(sheet: Path, old: str, new: str) -> None:
    fill_csv(sheet / "readings.csv", old, new)
    assert sort_sources([sheet]) == ([], [sheet / "readings.csv"])


def test_levels_beside_a_blank_sheet_are_read(sheet: Path) -> None:
    (sheet / "levels.csv").write_text("x_m,y_m,staff_mm\n1,1,1500\n")
    assert sort_sources([sheet]) == ([], [sheet / "levels.csv"])


def test_the_workbook_is_read_where_it_was_filled_in(sheet: Path) -> None:
    book = openpyxl.load_workbook(sheet / "readings.xlsx")
    (staff,) = (row for row in book.active.iter_rows() if row[0].value == "S1")
    staff[11].value = "1249,5"
    book.save(sheet / "readings.xlsx")
    assert sort_sources([sheet]) == ([], [sheet / "readings.xlsx"])
    fill_csv(sheet / "readings.csv", *TYPED[1])
    with pytest.raises(InputError, match=r"readings.csv and readings.xlsx are filled in"):
        sort_sources([sheet])


def test_the_printed_sheet_is_no_table(tmp_path: Path) -> None:
    (tmp_path / "field_sheet.pdf").write_bytes(b"%PDF")
    with pytest.raises(InputError, match=r"a printed sheet cannot be read. Type its readings into readings.csv"):
        sort_sources([tmp_path / "field_sheet.pdf"])


def test_a_result_is_no_capture(tmp_path: Path) -> None:
    for name in ("result.json", "findings.csv", "readings.csv"):
        (tmp_path / name).write_text(TABLE)
    with pytest.raises(InputError, match=r"this is a result of flatscan check, not a capture"):
        sort_sources([tmp_path])


def test_what_cannot_be_read_counts_as_filled_in(sheet: Path) -> None:
    (sheet / "readings.xlsx").write_bytes(b"PK\x03\x04 cut short")
    assert is_typed(sheet / "readings.xlsx")
    assert not is_typed(sheet / "readings.csv")


@pytest.mark.parametrize("name", ["readings.csv", "readings.xlsx", "levels.csv"])
def test_read_takes_it_neither_for_levels_nor_for_a_cloud(tmp_path: Path, name: str) -> None:
    book = openpyxl.Workbook()
    book.active.append(["what", "x_m", "y_m", "value_mm"])
    book.active.append(["lip", 1, 2, 0.5])
    book.save(tmp_path / "readings.xlsx")
    (tmp_path / "readings.csv").write_text(TABLE)
    (tmp_path / "levels.csv").write_text("x_m,y_m,staff_mm\n1,1,1500\n")
    with pytest.raises(
        InputError, match="it is a table of readings by hand, not a capture\\. Give it to flatscan check"
    ):
        flatscan.read(tmp_path / name)
