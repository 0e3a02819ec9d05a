"""Bringing two height scales together: each capture knows heights about its own plane only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.comparing.comparison import Datum
from flatscan.comparing.planes import PlaneFit, Tilt, robust_plane, tilted_plane

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.comparing.laying import Grid
    from flatscan.comparing.measured import Measured
    from flatscan.comparing.overlaid import Overlaid
    from flatscan.comparing.pose import Pose

#: Planned change smaller than this is none; floor nearer than this to planned work may have got compound.
_NO_WORK_MM, _MARGIN_MM = 0.05, 100.0
#: Least part of the floor seen in both to lay the plane on, and how far it must spread: the narrower of its two
#: standard deviations over that of the whole floor.
_LEAST_SHARE, _LEAST_SPREAD = 0.15, 0.5
#: Least part of it that must agree within two standard uncertainties: normal errors agree to 95 %.
_LEAST_AGREE = 0.7
_LEAST_CELLS = 12


def floor_without_work(common: Overlaid, before: Measured, pose: Pose) -> NDArray[np.bool_]:
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


def kept_as_it_was(common: Overlaid, before: Measured, pose: Pose) -> NDArray[np.bool_]:
    """(n,) cells that both saw in places where the survey lets nothing be placed."""
    from shapely import Polygon, contains_xy

    places = pose.back(common.xy_mm)
    inside = np.zeros(len(places), dtype=bool)
    for ring in before.kept_places:
        # A cell that reaches over the border holds some of what was placed beside it.
        inner = Polygon(ring).buffer(-common.grid.cell_mm)
        inside |= contains_xy(inner, places[:, 0], places[:, 1])
    return inside


def spread(xy_mm: NDArray[np.float64], whole_mm: NDArray[np.float64]) -> float:
    """Narrower standard deviation of some places over that of all, 1: spread as wide as the floor."""
    if len(xy_mm) < _LEAST_CELLS:
        return 0.0
    some, every = (float(np.linalg.eigvalsh(np.cov(places.T))[0]) for places in (xy_mm, whole_mm))
    return float(np.sqrt(max(some, 0.0) / max(every, 1e-9)))


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """The datum's plane, the cells (n,) it was laid on, what it is worth; ``tilt`` where gravity helped."""

    fit: PlaneFit
    used: NDArray[np.bool_]
    datum: Datum
    tilt: Tilt | None = None


def lay(
    common: Overlaid,
    free: NDArray[np.bool_],
    kept: NDArray[np.bool_],
    errors_mm: NDArray[np.float32],
    tilt: Tilt | None,
) -> Laid:
    """Lay the plane on floor without planned work, else on what the survey keeps as it was, else on all of it.

    Parameters
    ----------
    free, kept : (n,) cells without planned work, and in places that the survey keeps
    errors_mm : (draws, n) simulated errors of the difference
    tilt : how far the two reference planes differ by gravity; None: not known for both
    """
    xy, d = common.xy_mm, common.d_mm
    u_mm = errors_mm.std(axis=0).astype(np.float64)
    share, wide = float(free.mean()), spread(xy[free], xy)
    if share >= _LEAST_SHARE and wide >= _LEAST_SPREAD:
        fit = robust_plane(xy[free], d[free], least_scale_mm=float(np.median(u_mm[free])))
        agrees = _agreeing(d[free] - fit.at(xy[free]), u_mm[free])
        if agrees >= _LEAST_AGREE:
            why = f"heights are set against the {100.0 * share:.0f} % of the floor that no work was planned on"
            return Laid(fit, free, Datum("unchanged_floor", share, agrees, 0.0, why))
        why = f"only {100.0 * agrees:.0f} % of the floor that no work was planned on is as it was"
    elif share >= _LEAST_SHARE:
        why = "the floor left without work lies on one side only, and the heights cannot be set against it"
    else:
        why = "work was planned on nearly the whole floor, so that the heights cannot be set against what was left"
    found = _on_kept(common, kept, errors_mm, tilt)
    if found is not None:
        return found
    fit = robust_plane(xy, d, least_scale_mm=float(np.median(u_mm)))
    return Laid(fit, np.ones(len(d), dtype=bool), Datum("shape_only", share, 0.0, 0.0, why))


def _on_kept(
    common: Overlaid, kept: NDArray[np.bool_], errors_mm: NDArray[np.float32], tilt: Tilt | None
) -> Laid | None:
    """The plane on what the survey keeps: by itself where it spreads over the floor, with gravity where it does not."""
    if int(kept.sum()) < _LEAST_CELLS:
        return None
    xy, d = common.xy_mm, common.d_mm
    where = "places that the survey keeps as they were"
    if spread(xy[kept], xy) >= _LEAST_SPREAD:
        fit, tilt = (
            robust_plane(xy[kept], d[kept], least_scale_mm=float(np.median(errors_mm[:, kept].std(axis=0)))),
            None,
        )
    elif tilt is not None:
        # The cells of a small place share their error, so all of them together count as often as they are independent.
        shared = float(errors_mm[:, kept].mean(axis=1).var()) * float(kept.sum())
        fit, where = tilted_plane(xy[kept], d[kept], max(shared, 1e-9), tilt), f"{where}, and their tilts by gravity"
    else:
        return None
    agrees = _agreeing(d[kept] - fit.at(xy[kept]), errors_mm[:, kept].std(axis=0).astype(np.float64))
    if agrees < _LEAST_AGREE:
        return None
    return Laid(
        fit, kept, Datum("kept_places", float(kept.mean()), agrees, 0.0, f"heights are set against {where}"), tilt
    )


def _agreeing(rest_mm: NDArray[np.float64], u_mm: NDArray[np.float64]) -> float:
    return float(np.mean(np.abs(rest_mm) <= 2.0 * u_mm + 1e-6))


def tilt_between(common: Overlaid, pose: Pose) -> Tilt | None:
    """How the two reference planes differ by gravity, as the difference of heights shows it on unchanged floor.

    A reference plane falls by ``fall`` along its direction; heights are about it, so after minus before of floor that
    stayed as it was rises by the fall after less the fall before.
    """
    before, after = common.before.slope, common.after.slope
    if before is None or after is None:
        return None
    rise = np.zeros(2)
    for slope, sign, turn in ((after, 1.0, 0.0), (before, -1.0, pose.angle_rad)):
        angle = slope.direction_rad + turn
        rise += sign * slope.fall.value * np.array([np.cos(angle), np.sin(angle)])
    return Tilt(rise, float(np.hypot(before.fall.u, after.fall.u)))


def on_grid(values: NDArray[np.floating], both: NDArray[np.bool_], grid: Grid) -> NDArray[np.float32]:
    """(n,) values of the cells that both saw, on the grid; NaN elsewhere."""
    full = np.full(grid.shape, np.nan, dtype=np.float32)
    full[both] = values
    return full
