"""Standard uncertainty of a cell's trimmed mean, if its readings were independent."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import Z_95_CENTRAL

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

#: Readings' worth of trust in the scatter of the cells around, when a cell's own few readings say otherwise.
PRIOR_READINGS = 8
#: Half width, in cells, of the neighbourhood that this scatter is pooled over.
POOL_CELLS = 4
#: A cell's variance counts in its neighbours' pool up to this many times the median one: noise grows up to
#: fourfold with incidence, the foot of a wall or of furniture in a cell far more.
MOST_SHARED = 16.0
#: Trimming starts with the third reading: two are never far from their median.
_LEAST_TRIMMED = 3
_MOST_FREEDOM = 200


def white_uncertainty(
    variance_mm2: NDArray[np.float32], kept: NDArray[np.float32], flagged: NDArray[np.bool_], *, step_mm: float = 0.0
) -> NDArray[np.float32]:
    """(rows, cols) float32 standard uncertainty, mm; NaN where ``kept`` is 0.

    A cell's own variance, known from few readings, is pooled with that of the cells around it (a prior worth
    ``PRIOR_READINGS``); Student's factor covers what is still unknown of it, and :func:`trim_factor` what
    leaving out the tails takes from the scatter and adds to the error of the mean.

    Parameters
    ----------
    variance_mm2 : (rows, cols) of single readings, NaN where one reading gives none
    kept : (rows, cols) effective number of readings averaged
    flagged : (rows, cols) cells with an edge inside: their scatter is no one else's
    step_mm : the coordinates' own step: it does not average out where readings scatter less than half of it
    """
    from scipy.ndimage import uniform_filter

    known = np.isfinite(variance_mm2)
    own = np.where(known, variance_mm2, 0.0).astype(np.float64)
    freedom = np.where(known, np.maximum(kept - 1.0, 0.0), 0.0).astype(np.float64)
    shared = np.where(flagged, 0.0, freedom)
    several = shared > 0
    usual = float(np.median(own[several])) if several.any() else 0.0
    common = np.minimum(own, MOST_SHARED * usual) if usual > 0 else own
    side = 2 * POOL_CELLS + 1
    around = np.asarray(uniform_filter(shared, side, mode="constant"))
    squares = np.maximum(uniform_filter(shared * common, side, mode="constant"), 0.0)
    everywhere = float((shared * common).sum()) / max(float(shared.sum()), 1.0)
    # The running sum leaves rounding dust where there is nothing: half a reading in the window is the least.
    pooled = np.where(around * side**2 > 0.5, squares / np.maximum(around, 1e-12), everywhere)  # noqa: PLR2004
    moderated = (PRIOR_READINGS * pooled + freedom * own) / (PRIOR_READINGS + freedom)
    factor = _student()[np.minimum(freedom + PRIOR_READINGS, _MOST_FREEDOM).astype(np.int64)] * trim_factor(kept)
    square = moderated / np.maximum(kept, 1e-6) * np.square(factor)
    if step_mm > 0:
        square += np.where(own < (0.5 * step_mm) ** 2, step_mm**2 / 12.0, 0.0)
    return np.where(kept > 0, np.sqrt(square), np.nan).astype(np.float32)


def trim_factor(kept: ArrayLike) -> NDArray[np.float64]:
    """Ratio of the trimmed mean's true error to scatter/√n for normal readings.

    1.014 for many readings: what lies within 3 standard deviations has 97.3 % of the variance. More for
    few, whose MAD is itself rough: 0.28/√n fits simulated normal readings within 2 % from 3 to 300.
    """
    n = np.maximum(np.asarray(kept, dtype=np.float64), 1.0)
    return np.where(n < _LEAST_TRIMMED - 0.5, 1.0, 1.014 + 0.28 / np.sqrt(n))


@cache
def _student() -> NDArray[np.float64]:
    """95 % Student factor over the normal one, by degrees of freedom 0 to 200 (JCGM 100, G.3.2)."""
    from scipy.special import stdtrit

    freedom = np.arange(_MOST_FREEDOM + 1)
    table = np.ones(_MOST_FREEDOM + 1)
    table[1:-1] = stdtrit(freedom[1:-1], 0.975) / Z_95_CENTRAL
    table.setflags(write=False)
    return table
