"""Rows of readings at one spot: the deepest gap found by searching, a lip, a joint's width and depth."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from flatscan.constants import MM_PER_M
from flatscan.quantity import Quantity
from flatscan.sources.hand.hand_reading import HandReading
from flatscan.sources.hand.instruments import STEPS_PER_U, USUAL_STEP_MM, hand_u_mm, reading_u_mm

if TYPE_CHECKING:
    from flatscan.sources.hand.cells import Cells
    from flatscan.sources.hand.hand_reading import HandWhat
    from flatscan.sources.hand.lengths import Length
    from flatscan.sources.hand.trust import Trust

#: Larger than this is not a gap, a joint or a lip: another unit was meant.
LARGEST_MM = 200.0
#: Nobody reads a lip or a joint this badly; a decimal comma that cut a cell in two looks so.
LARGEST_U_MM = 2.0
_EDGES_MM = (50.0, 20_000.0)


def spot_of(cells: Cells, what: HandWhat, trust: Trust) -> HandReading:
    """The reading of a row; raises InputError naming row and column."""
    at = cells.place_mm()
    return HandReading(
        row=cells.row,
        what=what,
        at=at,
        value=_value(cells, what, trust),
        edge_mm=edge_mm(cells) if what == "gap" else None,
        joint=(cells.text("joint") or None) if what != "gap" else None,
        note=cells.text("note"),
        number=cells.number,
    )


def edge_mm(cells: Cells) -> float:
    """Length of the straightedge that a row states."""
    length_mm = cells.length("edge").mm
    if not _EDGES_MM[0] <= length_mm <= _EDGES_MM[1]:
        what = f"{length_mm / MM_PER_M:g} m is no straightedge's length"
        raise cells.wrong("edge", what, "Write its length in metres")
    return length_mm


def stated_u_mm(cells: Cells, most_mm: float = LARGEST_U_MM) -> float | None:
    """The standard uncertainty that a row states; None: it states none."""
    if not cells.is_read("u"):
        return None
    u_mm = cells.size("u", LARGEST_MM).mm
    if not 0.0 < u_mm <= most_mm:
        advice = f"Leave it empty, or write at most {most_mm:g}; was a decimal comma meant?"
        raise cells.wrong("u", f"{u_mm:g} mm cannot be the uncertainty of a reading by hand", advice)
    return u_mm


def _value(cells: Cells, what: HandWhat, trust: Trust) -> Quantity:
    found, below = cells.reading_in(cells.columns.by_meaning["value"], LARGEST_MM)
    u_mm = stated_u_mm(cells)
    parts = {"instrument and reader": _usual_u_mm(cells, what, found, trust)} if u_mm is None else {"stated": u_mm}
    if not below:
        return Quantity.from_budget(found.mm, "mm", **parts)
    # Anywhere between 0 and the bound: half of it, spread evenly (JCGM 100, 4.3.7).
    parts["only a bound"] = found.mm / STEPS_PER_U
    return Quantity.from_budget(found.mm / 2.0, "mm", **parts)


def _usual_u_mm(cells: Cells, what: HandWhat, found: Length, trust: Trust) -> float:
    step_mm = max(_step_mm(cells, what, trust), found.step_mm if found.fraction else 0.0)
    stated = trust.stated
    if what == "gap" and stated.bar_repeat_mm is not None:
        bow_mm = trust.bow_mm(edge_mm(cells))
        return Quantity.from_budget(0.0, "mm", reading=reading_u_mm(step_mm, stated.bar_repeat_mm), bow=bow_mm).u
    return hand_u_mm(what, cells.text("instrument"), step_mm)


def _step_mm(cells: Cells, what: HandWhat, trust: Trust) -> float:
    """The step that the row says its instrument resolves, else the table's straightedge, else the usual one."""
    found = re.search(r"(\d+(?:[.,]\d+)?)\s*mm", cells.text("resolves"))
    step = float(found[1].replace(",", ".")) if found else 0.0
    if 0.0 < step <= LARGEST_U_MM:
        return step
    stated = trust.stated.bar_step_mm if what == "gap" else None
    return USUAL_STEP_MM[what] if stated is None else stated
