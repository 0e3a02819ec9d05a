"""The record this stage hands on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.quantity import Quantity

MethodName = Literal["patch", "flood", "skim", "grind_and_patch"]


@dataclass(frozen=True, slots=True, eq=False)
class Area:
    """One place to level. ``rings``: (k, 2) float64 floor-frame mm, closed, exterior first, then holes.

    ``area_m2``, ``mean_mm`` and ``max_mm`` are of the planned fill; ``volume_l`` also holds what the capture may
    not have shown, so it can be more than area times mean.
    """

    number: int
    rings: tuple[NDArray[np.float64], ...]
    area_m2: float
    volume_l: Quantity
    mean_mm: float
    max_mm: float
    action: str


@dataclass(frozen=True, slots=True)
class Method:
    """Quantities of one way of levelling. ``bags`` is what to buy, ``bags_interval`` its 95 % range.

    ``area_m2``, ``mean_mm`` and ``max_mm`` are of the planned fill; ``volume_l`` also holds what the capture may
    not have shown, so it can be more than area times mean.
    """

    name: MethodName
    volume_l: Quantity
    volume_interval_l: tuple[float, float]
    mass_kg: Quantity
    bags: int
    bags_interval: tuple[int, int]
    area_m2: float
    mean_mm: float
    max_mm: float


@dataclass(frozen=True, slots=True)
class Product:
    """A levelling compound's data sheet, as far as the plan needs it. ``source`` is shown beside every use."""

    name: str
    kg_per_m2_mm: float
    bag_kg: float
    least_layer_mm: float
    greatest_layer_mm: float | None
    waste_share: float
    source: str


@dataclass(frozen=True, slots=True, eq=False)
class LevellingPlan:
    """``fill_mm``: (rows, cols) float32 on the surface's grid, 0 where nothing is needed, NaN: not seen."""

    methods: tuple[Method, ...]
    areas: tuple[Area, ...]
    fill_mm: NDArray[np.float32]
    product: Product
    #: (edge_mm, limit_mm) pairs the fill meets.
    targets: tuple[tuple[float, float], ...]
    caveats: tuple[Caveat, ...]
    #: What the patch takes outside all numbered areas: specks, and what the estimate does not show.
    #: The areas and this add up to the patch's volume.
    scattered_l: Quantity | None = None
    #: Simulated floors behind the quantities.
    draws: int = 0
