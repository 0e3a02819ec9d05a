"""When a photo cannot tell: what each fit must show before its width is believed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.widths.levels import faint_level, other_levels
from flatscan.measures.joints.widths.profile_model import (
    CENTRE,
    GROOVE,
    LEFT,
    LOG_BLUR,
    RIGHT,
    WIDTH,
    inner_tones,
)

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
LEAST_CONTRAST = 0.15
#: Most residual, and most doubt of the width, before the two edges are called none (shares of contrast and width).
MOST_RESIDUAL = 0.25
MOST_DOUBT = 0.06
#: Another level this large a share of the contrast, in the joint or right beside it, is a shadow.
OTHER_LEVEL = 0.22
#: A fainter one is, where it explains half of what the fit left over. Without sun nine in ten stay below half of this.
FAINT_LEVEL = 0.08
#: A groove whose shades make one edge this many times as strong as the other is one with a shadow in it.
MOST_ONE_SIDED = 2.5
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


def contrast_of(theta: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) lesser of the contrasts at the two edges; 0 where the joint is not darker or lighter than both faces."""
    steps = _steps_down(theta)
    return np.where(steps.prod(axis=1) > 0.0, np.abs(steps).min(axis=1), 0.0)


def _steps_down(theta: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 2) tone of the joint minus the face, at the right and at the left edge."""
    return inner_tones(theta) - theta[:, [RIGHT, LEFT]]


def refusals(
    fits: Fits,
    x_mm: NDArray[np.float64],
    tone: NDArray[np.float64],
    pixel_mm: NDArray[np.float64],
    search_mm: float,
) -> NDArray[np.int8]:
    """(n,) index into ``REASONS``, or ``MEASURED``.

    Parameters
    ----------
    fits : of the whole stretches
    x_mm, tone : (m,) and (n, m) the whole profiles
    pixel_mm : (n,) size on the floor of a photo pixel, across
    search_mm : how far off the centre line a joint may lie
    """
    theta = fits.theta
    width, blur = theta[:, WIDTH], np.exp(theta[:, LOG_BLUR])
    contrast = contrast_of(theta)
    brightest = np.maximum(np.maximum(theta[:, [RIGHT, LEFT]], inner_tones(theta)).max(axis=1), 1e-9)
    doubt = np.sqrt(np.maximum(fits.covariance[:, WIDTH, WIDTH], 0.0))
    beside, farther = other_levels(fits, x_mm, tone)
    shaded = (theta[:, GROOVE] != 0.0).any(axis=1)
    one_sided = shaded & (np.abs(_steps_down(theta)).max(axis=1) > MOST_ONE_SIDED * contrast)
    failed = {
        "shadow": (faint_level(fits, x_mm) > FAINT_LEVEL * contrast)
        | (beside > OTHER_LEVEL * np.maximum(contrast, 1e-9))
        | one_sided,
        "too_blurred": width < LEAST_BLURS * blur,
        "too_coarse": width < LEAST_PIXELS * pixel_mm,
        "no_edges": (contrast <= 0.0)
        | (fits.rms > MOST_RESIDUAL * contrast)
        | (farther > OTHER_EDGE * contrast)
        | (doubt > MOST_DOUBT * width)
        | (np.abs(theta[:, CENTRE]) > search_mm + 1.0)
        | ~np.isfinite(doubt),
        "low_contrast": contrast < LEAST_CONTRAST * brightest,
    }
    reason = np.full(len(theta), MEASURED, dtype=np.int8)
    for name, rows in failed.items():
        reason[rows] = REASONS.index(name)
    return reason


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
