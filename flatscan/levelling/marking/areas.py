"""The places to level, as outlines that can be marked on the floor."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM2_PER_M2
from flatscan.levelling.marking.outlines import LEAST_ISLAND_MM2, marking_rings, rings_of
from flatscan.levelling.marking.walls import marked_out, walls_of
from flatscan.levelling.plan import Area
from flatscan.levelling.quantities import quantity_l, volume_l
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.plan import MarkedOut

__all__ = [
    "LEAST_ISLAND_MM2", "LEAST_LISTED_L", "MOST_LISTED",
    "areas_of", "fill_labels", "grind_areas_of", "rings_of", "volumes_by_area",
]  # fmt: skip

#: A place that takes less than this (two teaspoons) is not worth an outline; its compound is still counted.
LEAST_LISTED_L = 0.01
MOST_LISTED = 40


def fill_labels(fill_mm: NDArray[np.floating], cell_mm: float) -> NDArray[np.int32]:
    """Number of the area each cell belongs to, 1 for the one that takes most; 0 for none.

    Areas are cells with fill, or with depth to grind, that touch along a side; where a movement joint takes none it
    parts them. Areas under ``LEAST_LISTED_L``, and those beyond the ``MOST_LISTED`` largest, get no number.
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
    outline: Sequence[NDArray[np.float64]] = (),
) -> tuple[Area, ...]:
    """Outline and quantities of every numbered area of a fill.

    ``draws_l``: (draws, areas + 1) float64, litres of each draw in each area, column 0 outside all. ``outline``: rings
    of the floor, from whose walls the areas are marked out; empty: they are not.
    """
    volumes = [quantity_l(list(draws_l[:, number])) for number in range(1, draws_l.shape[1])]
    return _areas(fill_mm, labels, volumes, "fill", 1, cell_mm=cell_mm, origin_mm=origin_mm, outline=outline)


def grind_areas_of(
    grind_mm: NDArray[np.floating],
    *,
    first_number: int,
    cell_mm: float,
    origin_mm: tuple[float, float],
    outline: Sequence[NDArray[np.float64]] = (),
) -> tuple[Area, ...]:
    """Outline and quantities of every area to grind, numbered on from ``first_number``, the largest first.

    Their thickness is the depth to grind. Their volume is what the plan takes off: the plan says how deep, whatever the
    floor's true height, so it has no uncertainty of measurement and its ``u`` is 0.
    """
    labels = fill_labels(grind_mm, cell_mm)
    volumes = [Quantity(float(v), 0.0, "l") for v in volumes_by_area(grind_mm, labels, cell_mm)[1:]]
    return _areas(
        grind_mm, labels, volumes, "grind", first_number, cell_mm=cell_mm, origin_mm=origin_mm, outline=outline
    )


def _areas(
    thickness_mm: NDArray[np.floating],
    labels: NDArray[np.int32],
    volumes: Sequence[Quantity],
    action: str,
    first_number: int,
    *,
    cell_mm: float,
    origin_mm: tuple[float, float],
    outline: Sequence[NDArray[np.float64]],
) -> tuple[Area, ...]:
    from scipy import ndimage

    walls = walls_of(outline)
    areas = []
    for index, box in enumerate(ndimage.find_objects(labels)):
        mask = labels[box] == index + 1
        corner = (origin_mm[0] + box[1].start * cell_mm, origin_mm[1] + box[0].start * cell_mm)
        here = thickness_mm[box][mask]
        rings = rings_of(mask, cell_mm=cell_mm, corner_mm=corner)
        marked: MarkedOut | None = marked_out(marking_rings(rings, outline), walls) if walls else None
        areas.append(
            Area(
                number=first_number + index,
                rings=rings,
                area_m2=float(mask.sum()) * cell_mm**2 / MM2_PER_M2,
                volume_l=volumes[index],
                mean_mm=float(here.mean()),
                max_mm=float(here.max()),
                action=action,
                marked=marked,
                min_mm=float(here.min()),
            )
        )
    return tuple(areas)


def volumes_by_area(fill_mm: NDArray[np.floating], labels: NDArray[np.int32], cell_mm: float) -> NDArray[np.float64]:
    """(areas + 1,) litres; the first is what lies outside all numbered areas."""
    count = int(labels.max(initial=0)) + 1
    litres_per_mm = volume_l(np.ones(1), cell_mm)
    millimetres = np.bincount(labels.ravel(), np.nan_to_num(fill_mm).ravel(), minlength=count)
    return np.asarray(millimetres * litres_per_mm, dtype=np.float64)
