"""Levelling: what to fill so that the floor meets its limits, and with how much."""

from __future__ import annotations

from flatscan.levelling.planning import plan_levelling
from flatscan.levelling.product import load_product

__all__ = ["load_product", "plan_levelling"]
