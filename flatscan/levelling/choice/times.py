"""How many pours a way takes, and when people and the new floor may go on it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flatscan.levelling.plan import Product

#: A layer this much over what one pour may hold is binary rounding, not a second pour.
_ROUNDING = 1e-6


def layers_of(thickest_mm: float, product: Product, *, fills: bool) -> int:
    """Pours on top of each other at the thickest place; at least one where anything is filled, joints too.

    A product that names neither the most per pour nor the most in all is taken to go in one.
    """
    most_mm = product.layer_per_lift_mm or product.greatest_layer_mm
    if not fills:
        return 0
    return 1 if most_mm is None else max(1, math.ceil(thickest_mm / most_mm - _ROUNDING))


def walk_on_h(layers: int, product: Product) -> float | None:
    """Hours until it carries a person: each pour must, before the next; None: the data sheet was not given."""
    return None if product.walk_on_h is None or layers == 0 else layers * product.walk_on_h


def cover_h(layers: int, thickest_mm: float, product: Product) -> float | None:
    """Hours until the new floor may go over it: a fixed time and one for each mm; None: not given."""
    return None if product.cover_h is None or layers == 0 else product.cover_h + product.cover_h_per_mm * thickest_mm
