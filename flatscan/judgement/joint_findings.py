"""Joints and lips against their limits: what each joint is, and how much of them all is over."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.constants import MM_PER_M
from flatscan.judgement.decision import chance_size_over
from flatscan.judgement.joint_stations import Judged, judge_stations
from flatscan.judgement.joint_words import unseen_words
from flatscan.judgement.verdict import Finding, JointShares, JointTally

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.joint_places import JointPlaces
    from flatscan.judgement.limits import LimitKind, LimitSet
    from flatscan.judgement.verdict import VerdictWord
    from flatscan.measures.joints.joints import Joints
    from flatscan.measures.measurement import HeldAgainst
    from flatscan.settings import JudgeSettings

KINDS: tuple[LimitKind, ...] = ("joint_width", "joint_depth", "lip")
#: As ``findings.WORD_ORDER``: one word for several stations is the first of these that any of them has.
_ORDER: tuple[VerdictWord, ...] = ("over", "not_decided", "not_seen", "within")
CONFLICT = "hand reading and map disagree: read again"


def joint_findings(
    joints: Joints,
    limit_sets: Sequence[LimitSet],
    settings: JudgeSettings,
    places: JointPlaces,
    hand: Sequence[HeldAgainst] = (),
) -> tuple[list[Finding], JointTally | None]:
    """Findings of every joint that is over or not decided, and the tally over all; None: no such limit was asked for.

    For each set and kind: one finding per joint that is over or not decided, at its worst station; where there is
    none, the worst station of all; and one *not seen* for all that could not be judged, with its share of the length.

    Each station is judged by itself at the stated confidence, with no correction for there being hundreds of them. A
    joint whose true figure is just beneath the limit is thus called over with a chance of up to 5 % (at 95 %), as any
    single reading would be; with hundreds of stations near the limit, a few will be. That errs to the side of
    looking again at one joint. *Within* for a joint or the floor is the word of its worst station, so the floor as a
    whole is wrongly within with a chance of no more than about 5 % however many joints it has: the station that is
    truly over must itself have been called within. A correction of every joint's word for their number would make
    hardly any joint decidable and is not what a person who reads one joint at a time does. The floor as a whole has
    one guard: see ``beyond_noise``.
    """
    found: list[Finding] = []
    words: defaultdict[LimitKind, list[list[list[Judged]]]] = defaultdict(list)
    for limit_set in limit_sets:
        for kind in KINDS:
            if any(limit.what == kind for limit in limit_set.limits):
                judged = judge_stations(joints, limit_set, kind, settings.confidence, hand)
                words[kind].append(judged)
                found += _of_kind(f"{limit_set.id}/{kind}", kind, judged, joints, places)
    if not words:
        return found, None
    over = beyond_noise([s for judged in words.get("lip", []) for joint in judged for s in joint], settings.confidence)
    return found, replace(_tally(words), lips_beyond_noise=over)


def beyond_noise(stations: Sequence[Judged], confidence: float) -> bool:
    """Whether some lip called over cannot be this capture's noise on a dead-flat floor; True where none is over.

    With hundreds of stations and a noise larger than the limit, some always measure far over, on the flattest floor
    too. The largest of n noises beats |v| / u with a chance of at most n 2 Phi(-|v| / u); a lip counts where that is
    no more than 1 - ``confidence``. With a noise well below the limit every lip called over does.
    """
    judged = [s for s in stations if s.value is not None and s.word != "not_seen"]
    over = [s.value for s in judged if s.word == "over" and s.value is not None]
    return not over or any(
        len(judged) * chance_size_over(0.0, value.u, abs(value.value)) <= 1.0 - confidence for value in over
    )


def joint_word(stations: Sequence[Judged], most_unseen_share: float) -> VerdictWord:
    """One word for a joint: over if any station is; within only if all judged are and nearly all were judged."""
    length_mm = sum(s.stretch_mm for s in stations)
    unseen_mm = sum(s.stretch_mm for s in stations if s.word == "not_seen")
    judged = [s.word for s in stations if s.word != "not_seen"]
    word: VerdictWord = min(judged, key=_ORDER.index) if judged else "not_seen"
    return "not_seen" if word == "within" and unseen_mm >= most_unseen_share * length_mm else word


def _of_kind(
    name: str, kind: LimitKind, judged: Sequence[Sequence[Judged]], joints: Joints, places: JointPlaces
) -> list[Finding]:
    found: list[Finding] = []
    seen: list[tuple[Judged, int]] = []
    for number, stations in enumerate(judged):
        of_joint = [(s, number) for s in stations if s.word != "not_seen"]
        if not of_joint:
            continue
        worst = min(of_joint, key=_worst)
        seen.append(worst)
        listed = [worst] if worst[0].word != "within" else []
        doubted = [s for s in of_joint if s[0].conflict]
        if doubted and not worst[0].conflict:
            listed.append(min(doubted, key=_worst))
        found += [_finding(name, kind, *one, joints, places) for one in listed]
    if seen and not found:
        found.append(_finding(name, kind, *min(seen, key=_worst), joints, places))
    return found + _unseen(name, kind, judged)


def _worst(pair: tuple[Judged, int]) -> tuple[int, bool, float, float]:
    judged = pair[0]
    size = 0.0 if judged.value is None else abs(judged.value.value) - judged.limit_mm
    return _ORDER.index(judged.word), not judged.read_here, -round(judged.p_over or 0.0, 4), -size


def _finding(name: str, kind: LimitKind, judged: Judged, number: int, joints: Joints, places: JointPlaces) -> Finding:
    joint = joints.joints[number]
    tail = ""
    if judged.conflict:
        tail = f"; {CONFLICT}"
    elif judged.bounds_mm is not None and judged.word == "not_decided":
        low, high = (said.number(bound, "mm", 2) for bound in judged.bounds_mm)
        unit = said.unit("mm")
        tail = f"; a limit of {low} to {high} {unit} holds, by the joint's width and the tile"
    return Finding(
        what=kind,
        limit_id=name,
        limit_mm=judged.limit_mm,
        value=judged.value,
        p_over=judged.p_over,
        verdict=judged.word,
        at=judged.at,
        where=places.words(joint.piece, judged.at) + tail,
        joint=joint.id,
        conflict=judged.conflict,
    )


def _unseen(name: str, kind: LimitKind, judged: Sequence[Sequence[Judged]]) -> list[Finding]:
    """One finding for all that could not be judged; none where all was."""
    every = [s for stations in judged for s in stations]
    by_reason: dict[str, float] = defaultdict(float)
    for station in every:
        if station.word == "not_seen":
            by_reason[station.why] += station.stretch_mm
    total_mm = sum(s.stretch_mm for s in every)
    if not by_reason or total_mm <= 0.0:
        return []
    return [
        Finding(
            what=kind,
            limit_id=name,
            limit_mm=min(s.limit_mm for s in every if s.word == "not_seen"),
            value=None,
            p_over=None,
            verdict="not_seen",
            at=None,
            where=unseen_words(kind, by_reason, total_mm),
            share=min(1.0, sum(by_reason.values()) / total_mm),
        )
    ]


def _tally(words: dict[LimitKind, list[list[list[Judged]]]]) -> JointTally:
    """Lengths by word; of several sets the worst word of each station counts."""
    worst = {kind: [_merged(sets) for sets in zip(*judged, strict=True)] for kind, judged in words.items()}
    some = next(iter(words.values()))[0]
    stretch = [[s.stretch_mm for s in stations] for stations in some]
    fill = _lengths(_worst_of(worst.get("joint_width"), worst.get("joint_depth")), stretch)
    lips = worst.get("lip", [])
    lip_lengths = _lengths(lips, stretch)
    return JointTally(
        length_m=sum(map(sum, stretch)) / MM_PER_M,
        width=_shares(worst.get("joint_width"), stretch),
        depth=_shares(worst.get("joint_depth"), stretch),
        lip=_shares(worst.get("lip"), stretch),
        fill_m=fill["over"] / MM_PER_M,
        fill_undecided_m=fill["not_decided"] / MM_PER_M,
        lips_over=sum("over" in joint for joint in lips),
        lips_over_m=lip_lengths["over"] / MM_PER_M,
        lips_undecided=sum("not_decided" in joint and "over" not in joint for joint in lips),
        lips_undecided_m=lip_lengths["not_decided"] / MM_PER_M,
    )


def _merged(of_joint: Sequence[Sequence[Judged]]) -> list[VerdictWord]:
    """One joint's words from several sets."""
    return [min((s.word for s in same), key=_ORDER.index) for same in zip(*of_joint, strict=True)]


def _worst_of(a: list[list[VerdictWord]] | None, b: list[list[VerdictWord]] | None) -> list[list[VerdictWord]]:
    if a is None or b is None:
        return a or b or []
    return [[min(pair, key=_ORDER.index) for pair in zip(x, y, strict=True)] for x, y in zip(a, b, strict=True)]


def _lengths(words: Sequence[Sequence[VerdictWord]], stretch: Sequence[Sequence[float]]) -> dict[VerdictWord, float]:
    lengths: dict[VerdictWord, float] = dict.fromkeys(_ORDER, 0.0)
    for joint, of_joint in zip(words, stretch, strict=False):
        for word, length in zip(joint, of_joint, strict=True):
            lengths[word] += length
    return lengths


def _shares(words: Sequence[Sequence[VerdictWord]] | None, stretch: Sequence[Sequence[float]]) -> JointShares | None:
    total = sum(map(sum, stretch))
    if words is None or total <= 0.0:
        return None
    lengths = _lengths(words, stretch)
    return JointShares(**{word: lengths[word] / total for word in _ORDER})
