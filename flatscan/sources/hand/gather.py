"""Rows of a readings table become records; what is wrong with rows is gathered, so that all of it is told at once."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, Protocol, TypeVar

from flatscan.caveats import caveat
from flatscan.errors import InputError
from flatscan.sources.hand.bar_rows import hump_of, placement_of
from flatscan.sources.hand.cross_checks import numbers_twice, thousands_marks
from flatscan.sources.hand.level_checks import unit_slips
from flatscan.sources.hand.level_rows import TimedLevel, level_of, mixed_signs
from flatscan.sources.hand.notes import Notes, listed
from flatscan.sources.hand.other_rows import crack_of, sounding_of, step_of
from flatscan.sources.hand.row_kinds import what_of
from flatscan.sources.hand.spot_rows import spot_of
from flatscan.sources.levels.levels_columns import UNREAD

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.caveats import Caveat
    from flatscan.sources.hand.cells import Cells
    from flatscan.sources.hand.field_readings import Crack, HumpReading, Placement, Sounding, StepLine
    from flatscan.sources.hand.hand_reading import HandReading
    from flatscan.sources.hand.row_kinds import RowWhat
    from flatscan.sources.hand.trust import Trust

Sign = Literal["staff", "height"]


class _Rowed(Protocol):
    @property
    def row(self) -> int: ...


R = TypeVar("R", bound=_Rowed)


@dataclass(slots=True)
class Gathered:
    """Records of the rows that can be used, and an error for each row that cannot."""

    placements: list[Placement] = field(default_factory=list)
    humps: list[HumpReading] = field(default_factory=list)
    levels: list[TimedLevel] = field(default_factory=list)
    spots: list[HandReading] = field(default_factory=list)
    steps: list[StepLine] = field(default_factory=list)
    soundings: list[Sounding] = field(default_factory=list)
    cracks: list[Crack] = field(default_factory=list)
    notes: Notes = field(default_factory=Notes)
    bad: list[InputError] = field(default_factory=list)
    bad_rows: list[int] = field(default_factory=list)

    def leave_out(self, wrong: Sequence[tuple[int, InputError]]) -> None:
        """Note more rows that cannot be used, by number."""
        bad = {**dict(wrong), **dict(zip(self.bad_rows, self.bad, strict=True))}
        self.bad_rows = sorted(bad)
        self.bad = [bad[row] for row in self.bad_rows]


def gather(rows: Sequence[Cells], trust: Trust, sign: Sign | None = None) -> Gathered:
    """Read all rows. ``sign``: they are levels of that sign, and no column says what each is."""
    found = Gathered()
    bad: dict[int, InputError] = {}
    for cells in rows:
        try:
            cells.check()
            _take(found, cells, trust, sign)
        except InputError as error:
            bad[cells.row] = error
    slips = (*numbers_twice(rows), *thousands_marks(rows), *mixed_signs(found.levels), *unit_slips(found.levels))
    for row, wrong in slips:
        bad.setdefault(row, wrong)
    found.placements, found.humps = _without(found.placements, bad), _without(found.humps, bad)
    found.levels, found.spots = _without(found.levels, bad), _without(found.spots, bad)
    found.steps, found.cracks = _without(found.steps, bad), _without(found.cracks, bad)
    found.soundings = _without(found.soundings, bad)
    found.bad_rows = sorted(bad)
    found.bad = [bad[row] for row in found.bad_rows]
    return found


def left_out(found: Gathered, total: int, *, allowed: bool) -> tuple[tuple[str, ...], tuple[Caveat, ...]]:
    """Sentences and a caveat on rows that cannot be used; ``allowed`` False: they are an error.

    Raises
    ------
    InputError
        for the first such row, with how many more there are and which, and where nothing is left
    """
    if not found.bad:
        return (), ()
    first, rows = found.bad[0], [str(row) for row in found.bad_rows]
    if not allowed or len(rows) == total:
        raise first if len(rows) == 1 else InputError(first.where, _and_more(first.what, rows[1:]), first.advice)
    sentences = tuple(f"Left out: {error}" for error in found.bad)
    return sentences, (caveat("rows_left_out", count=len(rows), total=total, rows=listed(rows)),)


def _and_more(what: str, rows: list[str]) -> str:
    said = "1 more row cannot be used: row" if len(rows) == 1 else f"{len(rows)} more rows cannot be used: rows"
    return f"{what} ({said} {listed(rows)})"


def _take(found: Gathered, cells: Cells, trust: Trust, sign: Sign | None) -> None:
    what: RowWhat = sign or what_of(cells)
    if what == "straightedge":
        found.placements.append(placement_of(cells, trust, found.notes))
        return
    _check_no_stations(cells, what)
    if what in ("gap", "lip", "joint_width", "joint_depth"):
        found.spots.append(spot_of(cells, what, trust))
    elif what in ("hump", "free_end"):
        found.humps.append(hump_of(cells, trust, halved=what == "hump"))
    elif what in ("staff", "height"):
        found.levels.append(level_of(cells, what, trust))
    elif what == "tap":
        found.soundings.append(sounding_of(cells))
    elif what == "crack":
        found.cracks.append(crack_of(cells))
    else:
        found.steps.append(step_of(cells))


def _check_no_stations(cells: Cells, what: RowWhat) -> None:
    for _, column in cells.columns.stations:
        if cells.cell(column).lower() not in UNREAD:
            said = f"a {what} has no stations, and this one is filled"
            raise cells.wrong(column, said, "Move it to the column value, or write what = straightedge")


def _without(records: list[R], bad: dict[int, InputError]) -> list[R]:
    return [record for record in records if record.row not in bad]
