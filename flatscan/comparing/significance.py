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
    from numpy.typing import NDArray

    from flatscan.comparing.overlaid import Overlaid

#: Standard deviations of the patches' weights, mm. The smallest shows a trowel's width, the largest a whole area.
_PATCHES_MM = (40.0, 120.0, 300.0)
_CHANCE = 0.05
_LEAST_U_MM, _LEAST_WEIGHT = 1e-6, 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Significant:
    """What is more than chance.

    ``way`` (n,): 1 certainly higher, -1 certainly lower, 0 neither; ``threshold``: bound of the maximum, in standard
    uncertainties; ``least_mm``: the change that reaches it over the smallest patch, typically.
    """

    way: NDArray[np.float64]
    threshold: float
    least_mm: float


def significant(common: Overlaid, d_mm: NDArray[np.float64], errors_mm: NDArray[np.float32]) -> Significant:
    """Hold the difference ``d_mm`` (n,) against its simulated errors (draws, n).

    What a small patch has shown is left out of the larger ones, which would carry it into floor that did not change.
    """
    farthest = np.zeros(len(errors_mm))
    sizes = [max(sigma, 0.5 * common.grid.cell_mm) for sigma in _PATCHES_MM]
    # Beside unseen floor a cell is partly wall, thing or shadow, which no noise model knows of.
    every = ~_near_unseen(common)
    usual = []
    for sigma in sizes:
        smoothed, u = _smoothed(common, every, sigma, errors_mm)
        usual.append(u)
        farthest = np.maximum(farthest, np.abs(smoothed / u).max(axis=1, initial=0.0))
    # One draw more than asked for is left above: a quantile of few draws must not lean low.
    kept = max(1, int(np.floor(_CHANCE * (len(farthest) + 1))) - 1)
    threshold = float(np.sort(farthest)[-kept])
    way, left, least = np.zeros(len(d_mm)), every, 0.0
    for sigma, known in zip(sizes, usual, strict=True):
        u = known if left is every else _smoothed(common, left, sigma, errors_mm)[1]
        score = _Smoother(common, left, sigma)(d_mm) / u
        way[left & (np.abs(score) > threshold) & (score * d_mm > 0.0)] = 1.0
        if (way != 0.0).any():
            left = every & ~_near(common, way != 0.0, sigma)
        least = least or threshold * float(np.median(u))
    return Significant(np.where(way != 0.0, np.sign(d_mm), 0.0), threshold, least)


def _smoothed(
    common: Overlaid, cells: NDArray[np.bool_], sigma_mm: float, errors_mm: NDArray[np.float32]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(draws, n) patch means of the errors and (n,) their standard uncertainty."""
    smooth = _Smoother(common, cells, sigma_mm)
    smoothed = np.stack([smooth(one) for one in errors_mm])
    return smoothed, np.maximum(np.sqrt(np.mean(np.square(smoothed), axis=0)), _LEAST_U_MM)


def _near_unseen(common: Overlaid) -> NDArray[np.bool_]:
    """(n,) cells that touch one that was not seen in both."""
    from scipy.ndimage import binary_erosion

    return np.asarray(~binary_erosion(common.both, structure=np.ones((3, 3)))[common.both])


def _near(common: Overlaid, cells: NDArray[np.bool_], reach_mm: float) -> NDArray[np.bool_]:
    """(n,) cells within a reach of any of ``cells``."""
    from scipy.ndimage import distance_transform_edt

    if not cells.any():
        return cells
    free = np.ones(common.grid.shape, dtype=bool)
    free[common.both] = ~cells
    return np.asarray(distance_transform_edt(free, sampling=common.grid.cell_mm)[common.both] <= reach_mm)


def changes(
    common: Overlaid,
    d_mm: NDArray[np.float64],
    errors_mm: NDArray[np.float32],
    way: NDArray[np.float64],
    planned: NDArray[np.bool_],
) -> tuple[Change, ...]:
    """Every connected place that changed one way, by volume; ``planned`` (n,): cells of a planned area."""
    from scipy.ndimage import label

    found = []
    cell_m2 = common.grid.cell_mm**2 / 1e6
    number = np.zeros(common.grid.shape, dtype=np.int64)
    for sign in (1.0, -1.0):
        mask = np.zeros(common.grid.shape, dtype=bool)
        mask[common.both] = way == sign
        number, count = label(mask, structure=np.ones((3, 3)))
        of = number[common.both]
        for one in range(1, count + 1):
            cells = np.flatnonzero(of == one)
            most = int(cells[(sign * d_mm[cells]).argmax()])
            x, y = common.xy_mm[most].tolist()
            u = float(errors_mm[:, cells].mean(axis=1).std())
            rise = Quantity(float(d_mm[cells].mean()), u, "mm")
            found.append(
                Change((x, y), len(cells) * cell_m2, rise, float(d_mm[most]), bool(planned[cells].mean() > 0.5))  # noqa: PLR2004
            )
    return tuple(sorted(found, key=lambda change: -abs(change.rise.value) * change.area_m2))


class _Smoother:
    """Gaussian mean over some of the cells that both saw, at every one of them; 0 where none of those is near."""

    def __init__(self, common: Overlaid, cells: NDArray[np.bool_], sigma_mm: float) -> None:
        self._both, self._cells, self._sigma = common.both, cells, sigma_mm / common.grid.cell_mm
        weight = self._blur(np.ones(len(cells), dtype=np.float32))
        self._share = np.where(weight > _LEAST_WEIGHT, 1.0 / np.maximum(weight, _LEAST_WEIGHT), 0.0)

    def __call__(self, values: NDArray[np.floating]) -> NDArray[np.float64]:
        return np.asarray(self._blur(values) * self._share, dtype=np.float64)

    def _blur(self, values: NDArray[np.floating]) -> NDArray[np.float32]:
        from scipy.ndimage import gaussian_filter

        full = np.zeros(self._both.shape, dtype=np.float32)
        full[self._both] = np.where(self._cells, values, 0.0)
        return np.asarray(gaussian_filter(full, self._sigma, mode="constant", truncate=3.0)[self._both])
