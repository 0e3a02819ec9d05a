"""The words of the notice of concern, for the template: facts from findings and readiness, blanks where none are."""

# The content is the usual one of such letters in the trade (addressee, object, what was found against which rule, what
# may follow, what is proposed, a decision asked for in writing by a date, no work until then on the part concerned,
# attachments): common practice, no source. What it brings about hangs on contract and local law, which is said to the
# person who sends it, outside the letter.
from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flatscan.judgement.readiness.asked import listed
from flatscan.judgement.readiness.telling import MATTER
from flatscan.report.record.evidence import short_id
from flatscan.report.record.front import head_fields, site_of
from flatscan.report.record.held_against import excess, measured_value, rule_text
from flatscan.report.record.letter_follows import follows
from flatscan.report.record.letter_proposed import for_client, proposed_steps, proposed_way
from flatscan.report.record.setting import day_of, paper_name
from flatscan.report.record.site_words import covering_text, date_text
from flatscan.report.words import story, wording
from flatscan.report.words.told_findings import LIPS_AMONG_OTHERS, weighed_among_others

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.readiness.readiness import Condition
    from flatscan.judgement.verdict import Finding
    from flatscan.report.record.concerns import Concerns
    from flatscan.report.report import Report
    from flatscan.settings import Paper

_MOST_ROWS, _MOST_UNSEEN = 10, 3
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
        "among": LIPS_AMONG_OTHERS if any(weighed_among_others(one) for one in concerns.undecided) else "",
        "conditions": [{"title": c.title, "said": _condition(c)} for c in concerns.not_met],
        "open": [*_unseen(concerns.unseen), *_open(concerns)],
        "follows": list(dict.fromkeys(follows(concerns, site_of(report)))),
        "way": proposed_way(report),
        "proposed": proposed_steps(report, concerns),
        "until": _until(report, concerns),
        "choices": list(_CHOICES),
        "attached": [
            ["Survey record (report.pdf), which names every file it was made from with its SHA-256", ""],
            ["the result as data (result.json)", result_sha256],
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
        "where": for_client(finding.where),
    }


def _source(finding: Finding, report: Report) -> str:
    """The document of the rule, where it has one of its own, else of its set; beside it what the set is called."""
    name = story.limit_set(finding)
    limits = next((one for one in report.limits if one.id == name), None)
    if limits is None:
        return name
    rules = [rule for rule in limits.limits if rule.what == finding.what and rule.edge_mm == finding.edge_mm]
    source = limits.source_of(rules[0]) if rules else limits.source
    named = ", ".join(part for part in (source.document, source.table, source.year) if part)
    return f"{limits.title}: {named}"


def _condition(condition: Condition) -> str:
    """What was recorded and what is asked; what to do about it stands among the proposals."""
    asked = f"asked: {condition.asked}" if condition.asked else ""
    parts = (condition.recorded, asked)
    return for_client(" ".join(f"{part[0].upper()}{part[1:].rstrip('.')}." for part in parts if part))


def _open(concerns: Concerns) -> list[dict[str, str]]:
    unsettled = [{"title": c.title, "said": f"could not be decided. {_condition(c)}".rstrip()} for c in concerns.open]
    names = [MATTER[c.name] for c in concerns.unrecorded]
    missing = {"title": "Not recorded", "said": f"{listed(names)}. Not recorded is not the same as in order."}
    return [*unsettled, *([missing] if names else [])]


def _unseen(found: Sequence[Finding]) -> list[dict[str, str]]:
    """What no verdict speaks for, a line for each kind of figure."""
    kinds = dict.fromkeys(wording.kind(finding.what) for finding in found)
    lines = []
    for kind in kinds:
        places = [finding.where for finding in found if wording.kind(finding.what) == kind]
        more = f"; and {len(places) - _MOST_UNSEEN} more, see the survey record" if len(places) > _MOST_UNSEEN else ""
        said = for_client(f"{'; '.join(places[:_MOST_UNSEEN])}{more}.")
        lines.append({"title": f"{kind[0].upper()}{kind[1:]}, not measured", "said": said})
    return lines


def _until(report: Report, concerns: Concerns) -> str:
    whole = concerns.whole_floor or report.verdict.answer.code in {"level_all", "not_decided"}
    part = "this floor" if whole else "the parts of the floor named above"
    return f"Until we have your decision in writing we do not start work on {part}."
