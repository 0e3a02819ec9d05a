"""Level readings that can only be a slip of the unit or of the decimal point."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.errors import InputError
    from flatscan.sources.hand.level_rows import TimedLevel

#: Half a metre, and on long floors one in five, is more than any floor that is laid over rises (common practice, no
#: source); with fewer than three readings nothing says which of them is wrong.
_FAR_MM, _STEEP, _ENOUGH = 500.0, 0.2, 3
#: A level's sight is higher above the floor than this, and no staff is read as finely as that, mm.
_LOWEST_SIGHT_MM, _NO_STAFF_READS_MM = 10.0, 0.002


def unit_slips(levels: Sequence[TimedLevel]) -> list[tuple[int, InputError]]:
    """An error for each row of both kinds."""
    return [*far_levels(levels), *staffs_in_metres(levels)]


def far_levels(levels: Sequence[TimedLevel]) -> list[tuple[int, InputError]]:
    """An error for each level reading that lies as far from the others of its set-up as no floor does.

    1.25 in a column of millimetres, where the staff shows 1250, would else be a hill of more than a metre.
    """
    wrong = []
    for members in _by_set_up(levels):
        height_mm = np.array([m.reading.height_mm for m in members])
        reach_mm = float(np.ptp([m.reading.at for m in members], axis=0).max())
        most_mm = max(_FAR_MM, _STEEP * reach_mm)
        middle_mm = float(np.median(height_mm))
        for member, away_mm in zip(members, np.abs(height_mm - middle_mm), strict=True):
            if away_mm > most_mm:
                what = f"this lies {away_mm:.0f} mm from the middle one of its set-up, more than any floor"
                advice = "Check it and its unit; write the unit into the cell, such as 1.25 m"
                wrong.append((member.row, member.cells.wrong("value", what, advice)))
    return wrong


def staffs_in_metres(levels: Sequence[TimedLevel]) -> list[tuple[int, InputError]]:
    """An error for each staff reading of a set-up that can only have been read in metres, in a column of millimetres.

    They are all positive and below a centimetre, and written to a thousandth: a level's sight is never so low, and
    no staff is read so finely. The floor would seem a thousand times as flat as it is.
    """
    wrong = []
    for members in _by_set_up([one for one in levels if one.sign == "staff"]):
        shown_mm = np.array([-m.reading.height_mm for m in members])
        if shown_mm.min() > 0.0 and shown_mm.max() < _LOWEST_SIGHT_MM:
            finest = min(m.cells.length("value").step_mm for m in members)
            if finest < _NO_STAFF_READS_MM:
                what = f"a staff of {shown_mm[0]:g} mm would stand right beneath the level's sight"
                wrong += [
                    (m.row, m.cells.wrong("value", what, "Were metres meant? Call the column value_m")) for m in members
                ]
    return wrong


def _by_set_up(levels: Sequence[TimedLevel]) -> list[list[TimedLevel]]:
    """Set-ups of enough readings to tell what is usual in them."""
    sets: dict[str, list[TimedLevel]] = {}
    for level in levels:
        sets.setdefault(level.reading.set_up, []).append(level)
    return [members for members in sets.values() if len(members) >= _ENOUGH]
