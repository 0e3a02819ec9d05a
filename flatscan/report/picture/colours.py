"""The colours of heights: blue low, red high, white at zero; safe for colour-blind eyes.

The scheme is ColorBrewer's RdBu (Harrower and Brewer 2003, listed there as colour-blind safe), with its darkest
ends left out so that black lines stay readable on it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.units import MM_PER

if TYPE_CHECKING:
    from matplotlib.colors import ListedColormap
    from numpy.typing import NDArray

#: Share of the scheme left out at each end.
_TRIM = 0.1
_STEPS = 127  # odd: one step in the very middle
_LEAST_SCALE_MM = 1.0
#: Heights beyond this share of the floor do not stretch the scale; the bar's arrow says so.
_SCALE_SHARE = 0.9995
_NICE = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
_CONTOURS_PER_SIDE = 4


def height_colours() -> ListedColormap:
    """The map from low to high; its middle colour is neutral."""
    from matplotlib import colormaps
    from matplotlib.colors import ListedColormap

    scheme = colormaps["RdBu_r"]
    return ListedColormap(scheme(np.linspace(_TRIM, 1.0 - _TRIM, _STEPS)), name="heights")


def scale_mm(estimate_mm: NDArray[np.float32], sigma_mm: float) -> float:
    """Half the range of the colour scale, a round figure, the same above and below zero.

    Never so narrow that noise alone would fill it: a flat floor must look flat.
    """
    seen = np.abs(estimate_mm[np.isfinite(estimate_mm)])
    reach = float(np.quantile(seen, _SCALE_SHARE)) if seen.size else 0.0
    unit_mm = _unit_mm()
    wanted = max(reach, 3.0 * sigma_mm, _LEAST_SCALE_MM) / unit_mm
    power = 10.0 ** np.floor(np.log10(wanted))
    return float(next(nice for nice in _NICE if nice * power >= wanted * (1.0 - 1e-9)) * power) * unit_mm


def contour_step_mm(scale: float) -> float:
    """A round step that draws a few contours on each side of zero."""
    unit_mm = _unit_mm()
    power = 10.0 ** np.floor(np.log10(scale / unit_mm)) * unit_mm
    steps = [base * power / 10.0 for base in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0)]
    return float(next(step for step in steps if scale / step <= _CONTOURS_PER_SIDE))


def _unit_mm() -> float:
    """What the figures are round in."""
    return MM_PER["in"] if said.imperial() else 1.0
