"""Several photos of one station: one width, and what its uncertainty is made of."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Lip between tiles where nothing is known of it: standard deviation, mm. Common practice, no source.
PRIOR_LIP_MM = 0.7
#: Seen from the side, the far tile's side shows below its edge, in a tone that is taken for the face's: standard
#: uncertainty of the width per tangent, mm. Assumption.
SIDE_MM = 0.2
#: Of the width: lens and distance from the camera, beside the height's own uncertainty (residual lens 0.1 to 0.3 %).
SCALE_SHARE = 0.003
#: Pose: standard uncertainty of the viewing direction, rad.
POSE_RAD = 0.005
#: Of each photo by itself, beside its noise: keeps photos from nearly one place from being played against each other.
EACH_PHOTO_MM = 0.04
_NOT_SEEN_MM2 = 1e9


class Views(NamedTuple):
    """(n, p) what p photos say of n stations; NaN width: nothing.

    ``width`` as seen at the floor's height; ``noise``: standard uncertainty by residuals and repeats; ``blur``,
    ``edges``: by what these may do; ``tan``: tangent of the view across, + from the left; ``depth``: distance along the
    camera's axis. mm.
    """

    width: NDArray[np.float64]
    noise: NDArray[np.float64]
    blur: NDArray[np.float64]
    edges: NDArray[np.float64]
    tan: NDArray[np.float64]
    depth: NDArray[np.float64]


class Combined(NamedTuple):
    """(n,) width mm (NaN: no photo measured it), standard uncertainty, photos used, and (n,) parts by name."""

    width: NDArray[np.float64]
    u: NDArray[np.float64]
    photos: NDArray[np.int32]
    parts: dict[str, NDArray[np.float64]]


def combine(views: Views, lip_mm: NDArray[np.float64], lip_u_mm: NDArray[np.float64], height_u_mm: float) -> Combined:
    """Generalised least squares over the photos of each station.

    The left edge stands lip/2 above the floor taken, the right one lip/2 below. A camera that looks along (tan t, +
    from the left) sees a point h too high at h·t to the right, so the width seen is wall − lip·t: corrected by + lip·t.
    The error of the lip is common to all photos of a station, with factor t; that of the far side with |t|. Photos that
    scatter more than they say raise the uncertainty by the Birge ratio (root of chi² per degree of freedom, 1 or more).
    """
    seen = np.isfinite(views.width)
    known = np.isfinite(lip_mm)
    lip = np.where(known, lip_mm, 0.0)[:, None]
    lip_u = np.where(known, np.nan_to_num(lip_u_mm, nan=PRIOR_LIP_MM), PRIOR_LIP_MM)[:, None]
    tan = np.where(seen, views.tan, 0.0)
    noise2 = np.where(seen, views.noise**2 + EACH_PHOTO_MM**2, _NOT_SEEN_MM2)
    value = np.where(seen, views.width + lip * tan, 0.0)
    common = [lip_u * tan, SIDE_MM * np.abs(tan)]
    covariance = np.einsum("np,pq->npq", noise2, np.eye(noise2.shape[1]))
    covariance = covariance + sum(part[:, :, None] * part[:, None, :] for part in common)
    inverse = np.linalg.inv(covariance)
    factor = inverse.sum(axis=2)
    factor = np.where(seen, factor / factor.sum(axis=1, keepdims=True), 0.0)
    width = (factor * value).sum(axis=1)
    photos = seen.sum(axis=1).astype(np.int32)
    birge = _birge(np.where(seen, value - width[:, None], 0.0), inverse, photos)
    pose = POSE_RAD * (2.0 * np.abs(tan) * width[:, None] + np.abs(lip))
    share = np.hypot(SCALE_SHARE, height_u_mm / np.where(seen, views.depth, 1.0))
    parts = {
        "noise": birge * np.sqrt((factor**2 * np.where(seen, noise2, 0.0)).sum(axis=1)),
        "blur": np.abs((factor * np.where(seen, views.blur, 0.0)).sum(axis=1)),
        "scale": np.abs(width * (factor * share).sum(axis=1)),
        "lip_view": birge * np.hypot(*(np.abs((factor * part).sum(axis=1)) for part in common)),
        "pose": np.sqrt((factor**2 * pose**2).sum(axis=1)),
        "edges": np.abs((factor * np.where(seen, views.edges, 0.0)).sum(axis=1)),
    }
    none = photos == 0
    for part in parts.values():
        part[none] = np.nan
    u = np.sqrt(sum(part**2 for part in parts.values()))
    return Combined(np.where(none, np.nan, width), u, photos, parts)


def _birge(off: NDArray[np.float64], inverse: NDArray[np.float64], photos: NDArray[np.int32]) -> NDArray[np.float64]:
    chi2 = np.einsum("np,npq,nq->n", off, inverse, off)
    return np.asarray(np.sqrt(np.maximum(1.0, chi2 / np.maximum(photos - 1, 1))), dtype=np.float64)
