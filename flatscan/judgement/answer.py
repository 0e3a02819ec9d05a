"""Can the new floor be laid over this one? The answer and its reasons."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.judgement.bends import bend_reasons
from flatscan.judgement.findings import GAP_KINDS, JOINT_KINDS
from flatscan.judgement.joint_reasons import joint_reasons
from flatscan.judgement.placement_findings import placement_reasons
from flatscan.judgement.readiness.headline import MOST_LETTERS, with_conditions
from flatscan.judgement.readiness.measured import combined_word, flat_word, joint_word
from flatscan.judgement.readiness.telling import not_recorded, readiness_reasons
from flatscan.judgement.searched_joints import searched_reasons
from flatscan.judgement.soundness import soundness_reasons
from flatscan.judgement.verdict import Answer
from flatscan.said import length, reach

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from flatscan.judgement.readiness.readiness import Readiness
    from flatscan.judgement.soundness import Soundness
    from flatscan.judgement.verdict import AnswerCode, Finding, JointTally, VerdictWord
    from flatscan.surface.readings.fit import LongMode

#: Over more than this share of the seen floor, levelling places one by one is no longer the simpler job.
LEVEL_ALL_SHARE = 0.5
#: No height shows any of it; the last reason where nobody wrote any of it down.
NOT_RECORDED = not_recorded(None)

_TEXTS: dict[AnswerCode, str] = {
    "lay_as_is": "Ready: lay over it as it is",
    "fill_joints_and_lips": "Fill the joints and take down the lips, then lay",
    "level_areas": "Level the marked areas, then lay",
    "level_all": "Level the whole floor, then lay",
    "not_decided": "Cannot be told yet",
}
#: What keeps the answer open, by the word for flatness.
_OPEN: dict[VerdictWord | None, str] = {
    "not_decided": "Cannot be told yet: too close to the limit for {these}",
    "not_seen": "Cannot be told yet: not all of the floor could be judged",
    None: "Cannot be told yet: flatness was not judged",
}


def answer_code(flat: VerdictWord | None, joints: VerdictWord | None, share_over: float) -> AnswerCode:
    """The answer from the words for flatness and for joints and lips (None: no such limit was asked for)."""
    if flat == "over":
        return "level_all" if share_over > LEVEL_ALL_SHARE else "level_areas"
    if flat in ("not_decided", "not_seen") or joints in ("not_decided", "not_seen"):
        return "not_decided"
    if joints == "over":
        return "fill_joints_and_lips"
    return "lay_as_is" if flat == "within" else "not_decided"


def answer(
    findings: Sequence[Finding],
    *,
    unseen_share: float,
    most_unseen_share: float,
    share_over: float,
    tally: JointTally | None = None,
    soundness: Soundness | None = None,
    readiness: Readiness | None = None,
    bends: Sequence[LongMode] = (),
    hidden: Sequence[Finding] = (),
    by_hand: bool = False,
    laid: int = 0,
    slip: str = "",
) -> Answer:
    """The answer; ``findings`` worst first, shares 0 to 1. ``tally``: over all joints, where they were measured.

    ``soundness``: taps and cracks, for the reasons. ``readiness``: while any condition is not in order the floor is
    never to be laid over as it is, and while one was not shown the answer says so; None: none was. ``bends``: those
    that keep flatness open. ``hidden``: limits met where the floor was read, with room between. ``by_hand``: no sensor
    captured the floor. ``laid``: straightedge readings that tell of gaps. ``slip``: what says that a
    reading does not fit the others; it is the first reason then, for it may have made the answer.
    """
    every_gap = [f for f in findings if f.what in GAP_KINDS]
    # Few enough joints without a figure do not keep the others from being within.
    counted = [f for f in findings if f.share is None or f.share >= most_unseen_share]
    joints = [f for f in counted if f.what in JOINT_KINDS]
    too_little_seen = unseen_share >= most_unseen_share
    flat, gaps = flat_word(findings, unseen_share=unseen_share, most_unseen_share=most_unseen_share)
    of_joints = joint_word(joints, tally)
    code = answer_code(flat, of_joints, share_over)
    only_hidden = flat == "not_seen" and not too_little_seen and combined_word(f for f in gaps if f.value) == "within"
    told = "within" if only_hidden and hidden else flat
    of_surface = [f for f in gaps if f.value is not None and f.verdict == told and f.placement is None]
    reasons = [*_gap_reasons(of_surface), *placement_reasons(every_gap, laid), *bend_reasons(bends)]
    if flat is None:
        reasons.append("No gap limit was asked for, so flatness was not judged")
    if flat == "over" and of_surface:
        part = "floor" if by_hand else "seen floor"
        reasons.append(f"{_percent(share_over)} of the {part} measures over a limit")
    if too_little_seen:
        reasons.append(f"{100 * unseen_share:.0f} % of the floor was not seen: too much to call it within, which "
                       f"takes less than {100 * most_unseen_share:.0f} %")  # fmt: skip
    stopped = readiness is not None and readiness.named("old_covering").word == "not_met"
    reasons += [
        *joint_reasons(joints, tally, may_grind=not stopped),
        *searched_reasons(joints),
        *soundness_reasons(soundness),
    ]
    reasons += _not_measured(counted)
    text = _OPEN.get(flat, _TEXTS[code]) if code == "not_decided" else _TEXTS[code]
    if told != flat:
        text = "Flat enough where it was read, but not told in between"
    text = text.format(these="these readings" if by_hand else "this capture")
    if code in ("level_areas", "level_all") and not of_surface:
        text = "Level where the straightedge reads over the limit, then lay"
    if code == "not_decided" and flat == "within":
        text = f"Flat enough; {_open_kinds(joints)}"
    elif code == "not_decided" and of_joints == "over":
        text = f"Joints or lips are over; flatness {text[0].lower()}{text[1:]}"
    again = "; but first read again what does not fit" if slip else ""
    code, text = with_conditions(code, text, readiness, room=MOST_LETTERS - len(again))
    if slip:
        text, reasons = text + again, [slip, *reasons]
    reasons += [not_recorded(None)] if readiness is None else readiness_reasons(readiness)
    return Answer(code=code, text=text, reasons=tuple(reasons))


_KIND_WORDS = {
    "gap": "gap",
    "span_gap": "gap",
    "lip": "lips",
    "joint_width": "joint width",
    "joint_depth": "joint depth",
    "level": "level",
    "slope": "fall",
}


def _open_kinds(joints: Sequence[Finding]) -> str:
    """Which of width, depth and lip keep the answer open: ``lips not decided, joint depth not measured``."""
    words = {kind: combined_word(f for f in joints if f.what == kind) for kind in JOINT_KINDS}
    said = []
    for how, open_words in (("not decided", ("over", "not_decided")), ("not measured", ("not_seen",))):
        names = [_KIND_WORDS[kind] for kind, of_kind in words.items() if of_kind in open_words]
        if len(names) == len(JOINT_KINDS):
            return f"joints and lips {how}"
        if names:
            said.append(f"{' and '.join(names)} {how}")
    return ", ".join(said)


def _not_measured(findings: Iterable[Finding]) -> list[str]:
    """One sentence for all kinds that were not measured for the same reason."""
    kinds: dict[str, list[str]] = {}
    for finding in findings:
        if finding.verdict == "not_seen" and finding.at is None:
            kinds.setdefault(finding.where, []).append(_KIND_WORDS[finding.what])
    return [f"{', '.join(dict.fromkeys(names)).capitalize()}: {why}" for why, names in kinds.items()]


def _gap_reasons(findings: Sequence[Finding]) -> list[str]:
    """The first of these findings, which share one verdict, and how many places more there are."""
    if not findings:
        return []
    first, word = findings[0], findings[0].verdict.replace("_", " ")
    more = len({f.at for f in findings} - {first.at}) if first.verdict != "within" else 0
    also = "" if not more else f"; one more place is {word}" if more == 1 else f"; {more} more places are {word}"
    return [_gap_reason(first) + also]


def _gap_reason(finding: Finding) -> str:
    value = finding.value.size_text() if finding.value else "not measured"
    edge = reach(round(finding.edge_mm or 0.0, -1) if finding.what == "span_gap" else finding.edge_mm or 0.0)
    laid = f"between contacts up to {edge} apart" if finding.what == "span_gap" else f"under a {edge} straightedge"
    word = finding.verdict.replace("_", " ")
    return f"Gap of {value} {laid}: {word} (limit {length(finding.limit_mm)})"


def _percent(share: float) -> str:
    return "Less than 1 %" if 0.0 < share < 0.005 else f"{100 * share:.0f} %"  # noqa: PLR2004 - rounds to none
