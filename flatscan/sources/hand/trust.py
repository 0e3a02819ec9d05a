"""What the instruments of a readings table can be trusted for: as its lines state, else by common practice."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.caveats import caveat
from flatscan.constants import MM_PER_M
from flatscan.errors import InputError
from flatscan.sources.hand import instruments
from flatscan.sources.hand.field_readings import Bar, Level
from flatscan.sources.hand.instruments import reading_u_mm

if TYPE_CHECKING:
    from collections.abc import Iterable

    from flatscan.caveats import Caveat
    from flatscan.sources.hand.cells import Cells
    from flatscan.sources.hand.columns import FieldColumn
    from flatscan.sources.hand.instrument_lines import Stated


@dataclass(frozen=True, slots=True)
class Trust:
    """Steps and repeatabilities, mm, with what was assumed as caveats.

    ``level_sigma_mm``: standard uncertainty of one level reading where the table states it as a whole.
    """

    stated: Stated
    bar_step_mm: float
    level_step_mm: float
    level_sigma_mm: float | None = None

    @property
    def bar_repeat_mm(self) -> float:
        """How well a gap repeats, one standard deviation."""
        return _or(self.stated.bar_repeat_mm, instruments.BAR_REPEAT_MM)

    @property
    def gap_u_mm(self) -> float:
        """Standard uncertainty of one gap under the bar, without the bar's bow."""
        return reading_u_mm(self.bar_step_mm, self.bar_repeat_mm)

    @property
    def level_u_mm(self) -> float:
        """Standard uncertainty of one level reading, without the instrument's tilt and drift."""
        if self.level_sigma_mm is not None:
            return self.level_sigma_mm
        return reading_u_mm(self.level_step_mm, _or(self.stated.level_repeat_mm, instruments.LEVEL_REPEAT_MM))

    def bow_mm(self, length_mm: float) -> float:
        """Standard uncertainty of the bar's edge at mid-length: as stated, or half of what turning it showed."""
        stated, turned = self.stated.bar_bow_mm, self.stated.bar_reversal_mm
        if stated is None and turned is None:
            return instruments.BAR_BOW_MM_PER_M * length_mm / MM_PER_M
        return max(stated or 0.0, (turned or 0.0) / 2.0)

    def bar(self, length_mm: float, *, feet: bool = False) -> Bar:
        """The straightedge of a placement."""
        feet_mm = _or(self.stated.feet_mm, 0.0) if feet else 0.0
        name = f"{length_mm / MM_PER_M:.3g} m straightedge"
        return Bar(name, length_mm, self.bar_step_mm, self.bar_repeat_mm, self.bow_mm(length_mm), feet_mm)

    def line(self, length_mm: float) -> Bar:
        """A string or a laser line in place of a bar."""
        return Bar("line", length_mm, self.bar_step_mm, self.bar_repeat_mm, instruments.LINE_BOW_MM)

    def level(self) -> Level:
        """The levelling instrument."""
        return Level(
            self.level_step_mm,
            _or(self.stated.level_repeat_mm, instruments.LEVEL_REPEAT_MM),
            _or(self.stated.level_tilt_mm_per_m, instruments.LEVEL_TILT_MM_PER_M),
            _or(self.stated.level_drift_mm, instruments.LEVEL_DRIFT_MM),
        )

    def assumed(self, *, bars: bool, levels: bool) -> tuple[Caveat, ...]:
        """One caveat for each instrument that was used and is not fully described."""
        stated, doubts = self.stated, []
        if bars:
            missing = {
                f"resolution {self.bar_step_mm:.3g} mm": stated.bar_step_mm,
                f"repeatability {self.bar_repeat_mm:g} mm": stated.bar_repeat_mm,
                f"straightness {self.bow_mm(MM_PER_M):g} mm per m": stated.bar_bow_mm
                if stated.bar_reversal_mm is None
                else stated.bar_reversal_mm,
            }
            doubts += _missing("straightedge", missing)
        if levels:
            level = self.level()
            missing = {
                f"resolution {level.step_mm:.3g} mm": stated.level_step_mm,
                f"repeatability {level.repeat_mm:g} mm": stated.level_repeat_mm,
                f"tilt {level.tilt_mm_per_m:g} mm/m": stated.level_tilt_mm_per_m,
                f"drift {level.drift_mm:g} mm": stated.level_drift_mm,
            }
            doubts += _missing("level", missing)
        return tuple(doubts)


def trust_in(stated: Stated, gap_step_mm: float, level_step_mm: float, place: str) -> Trust:
    """Steps as stated, else the usual ones, but never finer than the readings were written.

    Parameters
    ----------
    gap_step_mm, level_step_mm : finest step any gap and any level reading is written in, 0 where there is none
    place : the file, for the message when the bar does not fit into the room
    """
    length_mm, outline = stated.bar_length_mm, stated.outline
    if length_mm is not None and outline is not None:
        widest_mm = float(np.linalg.norm(outline[:, None] - outline[None], axis=-1).max())
        if length_mm > widest_mm:
            row = dict(stated.rows)["straightedge length"]
            what = (
                f"the straightedge, {length_mm / MM_PER_M:g} m, is longer than the room, {widest_mm / MM_PER_M:.3g} m"
            )
            raise InputError(f"{place}, row {row}", what, "Check its length and the room's size")
    return Trust(
        stated,
        _or(stated.bar_step_mm, max(instruments.BAR_STEP_MM, gap_step_mm)),
        _or(stated.level_step_mm, max(instruments.LEVEL_STEP_MM, level_step_mm)),
    )


def finest_step_mm(cells: Iterable[tuple[Cells, FieldColumn]]) -> float:
    """Finest step among written numbers, 0 where there are none: all in 1/16 inch were not read to 0.5 mm."""
    steps = []
    for row, column in cells:
        with contextlib.suppress(InputError):  # told when the row itself is read
            steps.append(row.length_in(column).step_mm)
    return min(steps, default=0.0)


def _missing(instrument: str, figures: dict[str, float | None]) -> list[Caveat]:
    """``figures``: what was taken, and what the table states in its place."""
    taken = [text for text, stated in figures.items() if stated is None]
    return [caveat("instrument_assumed", instrument=instrument, taken=", ".join(taken))] if taken else []


def _or(stated: float | None, usual: float) -> float:
    return usual if stated is None else stated
