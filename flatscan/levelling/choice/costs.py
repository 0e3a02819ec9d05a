"""What a way of levelling costs: a sum of amounts times prices, and the price at which another way would win."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from flatscan.levelling.plan import Cost

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from flatscan.levelling.plan import Method, MethodName, Product

#: The names that the product file has for them.
PriceName = Literal[
    "bag_price", "primer_price_per_kg", "fill_price_per_m2", "grind_price_per_m2_mm", "lift_price_per_m2"
]
#: What each part of the cost is called, in the order of the list.
PARTS: Mapping[PriceName, str] = {
    "bag_price": "bags",
    "primer_price_per_kg": "primer",
    "fill_price_per_m2": "filling",
    "grind_price_per_m2_mm": "grinding",
    "lift_price_per_m2": "taking tiles up",
}
#: Without these prices a way that uses the thing cannot be held against the others.
_NEEDED: tuple[PriceName, ...] = ("bag_price", "grind_price_per_m2_mm", "lift_price_per_m2")
_MEDIAN = 1
#: A price that would have to change more than this many times is not worth naming.
_FAR = 10.0


def amounts(method: Method) -> dict[PriceName, float]:
    """How much of each priced thing a way takes: bags as likely to do as not, kg, m², mm on m², m².

    One litre is one mm on one m², so the litres ground are what grinding is paid by.
    """
    return {
        "bag_price": float(method.bags_p[_MEDIAN]),
        "primer_price_per_kg": method.primer_kg or 0.0,
        "fill_price_per_m2": method.primed_m2,
        "grind_price_per_m2_mm": method.ground_l,
        "lift_price_per_m2": method.lifted_m2,
    }


def cost_of(method: Method, product: Product) -> Cost | None:
    """The cost at the bags that are as likely to do as not, and at those for one and nine floors of ten.

    None where a price is missing without which ways cannot be compared: of bags, grinding or lifting, for a way that
    takes them. Primer and the work of filling are left out where they have no price.
    """
    taken = amounts(method)
    if any(taken[name] > 0.0 and getattr(product, name) is None for name in _NEEDED):
        return None
    if product.bag_price is None and method.name != "lift_tiles":
        return None
    prices = {name: price for name in PARTS if (price := getattr(product, name)) is not None}
    parts = tuple((PARTS[name], prices[name] * taken[name]) for name in prices if taken[name] > 0.0)
    value = sum(part for _, part in parts)
    few, middle, many = (value + (bags - method.bags_p[_MEDIAN]) * (product.bag_price or 0.0) for bags in method.bags_p)
    return Cost(value, (few, middle, many), parts, product.currency)


@dataclass(frozen=True, slots=True)
class BreakEven:
    """At this price the choice changes to ``winner``; ``dearer``: it does above the price, else below."""

    price_name: PriceName
    price: float
    winner: MethodName
    dearer: bool


def break_evens(
    chosen: Method, others: Sequence[Method], product: Product, *, weight: Mapping[MethodName, float]
) -> list[BreakEven]:
    """The prices at which another way would be chosen, each price by itself, the smallest change first.

    None where not even ten times the price, or a tenth of it, would do.

    Costs are linear in each price: ``w (C + a (p - p0))``, ``w`` the way's ``weight`` (1 if not named), ``a`` what it
    takes of the thing. The lines of two ways cross where the weighted costs are equal; of all crossings above the
    present price, and of all below, the nearest is where the choice first changes. The plans are those
    of the present prices.
    """
    found = []
    for name in PARTS:
        now = getattr(product, name)
        if now is None or now <= 0.0:
            continue
        crossings = [c for other in others if (c := _crossing(chosen, other, name, now, weight)) is not None]
        for dearer in (True, False):
            side = [c for c in crossings if c.dearer is dearer]
            if side:
                found.append(min(side, key=lambda c: abs(c.price - now)))
    return sorted(found, key=lambda c: _change(c.price, getattr(product, c.price_name)))


def _crossing(
    chosen: Method, other: Method, name: PriceName, now: float, weight: Mapping[MethodName, float]
) -> BreakEven | None:
    if chosen.cost is None or other.cost is None:
        return None
    mine, its = weight.get(chosen.name, 1.0), weight.get(other.name, 1.0)
    lead = its * other.cost.value - mine * chosen.cost.value
    steeper = mine * amounts(chosen)[name] - its * amounts(other)[name]
    if steeper == 0.0:
        return None
    price = now + lead / steeper
    near = now / _FAR <= price <= now * _FAR
    return BreakEven(name, price, other.name, dearer=steeper > 0.0) if near else None


def _change(price: float, now: float) -> float:
    """How many times dearer or cheaper."""
    return max(price, now) / min(price, now)
