"""What noise does to a measured figure, found by measuring simulated captures of floors like this one.

A gap is a maximum, so noise makes it larger, and the more so the flatter the floor. The bias is removed by
a parametric bootstrap with inversion (Monte Carlo in the sense of JCGM 101; Efron & Tibshirani 1993, 6.5;
the inversion is that of indirect inference, Gourieroux, Monfort & Renault 1993):

1. The figure T (say, the worst gap) is read off the measured heights: T0.
2. Floors a·s are imagined, s being the smoothed heights and a = 0, ½, 1, 2; a = 0 is perfectly flat.
   Each gets fresh noise after the capture's own noise model and is measured alike: T(a, draw).
3. The floor sought is the one whose simulated captures show what was read: mean T(a) = T0. Its figure is
   a·T(s), exactly, since every figure used here grows in proportion with the heights.

Scaling s makes up for shape that smoothing took away, and for noise it left in. Selection of the worst
place is corrected because each draw selects anew. The standard uncertainty is the scatter over draws
carried through the same inversion, with the correction's own doubt: few draws, and a noise model that is
itself an estimate. ``tests/accuracy/test_gap_coverage.py`` holds the intervals against invented floors.
Two other ways did worse there: the plain bootstrap (a = 1 only) takes off too much where smoothing
flattened a dip, and floors drawn from the smoother's posterior promise too much on bays with sharp edges.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import COVERAGE_K
from flatscan.quantity import Quantity
from flatscan.surface.noise.draws import draw_noise

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import ArrayLike, NDArray

    from flatscan.surface.surface import Surface

#: Sizes of the imagined floors, in terms of the smoothed heights; 0 first.
SIZES = (0.0, 0.5, 1.0, 2.0)
#: Relative standard uncertainty of the noise model's size (assumption: it is estimated from hundreds of
#: independent patches at best, from tens at worst; JCGM 100 E.4.3 gives 1/sqrt(2 (n - 1)) = 0.1 for n = 50).
NOISE_SIZE_DOUBT = 0.1
#: Smoothed heights with less than this in them say nothing about the floor's shape.
NOTHING_MM = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Corrected:
    """A figure freed of what noise and smoothing did to it; arrays of one shape, mm. ``u`` = root of the parts squared.

    ``scatter`` is what another capture would change, ``correction`` the doubt of the correction itself.
    """

    value: NDArray[np.float64]
    scatter: NDArray[np.float64]
    correction: NDArray[np.float64]

    @property
    def u(self) -> NDArray[np.float64]:
        """Combined standard uncertainty."""
        return np.hypot(self.scatter, self.correction)


def captures(surface: Surface, draws: int, rng: np.random.Generator) -> Iterator[NDArray[np.float32]]:
    """Simulated captures of the imagined floors, all of one draw with the same noise.

    Yields
    ------
    heights_mm : (sizes, rows, cols), in the order of ``SIZES``; NaN like ``surface.height_mm``
    """
    floors = np.array(SIZES, dtype=np.float32)[:, None, None] * surface.estimate_mm
    for _ in range(draws):
        yield floors + draw_noise(surface, rng)


class Moments:
    """Running mean and variance of a figure (or a map of figures) for each imagined floor (Welford 1962)."""

    def __init__(self, shape: tuple[int, ...]) -> None:
        self._n = 0
        self._mean = np.zeros((len(SIZES), *shape))
        self._square = np.zeros((len(SIZES), *shape))

    def add(self, figures: ArrayLike) -> None:
        """Take in one draw: the figures (sizes, …) of the captures of all imagined floors."""
        self._n += 1
        shown = np.asarray(figures, dtype=np.float64)
        change = shown - self._mean
        self._mean += change / self._n
        self._square += change * (shown - self._mean)

    @property
    def mean(self) -> NDArray[np.float64]:
        """(sizes, …) mean over the draws."""
        return self._mean

    @property
    def draws(self) -> int:
        """Draws taken in."""
        return self._n

    @property
    def sd(self) -> NDArray[np.float64]:
        """(sizes, …) standard deviation over the draws."""
        return np.asarray(np.sqrt(self._square / max(1, self._n - 1)))


def correct(moments: Moments, measured: NDArray[np.floating] | float, base: NDArray[np.floating] | float) -> Corrected:
    """Invert the simulation: the figure of the floor whose captures show ``measured``.

    Parameters
    ----------
    moments : of the figure over the simulated captures
    measured : the figure of the measured heights
    base : the figure of the smoothed heights
    """
    read, flat = np.asarray(measured, dtype=np.float64), np.asarray(base, dtype=np.float64)
    value = _invert(moments.mean, read, flat)
    near = scatter_at(moments, value, flat)
    # The inversion bends where noise hides the floor, so its 95 % interval is inverted, not its slope.
    up, down = (_invert(moments.mean, read + k * near, flat) for k in (COVERAGE_K, -COVERAGE_K))
    scatter = np.maximum(np.maximum(up - value, value - down) / COVERAGE_K, near)
    n = max(2, moments.draws)
    doubt = np.hypot(near / np.sqrt(n), NOISE_SIZE_DOUBT * np.abs(read - value))
    # A standard deviation from n draws is itself uncertain: variance of Student's t with n - 1 degrees.
    return Corrected(value, scatter * np.sqrt((n - 1.0) / max(1.0, n - 3.0)), doubt)


def free(
    fine: NDArray[np.floating], measured: NDArray[np.floating], base: NDArray[np.floating], moments: Moments
) -> list[Quantity]:
    """Figures (n,) as quantities in mm, freed of noise.

    ``fine`` are those of the smoothed heights on the surface's own cells, ``measured`` and ``base`` those of
    the measured and the smoothed heights on the simulated, coarser ones. What only finer cells show counts
    half, with the doubt of a rectangle between none and all of it (JCGM 100, 4.3.7).
    """
    freed = correct(moments, measured, base)
    sharper = np.asarray(fine, dtype=np.float64) - base
    return [
        Quantity.from_budget(
            max(0.0, float(value + 0.5 * s)),
            "mm",
            capture_noise=float(scatter),
            noise_correction=float(correction),
            cell_size=abs(float(s)) / math.sqrt(12.0),
        )
        for value, scatter, correction, s in zip(freed.value, freed.scatter, freed.correction, sharper, strict=True)
    ]


def scatter_at(
    moments: Moments, value: NDArray[np.floating] | float, base: NDArray[np.floating] | float
) -> NDArray[np.float64]:
    """Standard deviation of the figure over captures of the imagined floor that has ``value`` as its figure."""
    flat = np.asarray(base, dtype=np.float64)
    size = np.where(flat > NOTHING_MM, np.asarray(value) / np.maximum(flat, NOTHING_MM), 0.0)
    sd = moments.sd
    result = np.zeros(np.broadcast_shapes(size.shape, sd.shape[1:])) + sd[0]
    for k in range(len(SIZES) - 1):
        part = np.clip((size - SIZES[k]) / (SIZES[k + 1] - SIZES[k]), 0.0, 1.0)
        result = result + part * (sd[k + 1] - sd[k])
    return np.asarray(result)


def _invert(mean: NDArray[np.float64], shown: NDArray[np.float64], base: NDArray[np.float64]) -> NDArray[np.float64]:
    """Figure a·base of the imagined floor whose mean capture shows ``shown``; piecewise linear, never below 0."""
    rising = np.maximum.accumulate(mean, axis=0)
    value = np.zeros(np.shape(shown))
    for k in range(len(SIZES) - 1):
        low, high = rising[k], rising[k + 1]
        with np.errstate(invalid="ignore", divide="ignore"):
            part = np.clip(
                np.where(high > low, (shown - low) / (high - low), np.where(shown > low, 1.0, 0.0)), 0.0, 1.0
            )
        value = value + part * (SIZES[k + 1] - SIZES[k]) * base
    # Beyond the largest imagined floor noise no longer matters: what is shown more is more.
    value = value + np.maximum(shown - rising[-1], 0.0)
    # A floor without shape cannot be scaled: take off what a flat one shows.
    return np.asarray(np.where(base > NOTHING_MM, value, np.maximum(shown - rising[0], 0.0)))
