"""Where a hand reading would decide what the capture could not."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.judgement.findings import GAP_KINDS, JOINT_KINDS
from flatscan.judgement.hand_findings import SAME_PLACE_MM
from flatscan.judgement.instruments import edge_text, instrument_for
from flatscan.judgement.joint_readings import (
    CONFLICT_TELLS,
    READ_AGAIN,
    Candidate,
    doubt,
    joint_candidates,
    unknown_candidates,
)
from flatscan.judgement.places import place_in_words
from flatscan.judgement.verdict import Reading

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.joint_places import JointPlaces
    from flatscan.judgement.verdict import Finding, Point
    from flatscan.measures.joints.joints import Joints
    from flatscan.settings import JudgeSettings
    from flatscan.sources.hand.hand_reading import HandWhat

MOST_READINGS = 12
#: How a reading of floor that was not seen begins.
UNSEEN = "floor not seen"
_DIFFER = "; the readings there disagree, so read it again"
_AGAIN = "; its readings and the surface disagree, so read it again"
_JOINT_WORDS: dict[str, HandWhat] = {"width": "joint_width", "depth": "joint_depth", "lip": "lip"}


def next_readings(
    findings: Sequence[Finding],
    settings: JudgeSettings,
    *,
    start_at: Point,
    joints: Joints | None = None,
    places: JointPlaces | None = None,
    lips_may_be_noise: bool = False,
    first: Sequence[Reading] = (),
    by_hand: bool = False,
) -> tuple[tuple[Reading, ...], int]:
    """Hand readings for what is not decided, the most informative first, and how many more there are.

    A reading tells most where the outcome is least known, which is where the chance of being over is nearest one
    half (the greatest entropy of a yes or no), and where it decides more than its own place. The second reading of
    a kind counts half, the third a third: it answers the question of the first again, and hundreds of doubtful lips
    must not keep the one doubtful gap off the list. Places that coincide are listed once. Floor that was not seen
    comes last. ``first``: readings that come before all, for what they would show doubts the whole floor.
    ``by_hand``: no sensor captured the floor.
    """
    undecided = [
        f
        for f in findings
        # A placement that is not decided by itself is part of the surface, which says where doubt is left.
        if f.verdict == "not_decided"
        and f.what in GAP_KINDS
        and f.at is not None
        and (f.placement is None or f.conflict)
    ]
    undecided.sort(key=_least_known_first)
    candidates = [
        Candidate(CONFLICT_TELLS if f.conflict else doubt(f.p_over), _gap_reading(f, settings.confidence))
        for f in _apart(undecided)
    ]
    if joints is not None and places is not None:
        candidates += joint_candidates(
            findings, joints, places, settings.confidence, lips_may_be_noise=lips_may_be_noise
        )
        candidates += unknown_candidates(findings, joints, places, settings.most_unseen_share)
    else:
        candidates += _spot_candidates(findings, settings.confidence)
    readings = [
        *first,
        *(c.reading for c in _by_turns(candidates)),
        *(_unseen_reading(f, by_hand=by_hand) for f in findings if _unseen_floor(f)),
    ]
    tail = [] if joints is not None else _joint_reading(findings, start_at)
    listed = readings[: MOST_READINGS - len(tail)] + tail
    numbered = tuple(replace(r, number=i) for i, r in enumerate(listed, start=1))
    return numbered, len(readings) + len(tail) - len(listed)


def _by_turns(candidates: Sequence[Candidate]) -> list[Candidate]:
    """What tells most first, the k-th of a kind at a k-th; contradictions before all."""
    counted: Counter[HandWhat | None] = Counter()
    weighed = []
    for candidate in sorted(candidates, key=lambda c: -c.tells):
        kind = candidate.reading.kind
        counted[kind] += 1
        conflict = candidate.reading.what.endswith((READ_AGAIN, _AGAIN, _DIFFER))
        weighed.append((not conflict, -candidate.tells / counted[kind], candidate))
    return [candidate for *_, candidate in sorted(weighed, key=lambda row: row[:2])]


def _least_known_first(finding: Finding) -> float:
    return -math.inf if finding.conflict else abs((finding.p_over or 0.0) - 0.5)


def _unseen_floor(finding: Finding) -> bool:
    return finding.verdict == "not_seen" and finding.what in GAP_KINDS and finding.at is not None


def _unseen_reading(finding: Finding, *, by_hand: bool) -> Reading:
    if finding.at is None:
        raise ValueError("an unseen patch has a place")
    how = "lay" if by_hand else "clear it and scan it, or lay"
    return Reading(
        at=finding.at,
        what=f"{UNSEEN}, {place_in_words(finding.at)}: {how} the straightedge across it in two directions",
        instrument=f"{edge_text(finding.edge_mm)} straightedge and feeler gauges",
        resolves=f"{said.length(0.5)} or finer",
        kind="gap",
        edge_mm=finding.edge_mm,
    )


def _joint_reading(findings: Sequence[Finding], start_at: Point) -> list[Reading]:
    """One line of the field sheet for joints that were not looked for."""
    kinds = [f.what for f in findings if f.verdict == "not_seen" and f.what in JOINT_KINDS]
    if not kinds:
        return []
    words = {"lip": "lip", "joint_width": "width", "joint_depth": "depth"}
    named = ", ".join(words[k] for k in dict.fromkeys(kinds))
    return [
        Reading(
            at=start_at,
            what=f"{named} of the widest, deepest and most uneven joints you can find; begin here",
            instrument="steel rule, depth gauge and feeler gauges",
            resolves=f"{said.length(0.1)} or finer",
        )
    ]


def _spot_candidates(findings: Sequence[Finding], confidence: float) -> list[Candidate]:
    """Joints read by hand that are too close to their limit, to be read again finer."""
    found = []
    for word, kind in _JOINT_WORDS.items():
        for f in (f for f in findings if f.what == kind and f.verdict == "not_decided" and f.at is not None):
            if f.at is not None:
                instrument, resolves = instrument_for(kind, f, confidence)
                lip = "the lip" if kind == "lip" else f"{word} of the joint"
                what = f"{lip}, {place_in_words(f.at)}{_DIFFER if f.conflict else ', again and finer'}"
                reading = Reading(f.at, what, instrument, resolves, kind=kind, joint=f.joint)
                found.append(Candidate(CONFLICT_TELLS if f.conflict else doubt(f.p_over), reading))
    return found


def _gap_reading(finding: Finding, confidence: float) -> Reading:
    if finding.at is None:
        raise ValueError("an undecided finding has a place")
    lay = f"gap under a {edge_text(finding.edge_mm)} straightedge, {place_in_words(finding.at)}"
    if finding.contacts is not None:
        a, b = finding.contacts
        lay += f", resting at {_tapes(a)} and {_tapes(b)}"
    if finding.conflict:
        lay += READ_AGAIN if finding.placement is None else _AGAIN
    instrument, resolves = instrument_for("gap", finding, confidence)
    return Reading(
        at=finding.at, what=lay, instrument=instrument, resolves=resolves, kind="gap", edge_mm=finding.edge_mm
    )


def _apart(findings: Sequence[Finding]) -> list[Finding]:
    kept: list[Finding] = []
    for finding in findings:
        if not any(_same_reading(finding, other) for other in kept):
            kept.append(finding)
    return kept


def _same_reading(a: Finding, b: Finding) -> bool:
    if a.at is None or b.at is None:
        return False
    like_edge = max(a.edge_mm or 0.0, b.edge_mm or 0.0) <= 1.5 * min(a.edge_mm or 0.0, b.edge_mm or 0.0)
    return like_edge and math.dist(a.at, b.at) < SAME_PLACE_MM


def _tapes(at: Point) -> str:
    """A second and third place beside one that named the walls."""
    return f"{said.pair(at)}{'' if said.imperial() else ' m'}"
