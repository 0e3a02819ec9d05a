"""Whether level lines were laid as the E1155 kind asks; each breach in words, with its figures.

The rules and figures were read on pages that quote the standard (TABLES: W3, US1); the least number of z readings is
from memory. None of them is checked against the standard itself.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.constants import MM_PER_M
from flatscan.measures.f_formula import LEAST_READINGS
from flatscan.measures.lines import APART_MM, FROM_EDGES_MM, LEAST_LENGTH_MM, NARROW_MM, STEP_MM
from flatscan.units import MM_PER

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.measures.level_lines import LevelLine
    from flatscan.sources.hand.field_readings import FieldReadings

#: What was marked with a tape may be short of a rule by this much.
_TAPE_MM = 20.0
#: Lines whose directions differ by less than this are parallel, and one that far off 45° is not at 45°.
_SAME_WAY_RAD = math.radians(5.0)
#: Least z readings: 2 sqrt(A) for A square feet up to this, A / 30 above; from memory, the two do not meet.
_LARGE_FT2 = 1600.0
_FT2_PER_Z = 30.0


def breaches(lines: Sequence[LevelLine], z_readings: int, field: FieldReadings) -> tuple[str, ...]:
    """Every rule that the lines break, one sentence each; none where all are kept.

    Parameters
    ----------
    lines : as they were read
    z_readings : differences over ten steps, over all lines
    field : for the room's outline and the lines across which the floor may jump
    """
    said = [sentence for line in lines for sentence in _of_one(line)]
    said += [sentence for i, one in enumerate(lines) for other in lines[:i] for sentence in _too_near(other, one)]
    said += [sentence for line in lines for sentence in _across_steps(line, field)]
    if field.outline is None:
        return (*said, "The room's outline is not stated: distances from edges and the number of readings unchecked")
    for line in lines:
        said += _near_edges(line, field.outline)
    said += _narrow(lines, field.outline)
    return (*said, *_too_few(z_readings, field.outline))


def least_z_readings(area_mm2: float) -> int:
    """Fewest z readings for a floor of that area (from memory: check against a bought copy).

    >>> least_z_readings(900.0 * 304.8**2), least_z_readings(3000.0 * 304.8**2)
    (60, 100)
    """
    area_ft2 = area_mm2 / MM_PER["ft"] ** 2
    least = 2.0 * math.sqrt(area_ft2) if area_ft2 <= _LARGE_FT2 else area_ft2 / _FT2_PER_Z
    return math.ceil(least - 1e-6)


def _of_one(line: LevelLine) -> list[str]:
    said = []
    least_mm = LEAST_LENGTH_MM / STEP_MM * line.nominal_mm
    if line.length_mm < least_mm - _TAPE_MM:
        said.append(f"Line {line.name} is {_m(line.length_mm)} long, less than {_m(least_mm)}")
    if line.readings < LEAST_READINGS:
        said.append(f"Line {line.name} has {line.readings} readings, fewer than {LEAST_READINGS}")
    return said


def _too_near(one: LevelLine, other: LevelLine) -> list[str]:
    """Parallel lines side by side."""
    along = (one.end - one.start) / one.length_mm
    way = (other.end - other.start) / other.length_mm
    if abs(float(along[0] * way[1] - along[1] * way[0])) > math.sin(_SAME_WAY_RAD):
        return []
    reach = sorted(float(v) for v in ((other.start - one.start) @ along, (other.end - one.start) @ along))
    if min(reach[1], one.length_mm) <= max(reach[0], 0.0):
        return []
    middle = 0.5 * (other.start + other.end) - one.start
    apart = abs(float(along[0] * middle[1] - along[1] * middle[0]))
    if apart >= APART_MM - _TAPE_MM:
        return []
    return [f"Lines {one.name} and {other.name} are {_m(apart)} apart, less than {_m(APART_MM)}"]


def _near_edges(line: LevelLine, outline_mm: NDArray[np.float64]) -> list[str]:
    share = np.linspace(0.0, 1.0, line.height_mm.shape[1])[:, None]
    places = line.start * (1.0 - share) + line.end * share
    away = min(float(_from_segment_mm(places, a, b).min()) for a, b in pairwise(_closed(outline_mm)))
    if away >= FROM_EDGES_MM - _TAPE_MM:
        return []
    return [f"Line {line.name} comes within {_m(away)} of an edge of the floor, nearer than {_m(FROM_EDGES_MM)}"]


def _across_steps(line: LevelLine, field: FieldReadings) -> list[str]:
    crossed = [s for s in field.steps if _cross(line.start, line.end, np.asarray(s.start), np.asarray(s.end))]
    return [f"Line {line.name} crosses the step of row {step.row}; lines end at joints and steps" for step in crossed]


def _narrow(lines: Sequence[LevelLine], outline_mm: NDArray[np.float64]) -> list[str]:
    """Narrow floors are read askew; the frame's x runs along the longest wall."""
    width = float(np.ptp(outline_mm, axis=0).min())
    if width >= NARROW_MM:
        return []
    off = [line.name for line in lines if abs(_angle_rad(line) % (math.pi / 2.0) - math.pi / 4.0) > _SAME_WAY_RAD]
    if not off:
        return []
    named = f"line {off[0]} is" if len(off) == 1 else f"lines {', '.join(off)} are"
    return [f"A floor {_m(width)} wide, narrower than {_m(NARROW_MM)}, is read at 45° to its longest side; {named} not"]


def _too_few(z_readings: int, outline_mm: NDArray[np.float64]) -> list[str]:
    x, y = _closed(outline_mm).T
    area_mm2 = abs(float(x[:-1] @ y[1:] - x[1:] @ y[:-1])) / 2.0
    least = least_z_readings(area_mm2)
    if z_readings >= least:
        return []
    size = f"{said.number(area_mm2 / MM_PER_M**2, 'm²', 0)} {said.unit('m²')}"
    return [f"{z_readings} readings over ten steps, fewer than the {least} for {size} (rule from memory)"]


def _from_segment_mm(
    places: NDArray[np.float64], a: NDArray[np.float64], b: NDArray[np.float64]
) -> NDArray[np.float64]:
    along = b - a
    share = np.clip((places - a) @ along / max(float(along @ along), 1e-12), 0.0, 1.0)
    return np.asarray(np.hypot(*(places - a - share[:, None] * along).T))


def _cross(a: NDArray[np.float64], b: NDArray[np.float64], c: NDArray[np.float64], d: NDArray[np.float64]) -> bool:
    """Whether two segments cross or touch, unless they run along one line."""

    def side(p: NDArray[np.float64], q: NDArray[np.float64], r: NDArray[np.float64]) -> float:
        return float((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]))

    return side(a, b, c) * side(a, b, d) <= 0.0 and side(c, d, a) * side(c, d, b) < 0.0


def _closed(outline_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    return outline_mm if np.array_equal(outline_mm[0], outline_mm[-1]) else np.vstack([outline_mm, outline_mm[:1]])


def _angle_rad(line: LevelLine) -> float:
    along = line.end - line.start
    return math.atan2(float(along[1]), float(along[0]))


def _m(length_mm: float) -> str:
    return said.tape(length_mm)
