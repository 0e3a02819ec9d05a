"""Where in a strip the joint lies, and about how wide it is: the best flat band between two flat faces."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from flatscan.measures.joints.widths.groove_fit import scan
from flatscan.measures.joints.widths.groove_model import DEPTH, EDGE, LOG_BLUR, PARAMETERS, WIDTH

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.joints.widths.fit import Across

#: Widths that are tried, mm.
WIDTHS_MM = np.geomspace(1.0, 16.0, 21)
_FLANK_MM = 3.0
#: Left free between band and flank on either side, for the blur.
_SPARE_MM = 0.4
#: Grooves tried before fits start, mm: widths, depths, rounding, and how far apart.
_WIDTHS_MM = np.geomspace(1.5, 14.0, 12)
_DEPTHS_MM = (1.5,)
_EDGE_MM = 0.7
_APART_MM = 0.5


class Band(NamedTuple):
    """The best band of each profile: where (mm), how wide, tones of the faces and of the band."""

    centre_mm: NDArray[np.float64]
    width_mm: NDArray[np.float64]
    right: NDArray[np.float64]
    joint: NDArray[np.float64]
    left: NDArray[np.float64]

    @property
    def contrast(self) -> NDArray[np.float64]:
        """(n,) the lesser of the band's contrasts with its two faces; 0 where it is not darker or lighter than both."""
        first, second = self.joint - self.right, self.joint - self.left
        return np.where(first * second > 0.0, np.minimum(np.abs(first), np.abs(second)), 0.0)


def best_band(x_mm: NDArray[np.float64], tone: NDArray[np.float64], search_mm: float) -> Band:
    """Of all bands centred within ``search_mm`` of 0, that of greatest contrast times root of width.

    A band wider than the joint thins its contrast in proportion to its width, a narrower one gains none: the
    product peaks at the joint's own width.

    Parameters
    ----------
    x_mm : (m,) evenly spaced
    tone : (n, m)
    search_mm : how far from 0 the joint may lie
    """
    step = float(x_mm[1] - x_mm[0])
    sums = np.concatenate([np.zeros((len(tone), 1)), np.cumsum(tone, axis=1)], axis=1)
    middle = np.flatnonzero(np.abs(x_mm) <= search_mm)
    flank, spare = max(2, round(_FLANK_MM / step)), max(1, round(_SPARE_MM / step))
    best = np.full(len(tone), -1.0)
    found = np.zeros((5, len(tone)))
    rows = np.arange(len(tone))
    for width in WIDTHS_MM:
        inside = max(1, round(width / step))
        low = middle - inside // 2
        use = (low - spare - flank >= 0) & (low + inside + spare + flank < sums.shape[1])
        low = low[use]
        if not len(low):
            continue
        high = low + inside
        joint = (sums[:, high] - sums[:, low]) / inside
        right = (sums[:, low - spare] - sums[:, low - spare - flank]) / flank
        left = (sums[:, high + spare + flank] - sums[:, high + spare]) / flank
        contrast = np.where(
            (joint - right) * (joint - left) > 0.0, np.minimum(np.abs(joint - right), np.abs(joint - left)), 0.0
        )
        pick = np.argmax(contrast, axis=1)
        score = contrast[rows, pick] * np.sqrt(inside)
        better = score > best
        best = np.where(better, score, best)
        centre = x_mm[low[pick]] + (inside - 1) * step / 2.0
        values = (centre, np.full(len(rows), inside * step), right[rows, pick], joint[rows, pick], left[rows, pick])
        for held, value in zip(found, values, strict=True):
            held[better] = value[better]
    return Band(*found)


def starts_of(across: Across, search_mm: float) -> NDArray[np.float64]:
    """(n, 2, 8) parameters to start fits from: the best dark and the best light groove of a coarse search."""
    step = float(across.x_mm[1] - across.x_mm[0])
    tried = np.zeros((len(_WIDTHS_MM) * len(_DEPTHS_MM), PARAMETERS))
    tried[:, WIDTH], tried[:, DEPTH] = (part.ravel() for part in np.meshgrid(_WIDTHS_MM, _DEPTHS_MM))
    tried[:, EDGE], tried[:, LOG_BLUR] = _EDGE_MM, np.log(1.1 * np.median(across.pixel_mm))
    every = max(1, round(_APART_MM / step))
    most = int(search_mm / step)
    shifts = np.arange(-(most // every), most // every + 1) * every
    found = scan(across.x_mm, np.ascontiguousarray(across.tone), across.slant, tried, shifts, most + 1)
    # Where there is none of one kind, the other kind's.
    return np.asarray(np.where(np.isnan(found), found[:, ::-1], found), dtype=np.float64)
