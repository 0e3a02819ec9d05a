"""Rows of a straightedge: gaps read at stations along it, and the bar balanced on a crest."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from math import hypot
from typing import TYPE_CHECKING, get_args

import numpy as np

from flatscan.constants import MM_PER_M
from flatscan.quantity import Quantity
from flatscan.sources.hand.field_readings import HumpReading, Placement, Point, Rule
from flatscan.sources.hand.instruments import CONTACT_MM, STEPS_PER_U
from flatscan.sources.hand.spot_rows import LARGEST_MM, edge_mm, stated_u_mm
from flatscan.sources.levels.levels_columns import UNREAD

if TYPE_CHECKING:
    from flatscan.sources.hand.cells import Cells
    from flatscan.sources.hand.columns import FieldColumn
    from flatscan.sources.hand.notes import Notes
    from flatscan.sources.hand.trust import Trust

_RULES: tuple[Rule, ...] = get_args(Rule)
#: What marks a station where the bar touches. Not x: it may as well mean "not read".
CONTACT_WORDS = frozenset({"c", "contact"})
_GAP_AND_CONTACT = re.compile(r"(?:c|contact)\W*\d.*|.*\d\W*(?:c|contact)", re.IGNORECASE)
_YES = {"yes", "y", "true", "1", "turned", "x", "✓", "✔", "☑"}  # ticks as well: the sheet has a box
_NO = {"", "no", "n", "false", "0", "-", "☐"}
#: Ends are marked with a tape: this much further apart than the bar is long, and this much nearer, is refused.
_LONGER, _SHORTER = 1.03, 0.9
#: A string or a laser line hangs no higher above the floor.
_HIGHEST_LINE_MM = 2000.0
#: A station may lie so far beyond the end as a share of the length: where the ends were rounded.
_STATION_SLACK = 0.01


@dataclass(frozen=True, slots=True)
class _Read:
    at_mm: float
    gap_mm: float
    contact: bool
    bound_u_mm: float


def placement_of(cells: Cells, trust: Trust, notes: Notes) -> Placement:
    """One laying of the bar; raises InputError naming row and column."""
    rule = _rule(cells, notes)
    if rule == "feet" and trust.stated.feet_mm is None:
        what = "the bar stood on feet, and nothing states how high they are"
        raise cells.wrong("rule", what, "Add a line such as # feet height: 10 mm")
    start, end = _ends(cells)
    length_mm = hypot(end[0] - start[0], end[1] - start[1])
    bar = (
        trust.line(length_mm)
        if rule == "line"
        else trust.bar(_bar_length(cells, trust, length_mm), feet=rule == "feet")
    )
    read = _stations(cells, rule, length_mm)
    u_mm = stated_u_mm(cells) or trust.gap_u_mm
    contact = np.array([r.contact for r in read])
    gap_mm = np.array([r.gap_mm for r in read])
    each_u_mm = np.array([CONTACT_MM if r.contact else hypot(u_mm, r.bound_u_mm) for r in read])
    if rule == "resting" and not contact.any():
        contact = gap_mm == 0.0
        sentence = (
            "Where no contact is marked, gaps of 0 were taken as contacts"
            if contact.any()
            else "Neither a contact nor a gap of 0 is given: how high the bar lay is not known, only the floor's shape"
        )
        notes.add(sentence, cells.number)
    return Placement(
        row=cells.row,
        number=cells.number,
        start=start,
        end=end,
        rule=rule,
        at_mm=np.array([r.at_mm for r in read]),
        gap_mm=gap_mm,
        contact=contact,
        u_mm=each_u_mm,
        bar=bar,
        turned=_turned(cells),
        note=cells.text("note"),
    )


def hump_of(cells: Cells, trust: Trust, *, halved: bool) -> HumpReading:
    """A bar balanced on a crest; ``halved``: the value is the free end's clearance already halved."""
    start, end = _ends(cells)
    length_mm = hypot(end[0] - start[0], end[1] - start[1])
    bar = trust.bar(_bar_length(cells, trust, length_mm))
    value_mm = cells.size("value", LARGEST_MM).mm
    # The clearance was read, so half of its uncertainty stays, whoever halved it.
    u_mm = stated_u_mm(cells)
    parts = {"reading": trust.gap_u_mm / 2.0} if u_mm is None else {"stated": u_mm if halved else u_mm / 2.0}
    height = Quantity.from_budget(value_mm if halved else value_mm / 2.0, "mm", **parts)
    return HumpReading(cells.row, cells.number, start, end, height, bar, cells.text("note"))


