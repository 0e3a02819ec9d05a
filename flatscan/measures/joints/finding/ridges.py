"""Evidence of a joint in strips: darker or lighter than both its sides, or a step in height, in standard deviations."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from flatscan.constants import SIGMA_PER_MAD

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.joints.finding.strips import Strips

Real = TypeVar("Real", np.float32, np.float64)

#: Widths of joint looked for, mm, at least one pixel and odd in pixels.
_WIDTHS_MM = (1.5, 3.0, 5.0, 9.0, 13.0)
#: What lies beside the joint is taken over this far on either side, mm.
_FLANK_MM = 5.0
#: Lengths along the joint that evidence is gathered over, mm.
_LENGTHS_MM = (50.0, 150.0, 450.0)
#: Noise is judged within blocks this far across and along, mm.
_BLOCK_MM = (150.0, 400.0)
#: Noise is never taken as smaller than this share of the whole picture's, nor of its range of tones.
_LEAST_NOISE = 0.4
_LEAST_OF_RANGE = 0.004
_LEAST_SEEN = 0.6
_SOME_SEEN = 0.05
#: A step must last this far beyond its flanks, mm: wider than a joint.
STEP_BEYOND_MM = 13.0


def odd_widths(pixel_mm: float) -> tuple[int, ...]:
    """Widths of the middle box in pixels, odd, each once."""
    return tuple(sorted({max(1, 2 * round((w / pixel_mm - 1) / 2) + 1) for w in _WIDTHS_MM}))


def evidence(strips: Strips, *, steps: bool) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Signed evidence and the tone's difference from both sides, (rows, cells) each.

    Positive: lighter than both sides. With ``steps``, for heights, only what is lower than both sides is a joint
    (beside a groove the surroundings taken off leave a false rise), and a difference between the sides counts too, as
    negative evidence. The noise is that of the same measure round about, which holds what texture there is (grain too).
    """
    best: NDArray[np.float32] = np.zeros(strips.tone.shape, np.float32)
    contrast: NDArray[np.float32] = np.zeros(strips.tone.shape, np.float32)
    clipped = clip_specks(strips)
    span = tone_range(strips)
    flank, beyond = max(2, round(_FLANK_MM / strips.pixel_mm)), max(2, round(STEP_BEYOND_MM / strips.pixel_mm))
    for length in _LENGTHS_MM:
        cells = max(1, round(length / strips.cell_mm) // 2 * 2 + 1)
        mean, seen = _along(clipped, strips.seen, cells)
        widths = odd_widths(strips.pixel_mm)
        sums = Sums.of(mean, seen, widths[-1] // 2 + beyond + flank + 1)
        for width in widths:
            middle, (below, above) = sums.box(-(width // 2), width // 2), sums.flanks(width // 2, flank)
            under, over = middle - below, middle - above
            noise = _noise(0.5 * (under + over), strips, span)
            ridge = np.where(under * over > 0, np.sign(under) * np.minimum(np.abs(under), np.abs(over)), 0.0)
            if steps:
                ridge = np.minimum(ridge, 0.0)
            z = np.nan_to_num(ridge / noise).astype(np.float32)
            better = np.abs(z) > np.abs(best)
            np.copyto(best, z, where=better)
            np.copyto(contrast, np.nan_to_num(ridge).astype(np.float32), where=better)
            if steps:
                below_far, above_far = sums.flanks(width // 2 + beyond, flank)
                jump = lasting_step(above - below, above_far - below_far)
                z = -np.nan_to_num(np.abs(jump) / _noise(above - below, strips, span)).astype(np.float32)
                better = np.abs(z) > np.abs(best)
                np.copyto(best, z, where=better)
                np.copyto(contrast, np.nan_to_num(jump).astype(np.float32), where=better)
    return best, contrast


def lasting_step(near: NDArray[Real], far: NDArray[Real]) -> NDArray[Real]:
    """Step that is there close by and further off too: the side of a groove steps down but not for long."""
    least = np.minimum(np.abs(near), np.abs(far))
    return np.where(near * far > 0, np.sign(near) * least, near.dtype.type(0.0))


def tone_range(strips: Strips) -> float:
    """Spread of the picture's tones from the 2nd to the 98th hundredth."""
    values = strips.tone[strips.seen > _LEAST_SEEN]
    if values.size == 0:
        return 0.0
    low, high = np.percentile(values[:: max(1, values.size // 200_000)], (2.0, 98.0))
    return float(high - low)


def clip_specks(strips: Strips) -> NDArray[np.float32]:
    """Tone with cells that stand out of their column by far brought back: a speck is no line."""
    import cv2

    reach = max(3, round(40.0 / strips.pixel_mm))
    weight = np.maximum(cv2.blur(strips.seen, (1, reach)), 1e-6)
    base = cv2.blur(strips.tone * strips.seen, (1, reach)) / weight
    off = strips.tone - base
    size = cv2.blur(np.abs(off) * strips.seen, (31, 4 * reach)) / np.maximum(
        cv2.blur(strips.seen, (31, 4 * reach)), 1e-6
    )
    return np.asarray(base + np.clip(off, -6.0 * size, 6.0 * size), dtype=np.float32)


def _along(
    tone: NDArray[np.float32], seen: NDArray[np.float32], cells: int
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Mean along the rows over ``cells``, weighted with what was seen, and the share seen."""
    import cv2

    share = cv2.blur(seen, (cells, 1), borderType=cv2.BORDER_CONSTANT)
    value = cv2.blur(tone * seen, (cells, 1), borderType=cv2.BORDER_CONSTANT)
    mean: NDArray[np.float32] = np.divide(value, share, out=np.zeros_like(value), where=share > _SOME_SEEN)
    return mean, np.asarray(share, dtype=np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class Sums:
    """Running sums across the lines of tone times share seen, and of the share, ``reach`` rows to spare."""

    value: NDArray[np.float64]
    share: NDArray[np.float64]
    reach: int

    @classmethod
    def of(cls, mean: NDArray[np.float32], seen: NDArray[np.float32], reach: int) -> Sums:
        """Sum up, with nothing seen beyond the border."""
        pad = ((reach + 1, reach), (0, 0))
        return cls(
            np.cumsum(np.pad(mean * seen, pad), axis=0, dtype=np.float64),
            np.cumsum(np.pad(seen, pad), axis=0, dtype=np.float64),
            reach,
        )

    def box(self, first: int, last: int) -> NDArray[np.float32]:
        """Mean over the rows from ``first`` to ``last`` seen from each row; NaN where too little was seen."""
        rows = len(self.value) - 2 * self.reach - 1
        a, b = self.reach + first, self.reach + last + 1
        weight = self.share[b : b + rows] - self.share[a : a + rows]
        total = self.value[b : b + rows] - self.value[a : a + rows]
        enough = weight > _LEAST_SEEN * (last - first + 1)
        mean = np.divide(total, weight, out=np.full(weight.shape, np.nan), where=enough)
        return np.asarray(mean, dtype=np.float32)

    def flanks(self, half: int, flank: int) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Means of ``flank`` rows below and above ``half`` rows; the blurred row between is left out."""
        return self.box(-half - 1 - flank, -half - 2), self.box(half + 2, half + 1 + flank)


def _noise(measure: NDArray[Real], strips: Strips, span: float) -> NDArray[np.float32]:
    """Robust local standard deviation of a measure that is 0 where there is no line."""
    import cv2

    rows, cells = measure.shape
    high = max(8, round(_BLOCK_MM[0] / strips.pixel_mm))
    wide = max(4, round(_BLOCK_MM[1] / strips.cell_mm))
    down, across = -(-rows // high), -(-cells // wide)
    padded = np.full((down * high, across * wide), np.nan, np.float32)
    padded[:rows, :cells] = np.abs(measure)
    blocks = padded.reshape(down, high, across, wide).transpose(0, 2, 1, 3).reshape(down, across, -1)
    some = np.isfinite(blocks).sum(axis=2) > 0.2 * blocks.shape[2]
    local = np.full((down, across), np.nan, np.float32)
    if some.any():
        local[some] = SIGMA_PER_MAD * np.nanmedian(blocks[some], axis=1)
    usual = float(np.nanmedian(local)) if some.any() else 0.0
    least = max(_LEAST_NOISE * usual, _LEAST_OF_RANGE * span, 1e-9)
    local = np.maximum(np.nan_to_num(local, nan=usual), np.float32(least))
    smooth = cv2.resize(local, (across * wide, down * high), interpolation=cv2.INTER_LINEAR)
    return np.asarray(smooth[:rows, :cells], dtype=np.float32)
