"""What the blur's unknown shape, the photo's tone curve and the shade of rounded edges may do to a width."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Standard uncertainty of the exponent with which brightness is recovered from the photo's levels. Assumption.
_TONE_EXPONENT_U = 0.1
#: Width error for such an exponent because a groove's shade seems deeper or fainter, mm: dark joints, light ones.
#: Computed (tests).
_SHADE_MM = (0.045, 0.1)
#: Width error over blur deviation below four blurs, when a disc, a pixel box, a smear or an exponential is fitted as
#: Gaussian, and how fast it falls with the number of blurs across the joint. Computed (tests).
_SHAPE_AT_FOUR = 0.2
_SHAPE_FALL = 0.5
_FOUR = 4.0


def blur_doubt(
    width_mm: NDArray[np.float64], blur_mm: NDArray[np.float64], joint: NDArray[np.float64], face: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(n,) mm: standard uncertainty of the width from the blur not being Gaussian and the tone not being linear.

    Tone y^(1+e) instead of y moves the middle of a blurred edge between tones 1 and q by e·d, with
    d = (m ln m − ½ q ln q)/(q − 1), m = (1 + q)/2, hence each edge by e·d·σ/φ(0), outwards on one kind of joint,
    inwards on the other; both edges add. The groove's shade is misread besides.
    """
    ratio = np.maximum(np.maximum(joint, 1e-3) / np.maximum(face, 1e-3), 1e-3)
    ratio = np.where(np.abs(ratio - 1.0) < 1e-3, 1.001, ratio)  # noqa: PLR2004 - the limit there is 0
    middle = (1.0 + ratio) / 2.0
    shift = (middle * np.log(middle) - ratio * np.log(ratio) / 2.0) / (ratio - 1.0)
    tone = 2.0 * _TONE_EXPONENT_U * np.abs(shift) * blur_mm * math.sqrt(2.0 * math.pi)
    shade = np.where(ratio > 1.0, _SHADE_MM[1], _SHADE_MM[0])
    shape = _SHAPE_AT_FOUR * blur_mm * np.exp(-_SHAPE_FALL * np.maximum(width_mm / blur_mm - _FOUR, 0.0))
    total: NDArray[np.float64] = np.sqrt(tone**2 + shade**2 + shape**2)
    return total
