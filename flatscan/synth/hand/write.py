"""Write readings taken by hand as the table that ``flatscan check`` reads, CSV or XLSX."""

from __future__ import annotations

import csv
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from flatscan.constants import MM_PER_M
from flatscan.synth.hand.notation import NOTATIONS

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import numpy as np

    from flatscan.sources.hand.field_readings import Bar, FieldReadings, Level, Placement, Point
    from flatscan.synth.hand.notation import Notation
    from flatscan.units import UnitSystem

Cell = float | str
Row = dict[str, Cell]
_FRONT = (
    "number", "what", "x", "y", "to_x", "to_y", "rule", "turned", "set_up", "line", "joint", "edge", "value", "u",
)  # fmt: skip
_PLACES = ("x", "y", "to_x", "to_y", "edge")
_VALUES = ("value", "u")
_RECTANGLE_CORNERS = 4


def write_readings(field: FieldReadings, path: Path, *, units: UnitSystem = "metric", title: str = "") -> Path:
    """Write ``field`` to ``path``: XLSX where it is called so, else CSV. Columns that no row fills are left out.

    ``units``: metres and millimetres, or feet, inches and their fractions. ``title``: a first comment line.
    """
    notation = NOTATIONS[units]
    said = [f"# {line}" for line in ([title] if title else []) + list(_said(field, notation))]
    table = [_titles(field, notation), *_cells(field, notation)]
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.suffix.lower() == ".xlsx":
        _write_xlsx(path, said, table)
    else:
        with path.open("w", encoding="utf-8", newline="") as file:
            file.writelines(f"{line}\n" for line in said)
            csv.writer(file, lineterminator="\n").writerows(table)
    return path


def _write_xlsx(path: Path, said: list[str], table: list[list[Cell]]) -> None:
    import openpyxl

    book = openpyxl.Workbook()
    # The same readings give the same bytes as far as the library lets them.
    book.properties.created = datetime(2026, 1, 1, tzinfo=UTC).replace(tzinfo=None)
    sheet = book.active
    for row in ([line] for line in said):
        sheet.append(row)
    for cells in table:
        sheet.append(cells)
    book.save(path)


def _said(field: FieldReadings, notation: Notation) -> Iterator[str]:
    """The lines in front of the table: the room and the instruments."""
    if field.outline is not None:
        yield _room(field.outline, notation)
    yield f"unit: {notation.value_title}"
    # A string has no straightness to state: the block tells of the bar.
    bars = [*(one.bar for one in field.placements if one.rule != "line"), *(one.bar for one in field.humps)]
    if bars:
        yield from _bar(bars[0], notation)
    if field.level is not None:
        yield from _level(field.level, notation)
        yield f"gravity: {'yes' if field.gravity else 'no'}"
    if field.joints_searched:
        yield "joints searched: yes"
    if field.gaps_searched:
        yield "gaps searched: yes"


def _room(outline: np.ndarray, notation: Notation) -> str:
    unit = notation.place_title
    low, high = outline.min(axis=0), outline.max(axis=0)
    corners = {(low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1])}
    rectangle = len(outline) == _RECTANGLE_CORNERS and {(x, y) for x, y in outline} == corners
    if rectangle and not low.any():
        sides = " x ".join(str(notation.place(float(side))) for side in high)
        return f"room: {sides}" + (" m" if unit == "m" else "")
    points = "; ".join(f"{notation.place(float(x))} {notation.place(float(y))}" for x, y in outline)
    return f"outline: {points}" + (" (unit m)" if unit == "m" else "")


def _bar(bar: Bar, notation: Notation) -> Iterator[str]:
    length = f"{bar.length_mm / MM_PER_M:g} m" if notation.place_title == "m" else notation.place(bar.length_mm)
    yield f"straightedge length: {length}"
    yield f"straightedge resolution: {notation.stated(bar.step_mm)}"
    yield f"straightedge repeatability: {notation.stated(bar.repeat_mm)}"
    yield f"straightedge straightness: {notation.stated(bar.bow_mm)}"
    if bar.feet_mm:
        yield f"feet height: {notation.stated(bar.feet_mm)}"


