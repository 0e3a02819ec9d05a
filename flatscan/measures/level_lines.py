"""Level readings along straight lines, named or the rows and columns of a grid, laid on an even grid of steps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.measures.f_formula import LEVEL_STEPS
from flatscan.measures.level_grid import asked_run, grid_of, grid_runs
from flatscan.measures.lines import STEP_MM, STEP_TOLERANCE
from flatscan.units import MM_PER

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from flatscan.settings import Segment
    from flatscan.sources.hand.field_readings import LevelReading

#: Steps that the F-numbers are read at: 300 mm or a foot, whichever is nearer.
STEPS_MM = (STEP_MM, MM_PER["ft"])
#: Two places nearer than this share of the step are one, read from two set-ups.
_SAME_PLACE = 0.2
_LEAST_PLACES = 3


@dataclass(frozen=True, slots=True, eq=False)
class LevelLine:
    """One line. ``start``, ``end``: (2,) floor mm. ``step_mm``: as measured. ``readings``: how many.

    ``height_mm`` (set-ups, places) float64: heights as read from each set-up, NaN where it did not read; heights of
    different set-ups do not compare. ``reading`` (set-ups, places) int64: index into the readings given, -1 for none.
    """

    name: str
    start: NDArray[np.float64]
    end: NDArray[np.float64]
    step_mm: float
    readings: int
    height_mm: NDArray[np.float64]
    reading: NDArray[np.int64]

    @property
    def nominal_mm(self) -> float:
        """The step it was meant to have."""
        return min(STEPS_MM, key=lambda step: abs(step - self.step_mm))

    @property
    def length_mm(self) -> float:
        """From the first place to the last."""
        return float(np.hypot(*(self.end - self.start)))

    def q_z(self, height_mm: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Curvatures and differences over ten steps, mm, wherever one set-up read all that they need.

        ``height_mm`` : as the record's. Where several set-ups read them, their mean.
        """
        q = np.diff(height_mm, 2, axis=1)
        z = height_mm[:, LEVEL_STEPS:] - height_mm[:, :-LEVEL_STEPS]
        return _mean(q), _mean(z)


def level_lines(readings: Sequence[LevelReading]) -> tuple[list[LevelLine], list[str]]:
    """Lines whose readings lie straight and evenly, in the order of the file, and why the others do not, in words."""
    names = dict.fromkeys(r.line for r in readings if r.line)
    return _all_laid(readings, ((name, [i for i, r in enumerate(readings) if r.line == name]) for name in names))


def lines_of_grid(
    readings: Sequence[LevelReading], outline_mm: NDArray[np.float64] | None = None
) -> tuple[list[LevelLine], list[str]]:
    """Rows and columns of the grid that readings without line names lie on (``level_grid.grid_runs``)."""
    return _all_laid(readings, grid_runs(readings, outline_mm))


def asked_lines(
    readings: Sequence[LevelReading], lines_mm: Sequence[Segment]
) -> tuple[list[LevelLine], list[str], list[int]]:
    """Lines that a person asked for, as read; why others are not even, in words; numbers (from 1) of all not read."""
    grid = grid_of(readings) if lines_mm else None
    runs = {f"{k}": asked_run(readings, grid, line) for k, line in enumerate(lines_mm, start=1)}
    found, refused = _all_laid(readings, ((name, run) for name, run in runs.items() if run is not None))
    read = {line.name for line in found}
    return found, refused, [int(name) for name in runs if name not in read]


def _all_laid(
    readings: Sequence[LevelReading], runs: Iterable[tuple[str, list[int]]]
) -> tuple[list[LevelLine], list[str]]:
    found, refused = [], []
    for name, numbers in runs:
        line = _laid(name, readings, numbers)
        if isinstance(line, str):
            refused.append(f"Line {name} was left out: {line}")
        else:
            found.append(line)
    return found, refused


def _laid(name: str, readings: Sequence[LevelReading], numbers: list[int]) -> LevelLine | str:
    xy = np.array([readings[i].at for i in numbers], dtype=np.float64)
    along = _direction(xy)
    middle = xy.mean(axis=0)
    s = (xy - middle) @ along
    beside = float(np.abs((xy - middle) @ np.array([-along[1], along[0]])).max())
    places = _places(s)
    if len(places) < _LEAST_PLACES:
        return f"{len(places)} places make no curve"
    step = float(np.median(np.diff(places)))
    nominal = min(STEPS_MM, key=lambda known: abs(known - step))
    allowed = STEP_TOLERANCE * nominal
    if abs(step - nominal) > allowed:
        return f"its readings are {said.thickness(step, 0)} apart, not 300 mm or 12 in within {STEP_TOLERANCE:.0%}"
    if beside > allowed:
        return f"a reading lies {said.thickness(beside, 0)} beside it, more than {said.thickness(allowed, 0)}"
    index = np.concatenate([[0], np.cumsum(np.rint(np.diff(places) / step))]).astype(np.int64)
    slope, first = np.polyfit(index, places, 1)
    off = float(np.abs(places - first - slope * index).max())
    if off > allowed:
        told = [said.thickness(float(v), 0) for v in (off, slope, allowed)]
        return f"a reading lies {told[0]} off the even step of {told[1]}, more than {told[2]}"
    set_ups = list(dict.fromkeys(readings[i].set_up for i in numbers))
    height = np.full((len(set_ups), int(index[-1]) + 1), np.nan)
    who = np.full(height.shape, -1, dtype=np.int64)
    for i, at in zip(numbers, np.rint((s - first) / slope).astype(np.int64), strict=True):
        row = set_ups.index(readings[i].set_up)
        if who[row, at] >= 0:
            return f"set-up {readings[i].set_up or 'one'} read one of its places twice"
        height[row, at], who[row, at] = readings[i].height_mm, i
    ends = middle + np.outer([places[0], places[-1]], along)
    return LevelLine(name, ends[0], ends[1], float(slope), len(places), height, who)


def _direction(xy: NDArray[np.float64]) -> NDArray[np.float64]:
    """(2,) of length 1: along the points, from the first towards the last."""
    _, _, axes = np.linalg.svd(xy - xy.mean(axis=0), full_matrices=False)
    along = np.asarray(axes[0])
    return along if along @ (xy[-1] - xy[0]) >= 0.0 else -along


def _places(s_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Different places among positions along a line, rising; those that two set-ups read count once."""
    ordered = np.sort(s_mm)
    fresh = np.concatenate([[True], np.diff(ordered) > _SAME_PLACE * STEP_MM])
    number = np.cumsum(fresh) - 1
    return np.asarray(np.bincount(number, ordered) / np.bincount(number))


def _mean(figures: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean over the set-ups of each figure that any of them knows."""
    known = np.isfinite(figures)
    count = known.sum(axis=0)
    total = np.where(known, figures, 0.0).sum(axis=0)
    return np.asarray(total[count > 0] / count[count > 0])
