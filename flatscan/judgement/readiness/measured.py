"""Flat, joints and lips: the conditions that the measurement decides, and the words behind them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan import said
from flatscan.judgement.findings import GAP_KINDS, WORD_ORDER
from flatscan.judgement.placement_findings import speaks
from flatscan.judgement.readiness.asked import Asked, condition, listed
from flatscan.judgement.readiness.old_covering import with_care

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from flatscan.judgement.limits import LimitSet
    from flatscan.judgement.readiness.readiness import Condition, ConditionName, ConditionWord
    from flatscan.judgement.verdict import Finding, JointTally, VerdictWord
    from flatscan.sources.survey.site import OldCovering

_WORDS: dict[VerdictWord, ConditionWord] = {"within": "met", "over": "not_met"}
_WIDTH_DEPTH, _LIP = ("joint_width", "joint_depth"), ("lip",)
_KIND = {"joint_width": "joint width", "joint_depth": "joint depth", "lip": "lip"}
#: Old floors without joints or lips of tiles.
_SEAMLESS = ("sheet", "screed", "concrete")
_ASK = "Add a limit set that asks for it, such as over-old-tiles"


def combined_word(findings: Iterable[Finding]) -> VerdictWord | None:
    """One word for the whole: over if any part is, within only if every part is; None for nothing to judge."""
    return min((f.verdict for f in findings), key=WORD_ORDER.index, default=None)


def flat_word(
    findings: Sequence[Finding], *, unseen_share: float, most_unseen_share: float
) -> tuple[VerdictWord | None, list[Finding]]:
    """The word for flatness, and the gap findings that speak for it.

    Listed unseen patches do not count one by one: the share of the floor that was not seen does.
    """
    gaps = [f for f in findings if f.what in GAP_KINDS and speaks(f)]
    word = combined_word(f for f in gaps if f.verdict != "not_seen" or f.at is None)
    return ("not_seen" if word == "within" and unseen_share >= most_unseen_share else word), gaps


def joint_word(joints: Sequence[Finding], tally: JointTally | None) -> VerdictWord | None:
    """The word for these findings of joints; lips over that may all be noise of the capture are not decided."""
    word = combined_word(joints)
    if word == "over" and tally is not None and not tally.lips_beyond_noise:
        others = [f for f in joints if not (f.what == "lip" and f.verdict == "over")]
        word = "over" if combined_word(others) == "over" else "not_decided"
    return word


def measured(
    findings: Sequence[Finding],
    limit_sets: Sequence[LimitSet],
    old: OldCovering,
    *,
    unseen_share: float,
    most_unseen_share: float,
    tally: JointTally | None = None,
) -> tuple[Condition, Condition, Condition]:
    """Flat, joints, lips; ``findings`` worst first. In order only where within, not in order where over, else open."""
    flat, gaps = flat_word(findings, unseen_share=unseen_share, most_unseen_share=most_unseen_share)
    counted = [f for f in findings if f.share is None or f.share >= most_unseen_share]
    wide, lips = ([f for f in counted if f.what in kinds] for kinds in (_WIDTH_DEPTH, _LIP))
    return (
        _condition("flat", flat, gaps, limit_sets, "Level the floor as the plan says, then measure again", _NO_GAP),
        _joints("joints", wide, tally, limit_sets, old, "Fill the joints"),
        _joints("lips", lips, tally, limit_sets, old, with_care(_LIPS, old, "Fill up to the lips and grind nothing")),
    )


_LIPS = "Take the lips down or fill up to them"
_NO_GAP = Asked("no limit for gaps was asked for")


def _joints(
    name: ConditionName,
    found: list[Finding],
    tally: JointTally | None,
    limit_sets: Sequence[LimitSet],
    old: OldCovering,
    work: str,
) -> Condition:
    """Where no limit is asked for: not needed on a floor without joints, else a gap in what was asked."""
    nothing = Asked(f"no limit for {name} was asked for")
    if not found and old.kind in _SEAMLESS:
        return condition(name, "not_needed", nothing, recorded=f"a floor of {old.kind} has none")
    return _condition(name, joint_word(found, tally), found, limit_sets, work, nothing)


def _condition(
    name: ConditionName,
    word: VerdictWord | None,
    found: Sequence[Finding],
    limit_sets: Sequence[LimitSet],
    work: str,
    nothing: Asked,
) -> Condition:
    if word is None:
        return condition(name, "not_recorded", nothing, advice=_ASK)
    worst = next((f for f in found if f.value is not None and f.verdict == word), None)
    worst = worst or next((f for f in found if f.value is not None), None)
    told = "not measured" if worst is None or worst.value is None else f"{_what(worst, word)} {worst.value.size_text()}"
    if word == "not_seen":
        told += ", not all of the floor could be judged" if worst is not None else ""
    elif word == "not_decided":
        told += ", too close to the limit to tell"
    unlaid = [f"{said.length(f.limit_mm)} under {said.reach(f.edge_mm or 0.0)}" for f in found if _unlaid(f)]
    if unlaid:
        told += f"; not settled: at most {listed(dict.fromkeys(unlaid))}, an edge too short to be laid on what was read"
    advice = work if word == "over" else "Read by hand what the next readings list"
    return condition(
        name, _WORDS.get(word, "open"), _asked(found, worst, limit_sets), recorded=told, advice=advice, short=name
    )


def _asked(found: Sequence[Finding], worst: Finding | None, limit_sets: Sequence[LimitSet]) -> Asked:
    """The limit of the worst finding, with its set's source."""
    finding = worst or found[0]
    text = f"at most {said.length(finding.limit_mm)}"
    if finding.edge_mm is not None:
        text += f" under {said.reach(finding.edge_mm)}"
    elif finding.what in _KIND:
        text = f"{_KIND[finding.what]} {text}"
    name = finding.limit_id.partition("/")[0]
    limit_set = next((one for one in limit_sets if one.id == name), None)
    if limit_set is None:
        return Asked(text, name)
    of_kind = [limit for limit in limit_set.limits if limit.what == finding.what]
    nearest = min(of_kind, key=lambda limit: abs((limit.edge_mm or 0.0) - (finding.edge_mm or 0.0)), default=None)
    return Asked.of(limit_set.source if nearest is None else limit_set.source_of(nearest), f"{text} ({name})")


def _unlaid(finding: Finding) -> bool:
    """Whether its edge could not be laid: a limit that nothing of the floor was held against."""
    return finding.what in GAP_KINDS and finding.verdict == "not_seen" and finding.at is None and bool(finding.edge_mm)


def _what(finding: Finding, word: VerdictWord) -> str:
    """Of many that are not decided the one that leaves most doubt need not be the largest."""
    if word == "not_decided":
        return f"most doubtful {_KIND.get(finding.what, 'gap')}"
    return f"worst {_KIND[finding.what]}" if finding.what in _KIND else "deepest gap"
