"""F-numbers of the ASTM E1155 kind from a line of elevations. No claim of conformity: see ``NOTES``.

q_i = d_i - d_(i-1), d_i = h_i - h_(i-1): curvature over two steps, + in a trough (symbols READ in
stored pages quoting E1155-96, 3.2); z_i = h_i - h_(i-10). FF = C_F/(3 S_q + |mean q|), FL =
C_L/(3 S_z + |mean z|), S with n - 1 (shape restated by a secondary page). The constants 4.57 in and
12.5 in for a 12 in step are from memory.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.units import MM_PER

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

#: Constants for the 12 in (304.8 mm) step, mm; from memory: check against a bought copy.
FF_CONSTANT_MM = 4.57 * MM_PER["in"]
FL_CONSTANT_MM = 12.5 * MM_PER["in"]
STEP_OF_CONSTANTS_MM = MM_PER["ft"]
#: z compares readings this many steps apart.
LEVEL_STEPS = 10
#: Fewest readings of a line (n_j >= 12, READ in the E1155-96 symbol list).
LEAST_READINGS = 12

NOTES = (
    "F-numbers of the E1155 kind, not a conformity test: the constants are from memory and the layout is the tool's",
    "Intervals are a bootstrap over lines (95 %); the standard's own formula was not seen",
)


def profile_q_z(h_mm: NDArray[np.floating]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Curvatures q (n - 2) and level differences z (n - 10) of n elevations, mm.

    >>> profile_q_z(np.array([0.0, 1.0, 0.0, 1.0]))[0].tolist()
    [-2.0, 2.0]
    """
    h = np.asarray(h_mm, dtype=np.float64)
    return np.diff(h, 2), h[LEVEL_STEPS:] - h[:-LEVEL_STEPS] if len(h) > LEVEL_STEPS else np.empty(0)


def ff_constant_mm(step_mm: float) -> float:
    """FF's constant for another step: curvature grows with the step's square (computed; 112.5 mm at 300 mm)."""
    return FF_CONSTANT_MM * (step_mm / STEP_OF_CONSTANTS_MM) ** 2


def fl_constant_mm(step_mm: float) -> float:
    """FL's constant for another step: a fall grows with the step (computed; 312.5 mm at 300 mm)."""
    return FL_CONSTANT_MM * step_mm / STEP_OF_CONSTANTS_MM


def f_number(readings_mm: NDArray[np.floating], constant_mm: float) -> float:
    """``constant / (3 S + |mean|)``; infinite for a perfect line, NaN for fewer than two readings."""
    r = np.asarray(readings_mm, dtype=np.float64)
    if len(r) < 2:  # noqa: PLR2004 - S has n - 1
        return math.nan
    spread = 3.0 * float(r.std(ddof=1)) + abs(float(r.mean()))
    return constant_mm / spread if spread > 0.0 else math.inf


def combine(readings: Sequence[int], numbers: Sequence[float]) -> float:
    """One figure for several lines: (Σ r)/F² = Σ r/F² (from memory). Perfect lines count with 0 on the right."""
    total = sum(r / f**2 for r, f in zip(readings, numbers, strict=True))
    return math.sqrt(sum(readings) / total) if total > 0.0 else math.inf
