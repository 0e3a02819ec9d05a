"""The words of the notice of concern, for the template: facts from findings and readiness, blanks where none are."""

# The content is the usual one of such letters in the trade (addressee, object, what was found against which rule, what
# may follow, what is proposed, a decision asked for in writing by a date, no work until then on the part concerned,
# attachments): common practice, no source. What it brings about hangs on contract and local law, which is said to the
# person who sends it, outside the letter.
from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flatscan.report import story, wording
from flatscan.report.readiness_steps import found_asbestos
from flatscan.report.record.evidence import short_id
from flatscan.report.record.front import head_fields, site_of
from flatscan.report.record.held_against import excess, measured_value, rule_text
from flatscan.report.record.setting import day_of, paper_name
from flatscan.report.record.site_words import covering_text, date_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from flatscan.judgement.readiness.readiness import Condition, ConditionName
    from flatscan.judgement.verdict import Finding
    from flatscan.report.record.concerns import Concerns
    from flatscan.report.report import Report
    from flatscan.settings import Paper

_MOST_ROWS, _MOST_UNSEEN = 10, 3
#: What may follow, by what was found: common practice, no source.
_FOLLOWS_GAP = (
    "Over a hollow the new floor gives way under load: joints between planks work loose or break, thin tiles crack, "
    "and the floor creaks"
)
_FOLLOWS_JOINT = "Wide or deep joints show through a thin covering, which can sink into them"
_FOLLOWS_FOUND: Mapping[str, str] = {
    "gap": _FOLLOWS_GAP,
    "span_gap": _FOLLOWS_GAP,
    "lip": "A lip shows through a thin covering, wears it through sooner and can break the joint between planks",
    "joint_width": _FOLLOWS_JOINT,
    "joint_depth": _FOLLOWS_JOINT,
    "slope": "On a floor that falls more than it may, furniture stands askew and water runs where it should not",
    "level": "On a floor that is not level, furniture, doors and the next floor do not meet",
}
_FOLLOWS_CONDITION: Mapping[ConditionName, str] = {
    "dry": "Moisture shut in beneath a covering lets adhesive go, makes wood swell and lets mould grow",
    "sound": "Tiles that are hollow or loose move beneath the new floor and can take compound and covering with them",
    "crack_free": "A crack that moves comes through compound and covering",
    "clean": "On grease, wax, dust or old adhesive neither primer nor compound holds",
    "climate": "In a room too cold, too warm or too damp compound sets badly, and the covering moves after it is laid",
    "acclimatised": "A covering laid before it has settled to the room shrinks or swells: joints open or it bulges",
    "heating": "Heat can loosen a covering that is not made for it, and drilling or grinding can hit pipes or cables",
    "movement_joints": "What is laid across a movement joint breaks there",
    "old_covering": (
        "Should the old covering or its adhesive hold asbestos, cutting, grinding or lifting it sets free fibres that "
        "make people ill"
    ),
}
#: Steps that say how to work with the program, and single readings.
_TO_THE_PROGRAM = (story.READ_BY_HAND, " --", "flatscan")
_CHOICES = (
    "The work proposed above is to be done first, as an extra to the order.",
    "The open points are to be settled first; you tell us the results in writing.",
)
_ASIDE = (
    "Whether such a notice must be given, in what form, when and to whom, and what it brings about, depends on the "
    "contract and on local law: have it looked at by someone who knows both. What it contains, and what it says may "
    "follow, is common practice without a source."
)


def letter_data(report: Report, concerns: Concerns, result_sha256: str, paper: Paper) -> dict[str, Any]:
    """All words and figures of the letter."""
    visit = site_of(report).visit
    told = dict(head_fields(visit))
    return {
        "paper": paper_name(paper),
        "id": short_id(result_sha256),
        "date": day_of(visit.date),
        "sender": [told["Firm"] or told["Measured by"], told["Measured by"] if told["Firm"] else ""],
        "to": [told["Client"], ""],
        "reference": told["Reference"],
        "object": ", ".join(part for part in (told["Place"], told["Room"]) if part),
        "opening": _opening(report, short_id(result_sha256)),
        **_tables(report, concerns),
        "conditions": [{"title": c.title, "said": _condition(c)} for c in concerns.not_met],
        "open": [*_unseen(concerns.unseen), *_open(concerns)],
        "follows": list(dict.fromkeys(_follows(concerns))),
        "way": _way(report),
        "proposed": _proposed(report),
        "until": _until(report, concerns),
        "choices": list(_CHOICES),
        "attached": [
            ["Survey record (report.pdf), which names every file it was made from with its SHA-256", ""],
            ["The result as data (result.json)", result_sha256],
        ],
        "aside": _ASIDE,
    }


