"""The stage: what compound, where, how much, so that the floor meets its limits."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.caveats import caveat
from flatscan.constants import MM2_PER_M2
from flatscan.levelling.areas import areas_of, fill_labels, volumes_by_area
from flatscan.levelling.flood import above_level, flood_fill
from flatscan.levelling.least_fill import EdgeRule, least_fill
from flatscan.levelling.plan import LevellingPlan
from flatscan.levelling.possible import accounts_of, simulated_floors
from flatscan.levelling.product import load_product
from flatscan.levelling.quantities import method, quantity_l, volume_l
from flatscan.levelling.targets import targets_of
from flatscan.progress import SILENT

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.judgement.limits import LimitSet
    from flatscan.levelling.plan import Product
    from flatscan.progress import Progress
    from flatscan.settings import LevelSettings, MeasureSettings
    from flatscan.surface.surface import Surface

#: Simulated floors behind an interval: as many as this many cells times targets allow, within the two bounds.
_CELLS_FOR_ALL_DRAWS = 20_000_000
FEWEST_DRAWS, MOST_DRAWS = 10, 20


def plan_levelling(
    surface: Surface,
    limit_sets: Sequence[LimitSet],
    settings: LevelSettings,
    measure_settings: MeasureSettings,
    *,
    rng: np.random.Generator,
    progress: Progress = SILENT,
) -> LevellingPlan:
    """Two ways to make the floor meet the sets' gap limits, with their quantities and doubts.

    *patch*: the least fill, in layers the product allows. *flood*: one level pour over the whole floor. The
    plan is made on the best estimate of the floor; quantities are the mean over simulations of what the true
    floor could need (``possible``), each filled anew on the full grid, and the intervals are from their spread.
    """
    product = load_product(settings.product_file)
    targets = targets_of(limit_sets, surface.longest_mm, margin_mm=settings.margin_mm)
    rule = EdgeRule(
        cell_mm=surface.cell_mm,
        directions=measure_settings.directions,
        bridge_mm=measure_settings.bridge_mm,
    )

    def patch(height_mm: NDArray[np.floating]) -> NDArray[np.float64]:
        return least_fill(height_mm, surface.inside, targets, rule, least_layer_mm=product.least_layer_mm).fill_mm

    fill_mm = patch(surface.estimate_mm)
    pour_mm = flood_fill(above_level(surface.estimate_mm, surface), least_layer_mm=product.least_layer_mm)
    labels = fill_labels(fill_mm, surface.cell_mm)
    count = draws_for(surface.height_mm.size, len(targets))
    planned_by_area = volumes_by_area(fill_mm, labels, surface.cell_mm)
    planned_pour = np.array([volume_l(pour_mm, surface.cell_mm)])
    rows, pours = [], []
    for floor in simulated_floors(surface, count=count, rng=rng, progress=progress):
        takes = volumes_by_area(patch(floor.height_mm), labels, surface.cell_mm)
        rows.append(floor.could_take(planned_by_area, takes))
        pours.append(floor.could_take(planned_pour, _pour_l(floor.height_mm, surface, product, rng)))
    by_area, by_pour = np.array(rows), np.array(pours)
    accounts = accounts_of(surface)
    return LevellingPlan(
        methods=(
            method("patch", fill_mm, surface.cell_mm, list(by_area.sum(axis=1)), product, accounts=accounts),
            method("flood", pour_mm, surface.cell_mm, list(by_pour[:, 0]), product, accounts=accounts),
        ),
        areas=areas_of(fill_mm, labels, by_area, cell_mm=surface.cell_mm, origin_mm=surface.origin_mm),
        fill_mm=fill_mm.astype(np.float32),
        product=product,
        targets=targets,
        caveats=_caveats(surface, fill_mm, product),
        scattered_l=quantity_l(list(by_area[:, 0])),
        draws=count,
    )


def draws_for(cells: int, targets: int) -> int:
    """How many floors are drawn: fewer on large grids, where each takes seconds."""
    return int(np.clip(_CELLS_FOR_ALL_DRAWS // max(1, cells * max(1, targets)), FEWEST_DRAWS, MOST_DRAWS))


def _pour_l(
    height_mm: NDArray[np.floating], surface: Surface, product: Product, rng: np.random.Generator
) -> NDArray[np.float64]:
    """(1,) litres of a level pour; the fall is drawn too, for it is not known exactly."""
    fall = None
    if surface.slope is not None:
        fall = float(rng.normal(surface.slope.fall.value, surface.slope.fall.u))
    pour = flood_fill(above_level(height_mm, surface, fall_mm_per_m=fall), least_layer_mm=product.least_layer_mm)
    return np.array([volume_l(pour, surface.cell_mm)])


def _caveats(surface: Surface, fill_mm: NDArray[np.float64], product: Product) -> tuple[Caveat, ...]:
    found = []
    unseen_m2 = float((surface.inside & ~surface.seen).sum()) * surface.cell_mm**2 / MM2_PER_M2
    if unseen_m2 > 0:
        found.append(caveat("unseen_not_filled", area_m2=unseen_m2))
    if surface.slope is None:
        found.append(caveat("flood_without_gravity"))
    thickest = float(np.nanmax(fill_mm, initial=0.0))
    if product.greatest_layer_mm is not None and thickest > product.greatest_layer_mm:
        found.append(caveat("layer_too_thick", need_mm=thickest, most_mm=product.greatest_layer_mm))
    return tuple(found)
