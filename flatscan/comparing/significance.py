"""Which differences are more than chance: over the whole map, not cell by cell.

The difference is averaged over patches of a few sizes (Gaussian weights) and held against the uncertainty of that
average. Of many patches some are far off by chance, so the bound is not that of one patch: it is the value that the
farthest-off patch of a whole map exceeds in one of twenty simulated pairs of captures of one unchanged floor (control
of the family-wise error by the distribution of the maximum, as in Worsley et al. 1992 and Nichols & Holmes 2002, both
from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.comparing.comparison import Change
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from flatscan.comparing.common import Common

#: Standard deviations of the patches' weights, mm. The smallest shows a trowel's width, the largest a whole area.
_PATCHES_MM = (40.0, 120.0, 300.0)
_CHANCE = 0.05
_LEAST_U_MM = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Significant:
    """What is more than chance.

    ``changed`` (n,) bool; ``threshold``: bound of the maximum, in standard uncertainties; ``least_mm``: the change that
    reaches it over the smallest patch, typically.
    """

    changed: NDArray[np.bool_]
    threshold: float
    least_mm: float


def significant(common: Common, d_mm: NDArray[np.float64], errors_mm: NDArray[np.float32]) -> Significant:
    """Hold the difference ``d_mm`` (n,) against its simulated errors (draws, n)."""
    scores, usual_mm, farthest = [], [], np.zeros(len(errors_mm))
    for smooth in _smoothers(common):
        smoothed = np.stack([smooth(one) for one in errors_mm])
        u = np.sqrt(np.mean(np.square(smoothed, dtype=np.float64), axis=0))
        known = np.maximum(u, _LEAST_U_MM)
        usual_mm.append(float(np.median(u)))
        scores.append(smooth(d_mm) / known)
        farthest = np.maximum(farthest, np.abs(smoothed / known).max(axis=1, initial=0.0))
    # One draw more than asked for is left above: a quantile of few draws must not lean low.
    kept = max(1, int(np.floor(_CHANCE * (len(farthest) + 1))) - 1)
    threshold = float(np.sort(farthest)[-kept])
    score = np.stack(scores)
    finest = score[0]
    over = (np.abs(score) > threshold) & (np.sign(score) == np.sign(finest)) & (np.abs(finest) > 1.0)
    return Significant(np.asarray(over.any(axis=0)), threshold, threshold * usual_mm[0])


def changes(
    common: Common,
    d_mm: NDArray[np.float64],
    errors_mm: NDArray[np.float32],
    changed: NDArray[np.bool_],
    planned: NDArray[np.bool_],
) -> tuple[Change, ...]:
    """Every connected place that changed, by volume; ``planned`` (n,): cells of a planned area."""
    from scipy.ndimage import label

    found = []
    cell_m2 = common.grid.cell_mm**2 / 1e6
    number = np.zeros(common.grid.shape, dtype=np.int64)
    for up in (True, False):
        mask = np.zeros(common.grid.shape, dtype=bool)
        mask[common.both] = changed & ((d_mm > 0) == up)
        number, count = label(mask, structure=np.ones((3, 3)))
        of = number[common.both]
        for one in range(1, count + 1):
            cells = np.flatnonzero(of == one)
            most = int(cells[np.abs(d_mm[cells]).argmax()])
            x, y = common.xy_mm[most].tolist()
            u = float(errors_mm[:, cells].mean(axis=1).std())
            rise = Quantity(float(d_mm[cells].mean()), u, "mm")
            found.append(
                Change((x, y), len(cells) * cell_m2, rise, float(d_mm[most]), bool(planned[cells].mean() > 0.5))  # noqa: PLR2004
            )
    return tuple(sorted(found, key=lambda change: -abs(change.rise.value) * change.area_m2))


class _Smoother:
    """Gaussian mean over the cells that both saw."""

    def __init__(self, common: Common, sigma_mm: float) -> None:
        self._both, self._sigma = common.both, sigma_mm / common.grid.cell_mm
        self._weight = self._blur(common.both.astype(np.float32))[common.both]

    def __call__(self, values: NDArray[np.floating]) -> NDArray[np.float64]:
        full = np.zeros(self._both.shape, dtype=np.float32)
        full[self._both] = values
        return np.asarray(self._blur(full)[self._both] / self._weight, dtype=np.float64)

    def _blur(self, full: NDArray[np.float32]) -> NDArray[np.float32]:
        from scipy.ndimage import gaussian_filter

        return np.asarray(gaussian_filter(full, self._sigma, mode="constant", truncate=3.0))


def _smoothers(common: Common) -> Iterator[_Smoother]:
    for sigma in _PATCHES_MM:
        yield _Smoother(common, max(sigma, 0.5 * common.grid.cell_mm))
