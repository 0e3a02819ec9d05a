"""Compound placed in an area: the integral of the difference, its uncertainty from the same simulated errors."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.comparing.laying import Grid

_MM3_PER_L = 1e6
#: Parts of a cell's side by which an area's border is followed.
_PARTS = 4


def cover(rings: Sequence[NDArray[np.float64]], grid: Grid) -> NDArray[np.float64]:
    """(rows, cols) share of each cell that lies in the area (exterior first, then holes)."""
    from shapely import Polygon, contains_xy

    polygon = Polygon(rings[0], [ring for ring in rings[1:] if len(ring) > 3])  # noqa: PLR2004 - a hole has corners
    places = grid.centres(_PARTS)
    within = contains_xy(polygon.buffer(0), places[..., 0], places[..., 1])
    rows, cols = grid.shape
    return np.asarray(within.reshape(rows, _PARTS, cols, _PARTS).mean(axis=(1, 3)))


def placed_l(
    share: NDArray[np.float64], both: NDArray[np.bool_], cell_mm: float, d_mm: NDArray[np.float64],
    errors_mm: NDArray[np.float32],
) -> Quantity | None:  # fmt: skip
    """Litres in the area ``share`` (rows, cols); what was not seen is taken as the mean of what was.

    ``d_mm`` (n,) and ``errors_mm`` (draws, n) of the cells ``both``. None where nothing of it was seen.
    """
    weight, whole = share[both], float(share.sum())
    seen = float(weight.sum())
    if seen == 0.0:
        return None
    litres = whole / seen * cell_mm**2 / _MM3_PER_L
    value = float(weight @ d_mm) * litres
    noise = float((errors_mm @ weight.astype(np.float32)).std()) * litres
    # The unseen part may differ from the seen one by as much as the seen one differs within itself.
    scatter = float(np.sqrt(weight @ np.square(d_mm - weight @ d_mm / seen) / seen))
    unseen = (whole - seen) * cell_mm**2 / _MM3_PER_L * scatter
    return Quantity.from_budget(value, "l", difference=noise, not_seen=unseen)
