"""All stations one photo shows: strips, profiles, fits, and which of them to believe."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.widths.doubts import blur_doubt, edge_doubt
from flatscan.measures.joints.widths.fit import Fits, fit_profiles, settled
from flatscan.measures.joints.widths.levels import other_levels
from flatscan.measures.joints.widths.profile_model import (
    CENTRE,
    GROOVE,
    JOINT,
    LEFT,
    LOG_BLUR,
    RIGHT,
    RIM_LEFT,
    RIM_MM,
    RIM_RIGHT,
    WIDTH,
    inner_tones,
)
from flatscan.measures.joints.widths.refusal import MEASURED, OTHER_LEVEL, REASONS, contrast_of, refusals
from flatscan.measures.joints.widths.start import WIDTHS_MM, Band, best_band, start_of
from flatscan.measures.joints.widths.straighten import profiles_of
from flatscan.measures.joints.widths.strips import Grid, Places, Projects, pixels_of, sample, strip_grid

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: How far off its centre line a joint is looked for.
SEARCH_MM = 4.0
#: Flat face on either side of the joint that takes part in the fit.
FACE_MM = 4.5
#: Steps across per photo pixel, and the finest step: below it samples only repeat each other.
_STEP_PIXELS = 0.5
_LEAST_STEP_MM = 0.06
_ROWS = 64
PARTS = 3
_AT_ONCE = 96
#: Shades of a groove are drawn to 0 as by one look at them with this share of the strip's tone for its spread.
_SHADES = 0.5
#: A groove's shades are taken when they bring the residual below this share of what two levels leave.
_WORTH = 0.75
#: Tone of a shaded corner over the face's, where a fit starts.
_DARK_RIM = 0.7
#: Brightness of a channel that must be gained before colour is taken for grey: colour is stored coarser.
_COLOUR_GAIN = 1.4
_GREY = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What one photo says of k stations.

    ``reason``: (k,) index into ``REASONS``, or ``MEASURED``; the rest (k,) in mm, meaningless where refused.
    ``fit_u``: of the width by its residuals; ``part_widths``: (k, parts) of parts of the stretch; ``blur_u``: by the
    fitted ``blur``'s and the tone's unknown shape; ``edge_u``: by the shade of rounded edges.
    """

    reason: NDArray[np.int8]
    width: NDArray[np.float64]
    fit_u: NDArray[np.float64]
    part_widths: NDArray[np.float64]
    blur: NDArray[np.float64]
    blur_u: NDArray[np.float64]
    centre: NDArray[np.float64]
    edge_u: NDArray[np.float64]


def read_photo(photo: Projects, places: Places, pixel_mm: NDArray[np.float64], *, rng: np.random.Generator) -> Reading:
    """Load the photo once and measure every place in it."""
    image = photo.load()
    step = max(_LEAST_STEP_MM, _STEP_PIXELS * float(np.median(pixel_mm)))
    reach = SEARCH_MM + float(WIDTHS_MM[-1]) / 2.0 + FACE_MM
    grid = strip_grid(reach, step, _ROWS, rng)
    chunks = []
    for first in range(0, len(pixel_mm), _AT_ONCE):
        rows = slice(first, first + _AT_ONCE)
        part = Places(*(array[rows] for array in places))
        chunks.append(_read_chunk(photo, image, part, grid, pixel_mm[rows]))
    fields = Reading.__dataclass_fields__
    return Reading(**{name: np.concatenate([getattr(chunk, name) for chunk in chunks]) for name in fields})


