"""What the report says after the answer: what to do next, and how much it takes, sentence by sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.constants import MM_PER_M
from flatscan.judgement.bends import TO_SEE
from flatscan.judgement.readings import UNSEEN
from flatscan.report import field_words, joint_story, places, wording

if TYPE_CHECKING:
    from flatscan.judgement.verdict import AnswerCode, Finding, Reading
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
#: Less than this (a quarter of a cup) is nothing to anyone.
_LEAST_TOLD_L = 0.05
_CAPTURE_AGAIN = "Capture again: closer, from more places, or with a finer sensor"
_READ_MORE = "Read again: the straightedge closer together, in two directions and along both diagonals"
_READ_FINER = "Read levels again, closer together and over the whole floor"
_SHEET = "next_readings.csv"
#: How the order to take one reading begins.
READ_BY_HAND = "Read by hand: "
#: Geometry shows none of these, so no answer is complete without them.
_RECORD_FIRST = (
    "Before laying, check and record that the floor is dry, sound and free of moving cracks: no {what} shows it"
)


def next_steps(report: Report) -> list[str]:
    """In the order a person would do them."""
    code = report.verdict.answer.code
    readings = [*joint_story.edge_step(report), *_sheet(report), *_readings(report)]
    if code == "not_decided" and not readings:
        readings = [f"{_again(report)}; the doubts say why"]
    joint_work = joint_story.work_step(report) or field_words.joint_step(report)
    joints = [joint_work] if joint_work and code != "level_all" else []
    # Lips come down and joints are filled before compound goes over them.
    work = joints if joints and code == "fill_joints_and_lips" else [*joints, *_STEPS[code]]
    first, then = (readings, work) if code == "not_decided" else (work, readings)
    what = "height" if field_words.by_hand(report.surface) else "scan"
    return [*field_words.soundness_step(report), *first, *then, _RECORD_FIRST.format(what=what)]


def _again(report: Report) -> str:
    if report.surface.kind != "readings":
        return _CAPTURE_AGAIN
    only_levels = report.field is not None and report.field.levels and not report.field.placements
    return _READ_FINER if only_levels else _READ_MORE


def _sheet(report: Report) -> list[str]:
    """How hand readings come back in; empty where none gives a value."""
    verdict = report.verdict
    if all(r.kind is None for r in verdict.next_readings):
        return []
    more = f" ({verdict.more_readings} more places would help too)" if verdict.more_readings else ""
    read = f"Read by hand what {_SHEET} lists{more}, write the values into it"
    return [f"{read}, then run the same command again with --readings {_SHEET}"]


def _readings(report: Report) -> list[str]:
    """Each hand reading as an order, all floor that was not seen in one."""
    unseen = [r for r in report.verdict.next_readings if r.what.startswith(UNSEEN)]
    if len(unseen) <= 1:
        return [reading(r) for r in report.verdict.next_readings]
    places = ", ".join(f"({r.at[0] / MM_PER_M:.2f}, {r.at[1] / MM_PER_M:.2f})" for r in unseen)
    hand = field_words.by_hand(report.surface)
    clear = "On the floor that was not read" if hand else "Clear the floor that was not seen and capture it again, or"
    cleared = (
        f"{clear} lay the straightedge across it in two directions: {places} m from the left and the bottom wall. "
        f"With: {unseen[0].instrument}, to {unseen[0].resolves}"
    )
    steps = [cleared if r is unseen[0] else reading(r) for r in report.verdict.next_readings if r not in unseen[1:]]
    return list(dict.fromkeys(steps))


def reading(r: Reading) -> str:
    """One hand reading as an order."""
    place = places.point(r.at)
    # A joint's reading names its place by counted joints.
    named = r.joint is not None or place.split(",")[0] in r.what or r.what.startswith(TO_SEE)
    said = r.what if named else f"{r.what}, at {place}"
    return f"{READ_BY_HAND}{said}. With: {r.instrument}, to {r.resolves}"


def method_line(method: Method, product: Product, *, by_hand: bool = False) -> str:
    """Quantities of one way of levelling: what to buy for the floor as it may be, where to put it as measured."""
    source = "readings" if by_hand else "capture"
    name = wording.METHOD_TEXT[method.name]
    needs = (
        f"{wording.litres(method.volume_l, method.volume_interval_l)}, {wording.weight(method.mass_kg)}, "
        f"{wording.bags(method.bags, method.bags_interval, product.bag_kg)}"
    )
    if method.area_m2 == 0.0:
        doubt = method.volume_interval_l[1] >= _LEAST_TOLD_L
        return f"{name}: nothing, as measured" + (f"; with the doubt of the {source} {needs}" if doubt else "")
    return (
        f"{name}: {needs}. As measured: {wording.area(method.area_m2)}, {method.mean_mm:.1f} mm thick on average, "
        f"{method.max_mm:.1f} mm at most"
    )


def levelling_title(report: Report) -> str:
    """Said before it is known to be needed, or as the work to do."""
    if report.verdict.answer.code in {"level_areas", "level_all"}:
        return "What levelling takes"
    return "What levelling would take, should it be needed"


def product_line(product: Product, *, by_hand: bool = False) -> str:
    """The figures that litres were turned into bags with."""
    source = "readings" if by_hand else "capture"
    return (
        f"Litres include what the {source} may have missed; in brackets the 95 % range. Reckoned with {product.name}: "
        f"{product.kg_per_m2_mm:g} kg per m² and mm, {100 * product.waste_share:g} % more in the bags for waste, "
        f"least layer {wording.length(product.least_layer_mm)}. Source: {product.source}"
    )


def slope_line(report: Report) -> str:
    """Slope, kept apart from flatness; empty where gravity is not known."""
    slope = report.surface.slope
    if slope is None:
        return ""
    return (
        f"Slope, apart from flatness: {wording.quantity(slope.fall)}, falling towards the "
        f"{places.heading(slope.direction_rad)} of the map"
    )


def flatness_line(report: Report) -> str:
    """The whole floor in one figure."""
    flat = report.measurement.flatness
    return (
        f"Highest to lowest place: {wording.size(flat.fltt)} square to the best plane "
        f"({wording.size(flat.fltt_minimum_zone)} between the two closest parallel planes)"
    )


def limit_text(finding: Finding, report: Report) -> str:
    """The limit that a finding was held against, with its set where there are several."""
    named = f" of {limit_set(finding)}" if len(report.limits) > 1 else ""
    return f"limit {wording.length(finding.limit_mm)}{named}"


def limit_set(finding: Finding) -> str:
    """The set that a finding's limit is from."""
    return finding.limit_id.split("/")[0]
