"""All stations one photo shows: strips, profiles, fits, and which of them to believe."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.widths.doubts import blur_doubt
from flatscan.measures.joints.widths.fit import Across, Fits, fit_profiles, settled
from flatscan.measures.joints.widths.groove_model import CENTRE, DEPTH, EDGE, JOINT, LEFT, LOG_BLUR, RIGHT, WIDTH
from flatscan.measures.joints.widths.refusal import MEASURED, REASONS, refusals
from flatscan.measures.joints.widths.start import WIDTHS_MM, Band, best_band, starts_of
from flatscan.measures.joints.widths.straighten import profiles_of
from flatscan.measures.joints.widths.strips import Grid, Places, Projects, pixels_of, sample, strip_grid

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: How far off its centre line a joint is looked for.
SEARCH_MM = 4.0
#: Flat face on either side of the joint that takes part in the fit.
FACE_MM = 4.5
#: Standard uncertainty of a width because no edge is round and lit as the model has it, mm. Assumption, from invented
#: photos: floors with edges rounded over 0.3 to 1.2 mm were 0 to 0.25 mm off as a whole.
EDGE_SHAPE_MM = 0.1
#: Steps across per photo pixel, and the finest step: below it samples only repeat each other.
_STEP_PIXELS = 0.5
_LEAST_STEP_MM = 0.06
_ROWS = 64
PARTS = 3
_AT_ONCE = 96
#: Brightness of a channel that must be gained before colour is taken for grey: colour is stored coarser.
_COLOUR_GAIN = 1.4
_GREY = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What one photo says of k stations.

    ``reason``: (k,) index into ``REASONS``, or ``MEASURED``; the rest (k,) in mm, meaningless where refused.
    ``fit_u``: of the width by its residuals; ``part_widths``: (k, parts) of parts of the stretch; ``blur_u``: by the
    fitted ``blur``'s and the tone's unknown shape and by the groove's unknown depth; ``edge_u``: by the
    unknown rounding of edges.
    """

    reason: NDArray[np.int8]
    width: NDArray[np.float64]
    fit_u: NDArray[np.float64]
    part_widths: NDArray[np.float64]
    blur: NDArray[np.float64]
    blur_u: NDArray[np.float64]
    edge_u: NDArray[np.float64]


def read_photo(
    photo: Projects,
    places: Places,
    pixel_mm: NDArray[np.float64],
    slant: NDArray[np.float64],
    *,
    rng: np.random.Generator,
) -> Reading:
    """Load the photo once and measure every place in it."""
    image = photo.load()
    step = max(_LEAST_STEP_MM, _STEP_PIXELS * float(np.median(pixel_mm)))
    reach = SEARCH_MM + float(WIDTHS_MM[-1]) / 2.0 + FACE_MM
    grid = strip_grid(reach, step, _ROWS, rng)
    chunks = []
    for first in range(0, len(pixel_mm), _AT_ONCE):
        rows = slice(first, first + _AT_ONCE)
        part = Places(*(array[rows] for array in places))
        chunks.append(_read_chunk(photo, image, part, grid, pixel_mm[rows], slant[rows]))
    fields = Reading.__dataclass_fields__
    return Reading(**{name: np.concatenate([getattr(chunk, name) for chunk in chunks]) for name in fields})


def _read_chunk(
    photo: Projects,
    image: NDArray[np.uint8],
    places: Places,
    grid: Grid,
    pixel_mm: NDArray[np.float64],
    slant: NDArray[np.float64],
) -> Reading:
    pixels, inside = pixels_of(photo, places, grid)
    tone, band = _best_tone(sample(image, pixels), grid.across_mm)
    straight = profiles_of(tone, grid.across_mm, grid.along, band, parts=PARTS)
    across = Across(grid.across_mm, straight.whole, slant, pixel_mm)
    fits, weight = fit_twice(across)
    theta = fits.theta
    again = [settled(replace(across, tone=straight.parts[:, i]), weight, theta[:, None, :]) for i in range(PARTS)]
    reason = refusals(fits, across, SEARCH_MM)
    reason[~inside] = REASONS.index("no_photo")
    face, blur = (theta[:, RIGHT] + theta[:, LEFT]) / 2.0, np.exp(theta[:, LOG_BLUR])
    blur_u = blur_doubt(theta[:, WIDTH], blur, theta[:, JOINT], face)
    return Reading(
        reason=reason,
        width=theta[:, WIDTH],
        fit_u=np.sqrt(np.maximum(fits.covariance[:, WIDTH, WIDTH], 0.0)),
        part_widths=np.stack(again, axis=1)[:, :, WIDTH],
        blur=blur,
        blur_u=np.sqrt(blur_u**2 + fits.assumed[:, LOG_BLUR] + fits.assumed[:, DEPTH]),
        edge_u=np.sqrt(fits.assumed[:, EDGE] + EDGE_SHAPE_MM**2),
    )


def _best_tone(strips: NDArray[np.float32], x_mm: NDArray[np.float64]) -> tuple[NDArray[np.float32], Band]:
    """(k, rows, m) of the channel in which the joint stands out most, and where it is seen there."""
    tones = [strips @ _GREY, *(strips[..., channel] for channel in range(3))]
    bands = [best_band(x_mm, tone.mean(axis=1).astype(np.float64), SEARCH_MM) for tone in tones]
    gain = np.array([1.0] + [1.0 / _COLOUR_GAIN] * 3)[:, None]
    pick = np.argmax(np.stack([band.contrast for band in bands]) * gain, axis=0)
    rows = np.arange(len(strips))
    tone = np.stack(tones)[pick, rows]
    return tone, Band(*(np.stack(field)[pick, rows] for field in zip(*bands, strict=True)))


def fit_twice(across: Across) -> tuple[Fits, NDArray[np.float64]]:
    """Fits and their weights, the second time over faces counted from the edges that the first time found."""
    starts = starts_of(across, SEARCH_MM)
    centre, width = starts[:, :, CENTRE], starts[:, :, WIDTH]
    low, high = (centre - width / 2.0).min(axis=1), (centre + width / 2.0).max(axis=1)
    theta = settled(across, _window(across.x_mm, (low + high) / 2.0, high - low), starts)
    weight = _window(across.x_mm, theta[:, CENTRE], theta[:, WIDTH])
    return fit_profiles(across, weight, theta[:, None, :]), weight


def _window(
    x_mm: NDArray[np.float64], centre_mm: NDArray[np.float64], width_mm: NDArray[np.float64]
) -> NDArray[np.float64]:
    reach = width_mm[:, None] / 2.0 + FACE_MM
    # A fit that ran out of the strip still gets samples, to be refused by what they show.
    centre = np.clip(centre_mm, -SEARCH_MM, SEARCH_MM)[:, None]
    return (np.abs(x_mm - centre) <= reach).astype(np.float64)


__all__ = ["MEASURED", "Reading", "fit_twice", "read_photo"]
