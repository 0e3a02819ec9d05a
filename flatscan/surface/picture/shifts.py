"""How far one photo lies beside another where both show the floor: patches held against each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.surface.picture.laid_tone import LaidTone

#: Side of a patch and step from patch to patch.
PATCH_MM, STEP_MM = 100.0, 75.0
#: A patch is heard when what both show there agrees this well.
_LEAST_PATCH = 0.5
#: A pair is heard when all its patches together agree this well; of few patches more is asked. A floor of equal tiles
#: agrees to 0.5 and more wherever the joints of one direction meet.
_LEAST_PAIR, _FEW, _LEAST_OF_FEW = 0.7, 5, 0.85
#: Spread of detail (of the logarithm of light) below which a patch shows nothing but noise.
_LEAST_DETAIL = 0.04
#: A further shift is preferred only where it agrees better by this much of (shift / search)².
_NEARNESS = 0.05
#: Another shift that agrees as well as this share of the best is a repeat of the floor's pattern.
_REPEAT = 0.85
#: Between a peak and its repeat the agreement falls below this share of it; on one ridge it does not.
_DIP = 0.8
#: The nearest of several repeats is taken when it is nearer than the next by this.
_NEARER = 0.7
#: An axis tells nothing where agreement falls by less than this share of the other axis' fall, or this a pixel².
_RIDGE, _LEAST_FALL = 0.1, 0.002
#: Neighbouring pixels tell the same: one in so many counts.
_ALIKE = 8.0
#: No patch is surer than this: lips and depth are seen from two sides.
FLOOR_MM = 0.2


@dataclass(frozen=True, slots=True, eq=False)
class Shifts:
    """Shifts (n) between two photos at places of the floor.

    ``at_mm`` (n, 2) middles of patches, floor frame; ``shift_mm`` (n, 2): where the first photo shows
    what the second shows, less where the second does; ``weight`` (n, 2, 2), mm⁻²: inverse covariance, nearly 0
    along a joint that is alone in its patch; ``agreement``: correlation at the shift, the mean of all.
    """

    at_mm: NDArray[np.float64]
    shift_mm: NDArray[np.float64]
    weight: NDArray[np.float64]
    agreement: float = 0.0

    def __len__(self) -> int:
        return len(self.at_mm)


NO_SHIFTS = Shifts(np.empty((0, 2)), np.empty((0, 2)), np.empty((0, 2, 2)))


def shared_pixels(one: LaidTone, other: LaidTone) -> int:
    """Pixels that both show."""
    parts = _shared(one, other)
    return 0 if parts is None else int((one.seen[parts[0]] & other.seen[parts[1]]).sum())


def shift_between(one: LaidTone, other: LaidTone, search_mm: float) -> Shifts:
    """One shift for all that two photos share: the sum of the agreement of all patches; none where it is unsure."""
    found = _agreements(one, other, search_mm)
    if found is None:
        return NO_SHIFTS
    at, score, energy = found
    total = np.tensordot(energy / energy.sum(), score, axes=1)
    peak = _peak(total)
    if peak is None or total[peak] < (_LEAST_PAIR if len(score) >= _FEW else _LEAST_OF_FEW):
        return NO_SHIFTS
    shift, weight = _refined(total, peak, len(score) * (PATCH_MM / one.pixel_mm) ** 2 / _ALIKE, one.pixel_mm)
    middle = np.average(at, axis=0, weights=energy)
    return Shifts(middle[None], shift[None], weight[None], float(total[peak]))


def shifts_between(one: LaidTone, other: LaidTone, search_mm: float) -> Shifts:
    """A shift for each patch that shows enough: so a turn and a difference in height show too."""
    found = _agreements(one, other, search_mm)
    if found is None:
        return NO_SHIFTS
    kept: list[tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]] = []
    for at, score in zip(found[0], found[1], strict=True):
        peak = _peak(score)
        if peak is not None and score[peak] >= _LEAST_PATCH:
            kept.append((at, *_refined(score, peak, (PATCH_MM / one.pixel_mm) ** 2 / _ALIKE, one.pixel_mm)))
    if not kept:
        return NO_SHIFTS
    place, shift, weight = (np.array(column) for column in zip(*kept, strict=True))
    return Shifts(place, shift, weight)


def _shared(one: LaidTone, other: LaidTone) -> tuple[tuple[slice, slice], tuple[slice, slice]] | None:
    """The shared window as parts of each."""
    row, col = max(one.row, other.row), max(one.col, other.col)
    rows = min(one.row + one.seen.shape[0], other.row + other.seen.shape[0]) - row
    cols = min(one.col + one.seen.shape[1], other.col + other.seen.shape[1]) - col
    if rows <= 0 or cols <= 0:
        return None
    first, second = (
        (slice(row - a.row, row - a.row + rows), slice(col - a.col, col - a.col + cols)) for a in (one, other)
    )
    return first, second


def _agreements(
    one: LaidTone, other: LaidTone, search_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]] | None:
    """Middles of patches (n, 2) mm, their correlation (n, 2r + 1, 2r + 1) at shifts of the first, spread (n,)."""
    import cv2

    parts = _shared(one, other)
    if parts is None:
        return None
    a, b = one.detail[parts[0]], other.detail[parts[1]]
    reach, side = max(2, round(search_mm / one.pixel_mm)), round(PATCH_MM / one.pixel_mm)
    places = _places(one.seen[parts[0]], other.seen[parts[1]], reach, side, round(STEP_MM / one.pixel_mm))
    at, scores, energies = [], [], []
    for row, col in places:
        small = b[row : row + side, col : col + side]
        large = a[row - reach : row + side + reach, col - reach : col + side + reach]
        spread = float(np.sqrt(small.std() * large.std()))
        if spread < _LEAST_DETAIL:
            continue
        scores.append(cv2.matchTemplate(large, small, cv2.TM_CCOEFF_NORMED))
        energies.append(spread**2)
        at.append((max(one.col, other.col) + col + side / 2.0, max(one.row, other.row) + row + side / 2.0))
    if not at:
        return None
    return np.array(at) * one.pixel_mm + one.origin_mm, np.array(scores, dtype=np.float64), np.array(energies)


def _places(seen: NDArray[np.bool_], also: NDArray[np.bool_], reach: int, side: int, step: int) -> NDArray[np.int64]:
    """First row and column of patches that the one shows with all around, the other without."""
    import cv2

    def whole(mask: NDArray[np.bool_], size: int) -> NDArray[np.bool_]:
        """Where a square of ``size`` that begins here is all seen."""
        total = cv2.integral(mask.astype(np.uint8))
        return np.asarray(
            total[size:, size:] - total[:-size, size:] - total[size:, :-size] + total[:-size, :-size] == size**2
        )

    wide = side + 2 * reach
    if min(seen.shape) < wide:
        return np.empty((0, 2), np.int64)
    ok = whole(seen, wide) & whole(also, side)[reach:-reach, reach:-reach]
    # Each block of the lattice gives the first patch that fits, so that narrow overlaps are used too.
    row, col = np.nonzero(ok)
    block = (row // step) * (ok.shape[1] // step + 1) + col // step
    first = np.unique(block, return_index=True)[1]
    return np.column_stack([row[first], col[first]]) + reach


def _peak(score: NDArray[np.float64]) -> tuple[int, int] | None:
    """The shift to take: the best; of repeats of a pattern the one clearly nearest; None where it cannot be told."""
    reach = score.shape[0] // 2
    away = np.hypot(*np.mgrid[-reach : reach + 1, -reach : reach + 1])
    preferred = score - _NEARNESS * (away / reach) ** 2
    inner = preferred[1:-1, 1:-1]
    around = np.max([preferred[1 + i : -1 + i or None, 1 + j : -1 + j or None] for i, j in _AROUND], axis=0)
    row, col = np.nonzero(inner > around)
    if not len(row):
        return None
    order = np.argsort(-inner[row, col])
    tops = [(int(row[k]) + 1, int(col[k]) + 1) for k in order]
    best = tops[0]
    if preferred[best] <= 0.0:
        return None
    # Higher at the border: the true shift lies beyond what was searched.
    if preferred.max() > preferred[best]:
        return None
    rivals = [t for t in tops if preferred[t] >= _REPEAT * preferred[best]]
    rivals = [t for t in rivals if t == best or _apart(score, best, t)]
    rivals.sort(key=lambda t: float(away[t]))
    if len(rivals) > 1 and away[rivals[0]] > _NEARER * away[rivals[1]]:
        return None
    return rivals[0]


_AROUND = tuple((i, j) for i in (-1, 0, 1) for j in (-1, 0, 1) if (i, j) != (0, 0))


def _apart(score: NDArray[np.float64], one: tuple[int, ...], other: tuple[int, ...]) -> bool:
    """Whether agreement falls on the straight way between two shifts."""
    steps = np.linspace(0.0, 1.0, 2 * score.shape[0])
    row, col = (np.rint(a + (b - a) * steps).astype(int) for a, b in zip(one, other, strict=True))
    return bool(score[row, col].min() < _DIP * min(score[one], score[tuple(other)]))


def _refined(
    score: NDArray[np.float64], peak: tuple[int, int], pixels: float, pixel_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Shift (x, y) in mm and the inverse of its covariance, from the quadratic through the nine values at a peak.

    A correlation z of n independent places that falls as ½ sᵀ H s fixes the shift to a covariance of
    (1 - z) / n · H⁻¹ (least squares with noise of 1 - z of the detail's variance).
    """
    reach = score.shape[0] // 2
    z = score[peak[0] - 1 : peak[0] + 2, peak[1] - 1 : peak[1] + 2]
    row_mean, col_mean = z.mean(axis=1), z.mean(axis=0)
    slope = np.array([col_mean[2] - col_mean[0], row_mean[2] - row_mean[0]]) / 2.0
    bend = np.array(
        [[col_mean[0] + col_mean[2] - 2.0 * col_mean[1], 0.0], [0.0, row_mean[0] + row_mean[2] - 2.0 * row_mean[1]]]
    )
    bend[0, 1] = bend[1, 0] = (z[2, 2] + z[0, 0] - z[0, 2] - z[2, 0]) / 4.0
    fall, way = np.linalg.eigh(-bend)
    least = max(_RIDGE * float(fall.max()), _LEAST_FALL)
    sure = fall > least
    step = np.where(sure, (way.T @ slope) / np.maximum(fall, least), 0.0)
    step = np.clip(step, -1.0, 1.0)
    shift = (way @ step + (peak[1] - reach, peak[0] - reach)) * pixel_mm
    spread2 = (max(1.0 - float(score[peak]), 0.01) / pixels) / np.maximum(fall, least) * pixel_mm**2
    weight = (way * np.where(sure, 1.0 / (spread2 + FLOOR_MM**2), 0.0)) @ way.T
    return shift, weight
