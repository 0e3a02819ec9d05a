"""Flying pixels: depth that a camera averages across an edge between near and far.

Nothing is smoothed. Two neighbouring pixels span an angle a; a surface seen at incidence t changes its
distance r by ``r a tan t`` between them. A pixel whose steps to its neighbours are steeper than a
surface seen at 75 degrees is dropped, and so are both sides of a jump: their footprints straddle the
edge. A lip is safe: at 1 m and 4.7 mm per pixel the limit is 18 mm. Steps within six standard
deviations of the frame's own pixel noise, or within 1.5 counts, never drop a pixel.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import SIGMA_PER_MAD

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.sources.depth.camera import PixelRays

#: Beyond this incidence a depth sensor's reading is an edge or worthless (laser scanners: > 60 degrees
#: dominates the noise, Soudarissanane 2009; 75 degrees leaves margin. Common practice, no source).
STEEPEST_RAD = math.radians(75.0)
_NOISE_SIGMAS = 6.0
_STEP_COUNTS = 1.5
#: Variance of a second difference r[-1] - 2 r[0] + r[1] of independent readings, in theirs: 1 + 4 + 1.
_SECOND_DIFFERENCE = 6.0
_NOISE_ROWS = 4


def on_surface(range_mm: NDArray[np.float32], rays: PixelRays, step_mm: float) -> NDArray[np.bool_]:
    """Mask of pixels that lie on a surface rather than on an edge.

    Parameters
    ----------
    range_mm : (h, w) float32, mm along the ray, NaN where nothing was seen
    rays : the angles between pixels
    step_mm : size of one count of the depth image, mm; 0 if it has none

    Returns
    -------
    (h, w) bool; False too where nothing was seen
    """
    right = _steepness(range_mm, rays.step_right, 1, step_mm)
    down = _steepness(range_mm, rays.step_down, 0, step_mm)
    across = np.zeros_like(range_mm)
    across[:, :-1] = right
    across[:, 1:] = np.fmax(across[:, 1:], right)
    along = np.zeros_like(range_mm)
    along[:-1] = down
    along[1:] = np.fmax(along[1:], down)
    angle = float(np.nanmedian(rays.step_right)) if rays.step_right.size else math.inf
    limit = max(math.tan(STEEPEST_RAD), _NOISE_SIGMAS * pixel_noise(range_mm) / angle)
    return np.isfinite(range_mm) & (across**2 + along**2 <= limit**2)


def pixel_noise(range_mm: NDArray[np.float32]) -> float:
    """Noise of one pixel as a share of its range, from second differences along rows (robust)."""
    rows = range_mm[::_NOISE_ROWS]
    if rows.shape[1] < 3:  # noqa: PLR2004
        return 0.0
    bend = np.abs(rows[:, 2:] - 2.0 * rows[:, 1:-1] + rows[:, :-2]) / rows[:, 1:-1]
    bend = bend[np.isfinite(bend)]
    return SIGMA_PER_MAD * float(np.median(bend)) / math.sqrt(_SECOND_DIFFERENCE) if len(bend) else 0.0


def _steepness(
    range_mm: NDArray[np.float32], angle: NDArray[np.float32], axis: int, step_mm: float
) -> NDArray[np.float32]:
    """Tangent of the incidence between neighbours; 0 where either is unseen."""
    near, far = (range_mm[:, :-1], range_mm[:, 1:]) if axis == 1 else (range_mm[:-1], range_mm[1:])
    jump = np.maximum(np.abs(far - near) - np.float32(_STEP_COUNTS * step_mm), np.float32(0.0))
    steep: NDArray[np.float32] = jump / (np.minimum(near, far) * angle)
    steep[np.isnan(steep)] = 0.0
    return steep
