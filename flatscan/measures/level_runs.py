"""F-numbers straight from level readings along lines, as the E1155 kind asks: no surface stands between.

Heights are compared within one set-up only, so that its unknown instrument height never counts. The figures are of
the readings as they are; their own noise adds curvature and lowers FF, which a simulation that reads the same floor
again tells, and which is part of the uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.caveats import caveat
from flatscan.constants import MM_PER_M
from flatscan.measures.f_formula import NOTES, f_number, ff_constant_mm, fl_constant_mm
from flatscan.measures.f_numbers import bootstrap, overall
from flatscan.measures.level_layout import breaches
from flatscan.measures.level_lines import asked_lines, level_lines, lines_of_grid
from flatscan.measures.measurement import FNumbers, ProfileLine
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.measures.level_lines import LevelLine
    from flatscan.measures.measurement import Measurement, Point
    from flatscan.settings import Segment
    from flatscan.sources.hand.field_readings import FieldReadings

#: Readings of the same floor that are simulated.
DRAWS = 200
#: A share of FF that noise takes off and that is worth a sentence.
_NOISE_TELLS = 0.1
#: Where noise of the readings is half of the curvature's variance, reading once more takes this share off FF:
#: 1 - 1/sqrt(1.5). What is left of the figure is then more of the instrument than of the floor.
_NOISE_DROWNS = 1.0 - 1.5**-0.5
_NO_GRAVITY = "No FL: the level readings are not against gravity"
_GRID_NOTE = (
    "Lines R and C are rows and columns of the grid that was read, counted from its corner, 1.2 m or more apart"
)
_LAYOUT_NOTE = (
    "F-numbers of the E1155 kind, not a conformity test: the constants are from memory, the layout the reader's"
)


def with_level_runs(
    measurement: Measurement,
    field: FieldReadings,
    *,
    asked_mm: Sequence[Segment],
    alone: bool,
    rng: np.random.Generator,
) -> Measurement:
    """The measurement with the F-numbers that level readings tell.

    Parameters
    ----------
    asked_mm : lines that a person wants the F-numbers of
    alone : there is no scan, on which such lines, and lines laid out by rule, are read instead
    """
    lines = asked_mm if alone else ()
    found, missed = _run_f_numbers(field, lines, alone=alone, rng=rng)
    doubts = [caveat("line_not_read", number=number) for number in missed]
    if lines and not field.levels:
        doubts = [caveat("no_f_numbers_from_readings")]
    return replace(measurement, f_numbers=found or measurement.f_numbers, caveats=(*measurement.caveats, *doubts))


def level_run_f_numbers(field: FieldReadings, *, rng: np.random.Generator) -> FNumbers | None:
    """FF and FL of the lines of level readings; None where there is no line.

    Parameters
    ----------
    field : readings whose ``line`` is named, 300 mm or 12 in apart and straight within 5 %; where no reading names one
        those on a grid of that spacing, along its rows and columns. FL needs true gravity
    rng : for the simulated readings and the bootstrap over lines

    Returns
    -------
    FNumbers
        per line and over all, the notes naming every line left out and every layout rule that was broken. A line
        that holds too few readings for a figure carries None
    """
    return _run_f_numbers(field, (), alone=True, rng=rng)[0]


def _run_f_numbers(
    field: FieldReadings, asked_mm: Sequence[Segment], *, alone: bool, rng: np.random.Generator
) -> tuple[FNumbers | None, list[int]]:
    """Of the lines asked for, else of those named, else of a grid's rows and columns; numbers of lines not read."""
    lines, refused, missed = asked_lines(field.levels, asked_mm)
    notes: list[str] = []
    if not lines:
        named, more = level_lines(field.levels)
        lines, refused = named, [*refused, *more]
    if not lines and not refused and alone:
        lines, refused = lines_of_grid(field.levels, field.outline)
        notes = [_GRID_NOTE]
    if not lines and not refused:
        return None, missed
    return _of_lines(field, lines, [_LAYOUT_NOTE, *NOTES[1:], *notes, *refused], rng), missed


