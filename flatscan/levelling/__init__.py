"""Levelling: what to fill and grind so that the floor meets its limits, with how much, at what cost."""

from __future__ import annotations

from flatscan.levelling.basis import basis_of
from flatscan.levelling.planning import plan_levelling
from flatscan.levelling.product import load_product

__all__ = ["basis_of", "load_product", "plan_levelling"]
