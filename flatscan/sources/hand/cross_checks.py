"""Checks between the rows of a readings table: numbers given twice, thousands marks, a bar that differs when turned."""

from __future__ import annotations

import re
from math import dist, hypot
from typing import TYPE_CHECKING

import numpy as np

from flatscan.caveats import caveat

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from flatscan.caveats import Caveat
    from flatscan.errors import InputError
    from flatscan.sources.hand.cells import Cells
    from flatscan.sources.hand.field_readings import Placement

_DECIMAL = re.compile(r"\d*[.,]\d+")
_THREE_AFTER = re.compile(r"[1-9]\d{0,2}([.,])\d{3}\b")
#: Ends marked twice with a tape agree so well, stations likewise.
_SAME_PLACE_MM, _SAME_STATION_MM = 20.0, 5.0
#: Two readings of one gap differ by more than this many standard uncertainties once in 370 times (normal).
_TOO_FAR = 3.0


def numbers_twice(rows: Iterable[Cells]) -> list[tuple[int, InputError]]:
    """An error for each row that bears the number of an earlier one."""
    first: dict[str, int] = {}
    wrong = []
    for cells in rows:
        number = cells.text("number")
        if number and first.setdefault(number, cells.row) != cells.row:
            what = f"number {number} stands in row {first[number]} already"
            wrong.append((cells.row, cells.wrong("number", what, "Give each row a number of its own")))
    return wrong


def thousands_marks(rows: Sequence[Cells]) -> list[tuple[int, InputError]]:
    """An error for each row with 1,250 in a table of decimal points, or 1.250 in one of decimal commas."""
    columns = [
        (cells, column)
        for cells in rows
        for meaning, column in (
            *((m, c) for m, c in cells.columns.by_meaning.items() if m in ("x", "y", "to_x", "to_y", "edge", "value")),
            *(("", c) for _, c in cells.columns.stations),
        )
    ]
    marks: dict[str, int] = {}
    suspects = []
    for cells, column in columns:
        text = cells.cell(column)
        suspect = _THREE_AFTER.match(text)
        if suspect:
            suspects.append((cells, column, suspect[1]))
        elif _DECIMAL.match(text):
            marks.setdefault("," if "," in text else ".", cells.row)
    wrong = []
    for cells, column, mark in suspects:
        other = "." if mark == "," else ","
        if other in marks and mark not in marks:
            text = cells.cell(column)
            sign = "points" if other == "." else "commas"
            what = f"{text!r} may mean {text.replace(mark, other)} or {text.replace(mark, '')}"
            advice = f"Write it like row {marks[other]}, which has decimal {sign}, without thousands marks"
            wrong.append((cells.row, cells.wrong(column, what, advice)))
    return wrong


def reversals(placements: Sequence[Placement]) -> tuple[Caveat, ...]:
    """A caveat for each place where the bar read something else once it was turned end for end.

    The bar's own shape d(s) adds to every gap: turned, the same floor shows d(L - s) in its place. Two readings may
    differ by their own noise and by twice the bow that was stated.
    """
    doubts = []
    for one, other in ((a, b) for a in placements if not a.turned for b in placements if b.turned and _same(a, b)):
        differs_mm, allowed_mm = _difference(one, other)
        if differs_mm > allowed_mm:
            blanks = {"one": one.number, "other": other.number, "mm": differs_mm, "allowed_mm": allowed_mm}
            doubts.append(caveat("straightedge_bent", **blanks))
    return tuple(doubts)


def _same(one: Placement, other: Placement) -> bool:
    ends = ((one.start, other.start), (one.end, other.end))
    return one.rule == other.rule and all(dist(a, b) <= _SAME_PLACE_MM for a, b in ends)


def _difference(one: Placement, other: Placement) -> tuple[float, float]:
    """Largest difference at a station both have, mm, and what noise and the stated bow allow."""
    worst = (0.0, 0.0)
    for k, at_mm in enumerate(one.at_mm):
        j = int(np.argmin(np.abs(other.at_mm - at_mm)))
        if abs(other.at_mm[j] - at_mm) > _SAME_STATION_MM:
            continue
        differs = abs(float(one.gap_mm[k] - other.gap_mm[j]))
        allowed = _TOO_FAR * hypot(one.u_mm[k], other.u_mm[j], 2.0 * one.bar.bow_mm)
        if differs - allowed > worst[0] - worst[1] or worst == (0.0, 0.0):
            worst = (differs, allowed)
    return worst
