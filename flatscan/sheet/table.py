"""The sheet as one table to type into: a row for each reading, the values empty."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan.sheet import shown
from flatscan.sheet.instruments import instrument_lines

if TYPE_CHECKING:
    from collections.abc import Iterator

    from flatscan.sheet.layout import Layout
    from flatscan.sheet.request import SheetRequest
    from flatscan.sources.hand.field_readings import Point

#: Words that the columns ``what`` and ``rule`` take.
WHATS = (
    "straightedge", "staff", "height", "gap", "hump", "free_end", "joint_width", "joint_depth", "lip", "tap", "crack",
    "step",
)  # fmt: skip
RULES = ("resting", "feet", "line")
#: Blank rows of what a person may find, by the letter their numbers start with.
FINDS = (("G", "gap", 5), ("H", "free_end", 3), ("T", "tap", 6), ("C", "crack", 4), ("E", "step", 2))


@dataclass(frozen=True, slots=True)
class SheetTable:
    """``comments`` without their ``#``. All rows are as long as ``header``."""

    comments: tuple[str, ...]
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def sheet_table(request: SheetRequest, layout: Layout) -> SheetTable:
    """The table of readings, in the order of the sheet; ``sources.hand`` reads it back."""
    place_unit, unit = ("m", "mm") if request.units == "metric" else ("ft", "in")
    places = [f"{name}_{place_unit}" for name in ("x", "y", "to_x", "to_y")]
    stations = [shown.station(at, request.units) for at in layout.stations_mm]
    fixed = ["rule", "set_up", "line", "joint", f"edge_{place_unit}", f"value_{unit}", f"u_{unit}"]
    header = ("number", "what", *places, *fixed, *stations, "turned", "note")
    rows = tuple(tuple(row.get(name, "") for name in header) for row in _rows(request, layout, place_unit))
    return SheetTable(instrument_lines(request), header, rows)


def as_csv(table: SheetTable) -> str:
    """With commas between the cells, as every spreadsheet opens it."""
    buffer = io.StringIO()
    buffer.writelines(f"# {line}\r\n" for line in table.comments)
    csv.writer(buffer).writerows([table.header, *table.rows])
    return buffer.getvalue()


def _rows(request: SheetRequest, layout: Layout, place_unit: str) -> Iterator[dict[str, str]]:
    def at(point: Point, prefix: str = "") -> dict[str, str]:
        return {f"{prefix}{axis}_{place_unit}": _tape(v, request) for axis, v in zip("xy", point, strict=True)}

    for placement in layout.placements:
        row = {"number": str(placement.number), "what": "straightedge", "rule": "resting"}
        yield row | at(placement.start) | at(placement.end, "to_")
    for point in layout.staff:
        yield {"number": f"S{point.number}", "what": "staff", "set_up": "1"} | at(point.at)
    if layout.staff:
        again = layout.staff[0]
        closing = f"S{len(layout.staff) + 1}"
        yield {"number": closing, "what": "staff", "set_up": "1", "note": f"S{again.number} again"} | at(again.at)
    for number in range(1, request.joints + 1):
        yield {"number": f"J{number}w", "what": "joint_width", "joint": f"J{number}"}
        yield {"number": f"J{number}d", "what": "joint_depth", "joint": f"J{number}"}
    for number in range(1, request.lips + 1):
        yield {"number": f"L{number}", "what": "lip"}
    for letter, what, count in FINDS:
        if what not in {"gap", "free_end"} or layout.placements:
            for number in range(1, count + 1):
                yield {"number": f"{letter}{number}", "what": what} | _edge(what, request, place_unit)


def _edge(what: str, request: SheetRequest, place_unit: str) -> dict[str, str]:
    return {f"edge_{place_unit}": _tape(request.edge_mm, request)} if what == "gap" else {}


def _tape(length_mm: float, request: SheetRequest) -> str:
    """A distance as a cell: metres to the millimetre, which is finer than it is laid, or feet and inches."""
    if request.units == "imperial":
        return shown.place(length_mm, "imperial")
    return f"{length_mm / 1000.0 + 0.0:.3f}".removesuffix("0")
