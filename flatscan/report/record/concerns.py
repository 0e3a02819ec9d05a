"""What there is to be concerned about before work starts: taken from findings and readiness, nothing added."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan.report.words.told_findings import listed_findings

if TYPE_CHECKING:
    from flatscan.judgement.readiness.readiness import Condition, ConditionName
    from flatscan.judgement.verdict import Finding
    from flatscan.report.report import Report

#: These are told by the findings, with their figures.
_FROM_FINDINGS: frozenset[ConditionName] = frozenset({"flat", "joints", "lips"})
#: Of what was left out of a survey these are concerns by themselves: nobody may lay without knowing them.
_MUST_BE_KNOWN: frozenset[ConditionName] = frozenset({"dry", "sound", "crack_free", "old_covering"})


@dataclass(frozen=True, slots=True)
class Concerns:
    """``over``, ``undecided``, ``unseen``: findings, worst first. The conditions: those from the survey.

    ``not_met``: found not in order. ``open``: recorded, and not settled. ``unrecorded``: nobody wrote it down.
    """

    over: tuple[Finding, ...]
    undecided: tuple[Finding, ...]
    unseen: tuple[Finding, ...]
    not_met: tuple[Condition, ...]
    open: tuple[Condition, ...]
    unrecorded: tuple[Condition, ...]

    @property
    def unknown(self) -> tuple[Condition, ...]:
        """Of what nobody wrote down that which must be known before anything is laid."""
        return tuple(c for c in self.unrecorded if c.name in _MUST_BE_KNOWN)

    @property
    def whole_floor(self) -> bool:
        """Whether more than single places are concerned."""
        return bool(self.not_met or self.open or self.unrecorded)


def concerns_of(report: Report) -> Concerns | None:
    """All concerns; None where the floor can be laid over as it is and no condition stands against it.

    A condition that nobody recorded is a concern by itself only where a survey was kept and left it out; without a
    survey file nobody has begun to record, which the record says and a letter need not.
    """
    verdict = report.verdict
    conditions = () if verdict.readiness is None else verdict.readiness.conditions
    asked = [c for c in conditions if c.name not in _FROM_FINDINGS]
    not_met = tuple(c for c in asked if c.word == "not_met")
    open_ = tuple(c for c in asked if c.word == "open")
    unrecorded = tuple(c for c in asked if c.word == "not_recorded")
    unknown = report.survey is not None and any(c.name in _MUST_BE_KNOWN for c in unrecorded)
    stands_against = not_met or open_ or unknown
    if verdict.answer.code == "lay_as_is" and not stands_against:
        return None
    listed = listed_findings(verdict.findings)
    over, undecided, unseen = (
        tuple(f for f in listed if f.verdict == word) for word in ("over", "not_decided", "not_seen")
    )
    return Concerns(over, undecided, unseen, not_met, open_, unrecorded)
