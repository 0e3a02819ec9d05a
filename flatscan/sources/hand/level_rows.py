"""Rows read with a level and a staff: signs turned so that up is positive, and each reading's turn in its set-up."""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from flatscan.errors import InputError
from flatscan.sources.hand.field_readings import LevelReading
from flatscan.sources.hand.spot_rows import stated_u_mm

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.sources.hand.cells import Cells
    from flatscan.sources.hand.trust import Trust

_CLOCK = re.compile(r"([01]?\d|2[0-3])[:h]([0-5]\d)(?::([0-5]\d)(?:\.\d+)?)?")
#: Higher than any staff: another unit was meant.
_HIGHEST_MM = 50_000.0
_LARGEST_U_MM = 20.0


@dataclass(frozen=True, slots=True)
class TimedLevel:
    """A reading with the second of the day it was taken (None: not written) and the word its row used."""

    reading: LevelReading
    second: int | None
    sign: Literal["staff", "height"]
    cells: Cells

    @property
    def row(self) -> int:
        """Line in the file."""
        return self.reading.row


def level_of(cells: Cells, sign: Literal["staff", "height"], trust: Trust, column: str = "value") -> TimedLevel:
    """The reading of a row; a staff's grows as the floor falls, so its sign is turned."""
    at = cells.place_mm()
    value_mm = cells.length(column).mm
    if abs(value_mm) > _HIGHEST_MM:
        raise cells.wrong(column, f"{value_mm:g} mm is too large for a level", "Check it and its unit")
    reading = LevelReading(
        row=cells.row,
        number=cells.number,
        at=at,
        height_mm=-value_mm if sign == "staff" else value_mm,
        u_mm=stated_u_mm(cells, _LARGEST_U_MM) or trust.level_u_mm,
        set_up=cells.text("set_up"),
        line=cells.text("line"),
        note=cells.text("note"),
    )
    return TimedLevel(reading, _second(cells), sign, cells)


def places_once(levels: Sequence[TimedLevel]) -> tuple[list[TimedLevel], int, list[tuple[int, InputError]]]:
    """Levels less those of a place that was read before, how many say just the same, and an error for each other.

    Only where neither a set-up nor a time tells the two readings apart: a second one may then close the round.
    """
    first: dict[tuple[float, float], TimedLevel] = {}
    kept, wrong = [], []
    for level in levels:
        reading = level.reading
        if reading.set_up or level.second is not None:
            kept.append(level)
            continue
        before = first.setdefault((round(reading.at[0], 6), round(reading.at[1], 6)), level)
        if before is level:
            kept.append(level)
        elif before.reading.height_mm != reading.height_mm:
            what, advice = "give two readings for one place", "Keep the right one, or their mean, or name set-ups"
            wrong.append((level.row, InputError(level.cells.rows_with(before.row), what, advice)))
    return kept, len(levels) - len(kept) - len(wrong), wrong


def in_order(levels: Sequence[TimedLevel]) -> tuple[LevelReading, ...]:
    """The readings with their turn in their set-up: by time where all of the set-up have one, else by row."""
    sets: dict[str, list[TimedLevel]] = defaultdict(list)
    for level in levels:
        sets[level.reading.set_up].append(level)
    turn: dict[int, int] = {}
    for members in sets.values():
        timed = all(m.second is not None for m in members)
        ranked = sorted(members, key=lambda m: (m.second or 0, m.reading.row)) if timed else members
        turn.update({m.reading.row: order for order, m in enumerate(ranked)})
    return tuple(replace(level.reading, order=turn[level.reading.row]) for level in levels)


def mixed_signs(levels: Sequence[TimedLevel]) -> list[tuple[int, InputError]]:
    """An error for each row whose sign is not that of its set-up's first row."""
    first: dict[str, TimedLevel] = {}
    wrong = []
    for level in levels:
        before = first.setdefault(level.reading.set_up, level)
        if level.sign != before.sign:
            set_up = f"set-up {level.reading.set_up}" if level.reading.set_up else "one set-up"
            what = f"{level.sign} in {set_up}, where row {before.reading.row} says {before.sign}"
            advice = "One set-up reads one way; correct the word, or name another set-up"
            wrong.append((level.reading.row, level.cells.wrong("what", what, advice)))
    return wrong


def _second(cells: Cells) -> int | None:
    text = cells.text("time")
    if not text:
        return None
    clock = _CLOCK.fullmatch(text)
    if clock is None:
        raise cells.wrong("time", f"{text!r} is no time of day", "Write it like 09:15")
    hours, minutes, seconds = (int(part or 0) for part in clock.groups())
    return (hours * 60 + minutes) * 60 + seconds
