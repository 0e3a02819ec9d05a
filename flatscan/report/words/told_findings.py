"""Which findings are listed to people, and the rule they were decided by: the same on the page and in the record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.report.words import wording

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.verdict import Finding
    from flatscan.report.report import Report


#: Said wherever lips are listed with their chance (``judgement.lip_prior``).
LIPS_AMONG_OTHERS = (
    "Of many joints some show a large lip by chance, so a lip is also weighed against this floor's other lips: its "
    "chance of over can be lower than its ± alone would say."
)


def listed_findings(found: Sequence[Finding]) -> list[Finding]:
    """Of joints and straightedge readings only the worst for each limit: their own tables have the rest."""
    worst = {(f.limit_id, f.placement is None): f for f in reversed(found) if _in_own_table(f)}
    return [f for f in found if not _in_own_table(f) or f is worst[f.limit_id, f.placement is None]]


def more_findings(listed: Sequence[Finding], found: Sequence[Finding]) -> str:
    """That the list is not whole, with how many are left out of it; "" where it is whole."""
    left = [f for f in found if f not in listed]
    kinds = ["joints and lips"] if any(f.joint is not None for f in left) else []
    kinds += ["single straightedge readings"] if any(f.placement is not None for f in left) else []
    if not kinds:
        return ""
    more = f"{len(left)} more {'finding is' if len(left) == 1 else 'findings are'} in findings.csv"
    return f"Of {' and '.join(kinds)} the worst for each limit; {more}."


def decision_rule(report: Report) -> str:
    """When a word is said."""
    confidence = report.settings.judge.confidence
    rule = (
        f"Over or within is said where the chance of it is at least {wording.share(confidence)}, else not decided "
        "(JCGM 106). ± is the expanded uncertainty, k = 2 (about 95 %)."
    )
    return f"{rule} {among}" if (among := lips_rule(report)) else rule


def weighed_among_others(finding: Finding) -> bool:
    """Whether the floor's other lips had a say in the chance of this one: of a joint, measured, and not within."""
    measured = finding.what == "lip" and finding.joint is not None and finding.value is not None
    return measured and finding.verdict in {"over", "not_decided"} and not finding.conflict


def lips_rule(report: Report) -> str:
    """Why a lip may be not decided though its ± alone would call it over; "" where no listed chance hangs on it."""
    return LIPS_AMONG_OTHERS if any(weighed_among_others(finding) for finding in report.verdict.findings) else ""


def _in_own_table(finding: Finding) -> bool:
    return finding.joint is not None or finding.placement is not None
