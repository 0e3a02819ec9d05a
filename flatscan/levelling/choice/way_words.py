"""How a way of levelling and what it takes are said in a sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.quantity import decimals_for

if TYPE_CHECKING:
    from collections.abc import Mapping

    from flatscan.levelling.choice.costs import PriceName
    from flatscan.levelling.joints.joint_work import JointWork
    from flatscan.levelling.plan import Method, MethodName, Product

WAYS: Mapping[MethodName, str] = {
    "patch": "a patch by trowel",
    "grind_and_patch": "a patch after grinding the high places",
    "skim": "a thin coat over everything",
    "screed": "a screed to one plane",
    "flood": "a level pour",
    "lift_tiles": "taking the old tiles up",
}
PRICES: Mapping[PriceName, str] = {
    "bag_price": "a bag",
    "primer_price_per_kg": "a kilogram of primer",
    "fill_price_per_m2": "filling a square metre",
    "grind_price_per_m2_mm": "grinding a millimetre off a square metre",
    "lift_price_per_m2": "taking up a square metre of tiles",
}
_LITTLE_L = 0.05


def way(method: Method, work: JointWork | None) -> str:
    """The way in words; a patch that fills no area is the work on joints and lips alone.

    ``work``: the floor's joints and lips.
    """
    if method.name != "patch" or method.area_m2 > 0.0 or work is None:
        return WAYS[method.name]
    jobs = []
    if work.metres_to_fill() > 0.0:
        jobs.append(f"filling the {work.metres_to_fill():.1f} m of joint that are over")
    lips = sum(lip.word == "over" for lip in work.lips)
    if lips:
        jobs.append(f"taking down {lips} lip{'' if lips == 1 else 's'}")
    return " and ".join(jobs) or WAYS["patch"]


def takes(method: Method, product: Product) -> str:
    """``12 litres (8 to 17), buy 3 bags of 25 kg and keep 1 sealed, about 340 EUR (310 to 390)``."""
    said = [f"{method.lifted_m2:.1f} m² of tiles" if method.name == "lift_tiles" else litres(method)]
    if method.buy:
        sealed = f" and keep {method.keep_sealed} sealed" if method.keep_sealed else ""
        said.append(f"buy {method.buy} bag{'' if method.buy == 1 else 's'} of {product.bag_kg:g} kg{sealed}")
    if method.ground_l >= _LITTLE_L:
        said.append(f"{method.ground_l:.1f} litres ground off {method.ground_m2:.1f} m²")
    if method.cost is not None:
        said.append(f"about {cost(method)}")
    return ", ".join(said)


def litres(method: Method) -> str:
    """As likely too little as too much, and the range of eight floors of ten, by which it is rounded."""
    low, middle, high = method.volume_p_l
    places = min(decimals_for((high - low) / 2.0), 1)
    value, low_text, high_text = (f"{max(0.0, v):.{places}f}" for v in (middle, low, high))
    if low_text == high_text:
        return f"{value} litres"
    return f"0 to {high_text} litres" if float(value) == 0.0 else f"{value} litres ({low_text} to {high_text})"


def cost(method: Method) -> str:
    """The cost as likely to do as not, and what it may come to on one floor of ten and on nine."""
    if method.cost is None:
        return "a cost that is not known"
    few, _, many = (f"{value:.0f}" for value in method.cost.p10_p50_p90)
    spread = "" if few == many else f" ({few} to {many})"
    return f"{method.cost.value:.0f}{currency(method.cost.currency)}{spread}"


def currency(name: str) -> str:
    """The currency after a number, nothing where the product file names none."""
    return f" {name}" if name else ""
