"""One lip per piece from all its views: weighted mean, with the scatter between views pooled over the floor."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.joints.lips.viewing import Viewing
    from flatscan.measures.joints.lips.views_apart import ViewLips

#: Size of the depth camera's own fixed pattern over its correlated noise: 10 to 40 % (assumption of the sensor model).
FIXED_SHARE = 0.25
#: Scatter between views counts in full from this many degrees of freedom; the noise model stands for so many.
_PRIOR_FREEDOM = 20.0
_LEAST_SCALE, _MOST_SCALE = 0.5, 4.0
_HUBER = 2.5
#: A piece this many noise ranges further in the picture meets another part of the fixed pattern; so does a turned one.
_APART_LENGTHS = 1.5


class PieceLips(NamedTuple):
    """Per piece: ``line`` (p, 2), NaN: no view; covariances (p, 2, 2) by source; ``views`` (p,)."""

    line: NDArray[np.float64]
    white: NDArray[np.float64]
    correlated: NDArray[np.float64]
    fixed: NDArray[np.float64]
    bow: NDArray[np.float64]
    views: NDArray[np.int32]


def all_views(
    found: ViewLips, pieces: int, middles_mm: NDArray[np.float64], along: NDArray[np.float64], viewing: Viewing
) -> PieceLips:
    """Weighted means; the views' covariances are scaled so that they explain how far views lie apart."""
    noise = found.white + found.correlated
    weight = np.linalg.inv(noise)
    factor = np.ones(len(noise))
    for _ in range(3):
        used = weight * factor[:, None, None]
        total, line = _means(found, used, pieces)
        off = found.line - line[found.piece]
        square = np.einsum("ij,ijk,ik->i", off, weight, off)
        factor = np.minimum(1.0, _HUBER / np.sqrt(np.maximum(square / _scale2(square, found, pieces), 1e-12)))
    views = np.bincount(found.piece, minlength=pieces)
    scale2 = _scale2(square, found, pieces)
    inverse = np.full((pieces, 2, 2), np.nan)
    inverse[views > 0] = np.linalg.inv(total[views > 0])
    reader = np.einsum("ijk,ikl->ijl", inverse[found.piece], used)

    def spread(part: NDArray[np.float64]) -> NDArray[np.float64]:
        return _summed(np.einsum("ijk,ikl,iml->ijm", reader, part, reader), found.piece, pieces)

    def common(part: NDArray[np.float64]) -> NDArray[np.float64]:
        # The same in every view, so it does not average.
        return _summed(np.einsum("ijk,ikl->ijl", reader, part), found.piece, pieces)

    white, correlated = spread(found.white) * scale2, spread(found.correlated) * scale2
    fixed = np.zeros_like(white)
    if viewing.by_pixel:
        apart = _places_in_picture(found, pieces, middles_mm, along, viewing)
        one_view = _symmetric(common(found.correlated)) * scale2
        fixed = FIXED_SHARE**2 * one_view / np.maximum(apart, 1)[:, None, None]
    bow = _symmetric(common(found.bow))
    return PieceLips(line, white, correlated, fixed, bow, views.astype(np.int32))


def _means(found: ViewLips, used: NDArray[np.float64], pieces: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Sum of the weights (p, 2, 2) and the weighted mean line (p, 2)."""
    total = _summed(used, found.piece, pieces)
    right = _summed(np.einsum("ijk,ik->ij", used, found.line), found.piece, pieces)
    line = np.full((pieces, 2), np.nan)
    seen = np.bincount(found.piece, minlength=pieces) > 0
    line[seen] = np.linalg.solve(total[seen], right[seen][..., None])[..., 0]
    return total, line


def _scale2(square: NDArray[np.float64], found: ViewLips, pieces: int) -> float:
    """How much more the views scatter than their noise says, pooled; near 1 where few pieces have several views."""
    views = np.bincount(found.piece, minlength=pieces)
    freedom = 2.0 * float(np.maximum(views - 1, 0).sum())
    # Far-off views are not noise: each counts up to the square of the limit.
    seen = float(np.minimum(square, 2.0 * _HUBER**2)[views[found.piece] > 1].sum())
    return float(np.clip((_PRIOR_FREEDOM + seen) / (_PRIOR_FREEDOM + freedom), _LEAST_SCALE**2, _MOST_SCALE**2))


def _places_in_picture(
    found: ViewLips, pieces: int, middles_mm: NDArray[np.float64], along: NDArray[np.float64], viewing: Viewing
) -> NDArray[np.int64]:
    """(p,) at how many different places of the sensor, or turned how many ways, the views saw each piece."""
    view = np.searchsorted(viewing.group, found.group)
    away = np.column_stack([middles_mm[found.piece], np.zeros(len(view))]) - viewing.eye_mm[view]
    turn = viewing.turn[view]
    camera = np.einsum("ikj,ik->ij", turn, away)
    pixel = camera[:, :2] / camera[:, 2:] * viewing.focal_px[view][:, None]
    way = np.einsum("ikj,ik->ij", turn[:, :2], along[found.piece])
    # The lip turns sign with the piece's way in the picture, so half a turn is another place too.
    angle = np.arctan2(way[:, 1], way[:, 0])
    reach = _APART_LENGTHS * found.noise.length_px
    spots = np.column_stack([pixel / reach, np.cos(angle) * 2.0, np.sin(angle) * 2.0])
    count = np.zeros(pieces, dtype=np.int64)
    order = np.argsort(found.piece, kind="stable")
    ends = np.searchsorted(found.piece[order], np.arange(pieces + 1))
    for piece in range(pieces):
        own = spots[order[ends[piece] : ends[piece + 1]]]
        while len(own):
            count[piece] += 1
            own = own[np.sum((own - own[0]) ** 2, axis=1) > 1.0]
    return count


def _summed(values: NDArray[np.float64], piece: NDArray[np.int32], pieces: int) -> NDArray[np.float64]:
    out = np.zeros((pieces, *values.shape[1:]))
    np.add.at(out, piece, values)
    return out


def _symmetric(matrices: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray((matrices + np.swapaxes(matrices, 1, 2)) / 2.0, dtype=np.float64)
