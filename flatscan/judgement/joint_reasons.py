"""What joints and lips add to the answer's reasons: the worst of each kind, and how much of all is over."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.constants import MM_PER_M
from flatscan.judgement.decision import lean_in_words
from flatscan.judgement.hand_findings import TWICE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.verdict import Finding, JointTally
    from flatscan.quantity import Quantity

_NAMES = {"joint_width": "joint", "joint_depth": "joint", "lip": "lip"}
_ADJECTIVES = {"joint_width": " wide", "joint_depth": " deep", "lip": ""}
_WORST = {"joint_width": "Widest", "joint_depth": "Deepest", "lip": "Highest"}


def joint_reasons(findings: Sequence[Finding], tally: JointTally | None, *, may_grind: bool = True) -> list[str]:
    """Reasons from the findings of joints, worst first, and their tally (None: joints were not measured).

    ``may_grind``: False where asbestos was found; lips are then filled up to and never taken down.

    Each kind gives its worst place; what is over in all follows as work: metres to fill, lips to take down.
    """
    measured = [f for f in findings if f.value is not None]
    reasons = []
    for kind in _NAMES:
        of_kind = [f for f in measured if f.what == kind]
        if of_kind:
            reasons.append(_worst(of_kind[0]))
    reasons += [
        f"{who} disagree at {len(places)} {'place' if len(places) == 1 else 'places'}: read again there"
        for who, twice in (("Hand readings and map", False), ("Readings taken more than once", True))
        for places in [{(f.joint, f.what, f.at) for f in findings if f.conflict and (TWICE in f.where) is twice}]
        if places
    ]
    return reasons if tally is None else reasons + _work(tally, may_grind=may_grind)


def _worst(finding: Finding) -> str:
    word = finding.verdict.replace("_", " ")
    lean = f", {lean_in_words(finding.p_over)}" if word == "not decided" and finding.p_over is not None else ""
    value = "" if finding.value is None else size_text(finding.value)
    # Of many doubtful lips the one that leaves most doubt need not be the highest.
    which = "Most doubtful" if finding.what == "lip" and word == "not decided" else _WORST[finding.what]
    name = f"{which} {_NAMES[finding.what]}"
    place = finding.where.partition(";")[0]
    return f"{name}: {value}{_ADJECTIVES[finding.what]}, {place}: {word}{lean} (limit {said.length(finding.limit_mm)})"


def size_text(value: Quantity) -> str:
    """The size of a figure whose sign only tells the side, as a lip's."""
    return replace(value, value=abs(value.value)).size_text()


def _work(tally: JointTally, *, may_grind: bool) -> list[str]:
    down = "take down" if may_grind else "fill up to and not to grind"
    parts = []
    shares = {"width": tally.width, "depth": tally.depth, "lip": tally.lip}
    over = [f"{_percent(share.over)} in {name}" for name, share in shares.items() if share and share.over > 0.0]
    if over:
        parts.append(f"Of {said.run(tally.length_m * MM_PER_M)} of joint, over a limit: {', '.join(over)}")
    work = []
    if tally.fill_m > 0.0:
        work.append(f"{said.run(tally.fill_m * MM_PER_M)} of joint to fill")
    if tally.lips_over and not tally.lips_beyond_noise:
        parts.append(
            f"{tally.lips_over} {'lip measures' if tally.lips_over == 1 else 'lips measure'} over, but this capture's "
            "noise would show as much on a dead-flat floor: read them by hand before any work on them"
        )
    elif tally.lips_over:
        work.append(f"{tally.lips_over} {'lip' if tally.lips_over == 1 else 'lips'} to {down}")
    if work:
        parts.append(" and ".join(work))
    undecided = [f"{_percent(s.not_decided)} in {name}" for name, s in shares.items() if s and s.not_decided > 0.0]
    if undecided:
        parts.append(f"Of {said.run(tally.length_m * MM_PER_M)} of joint, not decided: {', '.join(undecided)}")
    return parts


def _percent(share: float) -> str:
    return "less than 1 %" if share < 0.005 else f"{100.0 * share:.0f} %"  # noqa: PLR2004 - rounds to none
