"""Where to read elevations: straight lines laid out over the floor after E1155's rules, as far as they were seen.

Lines at least 3.3 m long, parallel ones at least 1.2 m apart, none within 0.6 m of an edge; floors narrower
than 7.5 m are read along lines at 45° to their longest side; one reading each 300 mm (READ in pages quoting
the metric standard). Lines do not cross walls or what was not seen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.settings import Segment
    from flatscan.surface.surface import Surface

STEP_MM = 300.0
#: 300 mm or a foot: hand readings this near to the step are taken for it.
STEP_TOLERANCE = 0.05
LEAST_LENGTH_MM = 3300.0
APART_MM = 1200.0
FROM_EDGES_MM = 600.0
NARROW_MM = 7500.0


@dataclass(frozen=True, slots=True, eq=False)
class ReadingLine:
    """``row``, ``col`` (n,) float64: the readings' places in cells (0 is the centre of the first), evenly apart."""

    row: NDArray[np.float64]
    col: NDArray[np.float64]
    step_mm: float


def lay_out_lines(surface: Surface) -> list[ReadingLine]:
    """Lines for a floor's F-numbers: none when it is too small."""
    from scipy.ndimage import distance_transform_edt

    ground = np.pad(surface.inside, 1)
    allowed = surface.seen & (distance_transform_edt(ground)[1:-1, 1:-1] * surface.cell_mm >= FROM_EDGES_MM)
    rows, cols = np.nonzero(surface.inside)
    if len(rows) == 0:
        return []
    narrow = (min(np.ptp(rows), np.ptp(cols)) + 1) * surface.cell_mm < NARROW_MM
    first = math.pi / 4.0 if narrow else 0.0
    return [line for turn in (0.0, math.pi / 2.0) for line in _family(allowed, first + turn, surface.cell_mm)]


def given_lines(surface: Surface, lines_mm: Sequence[Segment]) -> tuple[list[ReadingLine], list[int]]:
    """Readings along the lines that a person laid out, and the numbers (from 1) of those that cannot be read.

    Parameters
    ----------
    lines_mm : ((x, y), (x, y)) ends in the floor frame; read each 300 mm from the first end on, so the last
        reading may lie short of the second

    A line is read where all of it lies on floor that was seen; the rules for edges and lengths are the layer-out's.
    """
    x0, y0 = surface.origin_mm
    found, missed = [], []
    for number, line in enumerate(lines_mm, start=1):
        ends = (np.asarray(line)[:, ::-1] - (y0, x0)) / surface.cell_mm - 0.5
        laid = _along(surface, ends)
        if laid is None:
            missed.append(number)
        else:
            found.append(laid)
    return found, missed


def _along(surface: Surface, ends: NDArray[np.float64]) -> ReadingLine | None:
    length_mm = float(np.hypot(*(ends[1] - ends[0]))) * surface.cell_mm
    steps = math.floor(length_mm / STEP_MM + 1e-6)
    if steps < 1:
        return None
    at = ends[0] + np.outer(np.arange(steps + 1) * STEP_MM / length_mm, ends[1] - ends[0])
    on = bool(_passable(surface.seen, at).all())
    return ReadingLine(at[:, 0], at[:, 1], STEP_MM) if on else None


def _family(allowed: NDArray[np.bool_], angle: float, cell_mm: float) -> list[ReadingLine]:
    """Parallel lines through the middle of the grid and to both sides of it, cut where reading is not allowed."""
    rows, cols = allowed.shape
    middle = np.array([0.5 * (rows - 1), 0.5 * (cols - 1)])
    along = np.array([math.sin(angle), math.cos(angle)])
    across = np.array([along[1], -along[0]])
    reach = 0.5 * math.hypot(rows, cols)
    steps = np.arange(-math.floor(reach * cell_mm / STEP_MM), math.floor(reach * cell_mm / STEP_MM) + 1)
    beside = np.arange(-math.floor(reach * cell_mm / APART_MM), math.floor(reach * cell_mm / APART_MM) + 1)
    found = []
    for offset in beside:
        at = middle + across * offset * APART_MM / cell_mm + np.outer(steps * STEP_MM / cell_mm, along)
        cell = np.rint(at).astype(np.int64)
        on = (cell >= 0).all(axis=1) & (cell[:, 0] < rows) & (cell[:, 1] < cols)
        on[on] = allowed[cell[on, 0], cell[on, 1]]
        # A boundary between readings may still be a wall: every cell passed must be allowed too.
        on[1:] &= _passable(allowed, at) | ~on[:-1]
        found += [ReadingLine(at[a:b, 0], at[a:b, 1], STEP_MM) for a, b in _runs(on, _least_readings())]
    return found


def _least_readings() -> int:
    return math.ceil(LEAST_LENGTH_MM / STEP_MM) + 1


def _passable(allowed: NDArray[np.bool_], at: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(n - 1,) bool: every cell between a reading and the next is allowed."""
    count = 2 + int(np.abs(np.diff(at, axis=0)).max(initial=0.0))
    share = np.linspace(0.0, 1.0, count)[:, None, None]
    cells = np.rint(at[:-1] * (1.0 - share) + at[1:] * share).astype(np.int64)
    rows, cols = allowed.shape
    on = (cells >= 0).all(axis=2) & (cells[..., 0] < rows) & (cells[..., 1] < cols)
    on[on] = allowed[cells[on][:, 0], cells[on][:, 1]]
    return np.asarray(on.all(axis=0))


def _runs(on: NDArray[np.bool_], least: int) -> list[tuple[int, int]]:
    """Ranges [a, b) of True at least ``least`` long."""
    edge = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edge[::2], edge[1::2], strict=True) if b - a >= least]