def _opening(report: Report, record_id: str) -> str:
    site = site_of(report)
    when = f"On {date_text(site.visit.date)} the" if site.visit.date is not None else "The"
    covering = covering_text(site.covering)
    meant = f" that is to carry {covering}" if covering else " that is to carry the new floor"
    return (
        f"{when} old floor{meant} was measured before work starts. We tell you in writing of these concerns about it. "
        f"All figures are those of survey record {record_id}; ± is the expanded uncertainty, k = 2 (about 95 %)."
    )


def _tables(report: Report, concerns: Concerns) -> dict[str, Any]:
    told: dict[str, Any] = {}
    for name, found in (("over", concerns.over), ("undecided", concerns.undecided)):
        told[name] = [_row(finding, report) for finding in found[:_MOST_ROWS]]
        left = len(_all_of(found, report)) - len(told[name])
        told[f"more_{name}"] = f"{left} more of this kind: see the survey record and findings.csv." if left > 0 else ""
    return told


def _all_of(listed: Sequence[Finding], report: Report) -> list[Finding]:
    """Every finding with the verdict of those listed."""
    words = {finding.verdict for finding in listed}
    return [finding for finding in report.verdict.findings if finding.verdict in words]


def _row(finding: Finding, report: Report) -> dict[str, str]:
    value, over = measured_value(finding), excess(finding)
    if finding.verdict == "not_decided":
        by = wording.chance(finding.p_over)
    else:
        by = "" if over is None else f"over the limit by {wording.quantity(over)}"
    return {
        "shape": wording.VERDICT_SHAPE[finding.verdict],
        "word": wording.VERDICT_TEXT[finding.verdict],
        "rule": rule_text(finding),
        "limit": wording.length(finding.limit_mm),
        "source": _source(finding, report),
        "value": "not measured" if value is None else wording.size(value),
        "by": by,
        "where": finding.where,
    }


def _source(finding: Finding, report: Report) -> str:
    """The document of the rule, where it has one of its own, else of its set; the set's name where neither is known."""
    name = story.limit_set(finding)
    limits = next((one for one in report.limits if one.id == name), None)
    if limits is None:
        return name
    rules = [rule for rule in limits.limits if rule.what == finding.what and rule.edge_mm == finding.edge_mm]
    return f"{name}: {wording.source(limits.source_of(rules[0]) if rules else limits.source)}"


def _condition(condition: Condition) -> str:
    """What was recorded and what is asked; what to do about it stands among the proposals."""
    asked = f"asked: {condition.asked}" if condition.asked else ""
    parts = (condition.recorded, asked)
    return " ".join(f"{part[0].upper()}{part[1:].rstrip('.')}." for part in parts if part)


def _open(concerns: Concerns) -> list[dict[str, str]]:
    unsettled = [{"title": c.title, "said": f"could not be decided. {_condition(c)}".rstrip()} for c in concerns.open]
    return [*unsettled, *({"title": c.title, "said": "not recorded."} for c in concerns.unrecorded)]


def _unseen(found: Sequence[Finding]) -> list[dict[str, str]]:
    """What no verdict speaks for, a line for each kind of figure."""
    kinds = dict.fromkeys(wording.kind(finding.what) for finding in found)
    lines = []
    for kind in kinds:
        places = [finding.where for finding in found if wording.kind(finding.what) == kind]
        more = f"; and {len(places) - _MOST_UNSEEN} more, see the survey record" if len(places) > _MOST_UNSEEN else ""
        said = f"{'; '.join(places[:_MOST_UNSEEN])}{more}."
        lines.append({"title": f"{kind[0].upper()}{kind[1:]}, not measured", "said": said})
    return lines


def _follows(concerns: Concerns) -> Iterator[str]:
    for finding in (*concerns.over, *concerns.undecided):
        if finding.what in _FOLLOWS_FOUND:
            yield _FOLLOWS_FOUND[finding.what]
    for condition in (*concerns.not_met, *concerns.open, *concerns.unrecorded):
        if condition.name in _FOLLOWS_CONDITION:
            yield _FOLLOWS_CONDITION[condition.name]


def _way(report: Report) -> str:
    """The way of levelling that was found best, where the answer is to level and no asbestos forbids it."""
    if report.verdict.answer.code not in {"level_areas", "level_all"} or found_asbestos(report):
        return ""
    return next(iter(report.plan.recommendation), "")


def _proposed(report: Report) -> list[str]:
    """The work in its order and the readings to take; what is an order to the program is none of it."""
    work = [step for step in story.next_steps(report) if not any(part in step for part in _TO_THE_PROGRAM)]
    readings = len(report.verdict.next_readings)
    by_hand = f"Read by hand at the places that the survey record names ({readings}), to settle what is open"
    return [*work, *([by_hand] if readings else [])]


def _until(report: Report, concerns: Concerns) -> str:
    whole = concerns.whole_floor or report.verdict.answer.code in {"level_all", "not_decided"}
    part = "this floor" if whole else "the parts of the floor named above"
    return f"Until we have your decision in writing we do not start work on {part}."
