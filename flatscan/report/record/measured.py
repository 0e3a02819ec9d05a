"""How it was measured and how far it can be trusted: method, uncertainty budgets, what was not seen, doubts, limits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flatscan.report.words import field_words, joint_wording, places, wording
from flatscan.report.words.doubts import doubts_of
from flatscan.report.words.drawn import shown_gaps
from flatscan.report.words.how_measured import budget_parts, how_measured
from flatscan.report.words.joint_words import JOINT_KINDS, judged_joints

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from flatscan.judgement.limits import LimitSet
    from flatscan.quantity import Quantity
    from flatscan.report.report import Report
    from flatscan.report.words.joint_words import JointKind


def measured_pages(report: Report) -> dict[str, Any]:
    """All of it; a part that does not apply is empty."""
    return {
        "how": _once(how_measured(report)),
        "budgets": list(_budgets(report)),
        "unseen": _unseen(report),
        "blind": [*field_words.blind_lines(report), *field_words.left_out_lines(report)],
        "corrected": field_words.systematic_line(report),
        "doubts": [[one.text, one.advice] for one in doubts_of(report)],
        "limits": [_limit_set(limits) for limits in report.limits],
    }


def _once(pairs: Sequence[tuple[str, str]]) -> list[list[str]]:
    """A name that comes several times in a row is said once."""
    before = ["", *(name for name, _ in pairs)]
    return [["" if name == last else name, text] for last, (name, text) in zip(before, pairs, strict=False)]


def _budgets(report: Report) -> Iterator[dict[str, Any]]:
    """What the ± is made of: of the worst gap, and of the worst width, depth and lip that were measured."""
    shown = shown_gaps(report)
    if shown:
        one = shown[0]
        said = f"Gap {one.letter}, {wording.gap(one.spot, one.what)}, {places.point(one.spot.at)}"
        yield from _budget(said, one.spot.gap)
    judged = judged_joints(report)
    for kind in JOINT_KINDS:
        worst = [each.worst[kind] for each in judged if each.worst[kind].value is not None]
        if worst:
            first = min(worst, key=lambda each: each.rank)
            if first.value is not None:
                yield from _budget(_joint_title(kind, first.joint.id, first.value), first.value)


def _joint_title(kind: JointKind, joint: str, value: Quantity) -> str:
    said = joint_wording.value(kind, value)
    return f"{said[0].upper()}{said[1:]}, {joint}"


def _budget(title: str, q: Quantity) -> Iterator[dict[str, Any]]:
    parts = budget_parts(q)
    if not parts:
        return
    whole = sum(u * u for _, u in q.budget)
    yield {
        "title": title,
        "rows": [[name, wording.plus_minus(u, q.unit), wording.share(u * u / whole)] for name, u in parts],
        "sum": wording.plus_minus(q.u, q.unit),
    }


def _unseen(report: Report) -> list[str]:
    """Everything that no verdict speaks for, with its place or its reason."""
    lines = []
    for finding in report.verdict.findings:
        if finding.verdict == "not_seen":
            said = wording.kind(finding.what)
            of = f" of {finding.joint}" if finding.joint else ""
            lines.append(f"{said[0].upper()}{said[1:]}{of}: {finding.where}")
    joints = report.measurement.joints
    refused = [] if joints is None else joint_wording.refused_lines(joints.joints)
    return list(dict.fromkeys([*lines, *refused]))


def _limit_set(limits: LimitSet) -> dict[str, Any]:
    rules = [
        wording.limit(rule) + (f" (after {wording.source(rule.source)})" if rule.source else "")
        for rule in limits.limits
        if not limits.spans
    ]
    if limits.spans:
        rules = [f"{wording.length(limit)} at {wording.reach(span)} between contacts" for span, limit in limits.spans]
    notes = [limits.note, limits.conflict]
    return {
        "id": limits.id,
        "title": limits.title,
        "rules": rules,
        "source": wording.source(limits.source),
        "reference": limits.source.reference,
        "applies": limits.applies_to,
        "notes": [note for note in notes if note],
    }
