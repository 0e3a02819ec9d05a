"""When a photo cannot tell: what each fit must show before its width is believed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.widths.groove_model import (
    CENTRE,
    DEPTH,
    EDGE,
    JOINT,
    LEFT,
    LOG_BLUR,
    RIGHT,
    WIDTH,
    profile,
)
from flatscan.measures.joints.widths.levels import faint_level, other_levels
from flatscan.measures.joints.widths.start import WIDTHS_MM

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.joints.joints import Refusal
    from flatscan.measures.joints.widths.fit import Across, Fits

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
LEAST_PIXELS = 7.5
LEAST_BLURS = 3.0
#: Least contrast of the joint: as a share of the brightest tone, and over the unevenness of the faces beside it.
LEAST_CONTRAST = 0.08
LEAST_OVER_FACE = 4.0
#: Most residual, and most doubt of the width, before the two edges are called none (shares of contrast and width).
MOST_RESIDUAL = 0.25
MOST_DOUBT = 0.06
MOST_DOUBT_MM = 0.3
#: Another level this large a share of the contrast, in the joint or right beside it, is a shadow. On invented floors
#: under an even sky one joint in twenty was 0.15 off the model, one in a hundred 0.17.
OTHER_LEVEL = 0.17
#: So is a fainter step that explains half of what the fit left over: sunlit grout that looks like the tile.
FAINT_LEVEL = 0.3
#: Anything this large a share of the contrast farther out may be the true edge.
OTHER_EDGE = 0.5
#: Joints within about 20 degrees run the same way. From these shares of them on, and this many, others are doubted too.
_SAME_WAY = 0.94
_MANY_SHADOWS = 0.25
_SUNNY = 0.2
_MOST_DOUBTFUL = 0.5
_FEW = 3
#: This many times the blur of the photo's other joints is no edge but a shade running out.
_SOFT = 1.6


def contrast_of(fits: Fits, across: Across) -> NDArray[np.float64]:
    """(n,) by how much the groove's tone differs from that between its faces, where it differs most."""
    theta = fits.theta
    bare = theta.copy()
    bare[:, JOINT] = (theta[:, RIGHT] + theta[:, LEFT]) / 2.0
    bare[:, [DEPTH, EDGE]] = 0.0
    off = profile(across.x_mm, across.slant, theta) - profile(across.x_mm, across.slant, bare)
    return np.asarray(np.abs(off).max(axis=1), dtype=np.float64)


def refusals(fits: Fits, across: Across, search_mm: float) -> NDArray[np.int8]:
    """(n,) index into ``REASONS``, or ``MEASURED``.

    Parameters
    ----------
    fits : of the whole stretches
    across : the whole profiles
    search_mm : how far off the centre line a joint may lie
    """
    theta, x_mm = fits.theta, across.x_mm
    width, blur = theta[:, WIDTH], np.exp(theta[:, LOG_BLUR])
    contrast = np.maximum(contrast_of(fits, across), 1e-9)
    brightest = np.maximum(theta[:, [RIGHT, JOINT, LEFT]].max(axis=1), 1e-9)
    doubt = np.sqrt(np.maximum(fits.covariance[:, WIDTH, WIDTH], 0.0) + fits.assumed.sum(axis=1))
    beside, farther = other_levels(fits, across)
    failed = {
        "shadow": (beside > OTHER_LEVEL * contrast) | (faint_level(fits, x_mm) > FAINT_LEVEL * contrast),
        "too_blurred": width < LEAST_BLURS * blur,
        "too_coarse": width + doubt < LEAST_PIXELS * across.pixel_mm,
        "no_edges": (fits.rms > MOST_RESIDUAL * contrast)
        | (farther > OTHER_EDGE * contrast)
        | (doubt > np.maximum(MOST_DOUBT * width, MOST_DOUBT_MM))
        | (np.abs(theta[:, CENTRE]) > search_mm + 1.0)
        | (width > WIDTHS_MM[-1])
        | _is_step(theta, contrast)
        | ~np.isfinite(doubt),
        "low_contrast": (contrast < LEAST_CONTRAST * brightest)
        | (contrast < LEAST_OVER_FACE * _unevenness(fits, x_mm)),
    }
    reason = np.full(len(theta), MEASURED, dtype=np.int8)
    for name, rows in failed.items():
        reason[rows] = REASONS.index(name)
    return reason


def _is_step(theta: NDArray[np.float64], contrast: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(n,) whether a joint of a tone between its faces' stands out less than these differ: two tones that just meet."""
    right, joint, left = theta[:, RIGHT], theta[:, JOINT], theta[:, LEFT]
    between = (joint - right) * (joint - left) < 0.0
    return np.asarray(between & (contrast < np.abs(right - left)), dtype=np.bool_)


def _unevenness(fits: Fits, x_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) standard deviation of the faces' tone along the profile."""
    theta = fits.theta
    face = np.abs(x_mm - theta[:, [CENTRE]]) > theta[:, [WIDTH]] / 2.0 + 2.0 * np.exp(theta[:, [LOG_BLUR]])
    face &= np.abs(fits.slopes).max(axis=2) > 0.0
    return np.asarray(np.sqrt((fits.residual**2 * face).sum(axis=1) / np.maximum(face.sum(axis=1), 1)))


def told_by_others(
    reason: NDArray[np.int8], along: NDArray[np.float64], blur_pixels: NDArray[np.float64]
) -> NDArray[np.int8]:
    """Reasons, where the joints of one photo that run the same way speak for each other.

    A shadow that just fills a joint, or covers all of it but what looks like the tile, shows two clean levels. Its
    neighbours that run the same way lie in the same light, and give it away. So do edges much softer than the photo's
    others. Where most joints of one way show no pair of edges, those that do are chance. And in a photo with many
    shadows the sun may just fill the joints of the other way.

    Parameters
    ----------
    reason : (k,) of one photo's stations
    along : (k, 2) unit vectors of their joints
    blur_pixels : (k,) fitted blur over the size of a pixel there
    """
    shadow_code, no_edges_code = REASONS.index("shadow"), REASONS.index("no_edges")
    first = reason.copy()
    measured = reason == MEASURED
    if measured.any():
        first[measured & (blur_pixels > _SOFT * np.median(blur_pixels[measured]))] = shadow_code
    shadow, no_edges, measured = (first == code for code in (shadow_code, no_edges_code, MEASURED))
    same_way = np.abs(along @ along.T) > _SAME_WAY
    shadows, edgeless, good = ((same_way & kind).sum(axis=1) for kind in (shadow, no_edges, measured))
    spread = first.copy()
    doubtful = shadows + edgeless
    spread[measured & (doubtful >= np.maximum(_FEW, _MOST_DOUBTFUL * (good + doubtful)))] = no_edges_code
    spread[measured & (shadows >= np.maximum(_FEW, _MANY_SHADOWS * (good + shadows)))] = shadow_code
    if shadow.sum() >= max(_FEW, _SUNNY * (shadow.sum() + measured.sum())):
        spread[measured] = shadow_code
    return spread
