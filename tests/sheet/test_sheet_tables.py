"""The tables to type into: CSV and XLSX say the same, and the reader takes them as they are filled in."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

from flatscan.errors import InputError
from flatscan.sheet.layout import Layout, lay_out
from flatscan.sheet.request import SheetRequest
from flatscan.sheet.table import SheetTable, as_csv, sheet_table
from flatscan.sheet.workbook import as_xlsx
from flatscan.sources.hand.read_field import is_field_table, read_field_readings

Ask = Callable[..., SheetRequest]
L_SHAPE = "0,0 5,0 5,4 3,4 3,2.5 0,2.5"
SHEETS = [
    {"room": "5.0 x 4.0 m"},
    {"outline": L_SHAPE, "tools": "straightedge"},
    {"room": "16' 5\" x 13'", "units": "imperial"},
    {"room": "7.003 x 5", "tools": "staff", "joints": 0, "lips": 3},
    {"room": "6 x 1.2", "edge": "1.83 m", "stations": 15},
]


def made(ask: Ask, said: dict[str, object]) -> tuple[SheetRequest, Layout, SheetTable]:
    request = ask(**said)
    layout = lay_out(request)
    return request, layout, sheet_table(request, layout)


def filled(table: SheetTable, values: dict[str, dict[str, str]]) -> SheetTable:
    """The table with cells written into rows, by their number."""
    rows = []
    for row in table.rows:
        new = list(row)
        for title, text in values.get(row[0], {}).items():
            new[table.header.index(title)] = text
        rows.append(tuple(new))
    return SheetTable(table.comments, table.header, tuple(rows))


@pytest.mark.parametrize("said", SHEETS)
def test_csv_and_xlsx_hold_the_same_cells(ask: Ask, said: dict[str, object]) -> None:
    _, _, table = made(ask, said)
    lines = as_csv(table).split("\r\n")
    from_csv = list(csv.reader(line for line in lines if line and not line.startswith("#")))
    sheet = openpyxl.load_workbook(io.BytesIO(as_xlsx(table))).active
    from_xlsx = [[cell or "" for cell in row] for row in sheet.iter_rows(values_only=True)]
    head = len(table.comments)
    assert [row[0] for row in from_xlsx[:head]] == [line for line in lines if line.startswith("#")]
    body = from_xlsx[head : head + len(from_csv)]
    assert body == from_csv
    assert all(len(row) == len(table.header) for row in from_csv)
    assert not any(any(row) for row in from_xlsx[head + len(from_csv) :])


def test_value_cells_are_text_the_header_stays_and_words_are_offered(ask: Ask) -> None:
    _, _, table = made(ask, SHEETS[0])
    sheet = openpyxl.load_workbook(io.BytesIO(as_xlsx(table))).active
    head = len(table.comments) + 1
    # As text 1/4 stays 1/4, where a spreadsheet would make it a day in April.
    formats = {cell.number_format for row in sheet.iter_rows(min_row=head + 1) for cell in row}
    assert formats == {"@"}
    assert sheet.freeze_panes == f"C{head + 1}"
    offered = {rule.formula1 for rule in sheet.data_validations.dataValidation}
    assert any("straightedge,staff" in words for words in offered)
    assert '"resting,feet,line"' in offered


@pytest.mark.parametrize("said", SHEETS)
@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
def test_an_unfilled_sheet_is_told_from_a_broken_one(
    ask: Ask, tmp_path: Path, said: dict[str, object], suffix: str
) -> None:
    _, _, table = made(ask, said)
    path = tmp_path / f"readings.{suffix}"
    path.write_bytes(as_csv(table).encode() if suffix == "csv" else as_xlsx(table))
    assert is_field_table(path)
    with pytest.raises(InputError, match=f"no value is filled in: all {len(table.rows)} rows"):
        read_field_readings(path)


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
def test_a_filled_in_sheet_is_read_as_it_was_laid_out(ask: Ask, tmp_path: Path, suffix: str) -> None:
    request, layout, empty = made(ask, SHEETS[0])
    stations = [title for title in empty.header if title.endswith(" m")]
    assert stations == [f"{0.25 * k:.2f} m" for k in range(9)]
    gaps = dict(zip(stations, ["0,5", "c", "1.0", "1 1/4 mm", "2,5", "1.5", "c", "", "0.5"], strict=True))
    values = {str(p.number): gaps for p in layout.placements} | {
        f"S{k}": {"value_mm": f"{1400 + k}"} for k in range(1, len(layout.staff) + 2)
    }
    values |= {
        "J1w": {"x_m": "1.2", "y_m": "0.8", "value_mm": "4.5"},
        "J1d": {"x_m": "1.2", "y_m": "0.8", "value_mm": "2"},
        "L1": {"x_m": "2.2", "y_m": "0.8", "joint": "J1", "value_mm": "0,8"},
        "G1": {"x_m": "3", "y_m": "2", "value_mm": "3.5"},
        "H1": {"x_m": "1", "y_m": "1", "to_x_m": "3", "to_y_m": "1", "value_mm": "4"},
        "T1": {"x_m": "3", "y_m": "1", "value_mm": "hollow"},
        "C1": {"x_m": "1", "y_m": "3", "to_x_m": "2", "to_y_m": "3.5", "value_mm": "0.3"},
        "E1": {"x_m": "0", "y_m": "2", "to_x_m": "5", "to_y_m": "2", "note": "edge of the old screed"},
    }
    table = filled(empty, values)
    path = tmp_path / f"readings.{suffix}"
    path.write_bytes(as_csv(table).encode() if suffix == "csv" else as_xlsx(table))
    field = read_field_readings(path)
    assert field.outline is not None
    assert field.outline.tolist() == request.room.outline_mm.tolist()
    assert len(field.placements) == len(layout.placements)
    for read, planned in zip(field.placements, layout.placements, strict=True):
        assert (read.number, read.rule) == (str(planned.number), "resting")
        # The cells hold whole centimetres, which is how this room's rows were laid.
        assert read.start == pytest.approx(planned.start, abs=1e-9)
        assert read.end == pytest.approx(planned.end, abs=1e-9)
        assert read.at_mm.tolist() == [0, 250, 500, 750, 1000, 1250, 1500, 2000]
        assert read.gap_mm.tolist() == [0.5, 0, 1, 1.25, 2.5, 1.5, 0, 0.5]
        assert read.contact.tolist() == [False, True, False, False, False, False, True, False]
        assert (read.bar.length_mm, read.bar.step_mm, read.bar.bow_mm) == (2000.0, 0.5, 0.1)
    # Staff readings grow as the floor falls; the first place is read again last.
    assert [level.height_mm for level in field.levels] == [-(1400.0 + k) for k in range(1, 11)]
    assert field.levels[-1].at == field.levels[0].at == layout.staff[0].at
    assert {level.set_up for level in field.levels} == {"1"}
    assert {(spot.what, spot.joint) for spot in field.spots} == {
        ("joint_width", "J1"), ("joint_depth", "J1"), ("lip", "J1"), ("gap", None),
    }  # fmt: skip
    assert next(spot for spot in field.spots if spot.what == "gap").edge_mm == 2000.0
    assert field.humps[0].height.value == 2.0  # a free end's clearance is halved
    assert [sounding.sounds for sounding in field.soundings] == ["hollow"]
    assert field.cracks[0].width is not None
    assert field.steps[0].end == (5000.0, 2000.0)


def test_an_imperial_sheet_is_read_in_inches(ask: Ask, tmp_path: Path) -> None:
    _, layout, empty = made(ask, SHEETS[2])
    stations = [title for title in empty.header if title.endswith(" in")]
    assert stations == ["0 in", "9 in", "18 in", "27 in", "36 in", "45 in", "54 in", "63 in", "72 in"]
    table = filled(empty, {"1": dict.fromkeys(stations, "3/16")})
    path = tmp_path / "readings.csv"
    path.write_text(as_csv(table), encoding="utf-8", newline="")
    (placement,) = read_field_readings(path).placements
    assert placement.start == pytest.approx(layout.placements[0].start, abs=1e-6)
    assert placement.gap_mm == pytest.approx([4.7625] * 9)  # 3/16 in, exact
    assert placement.bar.length_mm == pytest.approx(6 * 304.8)
