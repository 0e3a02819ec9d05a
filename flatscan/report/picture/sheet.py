"""The paper: how large the picture is and where on it the room lies, for a closet as for a hall."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.units import MM_PER

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from flatscan.report.picture.labels import Box
    from flatscan.surface.surface import Surface

#: Largest drawn room (width, height): in most rooms, and in halls.
_ROOM_IN = (7.6, 6.4)
_HALL_IN = (10.4, 8.0)
_HALL_MM = 12_000.0
#: A closet is not drawn larger than this: 1:7.6.
_MOST_INCH_PER_MM = 0.0052
#: Space around the room, for tape measures and labels (left, bottom, right, top).
_AROUND_IN = (0.72, 0.62, 0.35, 0.35)
#: Least space for room and labels together.
_LEAST_IN = (6.0, 3.3)
EDGE_IN = 0.3
BAR_COLUMN_IN = 1.15
#: (longest side of the room from here on, distance of grid lines).
_GRID_STEPS_MM = ((2000.0, 1000.0), (600.0, 250.0), (0.0, 100.0))
_GRID_STEPS_FT_MM = ((2000.0, 2.0 * MM_PER["ft"]), (600.0, MM_PER["ft"]), (0.0, MM_PER["ft"] / 4.0))
_LABEL_STEPS = (1, 2, 5, 10, 20, 50)
_LEAST_LABEL_IN = 0.42


@dataclass(frozen=True, slots=True)
class Sheet:
    """Sizes in inches from the bottom left corner of the paper; the room's box in floor-frame mm."""

    width: float
    height: float
    #: Room and the space around it: labels stay in here.
    map_box: Box
    room_mm: Box
    inch_per_mm: float
    room_left: float
    room_bottom: float

    def on_paper(self, xy_mm: ArrayLike) -> NDArray[np.float64]:
        """(…, 2) floor-frame mm to (…, 2) inches."""
        xy = np.asarray(xy_mm, dtype=np.float64)
        corner = np.array([self.room_left, self.room_bottom])
        return np.asarray(corner + (xy - np.array(self.room_mm[:2])) * self.inch_per_mm)

    @property
    def room_box(self) -> Box:
        """The room's bounding box in inches."""
        high = self.on_paper(self.room_mm[2:])
        return self.room_left, self.room_bottom, float(high[0]), float(high[1])

    @property
    def grid_mm(self) -> float:
        """Distance of grid lines: 1 m or 2 ft wherever the room is large enough to show it."""
        longest_mm = max(self.room_mm[2] - self.room_mm[0], self.room_mm[3] - self.room_mm[1])
        steps = _GRID_STEPS_FT_MM if said.imperial() else _GRID_STEPS_MM
        return next(step for least, step in steps if longest_mm >= least)

    @property
    def labelled_every(self) -> int:
        """Every how many grid lines carry their figure."""
        apart = self.grid_mm * self.inch_per_mm
        return next(step for step in _LABEL_STEPS if step * apart >= _LEAST_LABEL_IN)


def room_of(surface: Surface, taped_mm: NDArray[np.float64] | None = None) -> Box:
    """Bounding box of the outline and of the floor to be judged, in floor-frame mm.

    ``taped_mm``: (k, 2) corners of the room as a tape found it, which then lies in it too.
    """
    rows, cols = np.nonzero(surface.inside)
    x0, y0 = surface.origin_mm
    corners = [ring for ring in surface.outline if len(ring)]
    if len(rows):
        cells = np.array([[cols.min(), rows.min()], [cols.max() + 1, rows.max() + 1]], dtype=np.float64)
        corners.append(np.array([x0, y0]) + cells * surface.cell_mm)
    corners += [] if taped_mm is None else [taped_mm]
    if not corners:
        corners = [np.array([[x0, y0], [x0 + surface.cell_mm, y0 + surface.cell_mm]])]
    points = np.concatenate(corners)
    (left, bottom), (right, top) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    least = surface.cell_mm  # a single line of readings has no width of its own
    return left, bottom, max(right, left + least), max(top, bottom + least)


def sheet_for(room_mm: Box, *, above_in: float, below_in: float) -> Sheet:
    """Lay the paper out with ``above_in`` for the title and ``below_in`` for key and caption."""
    wide, deep = room_mm[2] - room_mm[0], room_mm[3] - room_mm[1]
    scale = _inch_per_mm(wide, deep)
    around = _around(wide * scale, deep * scale)
    map_w, map_h = wide * scale + around[0] + around[2], deep * scale + around[1] + around[3]
    bottom = EDGE_IN + below_in
    return Sheet(
        width=2 * EDGE_IN + map_w + BAR_COLUMN_IN,
        height=bottom + map_h + above_in + EDGE_IN,
        map_box=(EDGE_IN, bottom, EDGE_IN + map_w, bottom + map_h),
        room_mm=room_mm,
        inch_per_mm=scale,
        room_left=EDGE_IN + around[0],
        room_bottom=bottom + around[1],
    )


def text_width_in(room_mm: Box) -> float:
    """Width for title and caption on the sheet that this room gets."""
    return sheet_for(room_mm, above_in=0.0, below_in=0.0).width - 2 * EDGE_IN


def _inch_per_mm(wide_mm: float, deep_mm: float) -> float:
    most = _HALL_IN if max(wide_mm, deep_mm) > _HALL_MM else _ROOM_IN
    return min(most[0] / wide_mm, most[1] / deep_mm, _MOST_INCH_PER_MM)


def _around(wide_in: float, deep_in: float) -> tuple[float, float, float, float]:
    left, bottom, right, top = _AROUND_IN
    more_w = max(0.0, _LEAST_IN[0] - (wide_in + left + right)) / 2.0
    more_h = max(0.0, _LEAST_IN[1] - (deep_in + bottom + top)) / 2.0
    return left + more_w, bottom + more_h, right + more_w, top + more_h


def grid_lines_mm(low: float, high: float, step: float) -> NDArray[np.float64]:
    """Multiples of ``step`` from ``low`` to ``high``."""
    first, last = math.ceil(low / step - 1e-6), math.floor(high / step + 1e-6)
    return np.arange(first, last + 1, dtype=np.float64) * step
