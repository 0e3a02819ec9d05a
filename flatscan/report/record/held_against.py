"""The findings as a table: each limit, what was measured, how far apart they are and what may be said of it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from flatscan.constants import COVERAGE_K
from flatscan.judgement.decision import guard_factor
from flatscan.report.words import story, wording
from flatscan.report.words.joint_wording import unsigned
from flatscan.report.words.told_findings import (
    decision_rule,
    lips_rule,
    listed_findings,
    more_findings,
    weighed_among_others,
)

if TYPE_CHECKING:
    from flatscan.judgement.verdict import Finding, VerdictWord
    from flatscan.quantity import Quantity
    from flatscan.report.report import Report

#: What the word says of the guard band, which is the z of the confidence times u on either side of the limit.
_GUARD: dict[VerdictWord, str] = {
    "within": "kept",
    "over": "over by more than it",
    "not_decided": "not kept",
    "not_seen": "",
}
#: Beyond the band or in it, the other lips had a say too.
_AMONG_OTHERS = "weighed against the other lips"
#: A chance worked out from a model is never all or none.
_LEAST_CHANCE = 1e-6


def findings_table(report: Report) -> dict[str, Any]:
    """Rows worst first; of joints and single straightedge readings the worst for each limit, and a count."""
    found = report.verdict.findings
    listed = listed_findings(found)
    factor = guard_factor(report.settings.judge.confidence)
    among = "; a lip is weighed against the floor's other lips too" if lips_rule(report) else ""
    return {
        "rows": [_row(finding, factor) for finding in listed],
        "more": more_findings(listed, found),
        "rule": decision_rule(report),
        "margin": (
            "Margin is the limit minus the value: with a minus the value is over the limit. The guard band is "
            f"{factor:.2f} u (u is half of the ±) on either side of the limit: only a value outside it is said to be "
            f"within or over{among}. Beneath it stands the chance that the true value is over."
        ),
    }


def measured_value(finding: Finding) -> Quantity | None:
    """The value that is held against the limit: of a lip its size, whichever side is high."""
    if finding.value is None or finding.what != "lip":
        return finding.value
    return unsigned(finding.value)


def rule_text(finding: Finding) -> str:
    """What is held against a limit: ``gap under 2 m``, ``lip of J7``."""
    of = f" of {finding.joint}" if finding.joint else ""
    laid = f" {wording.laid(finding.edge_mm, finding.what)}" if _has_edge(finding) and finding.edge_mm else ""
    return f"{wording.kind(finding.what)}{of}{laid}"


def margin(finding: Finding) -> Quantity | None:
    """The limit minus the value, as doubtful as the value; None where nothing was measured."""
    value = measured_value(finding)
    return None if value is None else replace(value, value=finding.limit_mm - value.value, budget=())


def excess(finding: Finding) -> Quantity | None:
    """The value minus the limit: what a value that is over is over by."""
    value = measured_value(finding)
    return None if value is None else replace(value, value=value.value - finding.limit_mm, budget=())


def _has_edge(finding: Finding) -> bool:
    return finding.what in {"gap", "span_gap"}


def _row(finding: Finding, factor: float) -> dict[str, Any]:
    value, spare = measured_value(finding), margin(finding)
    return {
        "word": wording.VERDICT_TEXT[finding.verdict],
        "shape": wording.VERDICT_SHAPE[finding.verdict],
        "rule": rule_text(finding),
        "limit": wording.length(finding.limit_mm),
        "set": story.limit_set(finding),
        "value": "" if value is None else wording.size(value),
        "margin": "" if spare is None else _signed(wording.quantity(spare)),
        "guard": "" if value is None else _guard(value, finding, factor),
        "chance": "" if finding.p_over is None else chance_share(finding.p_over),
        "where": finding.where,
    }


def _signed(said: str) -> str:
    """With a true minus; what rounds to nothing has none.

    >>> _signed("-3.7 ± 2.6 mm"), _signed("-0.0 ± 0.4 mm")
    ('−3.7 ± 2.6 mm', '0.0 ± 0.4 mm')
    """
    number, _, rest = said.partition(" ")
    if not number.startswith("-"):
        return said
    size = number.removeprefix("-")
    return f"{'' if float(size) == 0.0 else '−'}{size} {rest}"


def chance_share(p_over: float) -> str:
    """The chance of being over as a share.

    >>> chance_share(1.0), chance_share(0.62)
    ('more than 99 %', '62 %')
    """
    return wording.share(min(max(p_over, _LEAST_CHANCE), 1.0 - _LEAST_CHANCE))


def _guard(value: Quantity, finding: Finding, factor: float) -> str:
    word = finding.verdict
    if not math.isfinite(value.u) or not _GUARD[word]:
        return ""
    wide = wording.plus_minus(factor * value.u / COVERAGE_K, value.unit).removeprefix("± ")
    weighed = word == "not_decided" and weighed_among_others(finding)
    return f"{wide}: {_AMONG_OTHERS if weighed else _GUARD[word]}"
