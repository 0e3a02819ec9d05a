"""Hand readings and the scan's figures of one joint together: least squares on plain arrays."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

#: Hand and scan contradict each other where they differ by more than this many of their joint standard
#: uncertainties. Two sound normal readings do so 27 times in 10,000: on a sheet of 12 lines once in 31 sheets.
CONFLICT_SIGMAS = 3.0
#: A lip changes along its joint as the tiles beside it bow and tip: by so much, one standard deviation, for each mm
#: away from the reading (1 mm in 1 m, common practice, no source).
LIP_STRAY_PER_MM = 0.001
#: The same where no scan says which way the tiles tip (3 mm in 1 m, common practice, no source).
LIP_SLOPE_PER_MM = 0.003
#: How much a joint's depth, or the width of one not seen, varies from place to place along one piece, one standard
#: deviation in mm (common practice, no source).
PLACE_SPREAD_MM = 0.4
#: Stands for "anything" as the prior of a lip that no scan saw, mm.
_ANY_LIP_MM = 1000.0
_TOLD_APART_MM2 = 1.0
#: Keeps the equations solvable for readings said to be exact, mm².
_TINY_MM2 = 1e-12


def contradict(a: float, u_a: float, b: float, u_b: float) -> bool:
    """Whether two independent figures of one thing differ by more than chance explains.

    >>> contradict(1.0, 0.1, 1.4, 0.1), contradict(1.0, 0.1, 1.5, 0.1)
    (False, True)
    """
    return bool(abs(a - b) > CONFLICT_SIGMAS * np.hypot(u_a, u_b))


def fused(values: Floats, u: Floats) -> tuple[float, float]:
    """Mean weighted by 1/u² and its standard uncertainty, 1/sqrt(sum 1/u²), of independent figures (JCGM 100, H.10).

    Figures of infinite u count for nothing; if some are exact, only they count.
    """
    if (u == 0.0).any():
        return float(values[u == 0.0].mean()), 0.0
    weight = 1.0 / u**2
    if weight.sum() == 0.0:
        return float(values.mean()), float("inf")
    return float((weight * values).sum() / weight.sum()), float(1.0 / np.sqrt(weight.sum()))


def kalman(mean: Floats, cov: Floats, rows: Floats, value: Floats, u: Floats) -> tuple[Floats, Floats]:
    """A normal state after readings ``value = rows @ state`` with independent ``u``, all at once.

    Parameters
    ----------
    mean, cov : (k,), (k, k) state before; ``cov`` may be singular
    rows, value, u : (n, k), (n,), (n,)
    """
    noise = np.diag(u**2 + _TINY_MM2)
    spread = rows @ cov @ rows.T + noise
    gain = np.linalg.solve(spread, rows @ cov).T
    after = mean + gain @ (value - rows @ mean)
    left = cov - gain @ rows @ cov
    return after, (left + left.T) / 2.0


def lip_line(along_mm: Floats, lip_mm: Floats, u_mm: Floats) -> tuple[Floats, Floats]:
    """The stations' lips as a line: (lip at the middle, slope) and their covariance.

    The stations' errors are taken as those of one line and nothing else, which the lip's free planes make: so
    u² = u_middle² + slope's² t², fitted with neither below 0.

    Parameters
    ----------
    along_mm : (n,) from the piece's middle
    lip_mm, u_mm : (n,) NaN where no lip was measured
    """
    known = np.isfinite(lip_mm) & np.isfinite(u_mm)
    t, lip, u = along_mm[known], lip_mm[known], u_mm[known]
    if t.size == 0:
        return np.zeros(2), np.diag([_ANY_LIP_MM**2, LIP_SLOPE_PER_MM**2])
    if t.size == 1 or np.ptp(t) == 0.0:
        mean = np.array([lip.mean(), 0.0])
        return mean, np.diag([float((u**2).min()), LIP_SLOPE_PER_MM**2])
    slope, middle = np.polyfit(t, lip, 1)
    # Stations at one distance from the middle cannot part the two.
    parted = np.ptp(t**2) > _TOLD_APART_MM2
    variance_slope, variance_middle = np.polyfit(t**2, u**2, 1) if parted else (0.0, (u**2).mean())
    if variance_slope < 0.0:
        variance_slope, variance_middle = 0.0, float((u**2).mean())
    if variance_middle < 0.0:
        variance_middle, variance_slope = 0.0, float((u**2 * t**2).sum() / (t**4).sum())
    return np.array([middle, slope]), np.diag([variance_middle, variance_slope])


def lips_with_hand(
    along_mm: Floats, lip_mm: Floats, u_mm: Floats, read_mm: Floats, hand_mm: Floats, hand_u_mm: Floats
) -> tuple[Floats, Floats]:
    """Lips and their u at a piece's stations after hand readings of its lip.

    A hand reads a lip's size. It is given the side that the scan's line has at that place; where the scan cannot tell
    the side, the size judged is the same for either. Every station profits through the line, less so the further it
    is from the nearest reading (``LIP_STRAY_PER_MM``), and none is known worse than before.

    Parameters
    ----------
    along_mm, lip_mm, u_mm : (n,) stations, from the piece's middle; NaN where the scan has no lip
    read_mm, hand_mm, hand_u_mm : (k,) where along the piece, size read, its u
    """
    mean, cov = lip_line(along_mm, lip_mm, u_mm)
    rows = np.column_stack([np.ones_like(read_mm), read_mm])
    side = np.where(rows @ mean < 0.0, -1.0, 1.0)
    after, left = kalman(mean, cov, rows, side * hand_mm, hand_u_mm)
    at = np.column_stack([np.ones_like(along_mm), along_mm])
    moved = at @ (after - mean)
    value = np.where(np.isfinite(lip_mm), lip_mm + moved, at @ after)
    line_u2 = np.maximum(np.einsum("ni,ij,nj->n", at, left, at), 0.0)
    away = np.abs(along_mm[:, None] - read_mm[None, :]).min(axis=1)
    u = np.sqrt(line_u2 + (LIP_STRAY_PER_MM * away) ** 2)
    return value, np.where(np.isfinite(u_mm), np.fmin(u, u_mm), u)


def spread_along(
    value_mm: Floats, u_mm: Floats, station: NDArray[np.int64], hand_mm: Floats, hand_u_mm: Floats
) -> tuple[Floats, Floats]:
    """Depths at a piece's stations after hand readings at some of them.

    Depths along one piece are taken as one mean with ``PLACE_SPREAD_MM`` from place to place. A read station has its
    reading; the others have the readings' mean with that spread; either is fused with the scan's figure, if any.

    Parameters
    ----------
    value_mm, u_mm : (n,) NaN where the scan has none
    station, hand_mm, hand_u_mm : (k,) index of the station read, value, its u
    """
    places = np.unique(station)
    read = np.array([fused(hand_mm[station == s], hand_u_mm[station == s]) for s in places])
    mean, mean_u = fused(read[:, 0], np.hypot(read[:, 1], PLACE_SPREAD_MM))
    hand = np.full(value_mm.shape, mean)
    hand_u = np.full(value_mm.shape, np.hypot(mean_u, PLACE_SPREAD_MM))
    hand[places], hand_u[places] = read[:, 0], read[:, 1]
    value, u = hand.copy(), hand_u.copy()
    for i in np.flatnonzero(np.isfinite(value_mm)):
        value[i], u[i] = fused(np.array([value_mm[i], hand[i]]), np.array([u_mm[i], hand_u[i]]))
    return value, u


def widths_with_hand(
    width_mm: Floats,
    u_mm: Floats,
    wall_u_mm: Floats,
    edge_u_mm: float,
    station: NDArray[np.int64],
    hand_mm: Floats,
    hand_u_mm: Floats,
) -> tuple[Floats, Floats]:
    """Widths of a whole floor after hand readings of some.

    What is judged is the width between the walls plus the tops' rounding, which is one unknown for all joints of a
    floor: each reading tells that unknown and the wall width of its own station.

    Parameters
    ----------
    width_mm, u_mm : (n,) as judged, before
    wall_u_mm : (n,) the part of u that is each station's own
    edge_u_mm : standard uncertainty of the rounding
    station, hand_mm, hand_u_mm : (k,) index of the station read, value, its u
    """
    places, which = np.unique(station, return_inverse=True)
    cov = np.diag(np.concatenate([[edge_u_mm**2], wall_u_mm[places] ** 2]))
    rows = np.zeros((station.size, 1 + places.size))
    rows[:, 0] = 1.0
    rows[np.arange(station.size), 1 + which] = 1.0
    after, left = kalman(np.zeros(1 + places.size), cov, rows, hand_mm - width_mm[station], hand_u_mm)
    value = width_mm + after[0]
    # Whatever else is in a station's u stays: only the rounding's share of it shrinks.
    u2 = np.maximum(u_mm**2 - (edge_u_mm**2 - left[0, 0]), wall_u_mm**2)
    own = np.arange(1, 1 + places.size)
    value[places] += after[own]
    u2[places] = left[0, 0] + left[own, own] + 2.0 * left[0, own]
    return value, np.minimum(np.sqrt(np.maximum(u2, 0.0)), u_mm)
