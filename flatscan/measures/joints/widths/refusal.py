"""When a photo cannot tell: what each fit must show before its width is believed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.widths.profile_model import CENTRE, JOINT, LEFT, LOG_BLUR, RIGHT, WIDTH

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.joints.joints import Refusal
    from flatscan.measures.joints.widths.fit import Fits

#: Later ones outrank earlier ones when photos fail for different reasons: they came further, or doubt them all.
REASONS: tuple[Refusal, ...] = (
    "no_photo",
    "steep_view",
    "no_edges",
    "low_contrast",
    "too_coarse",
    "too_blurred",
    "shadow",
)
MEASURED = -1

#: Most tangent of the view across the joint. Beyond it the near tile hides the far edge (feasibility renders, tan 0.5).
MOST_VIEW_TAN = 0.5
#: Fewest photo pixels across a joint, and fewest blur deviations: below them blur decides the width.
LEAST_PIXELS = 8.0
LEAST_BLURS = 3.0
#: Least contrast between joint and either face, as a share of the brightest of the three.
LEAST_CONTRAST = 0.08
#: Most residual, and most doubt of the width, before the two edges are called none (shares of contrast and width).
MOST_RESIDUAL = 0.25
MOST_DOUBT = 0.25
#: A third level this large a share of the contrast, and this many times its own doubt, is a shadow.
THIRD_LEVEL = 0.22
_SURE = 4.0
#: Where a third level is looked for: its border as a share of the joint, and how far it reaches over a face, mm.
_INSIDE = (0.2, 0.35, 0.5, 0.65, 0.8)
_BESIDE_MM = (1.0, 2.0, 3.5)


def contrast_of(theta: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) lesser of the joint's contrasts with its two faces; 0 where it is not darker or lighter than both."""
    right, left = theta[:, JOINT] - theta[:, RIGHT], theta[:, JOINT] - theta[:, LEFT]
    return np.where(right * left > 0.0, np.minimum(np.abs(right), np.abs(left)), 0.0)


def refusals(
    fits: Fits,
    x_mm: NDArray[np.float64],
    weight: NDArray[np.float64],
    pixel_mm: NDArray[np.float64],
    search_mm: float,
) -> NDArray[np.int8]:
    """(n,) index into ``REASONS``, or ``MEASURED``.

    Parameters
    ----------
    fits : of the whole stretches
    x_mm, weight : as they were fitted
    pixel_mm : (n,) size on the floor of a photo pixel, across
    search_mm : how far off the centre line a joint may lie
    """
    theta = fits.theta
    width, blur = theta[:, WIDTH], np.exp(theta[:, LOG_BLUR])
    contrast = contrast_of(theta)
    brightest = np.maximum(theta[:, [RIGHT, JOINT, LEFT]].max(axis=1), 1e-9)
    doubt = np.sqrt(np.maximum(fits.covariance[:, WIDTH, WIDTH], 0.0))
    third = third_level(fits, x_mm, weight)
    failed = {
        "shadow": third > THIRD_LEVEL * np.maximum(contrast, 1e-9),
        "too_blurred": width < LEAST_BLURS * blur,
        "too_coarse": width < LEAST_PIXELS * pixel_mm,
        "low_contrast": contrast < LEAST_CONTRAST * brightest,
        "no_edges": (contrast <= 0.0)
        | (fits.rms > MOST_RESIDUAL * contrast)
        | (doubt > MOST_DOUBT * width)
        | (np.abs(theta[:, CENTRE]) > search_mm + 1.0)
        | ~np.isfinite(doubt),
    }
    reason = np.full(len(theta), MEASURED, dtype=np.int8)
    for name in ("shadow", "too_blurred", "too_coarse", "no_edges", "low_contrast"):
        reason[failed[name]] = REASONS.index(name)
    return reason


def third_level(fits: Fits, x_mm: NDArray[np.float64], weight: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) largest step, in tone, that two levels leave unexplained inside the joint or beside it; 0: none for sure.

    A shadow covers part of the joint, or spills over a face. For each place where its border may lie, the step's size
    is the least-squares one with all fitted parameters free to give way (first order).
    """
    from scipy.special import ndtr

    theta, slopes, residual = fits.theta, fits.slopes, fits.residual
    blur = np.exp(theta[:, LOG_BLUR])[:, None]
    half = theta[:, [WIDTH]] / 2.0
    off = x_mm - theta[:, [CENTRE]]
    across = slopes.transpose(0, 2, 1)
    normal = across @ slopes
    np.einsum("npp->np", normal)[...] *= 1.0 + 1e-9
    inverse = np.linalg.pinv(normal, hermitian=True)
    right, left = ndtr((off + half) / blur), ndtr((off - half) / blur)
    bands = [right - ndtr((off + half - share * 2.0 * half) / blur) for share in _INSIDE]
    for reach in _BESIDE_MM:
        bands += [ndtr((off + half + reach) / blur) - right, left - ndtr((off - half - reach) / blur)]
    largest = np.zeros(len(theta))
    correlated = _spread(residual)
    for band in bands:
        seen = band * weight
        own = seen - (slopes @ (inverse @ (across @ seen[..., None])))[..., 0]
        power = np.maximum((own**2).sum(axis=1), 1e-12)
        size = (own * residual).sum(axis=1) / power
        clear = (power > 0.05 * (seen**2).sum(axis=1)) & (np.abs(size) > _SURE * fits.rms * np.sqrt(correlated / power))
        largest = np.maximum(largest, np.where(clear, np.abs(size), 0.0))
    return largest


def _spread(residual: NDArray[np.float64], reach: int = 12) -> NDArray[np.float64]:
    """(n,) how many times the variance of a sum grows because neighbouring residuals go together, at least 1."""
    power = np.maximum((residual**2).sum(axis=1), 1e-300)
    total = np.ones(len(residual))
    for lag in range(1, reach):
        together = (residual[:, lag:] * residual[:, :-lag]).sum(axis=1) / power
        total += 2.0 * (1.0 - lag / reach) * together
    return np.maximum(total, 1.0)
