"""Level pours, one in each part of the floor that a pour fills by itself."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM_PER_M
from flatscan.levelling.plan import Proposal
from flatscan.levelling.pouring.dams import dams_of
from flatscan.levelling.pouring.layer_bounds import thinnest_mm, too_thick_words
from flatscan.levelling.pouring.pour_levels import highest, poured_mm, settle
from flatscan.levelling.pouring.pours import pours_of
from flatscan.levelling.pouring.regions import regions_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.binding.bounds import Bounds
    from flatscan.levelling.filling.least_fill import EdgeRule
    from flatscan.levelling.plan import Product
    from flatscan.levelling.pouring.pour_levels import Levels
    from flatscan.levelling.pouring.regions import Regions
    from flatscan.levelling.targets import Target
    from flatscan.surface.surface import Surface


@dataclass(frozen=True, slots=True, eq=False)
class FloodPlan:
    """The pours, and what is needed to pour another draw of the same floor.

    Attributes
    ----------
    group : (rows, cols) int32, 1 and up where cells are poured to the same level, 0 where nothing is poured
    above_highest_mm, above_mean_mm : (groups + 1,) float64, the level above the highest place with the least layer on
        it, and above the mean of the group's floor; -inf for 0
    """

    proposal: Proposal
    group: NDArray[np.int32]
    above_highest_mm: NDArray[np.float64]
    above_mean_mm: NDArray[np.float64]


def flood(
    surface: Surface,
    height_mm: NDArray[np.floating],
    bounds: Bounds,
    targets: Sequence[Target],
    rule: EdgeRule,
    product: Product,
) -> FloodPlan:
    """The lowest level pours with which the whole floor meets its targets (``pour_levels.settle``).

    Compound finds its level by gravity; without gravity the reference plane is taken for level. Floor that keeps its
    slope, takes nothing or has a fixed height gets what its rule says and no pour. ``why_not`` says what cannot be met:
    first a build-up, then the greatest layer of the product, then a limit.

    Parameters
    ----------
    height_mm : (rows, cols), heights about the reference plane; NaN is not seen and gets no fill
    targets : (edge_mm, limit_mm) pairs
    rule : how the edge is laid
    """
    level = above_level(height_mm, surface)
    regions = regions_of(surface, bounds)
    levels = settle(height_mm, level, regions, bounds, targets, rule, product)
    group = levels.group[np.maximum(regions.label, 0)]
    fill = poured_mm(level, group, levels.level_mm, bounds)
    return FloodPlan(
        Proposal(
            name="flood",
            fill_mm=fill.astype(np.float32),
            grind_mm=np.where(np.isfinite(fill), 0.0, np.nan).astype(np.float32),
            why_not=_why_not(surface, fill, group, bounds, product, levels),
            dams=dams_of(surface, level, regions, levels, bounds),
            pours=pours_of(surface, level, fill, regions, levels),
            notes=_notes(regions, levels, bounds),
        ),
        group,
        _above(levels.level_mm, highest(level + thinnest_mm(bounds, product), group, len(levels.level_mm))),
        _above(levels.level_mm, _mean(level, group, len(levels.level_mm))),
    )


def flood_again(
    plan: FloodPlan,
    surface: Surface,
    height_mm: NDArray[np.floating],
    bounds: Bounds,
    product: Product,
    *,
    fall_mm_per_m: float | None = None,
) -> NDArray[np.float64]:
    """Fill of the same pours on another draw of the floor, (rows, cols), mm; NaN where not seen.

    With a least layer the level follows the highest place of the draw, as it must stand that much over it. Without,
    it follows the mean of the draw: what level meets the limits depends on the bends of the floor, which the draws
    share, while a single high cell of one draw means nothing. Nothing is searched or measured anew.
    """
    level = above_level(height_mm, surface, fall_mm_per_m=fall_mm_per_m)
    count = len(plan.above_mean_mm)
    if product.least_layer_mm > 0.0:
        levels = plan.above_highest_mm + highest(level + thinnest_mm(bounds, product), plan.group, count)
    else:
        levels = plan.above_mean_mm + _mean(level, plan.group, count)
    return poured_mm(level, plan.group, levels, bounds)


def above_level(
    height_mm: NDArray[np.floating], surface: Surface, *, fall_mm_per_m: float | None = None
) -> NDArray[np.float64]:
    """Heights above a level plane: heights about the reference plane, with its fall put back.

    Compound finds its level by gravity, not by the floor's own plane. Without gravity the heights are returned
    as they are, as if the reference plane were level. ``fall_mm_per_m``: in place of the surface's own.
    """
    height = np.asarray(height_mm, dtype=np.float64)
    if surface.slope is None:
        return height
    fall = surface.slope.fall.value if fall_mm_per_m is None else fall_mm_per_m
    rows, cols = height.shape
    x_m = (np.arange(cols) + 0.5) * surface.cell_mm / MM_PER_M
    y_m = (np.arange(rows) + 0.5) * surface.cell_mm / MM_PER_M
    way = surface.slope.direction_rad
    down_m = math.cos(way) * x_m[None, :] + math.sin(way) * y_m[:, None]
    level: NDArray[np.float64] = height - fall * down_m
    return level


def _above(level_mm: NDArray[np.float64], floor_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far each level stands above its floor; -inf for 0, where nothing is poured."""
    return np.concatenate([[-np.inf], level_mm[1:] - floor_mm[1:]])


def _mean(values: NDArray[np.float64], group: NDArray[np.int32], count: int) -> NDArray[np.float64]:
    """(count,) mean in each group, NaN left out."""
    seen = np.isfinite(values)
    cells = np.bincount(group[seen], minlength=count)
    sums = np.bincount(group[seen], values[seen], minlength=count)
    means: NDArray[np.float64] = sums / np.maximum(cells, 1)
    return means


def _why_not(
    surface: Surface,
    fill: NDArray[np.float64],
    group: NDArray[np.int32],
    bounds: Bounds,
    product: Product,
    levels: Levels,
) -> str:
    words = too_thick_words(surface, np.where(group > 0, fill, 0.0), bounds, product, "The pour")
    if words:
        return words
    if levels.breach is not None:
        return f"A level pour leaves {levels.breach.words(surface, bounds)}"
    return ""


def _notes(regions: Regions, levels: Levels, bounds: Bounds) -> tuple[str, ...]:
    notes = []
    parts = len(np.unique(regions.whole[1:]))
    poured = len(np.unique(regions.whole[1:][levels.group[1:] > 0]))
    if not poured:
        notes.append("The floor meets its limits as it is, so nothing is poured")
    elif poured < parts:
        dry = parts - poured
        notes.append(f"Parts of the floor that meet their limits as they are and are not poured: {dry} of {parts}")
    names = [f"'{r.name}'" for r in bounds.rules if r.kind == "fixed_height" and r.value_mm]
    if names and poured:
        notes.append(f"Trowel {' and '.join(names)} to its height first; the pour runs against it")
    return tuple(notes)
