"""What the report says after the answer: what to do next, and what the whole floor is like, sentence by sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan import said
from flatscan.judgement.bends import TO_SEE
from flatscan.judgement.readiness.telling import MISSING_ENDS, NOT_IN_ORDER, NOT_SETTLED
from flatscan.judgement.readings import UNSEEN
from flatscan.report.words import field_words, joint_story, places, readiness_steps, wording

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.verdict import Finding, Reading
    from flatscan.levelling.plan import MethodName
    from flatscan.report.report import Report

_FILL = "with a product whose data sheet allows these layers, then measure again"
#: What is done on the floor, by the way that was chosen; each answer that levels has these steps.
_LEVEL: dict[MethodName, str] = {
    "patch": f"Level them {_FILL}",
    "grind_and_patch": f"Grind the places to grind, with the dust drawn off, then level the others {_FILL}",
    "skim": f"Fill the joints, then pull a thin coat over the whole floor {_FILL}",
    "screed": f"Level the whole floor to one plane {_FILL}",
    "flood": f"Set the dams, then pour the floor level {_FILL}",
    "lift_tiles": "Take the old tiles up, clean the base, then measure it: the plan for it is made anew",
}
#: How the work begins where asbestos was found, and what is no work for such a floor.
_IF_COVERED = "Only if the licensed firm lets the floor be covered"
_DISTURBS: tuple[MethodName, ...] = ("lift_tiles", "grind_and_patch")
_LEVEL_ALL = f"Level the whole floor {_FILL}"
#: Ways whose areas are marked out on the floor.
_BY_AREA: tuple[MethodName, ...] = ("patch", "grind_and_patch")
_MARK_OUT = "Mark the numbered areas out on the floor with two tapes from corner 0 (outlines in areas.csv)"
_MARK_OUT_BY_WALLS = "Mark the numbered areas out on the floor from the walls that marking_out.pdf names"
_CAPTURE_AGAIN = "Capture again: closer, from more places, or with a finer sensor"
_READ_MORE = "Read again: the straightedge closer together, in two directions and along both diagonals"
_READ_FINER = "Read levels again, closer together and over the whole floor"
_SHEET = "next_readings.csv"
#: How the order to take one reading begins.
READ_BY_HAND = "Read by hand: "


def next_steps(report: Report) -> list[str]:
    """In the order a person would do them."""
    code = report.verdict.answer.code
    readings = [*joint_story.edge_step(report), *_sheet(report), *_readings(report)]
    if code == "not_decided" and not readings:
        readings = [f"{_again(report)}; the doubts say why"]
    return [
        *readiness_steps.asbestos_step(report),
        *readiness_steps.before_work(report),
        # Lips and joints are read before compound hides them.
        *readings,
        *_all_work(report),
        *readiness_steps.before_laying(report),
    ]


def _all_work(report: Report) -> list[str]:
    """Joints and lips, then levelling: lips come down and joints are filled before compound goes over them."""
    code = report.verdict.answer.code
    if readiness_steps.found_asbestos(report):
        return _covering_over(report)
    joint_work = joint_story.work_step(report) or field_words.joint_step(report)
    joints = [joint_work] if joint_work and code != "level_all" else []
    return joints if joints and code == "fill_joints_and_lips" else [*joints, *_work(report)]


def _covering_over(report: Report) -> list[str]:
    """Where asbestos was found: fill over it, if the licensed firm lets it be covered; nothing is ground or lifted."""
    code, plan = report.verdict.answer.code, report.plan
    if code == "fill_joints_and_lips":
        return [f"{_IF_COVERED}, fill the joints and fill up to the lips, grind nothing, then measure again"]
    if code not in {"level_areas", "level_all"} or plan.chosen in _DISTURBS:
        return []
    told = ". ".join(_work(report))
    return [f"{_IF_COVERED}: {told[0].lower()}{told[1:]}"]


def reasons(report: Report) -> list[str]:
    """Why the answer is what it is, without what the readiness or the last step tells as an order."""
    return [
        reason
        for reason in report.verdict.answer.reasons
        if not reason.endswith(MISSING_ENDS) and not reason.startswith((NOT_IN_ORDER, NOT_SETTLED))
    ]


def lists_readings(step: str) -> bool:
    """Whether the step is the one that sends a person round with the sheet of places to read."""
    return _SHEET in step


def in_short(steps: Sequence[str]) -> list[str]:
    """The same steps with marking out and levelling as one."""
    shown: list[str] = []
    for step in steps:
        if shown and shown[-1] in (_MARK_OUT, _MARK_OUT_BY_WALLS):
            shown[-1] = f"{shown[-1]}. {step}"
        else:
            shown.append(step)
    return shown


def _work(report: Report) -> list[str]:
    """What levelling asks for, by the answer and the chosen way."""
    code, plan = report.verdict.answer.code, report.plan
    if code == "fill_joints_and_lips":
        return ["Fill the joints and take down the lips that are over the limit, then measure again"]
    if code not in {"level_areas", "level_all"}:
        return []
    chosen = plan.chosen or "patch"
    if chosen in _BY_AREA and (plan.areas or code == "level_areas"):
        walls = any(area.marked is not None for area in plan.areas)
        return [_MARK_OUT_BY_WALLS if walls else _MARK_OUT, _LEVEL[chosen]]
    return [_LEVEL_ALL if chosen in _BY_AREA else _LEVEL[chosen]]


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
    places = ", ".join(said.pair(r.at) for r in unseen) + ("" if said.imperial() else " m")
    hand = field_words.by_hand(report.surface)
    clear = "On the floor that was not read" if hand else "Clear the floor that was not seen and capture it again, or"
    cleared = (
        f"{clear} lay the straightedge across it in two directions: {places} from the left and the bottom wall. "
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
