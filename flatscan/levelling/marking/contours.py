"""Lines of equal thickness of a fill, or of equal depth of grinding."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: One level and its (k, 2) lines.
Contour = tuple[float, tuple["NDArray[np.float64]", ...]]


def contours_of(
    fill_mm: NDArray[np.floating], cell_mm: float, origin_mm: tuple[float, float], step_mm: float = 1.0
) -> tuple[Contour, ...]:
    """Closed lines where the thickness is 1, 2, 3 … ``step_mm``, for every level that the fill reaches.

    Parameters
    ----------
    fill_mm : (rows, cols) thickness, rows along y; NaN where nothing was seen counts as none
    origin_mm : (x, y) of the outer corner of cell [0, 0]

    Returns
    -------
    tuple
        (level in mm, lines): each line (k, 2) float64 floor-frame mm, its first point repeated as its last; thicker
        ground lies to the left of it. What lies within them, from level to level, gives back the volume (trapezoidal
        rule), so the lines are not smoothed: smoothing would take some of it away.

    Between the middles of neighbouring cells the thickness runs straight (contourpy's default, marching squares).
    """
    import contourpy

    thick = np.pad(np.nan_to_num(np.asarray(fill_mm, dtype=np.float64)), 1)
    x = origin_mm[0] + (np.arange(thick.shape[1]) - 0.5) * cell_mm
    y = origin_mm[1] + (np.arange(thick.shape[0]) - 0.5) * cell_mm
    found = contourpy.contour_generator(x, y, thick, line_type=contourpy.LineType.Separate)
    levels = step_mm * np.arange(1, int(thick.max(initial=0.0) / step_mm) + 1)
    # A level that the fill reaches and does not pass has no line.
    return tuple((float(level), lines) for level in levels if (lines := _lines(found, level)))


def _lines(found: object, level: float) -> tuple[NDArray[np.float64], ...]:
    lines = found.lines(level)  # type: ignore[attr-defined]
    return tuple(np.asarray(line, dtype=np.float64) for line in lines if len(line) > 3)  # noqa: PLR2004 - encloses
