"""Bringing two height scales together: each capture knows heights about its own plane only."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.comparing.comparison import Datum
from flatscan.comparing.planes import PlaneFit, robust_plane

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.comparing.common import Common
    from flatscan.comparing.laying import Grid
    from flatscan.comparing.measured import Measured
    from flatscan.comparing.pose import Pose

#: Planned change smaller than this is none; floor nearer than this to planned work may have got compound.
_NO_WORK_MM, _MARGIN_MM = 0.05, 100.0
#: Least part of the floor seen in both to lay the plane on, and how far it must spread: the narrower of its two
#: standard deviations over that of the whole floor.
_LEAST_SHARE, _LEAST_SPREAD = 0.15, 0.5
#: Least part of it that must agree within two standard uncertainties: normal errors agree to 95 %.
_LEAST_AGREE = 0.7
_LEAST_CELLS = 12


def floor_without_work(common: Common, before: Measured, pose: Pose) -> NDArray[np.bool_]:
    """(n,) cells that both saw and no work was planned on, with a margin."""
    from scipy.ndimage import binary_dilation, distance_transform_edt

    planned = before.kept.planned_mm
    worked = np.isfinite(planned) & (np.abs(planned) >= _NO_WORK_MM)
    cell = before.surface.cell_mm
    # Unseen floor of the plan gets what its neighbours get.
    unknown = before.surface.inside & ~np.isfinite(planned)
    worked |= unknown & binary_dilation(worked, iterations=max(1, round(_MARGIN_MM / cell)), mask=unknown | worked)
    if not worked.any():
        return np.ones(int(common.both.sum()), dtype=bool)
    away = distance_transform_edt(~worked, sampling=cell)
    place = (pose.back(common.xy_mm) - np.array(before.surface.origin_mm)) / cell
    col, row = (np.clip(np.floor(v).astype(int), 0, n - 1) for v, n in zip(place.T, worked.shape[::-1], strict=True))
    return np.asarray(away[row, col] > _MARGIN_MM)


def spread(xy_mm: NDArray[np.float64], whole_mm: NDArray[np.float64]) -> float:
    """Narrower standard deviation of some places over that of all, 1: spread as wide as the floor."""
    if len(xy_mm) < _LEAST_CELLS:
        return 0.0
    some, every = (float(np.linalg.eigvalsh(np.cov(places.T))[0]) for places in (xy_mm, whole_mm))
    return float(np.sqrt(max(some, 0.0) / max(every, 1e-9)))


def laid(
    common: Common, free: NDArray[np.bool_], u_mm: NDArray[np.float64]
) -> tuple[PlaneFit, NDArray[np.bool_], Datum]:
    """The datum's plane, the cells (n,) it was laid on, and what it is worth.

    ``free`` (n,): cells without planned work; ``u_mm`` (n,): standard uncertainty of a single difference.
    """
    xy, d = common.xy_mm, common.d_mm
    share = float(free.mean())
    wide = spread(xy[free], xy)
    why = ""
    if share < _LEAST_SHARE or wide < _LEAST_SPREAD:
        why = f"only {100.0 * share:.0f} % of the floor was left without work, and the heights cannot be set against it"
        if share >= _LEAST_SHARE:
            why = "the floor left without work lies on one side only, and the heights cannot be set against it"
    else:
        scale = float(np.median(u_mm[free]))
        fit = robust_plane(xy[free], d[free], least_scale_mm=scale)
        rest = np.abs(d[free] - fit.at(xy[free]))
        agrees = float(np.mean(rest <= 2.0 * u_mm[free] + 1e-6))
        if agrees >= _LEAST_AGREE:
            said = f"heights are set against the {100.0 * share:.0f} % of the floor that no work was planned on"
            return fit, free, Datum("unchanged_floor", share, agrees, 0.0, said)
        why = f"only {100.0 * agrees:.0f} % of the floor that no work was planned on is as it was"
    fit = robust_plane(xy, d, least_scale_mm=float(np.median(u_mm)))
    every = np.ones(len(d), dtype=bool)
    return fit, every, Datum("shape_only", share, 0.0, 0.0, why)


def on_grid(values: NDArray[np.floating], both: NDArray[np.bool_], grid: Grid) -> NDArray[np.float32]:
    """(n,) values of the cells that both saw, on the grid; NaN elsewhere."""
    full = np.full(grid.shape, np.nan, dtype=np.float32)
    full[both] = values
    return full
