"""Hand readings that would decide joints and lips, and how much each would tell."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from flatscan.judgement.decision import decide_size
from flatscan.judgement.instruments import instrument_for, usual_instrument
from flatscan.judgement.joint_stations import figure
from flatscan.judgement.verdict import Reading

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.joint_places import JointPlaces
    from flatscan.judgement.verdict import Finding, Point
    from flatscan.measures.joints.joints import Joints, MeasuredJoint, Station
    from flatscan.sources.hand.hand_reading import HandWhat

#: What has no figure anywhere is listed at so many joints of each kind.
MOST_UNKNOWN_LISTED = 3
#: One of many joints of which nothing is known: it decides itself and says little of the others.
_UNKNOWN_TELLS = 0.5
#: A contradiction is looked into before any doubt.
CONFLICT_TELLS = 2.0
READ_AGAIN = "; hand reading and map disagree, so read it again"
_WORDS: dict[HandWhat, str] = {"lip": "lip", "joint_width": "width", "joint_depth": "depth"}


class Candidate(NamedTuple):
    """A reading and how much it would tell, in yes-or-no questions answered (bits)."""

    tells: float
    reading: Reading


def doubt(p_over: float | None) -> float:
    """Entropy in bits of a yes or no with this chance; 1 at one half, which is where a reading tells most.

    >>> doubt(0.5), doubt(0.0), round(doubt(0.11), 2)
    (1.0, 0.0, 0.5)
    """
    if p_over is None:
        return 1.0
    return sum(-p * math.log2(p) for p in (p_over, 1.0 - p_over) if p > 0.0)


def joint_candidates(
    findings: Sequence[Finding],
    joints: Joints,
    places: JointPlaces,
    confidence: float,
    *,
    lips_may_be_noise: bool = False,
) -> list[Candidate]:
    """One reading for each joint and kind that is not decided.

    A lip reading decides its whole joint, a depth reading its joint; a width reading says besides how much of every
    width is the rounding of the tiles' edges, which is why the best measured undecided joint's counts for all, and
    the other widths' only for what is their own. ``lips_may_be_noise``: lips called over are read as well.
    """
    by_id = {joint.id: joint for joint in joints.joints}
    noise = {("lip", "over")} if lips_may_be_noise else set()
    undecided = [
        f
        for f in findings
        if (f.verdict == "not_decided" or (f.what, f.verdict) in noise) and f.joint in by_id and f.at is not None
    ]
    widths = _widths_tell(undecided, by_id)
    best: dict[tuple[str, str], Candidate] = {}
    for finding in undecided:
        joint = by_id[finding.joint or ""]
        tells = doubt(finding.p_over)
        if finding.conflict:
            tells = CONFLICT_TELLS
        elif finding.what == "joint_width":
            tells = widths.get(joint.id, tells)
        elif finding.verdict == "over":  # one of many that noise explains: as good as unknown
            tells = 1.0
        key = (joint.id, finding.what)
        if key not in best or tells > best[key].tells:
            best[key] = Candidate(tells, _reading(finding, joint, places, confidence))
    return list(best.values())


def unknown_candidates(
    findings: Sequence[Finding], joints: Joints, places: JointPlaces, most_unseen_share: float
) -> list[Candidate]:
    """Readings for kinds of which too much has no figure: at the widest joint, then far from those before."""
    found: list[Candidate] = []
    missing = {f.what for f in findings if f.share is not None and f.share >= most_unseen_share}
    for kind in (k for k in _WORDS if k in missing):
        for joint, station in _spread(joints, kind):
            instrument, resolves = usual_instrument(kind)
            reading = Reading(
                at=station.at,
                what=f"{_WORDS[kind]} of joint {joint.id}, {places.words(joint.piece, station.at)}",
                instrument=instrument,
                resolves=resolves,
                kind=kind,
                joint=joint.id,
            )
            found.append(Candidate(_UNKNOWN_TELLS, reading))
    return found


def _widths_tell(undecided: Sequence[Finding], by_id: dict[str, MeasuredJoint]) -> dict[str, float]:
    """What a width reading of each joint tells: its own part, and of the best measured one everybody's common part."""
    widths = {f.joint or "": f for f in undecided if f.what == "joint_width" and not f.conflict}
    wall_u, own, common = dict[str, float](), dict[str, float](), dict[str, float]()
    for name, finding in widths.items():
        station = next((s for s in by_id[name].stations if s.at == finding.at), None)
        if station is None or station.wall_width is None or station.width is None or station.width.u <= 0.0:
            continue
        share = min(1.0, station.wall_width.u**2 / station.width.u**2)
        wall_u[name] = station.wall_width.u
        own[name] = share * doubt(finding.p_over)
        common[name] = (1.0 - share) * doubt(finding.p_over)
    if not wall_u:
        return {}
    best = min(wall_u, key=lambda name: (wall_u[name], -doubt(widths[name].p_over)))
    return own | {best: own[best] + sum(common.values())}


def _reading(finding: Finding, joint: MeasuredJoint, places: JointPlaces, confidence: float) -> Reading:
    kind = next(k for k in _WORDS if k == finding.what)
    instrument, resolves = instrument_for(kind, finding, confidence)
    again = READ_AGAIN if finding.conflict else ""
    at = _where_to_read(finding, joint, confidence)
    return Reading(
        at=at,
        what=f"{_WORDS[kind]} of joint {joint.id}, {places.words(joint.piece, at)}{again}",
        instrument=instrument,
        resolves=resolves,
        kind=kind,
        joint=joint.id,
    )


def _where_to_read(finding: Finding, joint: MeasuredJoint, confidence: float) -> Point:
    """The worst station; of a lip the undecided station nearest the middle, from where it tells most of the joint."""
    if finding.at is None:
        raise ValueError("an undecided joint has a place")
    if finding.what != "lip" or finding.conflict:
        return finding.at
    lips = [(s, s.lip) for s in joint.stations if s.lip is not None and math.isfinite(s.lip.u)]
    open_ = [s for s, q in lips if decide_size(q.value, q.u, finding.limit_mm, confidence)[1] == "not_decided"]
    middle_mm = sum(s.along_mm for s in joint.stations) / len(joint.stations)
    nearest = min(open_, key=lambda s: abs(s.along_mm - middle_mm), default=None)
    return finding.at if nearest is None else nearest.at


def _spread(joints: Joints, kind: HandWhat) -> list[tuple[MeasuredJoint, Station]]:
    """Joints without a figure of that kind: the widest known first, then each the furthest from those before."""
    blind = [
        (joint, joint.stations[len(joint.stations) // 2])
        for joint in joints.joints
        if joint.stations and all(figure(s, kind) is None for s in joint.stations)
    ]
    chosen: list[tuple[MeasuredJoint, Station]] = []
    while blind and len(chosen) < MOST_UNKNOWN_LISTED:
        if chosen:
            pick = max(blind, key=lambda pair: min(math.dist(pair[1].at, other.at) for _, other in chosen))
        else:
            pick = max(blind, key=lambda pair: 0.0 if pair[1].width is None else pair[1].width.value)
        chosen.append(pick)
        blind.remove(pick)
    return chosen
