"""Readings tables are told from captures, whatever lies beside them."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

import flatscan
from flatscan.errors import InputError
from flatscan.sources.hand.read_field import is_field_table, sort_sources

TABLE = "# mine\n\nnumber;what;x_m;y_m;value_mm\n1;lip;1,5;2;0,5\n"


@pytest.mark.parametrize(
    ("name", "data", "is_one"),
    [
        ("a.csv", TABLE.encode(), True),
        ("a.txt", TABLE.encode("utf-16"), True),
        ("a.csv", b"x_m,y_m,staff_mm\n1,1,1500\n", False),
        ("a.csv", b"x,y,z\n1,1,1\n", False),
        ("a.csv", b"what,when\nlip,now\n", False),
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
    assert captures == [levels, cloud, tmp_path / "missing"]
    assert tables == [folder / "readings.csv", loose]


def test_a_table_beside_a_capture_leaves_the_folder_a_capture(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text(TABLE)
    (tmp_path / "cloud.xyz").write_text("".join(f"{x} {y} 0\n" for x in range(12) for y in range(12)))
    assert sort_sources([tmp_path]) == ([tmp_path], [])
    assert len(flatscan.read(tmp_path).points_mm) == 144


def test_two_tables_in_a_folder_are_not_chosen_between(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(TABLE)
    (tmp_path / "b.csv").write_text(TABLE)
    with pytest.raises(InputError, match=r"the folder holds several readings tables: a.csv, b.csv. Name the one"):
        sort_sources([tmp_path])


@pytest.mark.parametrize("name", ["readings.csv", "readings.xlsx"])
def test_read_takes_it_neither_for_levels_nor_for_a_cloud(tmp_path: Path, name: str) -> None:
    book = openpyxl.Workbook()
    book.active.append(["what", "x_m", "y_m", "value_mm"])
    book.active.append(["lip", 1, 2, 0.5])
    book.save(tmp_path / "readings.xlsx")
    (tmp_path / "readings.csv").write_text(TABLE)
    with pytest.raises(
        InputError, match="it is a table of readings by hand, not a capture\\. Give it to flatscan check"
    ):
        flatscan.read(tmp_path / name)
