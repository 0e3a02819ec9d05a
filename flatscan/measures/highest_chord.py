"""The largest gap beneath a straightedge on one line of stations, with the two it rests on.

Definition as in :mod:`flatscan.measures.chords`, for stations at any distances: the largest height of a chord between
two stations over a station between them. Free of any length, the highest chords are the upper convex hull's edges
(monotone chain, Andrew 1979). With a longest length only the farthest of the steepest chords from each station
matter: no other is higher at any station (``chords_plain``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

#: Gaps this near to each other are the same but for rounding, mm.
SAME_MM = 1e-9
#: With fewer stations nothing lies between two.
LEAST_STATIONS = 3


@dataclass(frozen=True, slots=True)
class Deepest:
    """Station ``at`` lies ``gap_mm`` below the chord of stations ``first`` and ``second``; all the same where none."""

    at: int
    first: int
    second: int
    gap_mm: float


def deepest(at_mm: NDArray[np.float64], height_mm: NDArray[np.float64], longest_mm: float = math.inf) -> Deepest:
    """The largest height of a chord between two stations over a station between them.

    Of equal ones the chord over most stations, then the one that begins first, then the first station. Where the
    floor is nowhere below a chord: the highest station, the nearest to the middle of equal ones.

    Parameters
    ----------
    at_mm, height_mm : (n,) float64, stations, rising, and the floor there; n >= 1, all finite
    longest_mm : chords between stations further apart do not count

    >>> deepest(np.array([0.0, 1.0, 2.0]), -np.array([50.0, 62.0, 30.0])).gap_mm
    22.0
    """
    if len(at_mm) >= LEAST_STATIONS:
        free = at_mm[-1] - at_mm[0] <= longest_mm
        found = _beneath_hull(at_mm, height_mm) if free else _beneath_edges(at_mm, height_mm, longest_mm)
        # Widest, then first: see the docstring.
        best = min(found, key=lambda d: (d.first - d.second, d.first, d.at), default=None)
        if best is not None:
            return best
    highest = height_mm == height_mm.max()
    middle = int(np.argmin(np.where(highest, np.abs(at_mm - at_mm.mean()), np.inf)))
    return Deepest(middle, middle, middle, 0.0)


def _beneath_hull(at_mm: NDArray[np.float64], height_mm: NDArray[np.float64]) -> Iterable[Deepest]:
    """The deepest stations, each with its edge of the upper hull."""
    corners = _upper_hull(at_mm.tolist(), height_mm.tolist())
    gap = np.interp(at_mm, at_mm[corners], height_mm[corners]) - height_mm
    most = float(gap.max())
    if most <= SAME_MM:
        return
    edges = list(pairwise(corners))
    ends = np.array([second for _, second in edges])
    for k in np.flatnonzero(gap >= most - SAME_MM).tolist():
        first, second = edges[int(np.searchsorted(ends, k))]
        yield Deepest(k, first, second, float(gap[k]))


def _upper_hull(at_mm: list[float], height_mm: list[float]) -> list[int]:
    """Stations of the upper hull, those on its straight edges left out."""
    hull: list[int] = []
    for k, (x, z) in enumerate(zip(at_mm, height_mm, strict=True)):
        while len(hull) > 1:
            p, q = hull[-2], hull[-1]
            share = (at_mm[q] - at_mm[p]) / (x - at_mm[p])
            if (1.0 - share) * height_mm[p] + share * z < height_mm[q] - SAME_MM:
                break
            hull.pop()
        hull.append(k)
    return hull


def _beneath_edges(at_mm: NDArray[np.float64], height_mm: NDArray[np.float64], longest_mm: float) -> Iterable[Deepest]:
    """The deepest stations beneath chords up to a length, each with all chords as high; O(stations · reach)."""
    slope, reach = _steepest(at_mm, height_mm, longest_mm)
    upper = height_mm.copy()
    for step in range(1, int(reach.max())):
        chord = height_mm[:-step] + slope[:-step] * (at_mm[step:] - at_mm[:-step])
        higher = (reach[:-step] > step) & (chord > upper[step:])
        upper[step:][higher] = chord[higher]
    gap = upper - height_mm
    most = float(gap.max())
    if most <= SAME_MM:
        return
    for k in np.flatnonzero(gap >= most - SAME_MM).tolist():
        left = np.arange(max(0, k - int(reach.max())), k)
        over = height_mm[left] + slope[left] * (at_mm[k] - at_mm[left])
        for i in left[(left + reach[left] > k) & (over >= upper[k] - SAME_MM)].tolist():
            right = np.arange(k + 1, int(np.searchsorted(at_mm, at_mm[i] + longest_mm, side="right")))
            share = (at_mm[k] - at_mm[i]) / (at_mm[right] - at_mm[i])
            chord = (1.0 - share) * height_mm[i] + share * height_mm[right]
            yield from (Deepest(k, i, int(j), float(gap[k])) for j in right[chord >= upper[k] - SAME_MM])


def _steepest(
    at_mm: NDArray[np.float64], height_mm: NDArray[np.float64], longest_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Slope of the steepest chord that begins at each station, and over how many steps the farthest such reaches."""
    n = len(at_mm)
    slope, reach = np.full(n, -np.inf), np.zeros(n, dtype=np.int64)
    for step in range(1, n):
        length = at_mm[step:] - at_mm[:-step]
        fits = length <= longest_mm
        if not fits.any():
            break
        s = (height_mm[step:] - height_mm[:-step]) / length
        better = fits & (s >= slope[:-step])
        slope[:-step][better] = s[better]
        reach[:-step][better] = step
    return slope, reach
