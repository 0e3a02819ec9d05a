"""Lips, depths, tilt and warp from the height samples of a capture: the part's front door."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.lips.depths import depths_at
from flatscan.measures.joints.lips.records import Depths, Lips
from flatscan.measures.joints.lips.regions import regions_of
from flatscan.measures.joints.lips.samples import samples_on
from flatscan.measures.joints.lips.smoothness import smoothed
from flatscan.measures.joints.lips.together import all_views
from flatscan.measures.joints.lips.viewing import viewing_of
from flatscan.measures.joints.lips.views_apart import lips_by_view
from flatscan.progress import SILENT, Progress

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.measures.joints.joints import Refusal
    from flatscan.measures.joints.network import JointNetwork
    from flatscan.measures.joints.stations import Stations
    from flatscan.sources.scan import Scan
    from flatscan.surface.surface import Surface

__all__ = ["Depths", "Lips", "measure_depths", "measure_lips", "over_smooth"]

#: The noise is read from pieces drawn with this seed: the same capture gives the same lips.
_SEED = 20_260_101


def measure_lips(
    scan: Scan, surface: Surface, network: JointNetwork, stations: Stations, *, progress: Progress = SILENT
) -> Lips:
    """Lip at every station from free planes through the faces either side (see ``plane_pair`` and ``together``).

    Parameters
    ----------
    scan : its samples; each view is read for itself, so how views are laid on each other does not matter
    surface : gives the floor frame and the floor's height, against which things on it are told apart
    network, stations : where the joints run and where the lips are wanted
    """
    if not network.pieces:
        return _refused(network, stations, "too_few_heights")
    if (smooth := over_smooth(scan, surface, network)) is not None:
        return replace(_refused(network, stations, "smoothed"), smooth=smooth)
    viewing, regions = viewing_of(scan, surface), regions_of(network)
    samples = samples_on(scan, surface, viewing, regions)
    found = lips_by_view(network.pieces, regions, samples, viewing, np.random.default_rng(_SEED), progress)
    start = np.array([piece.start for piece in network.pieces])
    end = np.array([piece.end for piece in network.pieces])
    length = np.linalg.norm(end - start, axis=1)
    joined = all_views(found, len(length), (start + end) / 2.0, (end - start) / length[:, None], viewing)

    at = stations.along_mm - length[stations.piece] / 2.0
    lip = joined.line[stations.piece, 0] + at * joined.line[stations.piece, 1]
    variances = {
        "white_noise": _along(joined.white, stations.piece, at),
        "correlated_noise": _along(joined.correlated, stations.piece, at),
        "fixed_pattern": _along(joined.fixed, stations.piece, at),
        "tile_warp": _along(joined.bow, stations.piece, at),
    }
    u = np.sqrt(np.where(np.isfinite(lip), sum(variances.values()), np.nan))
    covariance = joined.white + joined.correlated + joined.fixed + joined.bow
    covariance[joined.views == 0] = np.nan
    return Lips(
        lip_mm=lip,
        u_mm=u,
        refused=tuple(None if ok else "too_few_heights" for ok in np.isfinite(lip)),
        line=joined.line,
        line_cov=covariance,
        budget={name: np.sqrt(np.where(np.isfinite(lip), value, np.nan)) for name, value in variances.items()},
        views=joined.views,
    )


def measure_depths(
    scan: Scan,
    surface: Surface,
    network: JointNetwork,
    stations: Stations,
    widths_mm: NDArray[np.float64] | None,
    *,
    smooth: Caveat | None,
) -> Depths:
    """Depth at every station, where samples are fine enough to reach the joint's floor (see ``depths``).

    Parameters
    ----------
    widths_mm : (n,) width between the tiles' sides, NaN: not known; None: none is. Without it no depth is given,
        for what a smoothed profile says of a joint's floor depends on it
    smooth : what ``over_smooth`` says of this surface (``Lips.smooth`` has it)
    """
    if smooth is not None:
        none = np.full(len(stations), np.nan)
        refused: list[Refusal | None] = ["smoothed"] * len(stations)
        return Depths(none, none.copy(), tuple(refused))
    return depths_at(scan, viewing_of(scan, surface), network, stations, widths_mm)


def over_smooth(scan: Scan, surface: Surface, network: JointNetwork) -> Caveat | None:
    """The caveat ``surface_smoothed`` where lips and joints may have been smoothed away (see ``smoothness``)."""
    return smoothed(scan, surface, network)


def _along(
    covariance: NDArray[np.float64], piece: NDArray[np.int32], at_mm: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Variance of the line's value at each station."""
    own = covariance[piece]
    variance = own[:, 0, 0] + 2.0 * at_mm * own[:, 0, 1] + at_mm**2 * own[:, 1, 1]
    return np.asarray(np.maximum(variance, 0.0), dtype=np.float64)


def _refused(network: JointNetwork, stations: Stations, why: Refusal) -> Lips:
    pieces, count = len(network.pieces), len(stations)
    names = ("white_noise", "correlated_noise", "fixed_pattern", "tile_warp")
    return Lips(
        lip_mm=np.full(count, np.nan),
        u_mm=np.full(count, np.nan),
        refused=(why,) * count,
        line=np.full((pieces, 2), np.nan),
        line_cov=np.full((pieces, 2, 2), np.nan),
        budget={name: np.full(count, np.nan) for name in names},
        views=np.zeros(pieces, dtype=np.int32),
    )
