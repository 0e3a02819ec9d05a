"""Which photos show which station, how finely and from where."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from flatscan.measures.joints.widths.refusal import MOST_VIEW_TAN

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.measures.joints.widths.strips import Places, Projects
    from flatscan.surface.surface import Surface

#: A joint of 8 px would be 12 mm wide at this size; coarser photos are not opened.
_COARSEST_MM = 1.5
#: How far around a station the photo must reach, mm across.
_MARGIN_MM = 19.0
#: Heights are averaged over this far around a station, mm.
_HEIGHT_REACH_MM = 75.0
#: A view along the joint may slant this much: rows then run together but the width across stays.
_MOST_ALONG_TAN = 1.2
#: Of two photos, this tangent across counts like doubling the pixel.
_SQUARE_TAN = 0.25


class Sights(NamedTuple):
    """The best photos of each station.

    (n, p): index of the photo (-1: none), pixel across mm, tangent of the view across (+ from the left), depth mm.
    (n,) ``steep``: a photo shows it, but from too far to the side.
    """

    photo: NDArray[np.int32]
    pixel_mm: NDArray[np.float64]
    tan: NDArray[np.float64]
    depth_mm: NDArray[np.float64]
    steep: NDArray[np.bool_]


def sights_of(photos: Sequence[Projects], places: Places, most: int) -> Sights:
    """Rank the photos of each station by pixel size and squareness, and keep the ``most`` best."""
    n = len(places.at_mm)
    photo = np.full((n, most), -1, dtype=np.int32)
    poor, pixel, tan, depth = (np.full((n, most), value) for value in (np.inf, np.nan, 0.0, np.nan))
    steep = np.zeros(n, dtype=bool)
    rows = np.arange(n)
    for index, one in enumerate(photos):
        size, across, far, along, inside = _sight(one, places)
        too_steep = (np.abs(across) > MOST_VIEW_TAN) | (np.abs(along) > _MOST_ALONG_TAN)
        steep |= inside & too_steep
        badness = np.where(
            inside & ~too_steep & (size <= _COARSEST_MM), size * (1.0 + (across / _SQUARE_TAN) ** 2), np.inf
        )
        worst = np.argmax(poor, axis=1)
        take = badness < poor[rows, worst]
        at = rows[take], worst[take]
        poor[at], photo[at], pixel[at], tan[at], depth[at] = (
            badness[take],
            index,
            size[take],
            across[take],
            far[take],
        )
    return Sights(photo, pixel, tan, depth, steep)


def _sight(
    photo: Projects, places: Places
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Pixel size across, tangents across and along, depth, and whether the whole strip is in the photo."""
    at, left = places.at_mm, np.pad(places.left, ((0, 0), (0, 1)))
    ends = places.half_mm[:, None] * np.pad(places.along, ((0, 0), (0, 1)))
    corners = [at + across * _MARGIN_MM * left + along * ends for across in (-1, 1) for along in (-1, 1)]
    uv, depth, ok = photo.project(np.concatenate([at - 0.5 * left, at + 0.5 * left, at, *corners]))
    uv, depth, ok = uv.reshape(7, len(at), 2), depth.reshape(7, -1), ok.reshape(7, -1)
    with np.errstate(divide="ignore", invalid="ignore"):
        size = 1.0 / np.linalg.norm(uv[1] - uv[0], axis=1)
    sight = photo.floor_from_camera[:3, 3] - at
    above = np.where(sight[:, 2] > 0.0, sight[:, 2], np.nan)
    across = (sight[:, :2] * places.left).sum(axis=1) / above
    along = (sight[:, :2] * places.along).sum(axis=1) / above
    inside = ok.all(axis=0) & np.isfinite(size) & np.isfinite(above)
    return size, np.nan_to_num(across), depth[2], np.nan_to_num(along), inside


def heights_at(surface: Surface, at_mm: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """(n,) floor height around each place, from the nearest floor seen, and its standard uncertainty."""
    from scipy.ndimage import distance_transform_edt, uniform_filter

    seen = surface.seen
    if not seen.any() or not len(at_mm):
        return np.zeros(len(at_mm)), surface.noise.height_sigma_mm
    size = max(1, 2 * round(_HEIGHT_REACH_MM / surface.cell_mm) + 1)
    share = uniform_filter(seen.astype(np.float64), size, mode="constant")
    total = uniform_filter(np.where(seen, surface.estimate_mm, 0.0).astype(np.float64), size, mode="constant")
    some = share > 1e-9  # noqa: PLR2004 - rounding
    mean = np.where(some, total / np.where(some, share, 1.0), 0.0)
    nearest = distance_transform_edt(~some, return_distances=False, return_indices=True)
    filled = mean[tuple(nearest)]
    cell = ((at_mm - np.asarray(surface.origin_mm)) / surface.cell_mm).astype(np.int64)
    cols, rows = (np.clip(cell[:, axis], 0, filled.shape[1 - axis] - 1) for axis in (0, 1))
    return filled[rows, cols], float(surface.noise.height_sigma_mm)
