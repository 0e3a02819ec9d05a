"""How ways of levelling are told to people: what to buy, what it costs, how far the floor rises, what is proven."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.report.words import wording

if TYPE_CHECKING:
    from collections.abc import Mapping

    from flatscan.judgement.verdict import AnswerCode
    from flatscan.levelling.joints.joint_work import JointWork
    from flatscan.levelling.plan import Cost, DoorRise, LevellingPlan, Method, MethodName, Product

#: As the ways are called in tables.
NAME: Mapping[MethodName, str] = {name: text.partition(", ")[0] for name, text in wording.METHOD_TEXT.items()}
#: What each of them is.
WHAT: Mapping[MethodName, str] = {name: text.partition(", ")[2] for name, text in wording.METHOD_TEXT.items()}
#: Less than this (a quarter of a cup) is nothing to anyone.
LEAST_TOLD_L = 0.05
#: A rise below this is none that a person could feel or measure.
_LEAST_RISE_MM = 0.05
#: Less primer than this is none.
_LEAST_PRIMER_KG = 0.05
#: Below this a sum is told with its cents.
_LEAST_WHOLE = 100.0
_LEAST_GROUND_L = 0.005
_ALL_BUT_PROVEN = 0.999


def what(method: Method) -> str:
    """What is done, in half a sentence; of grinding that is not worth it, that."""
    if method.name == "grind_and_patch" and method.possible and not method.ground_m2:
        return "nothing is worth grinding here, so it is the patch"
    return WHAT[method.name]


def title(code: AnswerCode) -> str:
    """Said before it is known to be needed, or as the work to do."""
    if code in {"level_areas", "level_all"}:
        return "What levelling takes"
    return "What levelling would take, should it be needed"


def chosen_of(plan: LevellingPlan) -> Method | None:
    """The way that areas and drawings are of."""
    return next((method for method in plan.methods if method.name == plan.chosen), None)


def nothing_to_level(plan: LevellingPlan) -> bool:
    """The least fill is none, as measured and within the doubt of it, and no tiles come up."""
    if plan.chosen == "lift_tiles":
        return False
    patch = next((method for method in plan.methods if method.name == "patch"), None)
    return patch is not None and patch.possible and patch.area_m2 == 0.0 and patch.volume_p_l[2] < LEAST_TOLD_L


def nothing_line(*, by_hand: bool) -> str:
    """That none is to be levelled; floor where no edge could be laid is not spoken for."""
    source = "readings" if by_hand else "capture"
    return (
        f"Nothing is to be levelled where the floor was measured: every gap there passes, with the doubt of the "
        f"{source} too"
    )


def joint_work_of(plan: LevellingPlan) -> JointWork | None:
    """The work on joints and lips that the chosen way leaves to do; none where the tiles come up."""
    return None if plan.chosen == "lift_tiles" else plan.joint_work


def doors_of(method: Method) -> tuple[DoorRise, ...]:
    """How far the floor rises at doors; not known where the tiles come up."""
    return method.doors if takes_known(method) else ()


def thickest(method: Method) -> str:
    """The thickest place of the fill, and of the holes of tiles that come out; "" where nothing is filled.

    >>> from flatscan.quantity import Quantity
    >>> from flatscan.levelling.plan import Method
    >>> l, kg = Quantity(2.0, 0.3, "l"), Quantity(3.4, 0.5, "kg")
    >>> thickest(Method("patch", l, (1.5, 2.6), kg, 1, (1, 1), 1.1, 1.8, 4.1, holes_mm=14.0))
    '4.1 mm, 14.0 mm in the holes of tiles'
    """
    parts = [said.thickness(method.max_mm)] if method.max_mm > 0.0 else []
    parts += [f"{said.thickness(method.holes_mm)} in the holes of tiles"] if method.holes_mm > 0.0 else []
    return ", ".join(parts)


def takes_known(method: Method) -> bool:
    """What it takes can be told; what lies beneath old tiles nobody has seen."""
    return method.name != "lift_tiles"


def litres(method: Method) -> str:
    """As likely too little as too much, and the range of eight floors of ten.

    >>> from flatscan.quantity import Quantity
    >>> from flatscan.levelling.plan import Method
    >>> l, kg = Quantity(2.0, 0.3, "l"), Quantity(3.4, 0.5, "kg")
    >>> litres(Method("patch", l, (1.5, 2.6), kg, 1, (1, 1), 1.1, 1.8, 4.1, volume_p_l=(1.62, 1.93, 2.41)))
    '1.9 litres (1.6 to 2.4)'
    """
    if not takes_known(method):
        return "not known"
    low, middle, high = method.volume_p_l
    return wording.spread(middle, (low, high), "litres")


def to_buy(method: Method, bag_kg: float) -> str:
    """Bags that do for nine floors of ten.

    >>> from flatscan.quantity import Quantity
    >>> from flatscan.levelling.plan import Method
    >>> l, kg = Quantity(2.0, 0.3, "l"), Quantity(3.4, 0.5, "kg")
    >>> to_buy(Method("patch", l, (1.5, 2.6), kg, 1, (1, 1), 1.1, 1.8, 4.1, buy=3, keep_sealed=1), 25.0)
    '3 bags of 25 kg, keep 1 sealed'
    """
    if not takes_known(method):
        return "not known"
    if method.buy == 0:
        return "nothing"
    told = f"{said.counted(method.buy, 'bag')} of {said.bag(bag_kg)}"
    return f"{told}, keep {method.keep_sealed} sealed" if method.keep_sealed else told


def money(value: float, currency: str, *, cents: bool = False) -> str:
    """A sum, to the whole unit; a small part of one with its ``cents``.

    >>> money(1210.4, "EUR"), money(85.0, ""), money(28.5, "EUR", cents=True), money(128.5, "EUR", cents=True)
    ('1210 EUR', '85', '28.50 EUR', '128 EUR')
    """
    places = 2 if cents and value < _LEAST_WHOLE else 0
    return f"{value:.{places}f} {currency}".rstrip()


def cost(method: Method) -> str:
    """A cost with its range, ``85 EUR (67 to 103)``; of lifting alone it is only where the cost starts."""
    of = method.cost
    if of is None:
        return ""
    low, _, high = (f"{value:.0f}" for value in of.p10_p50_p90)
    told = money(of.value, of.currency)
    if not takes_known(method):
        return f"from {told}"
    return told if low == high else f"{told} ({low} to {high})"


def worked_on(method: Method) -> str:
    """The floor that compound goes on, and what is ground or taken up."""
    parts = [wording.area(method.area_m2)] if method.area_m2 > 0.0 else []
    parts += [f"{wording.area(method.ground_m2)} ground"] if method.ground_m2 > 0.0 else []
    parts += [f"{wording.area(method.lifted_m2)} lifted"] if method.lifted_m2 > 0.0 else []
    return ", ".join(parts) or "none"


def cost_parts(of: Cost | None) -> str:
    """What the cost is made of; empty where one part is all."""
    if of is None or len(of.parts) <= 1:
        return ""
    return ", ".join(f"{name} {money(value, of.currency, cents=True)}" for name, value in of.parts)


def most_rise_mm(method: Method) -> float | None:
    """The most that the floor rises at any door, negative where it sinks at all; None where no door is known."""
    return max((door.max_mm for door in method.doors), default=None)


def rises(method: Method) -> bool:
    """At some door the floor comes to lie higher than a person could overlook."""
    return (most_rise_mm(method) or 0.0) >= _LEAST_RISE_MM


def rise(method: Method) -> str:
    """The same with its sign, without the unit; empty where no door is known."""
    most = most_rise_mm(method) if takes_known(method) else None
    return "" if most is None else wording.signed(said.in_unit(most, "mm"), 1 + said.extra_decimals("mm"))


def door_line(door: DoorRise) -> str:
    """How far the floor rises at a door.

    >>> from flatscan.levelling.plan import DoorRise
    >>> door_line(DoorRise("hall", 3.2, 4.0, 10.0))
    'Door hall: the floor rises by 3.2 mm on average, 4.0 mm at most (10 mm allowed)'
    >>> door_line(DoorRise("door 1", 0.0, 0.0)), door_line(DoorRise("hall door", 0.0, 0.0))
    ('Door 1: the floor stays as high as it is', 'Hall door: the floor stays as high as it is')
    """
    name = door.door if "door" in door.door.lower() else f"door {door.door}"
    told = f"{name[0].upper()}{name[1:]}: the floor "
    if max(abs(door.mean_mm), abs(door.max_mm)) < _LEAST_RISE_MM:
        return f"{told}stays as high as it is"
    if door.max_mm <= 0.0:
        return f"{told}sinks by {said.thickness(-door.mean_mm)} on average"
    told += f"rises by {said.thickness(door.mean_mm)} on average, {said.thickness(door.max_mm)} at most"
    if door.most_allowed_mm is None:
        return told
    over = ": too much" if door.max_mm > door.most_allowed_mm else ""
    return f"{told} ({wording.length(door.most_allowed_mm)} allowed{over})"


def ground_litres(volume_l: float) -> str:
    """What grinding takes off.

    >>> ground_litres(0.04), ground_litres(1.26), ground_litres(0.001)
    ('0.04 litres', '1.3 litres', 'less than 0.01 litres')
    """
    if volume_l < _LEAST_GROUND_L:
        return f"less than 0.01 {said.unit('litres')}"
    return said.volume(volume_l, 2 if volume_l < 1.0 and not said.imperial() else 1)


def primes(method: Method) -> bool:
    """Primer is asked for, and more than none."""
    return method.primer_kg is not None and method.primer_kg >= _LEAST_PRIMER_KG


def work_lines(method: Method, product: Product) -> list[str]:
    """What else the way takes: grinding, lifting, primer, layers, waiting, and what its cost is made of."""
    lines = []
    if method.ground_m2 > 0.0:
        taken_off = f"{ground_litres(method.ground_l)} of floor come off"
        lines.append(
            f"Grind {wording.area(method.ground_m2)}, never deeper than {wording.length(product.greatest_grind_mm)}: "
            f"{taken_off}"
        )
    if method.lifted_m2 > 0.0:
        lines.append(f"Take up {wording.area(method.lifted_m2)} of old tiles")
    if primes(method):
        lines.append(f"Primer: {said.mass(method.primer_kg or 0.0)}")
    if method.layers > 1:
        deepest = said.thickness(max(method.max_mm, method.holes_mm))
        lines.append(f"Fill in {method.layers} layers at the thickest place: {deepest} in all")
    waits = [f"walk on it after {method.walk_on_h:g} h"] if method.walk_on_h is not None else []
    waits += [f"lay the new floor after {method.cover_h:.0f} h"] if method.cover_h is not None else []
    if waits:
        lines.append(f"Wait: {', '.join(waits)}, if the product's data sheet asks for no more")
    if method.edges_mm > 0.0:
        lines.append(
            f"Edges run out over {said.thickness(method.edges_mm, 0)}, thinner than the product's least layer there: "
            f"keep to its data sheet"
        )
    if parts := cost_parts(method.cost):
        lines.append(f"Cost: {cost(method)}, of which {parts}")
    return lines


def bound_line(method: Method) -> str:
    """How near to the least the plan is proven to be; empty where that was not worked out."""
    if method.bound is None:
        return ""
    if method.bound >= _ALL_BUT_PROVEN:
        return "Proven: no plan of this kind can cost less"
    # Rounded down: a proof must not promise more than it proves.
    return f"Proven: no plan of this kind can cost less than {math.floor(100.0 * method.bound)} % of this one"


def brackets_line(plan: LevellingPlan, *, by_hand: bool, sealed: str = "those to keep sealed") -> str:
    """What the ranges beside the ways mean. ``sealed``: what the bags to keep are called there."""
    source, volume = "readings" if by_hand else "capture", "Gallons" if said.imperial() else "Litres"
    priced = " Cost is that of the middle amount, without what you buy to spare." if _priced(plan) else ""
    return (
        f"{volume} include what the {source} may have missed; in brackets the range that holds eight floors of ten "
        f"(P10 to P90). The bags do for nine floors of ten; open {sealed} only when the others are used up.{priced} "
        f"Areas and thicknesses are those of the plan, on the floor as measured"
    )


def not_possible(plan: LevellingPlan) -> list[tuple[str, str]]:
    """(name, why) of each way that cannot be done here; none where the recommendation has told every reason."""
    refused = [method for method in plan.methods if not method.possible]
    if all(any(method.why_not in sentence for sentence in plan.recommendation) for method in refused):
        return []
    return [(NAME[method.name], method.why_not) for method in refused]


def _priced(plan: LevellingPlan) -> bool:
    return any(method.cost is not None for method in plan.methods)
