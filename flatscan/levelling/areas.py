"""The places to level, as outlines that can be marked on the floor."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM2_PER_M2
from flatscan.levelling.plan import Area
from flatscan.levelling.quantities import quantity_l, volume_l

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: A place that takes less than this (a quarter of a cup) is not worth an outline; its compound is still counted.
LEAST_LISTED_L = 0.05
MOST_LISTED = 40
#: An island in a fill smaller than 10 cm square is filled over: nobody trowels round it.
LEAST_ISLAND_MM2 = 10_000.0
#: Outlines are smoothed by less than a cell; the inner corners of a staircase lie 0.71 cells off its slope.
_SIMPLIFY_CELLS = 0.75


def fill_labels(fill_mm: NDArray[np.floating], cell_mm: float) -> NDArray[np.int32]:
    """Number of the area each cell belongs to, 1 for the one that takes most; 0 for none.

    Areas are cells with fill that touch along a side. Areas under ``LEAST_LISTED_L``, and those beyond the
    ``MOST_LISTED`` largest, get no number.
    """
    from scipy import ndimage

    raw, count = ndimage.label(fill_mm > 0)
    volumes = ndimage.sum_labels(np.nan_to_num(fill_mm), raw, np.arange(count + 1)) * (volume_l(np.ones(1), cell_mm))
    order = [k for k in np.argsort(-volumes, kind="stable") if k > 0 and volumes[k] >= LEAST_LISTED_L][:MOST_LISTED]
    number = np.zeros(count + 1, dtype=np.int32)
    number[order] = np.arange(1, len(order) + 1)
    labels: NDArray[np.int32] = number[raw]
    return labels


def areas_of(
    fill_mm: NDArray[np.floating],
    labels: NDArray[np.int32],
    draws_l: NDArray[np.float64],
    *,
    cell_mm: float,
    origin_mm: tuple[float, float],
) -> tuple[Area, ...]:
    """Outline and quantities of every numbered area.

    ``draws_l``: (draws, areas + 1) float64, litres of each draw in each area, column 0 outside all.
    """
    from scipy import ndimage

    areas = []
    for number, box in enumerate(ndimage.find_objects(labels), start=1):
        mask = labels[box] == number
        corner = (origin_mm[0] + box[1].start * cell_mm, origin_mm[1] + box[0].start * cell_mm)
        volume = quantity_l(list(draws_l[:, number]))
        area_m2 = float(mask.sum()) * cell_mm**2 / MM2_PER_M2
        thickness = fill_mm[box][mask]
        areas.append(
            Area(
                number=number,
                rings=rings_of(mask, cell_mm=cell_mm, corner_mm=corner),
                area_m2=area_m2,
                volume_l=volume,
                mean_mm=float(thickness.mean()),
                max_mm=float(thickness.max()),
                action="fill",
            )
        )
    return tuple(areas)


def rings_of(
    mask: NDArray[np.bool_], *, cell_mm: float, corner_mm: tuple[float, float]
) -> tuple[NDArray[np.float64], ...]:
    """Exterior and holes of one connected set of cells, closed rings (k, 2) in floor-frame mm.

    The union of the cells' own squares, row by row, smoothed by less than a cell; tiny islands are left out.
    """
    import shapely

    starts, ends = _runs(mask)
    rows = starts[:, 0]
    x0, y0 = corner_mm
    boxes = shapely.box(
        x0 + starts[:, 1] * cell_mm, y0 + rows * cell_mm, x0 + ends[:, 1] * cell_mm, y0 + (rows + 1) * cell_mm
    )
    whole = shapely.union_all(boxes)
    islands = [ring for ring in whole.interiors if shapely.Polygon(ring).area >= LEAST_ISLAND_MM2]
    smooth = shapely.Polygon(whole.exterior, islands).simplify(_SIMPLIFY_CELLS * cell_mm, preserve_topology=True)
    return tuple(np.asarray(ring.coords, dtype=np.float64) for ring in (smooth.exterior, *smooth.interiors))


def volumes_by_area(fill_mm: NDArray[np.floating], labels: NDArray[np.int32], cell_mm: float) -> NDArray[np.float64]:
    """(areas + 1,) litres; the first is what lies outside all numbered areas."""
    count = int(labels.max(initial=0)) + 1
    litres_per_mm = volume_l(np.ones(1), cell_mm)
    millimetres = np.bincount(labels.ravel(), np.nan_to_num(fill_mm).ravel(), minlength=count)
    return np.asarray(millimetres * litres_per_mm, dtype=np.float64)


def _runs(mask: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """(row, first column) and (row, column past the end) of every horizontal run of True."""
    padded = np.pad(mask.astype(np.int8), ((0, 0), (1, 1)))
    change = np.diff(padded, axis=1)
    return np.argwhere(change == 1), np.argwhere(change == -1)