def _level(level: Level, notation: Notation) -> Iterator[str]:
    yield f"level resolution: {notation.stated(level.step_mm)}"
    yield f"level repeatability: {notation.stated(level.repeat_mm)}"
    yield f"level tilt: {level.tilt_mm_per_m:g} mm/m"
    yield f"level drift: {notation.stated(level.drift_mm)}"


def _titles(field: FieldReadings, notation: Notation) -> list[Cell]:
    titles: list[Cell] = []
    for name in _used(field):
        unit = notation.place_title if name in _PLACES else notation.value_title if name in _VALUES else ""
        titles.append(f"{name}_{unit}" if unit else name)
    return [*titles, *(notation.station(mm) for mm in _stations(field)), "note"]


def _used(field: FieldReadings) -> list[str]:
    filled = {name for row in _rows(field, NOTATIONS["metric"]) for name in row}
    return [name for name in _FRONT if name in filled]


def _stations(field: FieldReadings) -> list[float]:
    return sorted({round(float(mm), 3) for one in field.placements for mm in one.at_mm})


def _cells(field: FieldReadings, notation: Notation) -> Iterator[list[Cell]]:
    names = [*_used(field), *(notation.station(mm) for mm in _stations(field)), "note"]
    for row in _rows(field, notation):
        yield [row.get(name, "") for name in names]


def _rows(field: FieldReadings, notation: Notation) -> Iterator[Row]:
    value = notation.value
    for one in field.placements:
        yield _placement(one, notation)
    for hump in field.humps:
        yield {"number": hump.number, "what": "hump", **_from_to(hump.start, hump.end, notation),
               "value": value(hump.height.value), "u": value(hump.height.u), "note": hump.note}  # fmt: skip
    falls = all(level.height_mm <= 0.0 for level in field.levels)
    for level in field.levels:
        row: Row = {"number": level.number, "what": "staff" if falls else "height", **_at(level.at, notation),
                    "value": value(-level.height_mm if falls else level.height_mm), "note": level.note}  # fmt: skip
        yield row | {k: v for k, v in (("set_up", level.set_up), ("line", level.line)) if v}
    for spot in field.spots:
        row = {"number": spot.number, "what": spot.what, **_at(spot.at, notation),
               "value": value(spot.value.value), "u": value(spot.value.u), "note": spot.note}  # fmt: skip
        if spot.edge_mm is not None:
            row["edge"] = notation.place(spot.edge_mm)
        yield row | ({"joint": spot.joint} if spot.joint else {})
    yield from _lines_and_taps(field, notation)


def _lines_and_taps(field: FieldReadings, notation: Notation) -> Iterator[Row]:
    for step in field.steps:
        yield {"number": str(step.row), "what": "step", **_from_to(step.start, step.end, notation), "note": step.note}
    for tap in field.soundings:
        yield {"number": tap.number, "what": "tap", **_at(tap.at, notation), "value": tap.sounds, "note": tap.note}
    for crack in field.cracks:
        row: Row = {"number": crack.number, "what": "crack", **_from_to(crack.start, crack.end, notation)}
        if crack.width is not None:
            row |= {"value": notation.value(crack.width.value), "u": notation.value(crack.width.u)}
        yield row | {"note": crack.note}


def _placement(one: Placement, notation: Notation) -> Row:
    row: Row = {"number": one.number, "what": "straightedge", **_from_to(one.start, one.end, notation)}
    row |= {"rule": one.rule, "note": one.note} | ({"turned": "yes"} if one.turned else {})
    for at, gap, contact in zip(one.at_mm, one.gap_mm, one.contact, strict=True):
        row[notation.station(round(float(at), 3))] = "c" if contact else notation.value(float(gap))
    return row


def _at(at: Point, notation: Notation) -> Row:
    return {"x": notation.place(at[0]), "y": notation.place(at[1])}


def _from_to(start: Point, end: Point, notation: Notation) -> Row:
    return _at(start, notation) | {"to_x": notation.place(end[0]), "to_y": notation.place(end[1])}