def _read_chunk(
    photo: Projects, image: NDArray[np.uint8], places: Places, grid: Grid, pixel_mm: NDArray[np.float64]
) -> Reading:
    pixels, inside = pixels_of(photo, places, grid)
    tone, band = _best_tone(sample(image, pixels), grid.across_mm)
    straight = profiles_of(tone, grid.across_mm, grid.along, band, parts=PARTS)
    band = best_band(grid.across_mm, straight.whole, SEARCH_MM)
    fits, weight = _fit(grid.across_mm, straight.whole, band, pixel_mm)
    theta = fits.theta
    parts = np.stack([_fit_again(grid.across_mm, straight.parts[:, i], weight, fits) for i in range(PARTS)], axis=1)
    reason = refusals(fits, grid.across_mm, straight.whole, pixel_mm, SEARCH_MM)
    reason[~inside] = REASONS.index("no_photo")
    face, inner = (theta[:, RIGHT] + theta[:, LEFT]) / 2.0, inner_tones(theta).mean(axis=1)
    return Reading(
        reason=reason,
        width=theta[:, WIDTH],
        fit_u=np.sqrt(np.maximum(fits.covariance[:, WIDTH, WIDTH], 0.0)),
        part_widths=parts,
        blur=np.exp(theta[:, LOG_BLUR]),
        blur_u=blur_doubt(theta[:, WIDTH], np.exp(theta[:, LOG_BLUR]), inner, face),
        centre=theta[:, CENTRE],
        edge_u=edge_doubt(contrast_of(theta), face),
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


def _fit(
    x_mm: NDArray[np.float64], tone: NDArray[np.float64], band: Band, pixel_mm: NDArray[np.float64]
) -> tuple[Fits, NDArray[np.float64]]:
    """Two levels first; where that leaves something over, or the joint is light, a groove with shades of its own.

    Light grout lies between two dark lines, tile sides and corners that light misses: its edges are not the joint's.

    Each is fitted twice: the second time over faces counted from the edges that the first one found.
    """
    start = start_of(band, 1.0)
    start[:, LOG_BLUR] = np.log(np.minimum(1.2 * pixel_mm, band.width_mm / 4.0))
    fits, weights = _twice(x_mm, tone, start, None)
    theta = fits.theta
    light = theta[:, JOINT] > theta[:, [RIGHT, LEFT]].max(axis=1)
    left_over = other_levels(fits, x_mm, tone)[0] > OTHER_LEVEL * contrast_of(theta)
    rows = np.flatnonzero(light | left_over)
    if not len(rows):
        return fits, weights
    prior = (fits.rms[rows] / (_SHADES * np.maximum(tone[rows].mean(axis=1), 1e-6))) ** 2
    for rimmed in (False, True):
        groove, window = _twice(x_mm, tone[rows], _groove_start(start[rows], rimmed=rimmed), prior)
        grooved = (fits.theta[rows][:, GROOVE] != 0.0).any(axis=1)
        better = groove.rms < np.where(grooved, 1.0, _WORTH) * fits.rms[rows]
        fits, weights = _put(fits, weights, rows[better], _rows(groove, np.flatnonzero(better)), window[better])
    return fits, weights


def _twice(
    x_mm: NDArray[np.float64], tone: NDArray[np.float64], start: NDArray[np.float64], prior: NDArray[np.float64] | None
) -> tuple[Fits, NDArray[np.float64]]:
    theta = start
    for _ in range(2):
        weight = _window(x_mm, theta)
        fits = fit_profiles(x_mm, tone, weight, theta, groove_prior=prior)
        theta = fits.theta
    return fits, weight


def _groove_start(start: NDArray[np.float64], *, rimmed: bool) -> NDArray[np.float64]:
    """As it is, or with dark lines outside the band that was found: light grout between shaded corners."""
    theta = start.copy()
    if rimmed:
        theta[:, WIDTH] += 2.0 * RIM_MM
        for rim, face in ((RIM_RIGHT, RIGHT), (RIM_LEFT, LEFT)):
            theta[:, rim] = _DARK_RIM * theta[:, face] - theta[:, JOINT]
    return theta


def _rows(fits: Fits, rows: NDArray[np.intp]) -> Fits:
    return Fits(**{name: getattr(fits, name)[rows] for name in Fits.__dataclass_fields__})


def _put(
    fits: Fits, weights: NDArray[np.float64], rows: NDArray[np.intp], new: Fits, new_weights: NDArray[np.float64]
) -> tuple[Fits, NDArray[np.float64]]:
    mixed = {name: getattr(fits, name).copy() for name in Fits.__dataclass_fields__}
    for name, values in mixed.items():
        values[rows] = getattr(new, name)
    weights = weights.copy()
    weights[rows] = new_weights
    return Fits(**mixed), weights


def _fit_again(
    x_mm: NDArray[np.float64], tone: NDArray[np.float64], weight: NDArray[np.float64], fits: Fits
) -> NDArray[np.float64]:
    """(k,) width of another profile of the same joint, by the model that the first one took."""
    theta = fits.theta
    shaded = (theta[:, GROOVE] != 0.0).any(axis=1)
    prior = (fits.rms / (_SHADES * np.maximum(tone.mean(axis=1), 1e-6))) ** 2
    width = np.empty(len(theta))
    for rows, shades in ((~shaded, None), (shaded, prior[shaded])):
        width[rows] = settled(x_mm, tone[rows], weight[rows], theta[rows], groove_prior=shades)[:, WIDTH]
    return width


def _window(x_mm: NDArray[np.float64], theta: NDArray[np.float64]) -> NDArray[np.float64]:
    reach = theta[:, [WIDTH]] / 2.0 + FACE_MM
    return (np.abs(x_mm - theta[:, [CENTRE]]) <= reach).astype(np.float64)


__all__ = ["MEASURED", "Reading", "read_photo"]
