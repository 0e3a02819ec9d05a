"""How a way of levelling and what it takes are said in a sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan import said
from flatscan.constants import MM_PER_M
from flatscan.quantity import spread

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
        jobs.append(f"filling the {said.run(work.metres_to_fill() * MM_PER_M)} of joint that are over")
    lips = sum(lip.word == "over" for lip in work.lips)
    if lips:
        jobs.append(f"taking down {lips} lip{'' if lips == 1 else 's'}")
    return " and ".join(jobs) or WAYS["patch"]


def takes(method: Method, product: Product) -> str:
    """``12 litres (8 to 17), buy 3 bags of 25 kg and keep 1 sealed, about 340 EUR (310 to 390)``."""
    told = [f"{said.area(method.lifted_m2)} of tiles" if method.name == "lift_tiles" else litres(method)]
    if method.buy:
        sealed = f" and keep {method.keep_sealed} sealed" if method.keep_sealed else ""
        told.append(f"buy {method.buy} bag{'' if method.buy == 1 else 's'} of {said.bag(product.bag_kg)}{sealed}")
    if method.ground_l >= _LITTLE_L:
        told.append(f"{said.volume(method.ground_l)} ground off {said.area(method.ground_m2)}")
    if method.cost is not None:
        told.append(f"about {cost(method)}")
    return ", ".join(told)


def litres(method: Method) -> str:
    """As likely too little as too much, and the range of eight floors of ten, by which it is rounded."""
    low, middle, high = method.volume_p_l
    return spread(middle, (low, high), "litres")


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