def _rule(cells: Cells, notes: Notes) -> Rule:
    word = cells.text("rule").lower()
    if not word:
        notes.add("Where no rule is stated the bar was taken to rest on the floor", cells.number)
        return "resting"
    for rule in _RULES:
        if word.removeprefix("on ") == rule:  # the sheet says "on feet"
            return rule
    near = difflib.get_close_matches(word, _RULES, n=1)
    advice = f"Did you mean {near[0]}?" if near else "Write resting, feet or line"
    raise cells.wrong("rule", f"{cells.text('rule')!r} is no way to lay a straightedge", advice)


def _ends(cells: Cells) -> tuple[Point, Point]:
    start, end = cells.place_mm(), cells.place_mm("to_x", "to_y")
    if start == end:
        raise cells.wrong("to_x", "both ends are at one place", "Write where the other end lay")
    return start, end


def _bar_length(cells: Cells, trust: Trust, apart_mm: float) -> float:
    """The bar's length by the row, else by its line, else by its ends; refused where the ends contradict it."""
    length_mm = edge_mm(cells) if cells.is_read("edge") else trust.stated.bar_length_mm
    if length_mm is None:
        return apart_mm
    if not _SHORTER * length_mm <= apart_mm <= _LONGER * length_mm:
        what = (
            f"its ends lie {apart_mm / MM_PER_M:.3g} m apart, and the straightedge is {length_mm / MM_PER_M:g} m long"
        )
        raise cells.wrong("to_x", what, "Check where its two ends lay; a bar of another length states it in edge_m")
    return length_mm


def _stations(cells: Cells, rule: Rule, length_mm: float) -> list[_Read]:
    if cells.is_read("value"):
        what = "a straightedge is read at stations, and this row gives a value"
        raise cells.wrong("value", what, "Move it to its station, or write what = gap for the one deepest gap")
    filled = [(at, column) for at, column in cells.columns.stations if cells.cell(column).lower() not in UNREAD]
    return [_station(cells, rule, column, at_mm, length_mm) for at_mm, column in filled]


def _station(cells: Cells, rule: Rule, column: FieldColumn, at_mm: float, length_mm: float) -> _Read:
    if at_mm > length_mm * (1.0 + _STATION_SLACK):
        what = f"the station lies beyond the bar's end, {length_mm / MM_PER_M:.3g} m from its start"
        raise cells.wrong(column, what, "Empty the cell, or check where the ends lay")
    text = cells.cell(column)
    if text.lower() in CONTACT_WORDS:
        if rule != "resting":
            what = f"marks a contact, and the rule of this row is {rule}"
            raise cells.wrong(column, what, "Write resting, or the gap that was read")
        return _Read(at_mm, 0.0, True, 0.0)
    if _GAP_AND_CONTACT.fullmatch(text):
        what = f"{text!r} marks a contact and gives a gap"
        raise cells.wrong(column, what, "Write c where the bar touches, or the gap where it does not")
    if text.lower() == "x":
        what = f"{text!r} may mean that the bar touches, or that nothing was read"
        raise cells.wrong(column, what, "Write c where the bar touches, and leave empty what was not read")
    found, below = cells.reading_in(column, _HIGHEST_LINE_MM if rule == "line" else LARGEST_MM)
    if below:
        return _Read(at_mm, found.mm / 2.0, False, found.mm / STEPS_PER_U)
    return _Read(at_mm, found.mm, False, 0.0)


def _turned(cells: Cells) -> bool:
    word = cells.text("turned").lower()
    if word in _YES:
        return True
    if word not in _NO:
        raise cells.wrong("turned", f"{word!r} is not understood", "Write yes where the bar lay end for end")
    note = cells.text("note").lower()
    return bool(re.search(r"\bturned\b", note)) and not re.search(r"\bnot\s+turned\b", note)
