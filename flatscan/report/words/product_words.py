"""The compound and the prices that a plan was reckoned with, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan import said
from flatscan.report.words import wording
from flatscan.units import MM_PER

if TYPE_CHECKING:
    from flatscan.levelling.plan import Product


def product_line(product: Product) -> str:
    """The figures that litres were turned into bags with, and where they come from."""
    most = "" if product.greatest_layer_mm is None else f", greatest {wording.length(product.greatest_layer_mm)}"
    if product.layer_per_lift_mm is not None:
        most += f", {wording.length(product.layer_per_lift_mm)} at most in one layer"
    return (
        f"Reckoned with {product.name}: {_yield(product.kg_per_m2_mm)}, "
        f"{100 * product.waste_share:g} % more in the bags for waste, least layer "
        f"{wording.length(product.least_layer_mm)}{most}, edges no steeper than "
        f"{_slope(product.feather_mm_per_m)}. Source: {product.source}"
    )


def _yield(kg_per_m2_mm: float) -> str:
    """What a product takes, beside it as the data sheet says."""
    stated = f"{kg_per_m2_mm:.3g} kg per m² and mm"
    if not said.imperial():
        return stated
    pounds = kg_per_m2_mm / said.KG_PER_LB * said.M2_PER_FT2 * MM_PER["in"] / 8.0
    return f"{pounds:.2f} lb per ft² and 1/8 in [{stated}]"


def _slope(mm_per_m: float) -> str:
    stated = f"{mm_per_m:g} mm in 1 m"
    return f"{said.fall(mm_per_m, 0)} [{stated}]" if said.imperial() else stated


def price_line(product: Product) -> str:
    """The prices that the costs were reckoned with; empty where there are none."""
    named = (
        ("a bag", product.bag_price),
        ("primer, a kg", product.primer_price_per_kg),
        ("filling, a m²", product.fill_price_per_m2),
        ("grinding, a mm off a m²", product.grind_price_per_m2_mm),
        ("taking tiles up, a m²", product.lift_price_per_m2),
    )
    told = [f"{name} {price:g} {product.currency}".rstrip() for name, price in named if price is not None]
    return f"Prices: {', '.join(told)}. What has no price is not in the cost" if told else ""
