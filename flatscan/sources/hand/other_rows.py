"""Rows that tell of the base itself: steps in the floor, tap tests, cracks."""

from __future__ import annotations

import difflib
import math
from typing import TYPE_CHECKING, get_args

from flatscan.quantity import Quantity
from flatscan.sources.hand.field_readings import Crack, Point, Sounding, SoundsLike, StepLine
from flatscan.sources.hand.instruments import CRACK_STEP_MM, FEELER_MM, reading_u_mm
from flatscan.sources.hand.spot_rows import LARGEST_MM, stated_u_mm

if TYPE_CHECKING:
    from flatscan.sources.hand.cells import Cells

_SOUNDS: tuple[SoundsLike, ...] = get_args(SoundsLike)


def step_of(cells: Cells) -> StepLine:
    """A line across which the floor may jump."""
    start, end = _line(cells)
    return StepLine(cells.row, start, end, cells.text("note"))


def sounding_of(cells: Cells) -> Sounding:
    """What a tap test told."""
    word = cells.text("value").lower()
    for sounds in _SOUNDS:
        if word in (sounds, sounds[0]):  # the printed sheet has room for a letter
            return Sounding(cells.row, cells.number, cells.place_mm(), sounds, cells.text("note"))
    near = difflib.get_close_matches(word, _SOUNDS, n=1)
    advice = f"Did you mean {near[0]}?" if near else "Write sound, hollow or loose"
    raise cells.wrong("value", f"{cells.text('value')!r} is no result of a tap test", advice)


def crack_of(cells: Cells) -> Crack:
    """A crack from end to end, its width where it was measured."""
    start, end = _line(cells)
    width = None
    if cells.is_read("value"):
        found = cells.size("value", LARGEST_MM)
        u_mm = stated_u_mm(cells)
        if u_mm is None:
            step_mm = max(CRACK_STEP_MM, found.step_mm if found.fraction else 0.0)
            parts = {"instrument and reader": reading_u_mm(step_mm, FEELER_MM)}
        else:
            parts = {"stated": u_mm}
        width = Quantity.from_budget(found.mm, "mm", **parts)
    return Crack(cells.row, cells.number, start, end, width, cells.text("note"))


def _line(cells: Cells) -> tuple[Point, Point]:
    start, end = cells.place_mm(), cells.place_mm("to_x", "to_y")
    if math.dist(start, end) == 0.0:
        raise cells.wrong("to_x", "both ends are at one place", "Write where the other end is")
    return start, end
