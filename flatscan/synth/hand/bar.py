"""How a rigid bar lies on a floor's profile. Positions along the bar and heights in mm; plain arrays.

A bar's edge need not be straight: ``edge_mm`` is how far it stands above the straight line through its ends. The bar
lies where that line is nowhere below ``profile - edge``, so everything here takes that difference.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Lie:
    """The straight line through the bar's ends: height at its start, rise per mm; ``contacts``: where it rests."""

    height_mm: float
    slope: float
    contacts: tuple[float, float]

    def at(self, at_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Height of the line at distances from the bar's start."""
        return self.height_mm + self.slope * np.asarray(at_mm, dtype=np.float64)


def edge_mm(at_mm: NDArray[np.float64], length_mm: float, *, bow_mm: float, skew_mm: float) -> NDArray[np.float64]:
    """Height of a bar's edge above the line through its ends.

    A parabola, ``bow_mm`` at mid-length, and an S, ``skew_mm`` at a quarter and its negative at three quarters.

    >>> edge_mm(np.array([0.0, 500.0, 1000.0, 2000.0]), 2000.0, bow_mm=0.4, skew_mm=0.1).round(6).tolist()
    [0.0, 0.4, 0.4, -0.0]
    """
    share = np.asarray(at_mm, dtype=np.float64) / length_mm
    return 4.0 * bow_mm * share * (1.0 - share) + skew_mm * np.sin(2.0 * np.pi * share)


def upper_hull(at_mm: NDArray[np.float64], height_mm: NDArray[np.float64]) -> NDArray[np.int64]:
    """Indices of the corners of the least concave line above a profile (monotone chain; A. M. Andrew, 1979).

    >>> upper_hull(np.arange(4.0), np.array([0.0, -1.0, 0.5, 0.0])).tolist()
    [0, 2, 3]
    """
    hull: list[int] = []
    for i in range(len(at_mm)):
        while len(hull) > 1:
            a, b = hull[-2], hull[-1]
            left = (height_mm[b] - height_mm[a]) * (at_mm[i] - at_mm[a])
            if left > (height_mm[i] - height_mm[a]) * (at_mm[b] - at_mm[a]):
                break
            hull.pop()
        hull.append(i)
    return np.array(hull, dtype=np.int64)


def resting(at_mm: NDArray[np.float64], bearing_mm: NDArray[np.float64], *, load_at_mm: float) -> Lie:
    """Where a bar comes to rest: on the two points either side of its load whose line is nowhere below the floor.

    Its own weight acts at mid-length; a hand on one end shifts that. ``bearing_mm`` (n,): profile less edge.
    """
    hull = upper_hull(at_mm, bearing_mm)
    right = int(np.clip(np.searchsorted(at_mm[hull], load_at_mm), 1, len(hull) - 1))
    a, b = hull[right - 1], hull[right]
    slope = float((bearing_mm[b] - bearing_mm[a]) / (at_mm[b] - at_mm[a]))
    return Lie(float(bearing_mm[a] - slope * at_mm[a]), slope, (float(at_mm[a]), float(at_mm[b])))


def end_pressed(at_mm: NDArray[np.float64], bearing_mm: NDArray[np.float64]) -> Lie:
    """A bar whose start is held on the floor: it turns about that end until it meets the crest."""
    slopes = (bearing_mm[1:] - bearing_mm[0]) / (at_mm[1:] - at_mm[0])
    crest = int(np.argmax(slopes))
    slope = float(slopes[crest])
    return Lie(float(bearing_mm[0] - slope * at_mm[0]), slope, (float(at_mm[0]), float(at_mm[1 + crest])))


def on_feet(at_mm: NDArray[np.float64], profile_mm: NDArray[np.float64], *, feet_mm: float) -> Lie:
    """A bar on two equal feet under its ends: the line through the tops of the feet."""
    slope = float((profile_mm[-1] - profile_mm[0]) / (at_mm[-1] - at_mm[0]))
    return Lie(float(profile_mm[0] - slope * at_mm[0] + feet_mm), slope, (float(at_mm[0]), float(at_mm[-1])))
