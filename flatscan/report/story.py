"""What the report says after the answer: what to do next, and how much it takes, sentence by sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.report import wording

if TYPE_CHECKING:
    from flatscan.judgement.verdict import AnswerCode, Finding
    from flatscan.levelling.plan import Method, Product
    from flatscan.report.report import Report

_STEPS: dict[AnswerCode, tuple[str, ...]] = {
    "lay_as_is": (),
    "fill_joints_and_lips": ("Fill the joints and take down the lips that are over the limit, then measure again",),
    "level_areas": (
        "Mark the numbered areas out on the floor with two tapes from corner 0 (outlines in areas.csv)",
        "Level them with a product whose data sheet allows these layers, then measure again",
    ),
    "level_all": ("Level the whole floor with a product whose data sheet allows these layers, then measure again",),
    "not_decided": (),
}
#: Geometry shows none of these, so no answer is complete without them.
_RECORD_FIRST = "Before laying, record that the floor is dry, sound and free of moving cracks: a scan does not show it"


def next_steps(report: Report) -> list[str]:
    """In the order a person would do them."""
    code = report.verdict.answer.code
    readings = [reading(index, report) for index in range(len(report.verdict.next_readings))]
    if code == "not_decided" and not readings:
        readings = ["Capture again: closer, from more places, or with a finer sensor; see the doubts in report.html"]
    first, then = (readings, list(_STEPS[code])) if code == "not_decided" else (list(_STEPS[code]), readings)
    return [*first, *then, _RECORD_FIRST]


def reading(index: int, report: Report) -> str:
    """One hand reading as an order."""
    r = report.verdict.next_readings[index]
    place = wording.point(r.at)
    said = r.what if place.split(",")[0] in r.what else f"{r.what}, at {place}"
    return f"Read by hand: {said}. With: {r.instrument}; resolve {r.resolves}"


def method_line(method: Method, product: Product) -> str:
    """Quantities of one way of levelling."""
    return (
        f"{wording.METHOD_TEXT[method.name]}: {wording.litres(method.volume_l)}, {wording.quantity(method.mass_kg)}, "
        f"{wording.bags(method.bags, method.bags_interval)} of {product.bag_kg:g} kg over "
        f"{wording.area(method.area_m2)}; mean layer {method.mean_mm:.1f} mm, thickest {method.max_mm:.1f} mm"
    )


def product_line(product: Product) -> str:
    """The figures that litres were turned into bags with."""
    return (
        f"Reckoned with {product.name}: {product.kg_per_m2_mm:g} kg per m² and mm, "
        f"{100 * product.waste_share:g} % waste, least layer {wording.length(product.least_layer_mm)}. "
        f"Source: {product.source}"
    )


def slope_line(report: Report) -> str:
    """Slope, kept apart from flatness; empty where gravity is not known."""
    slope = report.surface.slope
    if slope is None:
        return ""
    return (
        f"Slope, apart from flatness: {wording.quantity(slope.fall)}, falling towards the "
        f"{wording.heading(slope.direction_rad)} of the map"
    )


def flatness_line(report: Report) -> str:
    """The whole floor in one figure."""
    flat = report.measurement.flatness
    return (
        f"Highest to lowest place: {wording.quantity(flat.fltt)} square to the best plane "
        f"({wording.quantity(flat.fltt_minimum_zone)} between the two closest parallel planes)"
    )


def limit_text(finding: Finding) -> str:
    """The limit that a finding was held against."""
    return f"limit {wording.length(finding.limit_mm)} ({finding.limit_id})"