def _of_lines(field: FieldReadings, lines: Sequence[LevelLine], notes: list[str], rng: np.random.Generator) -> FNumbers:
    if not lines:
        return FNumbers((), None, None, None, None, tuple(notes))
    given = np.array([r.height_mm for r in field.levels], dtype=np.float64)
    ff, fl, q_counts, z_counts = _figures(lines, given)
    again = [_figures(lines, heights)[:2] for heights in _read_again(field, given, rng)]
    lower = _lower_by_noise(ff[-1], [a[0][-1] for a in again])
    notes += _noise_note(
        [field.levels[i].u_mm for line in lines for i in line.reading[line.reading >= 0]], ff[-1], lower
    )
    ff_all: Sequence[Quantity | None] = [None] * len(ff)
    if lower < _NOISE_DROWNS:
        ff_all = _quantities(ff, np.array([a[0] for a in again]))
    fl_all: Sequence[Quantity | None] = [None] * len(fl)
    if field.gravity:
        fl_all = _quantities(fl, np.array([a[1] for a in again]))
    else:
        notes.append(_NO_GRAVITY)
    return FNumbers(
        lines=tuple(
            ProfileLine(_point(line.start), _point(line.end), line.step_mm, line.readings, ff_all[k], fl_all[k])
            for k, line in enumerate(lines)
        ),
        ff=ff_all[-1],
        fl=fl_all[-1],
        ff_interval=bootstrap(q_counts, ff[:-1], rng) if lower < _NOISE_DROWNS else None,
        fl_interval=bootstrap(z_counts, fl[:-1], rng) if field.gravity else None,
        notes=(*notes, *breaches(lines, sum(z_counts), field)),
    )


def _figures(
    lines: Sequence[LevelLine], height_mm: NDArray[np.float64]
) -> tuple[list[float], list[float], list[int], list[int]]:
    """FF and FL of each line, then of all; and how many q and z readings each line has."""
    ff, fl, q_counts, z_counts = [], [], [], []
    for line in lines:
        heights = np.where(line.reading >= 0, height_mm[line.reading], np.nan)
        q, z = line.q_z(heights)
        ff.append(f_number(q, ff_constant_mm(line.step_mm)))
        fl.append(f_number(z, fl_constant_mm(line.step_mm)))
        q_counts.append(len(q))
        z_counts.append(len(z))
    return [*ff, overall(q_counts, ff)], [*fl, overall(z_counts, fl)], q_counts, z_counts


def _read_again(
    field: FieldReadings, given_mm: NDArray[np.float64], rng: np.random.Generator
) -> list[NDArray[np.float64]]:
    """The same floor read again: each reading's own noise, each set-up's tilt and drift."""
    u = np.array([r.u_mm for r in field.levels])
    xy_m = np.array([r.at for r in field.levels], dtype=np.float64) / MM_PER_M
    order = np.array([r.order for r in field.levels], dtype=np.float64)
    names = [r.set_up for r in field.levels]
    tilt, drift = (field.level.tilt_mm_per_m, field.level.drift_mm) if field.level is not None else (0.0, 0.0)
    found = []
    for _ in range(DRAWS):
        heights = given_mm + u * rng.standard_normal(len(u))
        for name in dict.fromkeys(names):
            of = np.array([n == name for n in names])
            done = (order[of] - order[of].min()) / max(1.0, float(np.ptp(order[of])))
            heights[of] += tilt * (xy_m[of] @ rng.standard_normal(2)) + drift * rng.standard_normal() * done
        found.append(heights)
    return found


def _lower_by_noise(ff: float, again: Sequence[float]) -> float:
    """By what share FF falls when the same floor is read once more: about what the first reading took off."""
    finite = [f for f in again if math.isfinite(f)]
    return 1.0 - sum(finite) / len(finite) / ff if finite and math.isfinite(ff) and ff > 0.0 else 0.0


def _noise_note(u_mm: Sequence[float], ff: float, lower: float) -> list[str]:
    """What the readings' own noise does to FF, where it matters."""
    if lower < _NOISE_TELLS:
        return []
    noise = f"oise of the readings (u {said.thickness(math.sqrt(sum(u**2 for u in u_mm) / len(u_mm)), 2)})"
    if lower < _NOISE_DROWNS:
        return [f"N{noise} looks like curvature: the floor's FF is {lower:.0%} or more higher"]
    least = f"The floor's FF is above {ff:.0f}; read to a finer step to tell it"
    return [f"No FF: half or more of the curvature read is n{noise}. {least}"]


def _quantities(figures: Sequence[float], again: NDArray[np.float64]) -> list[Quantity | None]:
    """Each figure with its doubt: the scatter of readings again, and how far they shift it on average.

    ``again``: (draws, figures). None where a figure does not exist.
    """
    found: list[Quantity | None] = []
    for value, drawn in zip(figures, again.T, strict=True):
        finite = drawn[np.isfinite(drawn)]
        if not math.isfinite(value) or len(finite) < 2:  # noqa: PLR2004 - a scatter needs two
            found.append(None)
            continue
        shift = abs(float(finite.mean()) - value)
        found.append(Quantity.from_budget(value, "1", readings=float(finite.std(ddof=1)), noise_taken_for_floor=shift))
    return found


def _point(xy: NDArray[np.float64]) -> Point:
    return float(xy[0]), float(xy[1])
