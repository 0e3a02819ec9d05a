"""Two readings tables of one floor as one record: what was read first, and what was read later."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from flatscan.errors import InputError
from flatscan.sources.hand.field_readings import Crack, HumpReading, Level, LevelReading, Placement, Sounding
from flatscan.sources.hand.hand_reading import HandReading

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from flatscan.sources.hand.field_readings import FieldReadings

#: Rooms whose corners lie no further apart than this are one room, measured twice with a tape.
_SAME_CORNER_MM = 50.0
#: Where a larger share of a table's readings stands in the other with its number, place and value, it is a copy.
_MOST_ALIKE = 0.5


N = TypeVar("N", Placement, HumpReading, LevelReading, HandReading, Sounding, Crack)


def merged(first: FieldReadings, later: FieldReadings) -> FieldReadings:
    """All readings of both tables, in one frame: x and y start at the same corner in both.

    Every straightedge and every reading keeps the uncertainty its own table states. Of the levelling instruments the
    greater tilt and drift stand for both. A number that ``first`` has already is written with the table's name behind
    it (``3 of next_readings``), and so is every set-up and every run of levels of ``later``: whoever comes back sets
    the level up anew. Joints keep their names: J7 is J7 on any day. The room is that of ``first``, else of ``later``.

    Raises
    ------
    InputError
        where the later one repeats the first (the sheet's CSV and its XLSX, say), or they state different rooms
    """
    table = later.inputs[0].path if later.inputs else None
    before, now = _keys(first), _keys(later)
    if len(before & now) > _MOST_ALIKE * min(len(before), len(now)):
        what = f"repeats {len(before & now)} readings of the table before it, number and value"
        raise InputError(table or "no path", what, "Give each table once, in one format")
    if first.outline is not None and later.outline is not None and not _same_room(first.outline, later.outline):
        what = "states another room than the table before it"
        advice = "Give readings of one floor, with places from the same corner, or correct one of the two lines"
        raise InputError(table or "no path", what, advice)
    mark = _mark(first, table)
    name = _Names(mark, _numbers(first))
    return replace(
        first,
        inputs=(*first.inputs, *later.inputs),
        placements=(*first.placements, *name.anew(later.placements)),
        humps=(*first.humps, *name.anew(later.humps)),
        levels=(*first.levels, *(name.apart(one) for one in name.anew(later.levels))),
        spots=(*first.spots, *name.anew(later.spots)),
        steps=(*first.steps, *later.steps),
        soundings=(*first.soundings, *name.anew(later.soundings)),
        cracks=(*first.cracks, *name.anew(later.cracks)),
        level=_either(first.level, later.level),
        outline=later.outline if first.outline is None else first.outline,
        gravity=first.gravity and later.gravity,
        joints_searched=first.joints_searched or later.joints_searched,
        gaps_searched=first.gaps_searched or later.gaps_searched,
        left_out=(*first.left_out, *later.left_out),
        inferences=(*first.inferences, *(f"{mark}: {said}" for said in later.inferences)),
        caveats=tuple(dict.fromkeys((*first.caveats, *later.caveats))),
    )


class _Names:
    """Numbers for the readings of a later table that no reading before them bears."""

    def __init__(self, mark: str, taken: set[str]) -> None:
        self._mark, self._taken = mark, taken

    def anew(self, readings: Iterable[N]) -> Iterator[N]:
        for one in readings:
            yield replace(one, number=f"{one.number} of {self._mark}") if one.number in self._taken else one

    def apart(self, reading: LevelReading) -> LevelReading:
        """A level reading whose set-up and run are this table's own."""
        line = f"{reading.line} of {self._mark}" if reading.line else ""
        return replace(reading, set_up=f"{reading.set_up} of {self._mark}".strip(), line=line)


def _keys(field: FieldReadings) -> set[tuple[object, ...]]:
    """Every reading by its number, place and value."""
    keys: set[tuple[object, ...]] = {(p.number, p.start, p.end, p.gap_mm.tobytes()) for p in field.placements}
    keys |= {(h.number, h.start, h.end, h.height.value) for h in field.humps}
    keys |= {(v.number, v.at, v.height_mm) for v in field.levels}
    return keys | {(s.number, s.what, s.at, s.value.value) for s in field.spots}


def _mark(first: FieldReadings, table: Path | None) -> str:
    """What the later table goes by; two files may have one name in two folders."""
    if table is None:
        return "later"
    namesakes = sum(one.path.stem == table.stem for one in first.inputs)
    return f"{table.stem} ({namesakes + 1})" if namesakes else table.stem


def _numbers(field: FieldReadings) -> set[str]:
    kinds = (field.placements, field.humps, field.levels, field.spots, field.soundings, field.cracks)
    return {one.number for kind in kinds for one in kind}


def _either(first: Level | None, later: Level | None) -> Level | None:
    if first is None or later is None:
        return first or later
    return Level(
        step_mm=max(first.step_mm, later.step_mm),
        repeat_mm=max(first.repeat_mm, later.repeat_mm),
        tilt_mm_per_m=max(first.tilt_mm_per_m, later.tilt_mm_per_m),
        drift_mm=max(first.drift_mm, later.drift_mm),
    )


def _same_room(first: NDArray[np.float64], later: NDArray[np.float64]) -> bool:
    return first.shape == later.shape and bool(np.abs(first - later).max() <= _SAME_CORNER_MM)
