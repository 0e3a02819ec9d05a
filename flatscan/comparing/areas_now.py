"""Each planned area as it is now: what passes, how much was placed, how thick."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.comparing.comparison import AreaNow, GapNow
from flatscan.comparing.gaps_now import WORST, judged, untold, worst_in
from flatscan.comparing.placed import cover, placed_l
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.comparing.measured import Measured, PlannedArea
    from flatscan.comparing.overlaid import Overlaid
    from flatscan.comparing.pose import Pose
    from flatscan.judgement.verdict import VerdictWord

#: Less of an area than this seen now, and it is not seen; less than that, and it cannot be called within.
_LEAST_SEEN, _MOSTLY_SEEN = 0.5, 0.9
#: Thickest places are looked for in the mean over a patch of this radius: one cell is mostly noise.
_PATCH_MM = 60.0
#: Thicker than planned is said from this many standard uncertainties on: among the patches of an area the farthest
#: off of some twenty is nearly three by chance.
_CLEARLY = 3.0


def areas_now(
    before: Measured,
    after: Measured,
    common: Overlaid,
    pose: Pose,
    d_mm: NDArray[np.float64],
    errors_mm: NDArray[np.float32],
    *,
    rise_known: bool,
) -> tuple[AreaNow, ...]:
    """Every planned area in its order; ``d_mm`` (n,) and ``errors_mm`` (draws, n) of the cells that both saw."""
    return tuple(
        _area(before, after, common, pose, area, d_mm, errors_mm, rise_known=rise_known) for area in before.areas
    )


def _area(
    before: Measured,
    after: Measured,
    common: Overlaid,
    pose: Pose,
    area: PlannedArea,
    d_mm: NDArray[np.float64],
    errors_mm: NDArray[np.float32],
    *,
    rise_known: bool,
) -> AreaNow:
    rings = tuple(pose.apply(ring) for ring in area.rings)
    share = cover(rings, common.grid)
    whole = area.area_m2 * 1e6 / common.grid.cell_mm**2
    seen = min(1.0, float(share[common.both].sum()) / max(whole, 1e-9))
    seen_now = min(1.0, float(share[common.after.seen].sum()) / max(whole, 1e-9))
    gaps = tuple(_gap(before, after, area, rings, pair) for pair in after.gap_limits)
    placed = thickest = None
    if rise_known and seen >= _LEAST_SEEN:
        sign = -1.0 if area.grinds else 1.0
        placed = placed_l(share, common.both, common.grid.cell_mm, sign * d_mm, errors_mm)
        thickest = _thickest(share, common, sign * d_mm, errors_mm)
    return AreaNow(
        area,
        rings,
        gaps,
        _together([gap.verdict for gap in gaps], seen_now),
        seen,
        placed,
        thickest,
        thickest is not None and thickest.value - area.max_mm > _CLEARLY * thickest.u,
    )


def _gap(
    before: Measured,
    after: Measured,
    area: PlannedArea,
    rings: Sequence[NDArray[np.float64]],
    limit: tuple[float, float],
) -> GapNow:
    edge_mm, limit_mm = limit
    now, word = None, "not_seen"
    words = judged(after, edge_mm, limit_mm)
    if words is not None:
        now, word = worst_in(words, _blocks(rings, words.xy_mm, words.grid.block_mm))
        if word == "within" and untold(after, edge_mm, limit_mm):
            word = "not_decided"
    was = None
    earlier = judged(before, edge_mm, limit_mm)
    if earlier is not None:
        was, _ = worst_in(earlier, _blocks(area.rings, earlier.xy_mm, earlier.grid.block_mm))
    return GapNow(edge_mm, limit_mm, was, now, word)  # type: ignore[arg-type]


def _blocks(rings: Sequence[NDArray[np.float64]], xy_mm: NDArray[np.float64], block_mm: float) -> NDArray[np.bool_]:
    """Blocks whose middle lies in the area or within half a block of it."""
    from shapely import Polygon, contains_xy

    polygon = Polygon(rings[0]).buffer(block_mm / 2.0)
    return np.asarray(contains_xy(polygon, xy_mm[..., 0], xy_mm[..., 1]))


def _together(words: Sequence[VerdictWord], seen_now: float) -> VerdictWord:
    """The worst of an area's words; an area of which too little was seen cannot be within."""
    if not words or seen_now < _LEAST_SEEN:
        return "not_seen" if "over" not in words else "over"
    worst = min(words, key=WORST.index)
    return "not_decided" if worst == "within" and seen_now < _MOSTLY_SEEN else worst


def _thickest(
    share: NDArray[np.float64], common: Overlaid, d_mm: NDArray[np.float64], errors_mm: NDArray[np.float32]
) -> Quantity | None:
    """The largest mean over a small patch of the area."""
    from scipy.spatial import cKDTree

    cells = np.flatnonzero(share[common.both] > 0.5)  # noqa: PLR2004 - most of the cell
    if not len(cells):
        return None
    xy = common.xy_mm
    patches = cKDTree(xy).query_ball_point(xy[cells], max(_PATCH_MM, common.grid.cell_mm * 0.9))
    means = np.array([d_mm[patch].mean() for patch in patches])
    most = int(means.argmax())
    return Quantity(float(means[most]), float(errors_mm[:, patches[most]].mean(axis=1).std()), "mm")
