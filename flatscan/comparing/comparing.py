"""The stage on one page: two measurements of a floor go in, what the work did comes out."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.comparing.alignment import align
from flatscan.comparing.areas_now import areas_now
from flatscan.comparing.comparison import Comparison, Difference
from flatscan.comparing.datum import floor_without_work, kept_as_it_was, lay, on_grid, tilt_between
from flatscan.comparing.errors_drawn import less_plane, raw_errors
from flatscan.comparing.gaps_now import untold
from flatscan.comparing.open_spots import open_spots
from flatscan.comparing.overlaid import heights, overlaid
from flatscan.comparing.placed import cover, placed_l
from flatscan.comparing.significance import changes, significant
from flatscan.errors import InputError
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.comparing.comparison import AreaNow
    from flatscan.comparing.measured import Measured
    from flatscan.comparing.overlaid import Overlaid

_LEAST_CELLS = 12


def compare_floors(
    before: Measured, after: Measured, *, turned: int | None = None, rng: np.random.Generator
) -> Comparison:
    """Lay the two maps on each other, bring their heights together and tell what changed.

    ``turned``: degrees that the map after is turned against the map before (see ``align``). ``rng``: of the simulated
    errors behind every uncertainty.

    Raises
    ------
    flatscan.errors.FlatscanError
        where the two are not of one floor, fit in several ways, or share no floor that both saw
    """
    align_rng, error_rng = rng.spawn(2)
    alignment = align(before, after, turned=turned, rng=align_rng)
    pose = alignment.pose
    common = overlaid(before, after, pose)
    if int(common.both.sum()) < _LEAST_CELLS:
        raise InputError("the two results", "no floor was seen in both", "Capture the same floor again")
    errors = raw_errors(common, alignment, error_rng)
    laid = lay(
        common,
        floor_without_work(common, before, pose),
        kept_as_it_was(common, before, pose),
        errors,
        tilt_between(common, pose),
    )
    xy = common.xy_mm
    d = common.d_mm - laid.fit.at(xy)
    errors = less_plane(errors, xy, laid, error_rng)
    datum, known = laid.datum, laid.datum.kind != "shape_only"
    found = significant(common, d, errors)
    areas = areas_now(before, after, common, pose, d, errors, rise_known=known)
    worked = _worked(areas, common)
    over_areas = worked if worked.any() else np.ones(len(d), dtype=bool)
    # The plane's own doubt, where it matters: what all cells there have in common.
    datum = replace(datum, u_mm=float(errors[:, over_areas].mean(axis=1).std()))
    difference = Difference(
        common.grid,
        *_both_heights(common, d),
        on_grid(d, common.both, common.grid),
        on_grid(errors.std(axis=0), common.both, common.grid),
        np.asarray(np.abs(on_grid(found.way, common.both, common.grid)) == 1.0),
        changes(common, d, errors, found.way, worked),
        found.threshold,
        found.least_mm,
    )
    filled = [area for area in areas if not area.planned.grinds]
    return Comparison(
        alignment,
        datum,
        difference,
        areas,
        _placed(filled, common, d, errors) if known else None,
        _planned(filled),
        open_spots(before, after, pose, areas),
        sorted(set(before.gap_limits)) == sorted(set(after.gap_limits)),
        tuple(dict.fromkeys(filter(None, (untold(after, *pair) for pair in after.gap_limits)))),
    )


def _both_heights(common: Overlaid, d_mm: NDArray[np.float64]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """(rows, cols) heights before and after about the reference plane of the map after; NaN not seen in both."""
    after = heights(common.after)[common.both]
    return on_grid(after - d_mm, common.both, common.grid), on_grid(after, common.both, common.grid)


def _worked(areas: Sequence[AreaNow], common: Overlaid) -> NDArray[np.bool_]:
    """(n,) cells that both saw in a planned area."""
    inside = np.zeros(common.grid.shape, dtype=bool)
    for area in areas:
        inside |= cover(area.rings, common.grid) > 0.5  # noqa: PLR2004 - most of the cell
    return np.asarray(inside[common.both])


def _placed(
    areas: Sequence[AreaNow], common: Overlaid, d_mm: NDArray[np.float64], errors_mm: NDArray[np.float32]
) -> Quantity | None:
    """Litres in all of them together: their errors hang together, so they are summed draw by draw."""
    told = [area for area in areas if area.placed_l is not None]
    if not told:
        return None
    share = np.minimum(sum(cover(area.rings, common.grid) for area in told), 1.0)
    return placed_l(np.asarray(share), common.both, common.grid.cell_mm, d_mm, errors_mm)


def _planned(areas: Sequence[AreaNow]) -> Quantity | None:
    """Litres planned in the areas that placed litres are told for; their errors are of one capture, so they add up."""
    told = [area.planned.volume_l for area in areas if area.placed_l is not None]
    if not told:
        return None
    return Quantity(sum(q.value for q in told), sum(q.u for q in told), "l")
