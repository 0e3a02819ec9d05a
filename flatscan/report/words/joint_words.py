"""Each joint's worst place for width, depth and lip with its verdict: the same on map, page, tables and terminal."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal
from weakref import WeakKeyDictionary

from flatscan.judgement.joint_findings import joint_word
from flatscan.judgement.joint_stations import figure, judge_stations
from flatscan.report.words import places
from flatscan.report.words.wording import VERDICT_RANK

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from flatscan.judgement.joint_stations import Judged
    from flatscan.judgement.verdict import Point, VerdictWord
    from flatscan.measures.joints.joints import Joints, MeasuredJoint, Station
    from flatscan.quantity import Quantity
    from flatscan.report.report import Report

JointKind = Literal["lip", "joint_width", "joint_depth"]
#: What a finding is about, its joint and its place.
_Named = tuple[str, str | None, "Point | None"]
JOINT_KINDS: tuple[JointKind, ...] = ("lip", "joint_width", "joint_depth")
#: More labels than this and a map cannot be read.
MOST_LABELLED = 5
#: More signs than this of one sort and none can be told apart.
MOST_SIGNS = 60


@dataclass(frozen=True, slots=True)
class Worst:
    """The worst station of one joint for one kind. ``value`` of a lip is its size, whichever side is high.

    ``station``, ``value``: None where the kind was measured nowhere on this joint. ``word`` is that station's,
    ``verdict`` the joint's, which is *not seen* where too much of a joint that is else within was not measured; both
    and ``limit_mm`` are None where no limit asks for the kind.
    """

    what: JointKind
    joint: MeasuredJoint
    station: Station | None = None
    value: Quantity | None = None
    limit_mm: float | None = None
    p_over: float | None = None
    word: VerdictWord | None = None
    verdict: VerdictWord | None = None
    where: str = ""

    @property
    def rank(self) -> tuple[int, float, float]:
        """Worst first: the word, the chance of being over as a person tells chances, then how far over."""
        excess = 0.0 if self.value is None or not self.limit_mm else self.value.value / self.limit_mm
        return word_rank(self.word), -round(self.p_over or 0.0, 2), -excess


@dataclass(frozen=True, slots=True)
class JudgedJoint:
    """One joint with the worst of each kind."""

    joint: MeasuredJoint
    worst: Mapping[JointKind, Worst]

    @property
    def line_word(self) -> VerdictWord | None:
        """The word for width and depth together: what was measured speaks, and not seen only where nothing was."""
        words = [self.worst[kind].word for kind in ("joint_width", "joint_depth")]
        seen = [word for word in words if word not in (None, "not_seen")]
        return min(seen or words, key=word_rank)

    @property
    def rank(self) -> tuple[int, float, float]:
        """The worst of its kinds."""
        return min(one.rank for one in self.worst.values())


#: Of the reports that are in use; a report is told from others by what it is, not by what it holds.
_KNOWN: WeakKeyDictionary[Report, tuple[JudgedJoint, ...]] = WeakKeyDictionary()


def word_rank(word: VerdictWord | None) -> int:
    """Worst first; what no limit names comes last."""
    return len(VERDICT_RANK) if word is None else VERDICT_RANK[word]


def judged_joints(report: Report) -> tuple[JudgedJoint, ...]:
    """Every joint in the order it was found; empty where joints were not looked for or none was found.

    Worked out once for each report, since every output asks for it.
    """
    if report not in _KNOWN:
        _KNOWN[report] = _judged(report)
    return _KNOWN[report]


def _judged(report: Report) -> tuple[JudgedJoint, ...]:
    joints = report.measurement.joints
    if joints is None:
        return ()
    told: dict[_Named, str] = {(f.what, f.joint, f.at): f.where for f in report.verdict.findings if f.joint is not None}
    words = {kind: _of_sets(report, joints, kind) for kind in JOINT_KINDS}
    unseen = report.settings.judge.most_unseen_share
    return tuple(
        JudgedJoint(
            joint, {kind: _worst(kind, joint, [s[number] for s in sets], told, unseen) for kind, sets in words.items()}
        )
        for number, joint in enumerate(joints.joints)
    )


def worst_places(judged: Sequence[JudgedJoint]) -> list[Worst]:
    """Over and not decided, worst first: each kind of each joint by itself."""
    found = [one for each in judged for one in each.worst.values() if one.word in {"over", "not_decided"}]
    return sorted(found, key=lambda one: one.rank)


def labelled(judged: Sequence[JudgedJoint]) -> list[Worst]:
    """The worst few places that are over, no joint twice; the least decided ones where none is over."""
    places = worst_places(judged)
    word = places[0].word if places else None
    first = {one.joint.id: one for one in reversed(places) if one.word == word}
    return sorted(first.values(), key=lambda one: one.rank)[:MOST_LABELLED]


def marked(judged: Sequence[JudgedJoint]) -> list[Worst]:
    """The places to mark on joints over in width or depth, worst first, one a joint, at most ``MOST_SIGNS``."""
    over = [one for one in worst_places(judged) if one.what != "lip" and one.word == "over"]
    first = {one.joint.id: one for one in reversed(over)}
    return sorted(first.values(), key=lambda one: one.rank)[:MOST_SIGNS]


def lips_shown(judged: Sequence[JudgedJoint]) -> list[Worst]:
    """The lips to draw, worst first: over and not decided, at most ``MOST_SIGNS`` of each."""
    lips = [one for one in worst_places(judged) if one.what == "lip"]
    return [one for word in ("over", "not_decided") for one in [w for w in lips if w.word == word][:MOST_SIGNS]]


def lips_left_out(judged: Sequence[JudgedJoint]) -> str:
    """What is said where not every lip is drawn."""
    lips, drawn = [one for one in worst_places(judged) if one.what == "lip"], lips_shown(judged)
    return f"Drawn are {len(drawn)} of {len(lips)} lips; all are in joints.csv." if len(lips) > len(drawn) else ""


def size_of(station: Station, kind: JointKind) -> Quantity | None:
    """What a station says, a lip as its size."""
    found = figure(station, kind)
    return found if found is None or kind != "lip" else replace(found, value=abs(found.value))


def _of_sets(report: Report, joints: Joints, kind: JointKind) -> list[list[list[Judged]]]:
    """The stations' words by limit set that names the kind, and by joint."""
    asked = [limits for limits in report.limits if any(rule.what == kind for rule in limits.limits)]
    confidence = report.settings.judge.confidence
    return [judge_stations(joints, limits, kind, confidence, report.measurement.hand) for limits in asked]


def _worst(
    kind: JointKind,
    joint: MeasuredJoint,
    sets: Sequence[Sequence[Judged]],
    told: Mapping[_Named, str],
    most_unseen_share: float,
) -> Worst:
    found = [
        Worst(kind, joint, station, size, said.limit_mm, said.p_over, said.word)
        for stations in sets
        for station, said in zip(joint.stations, stations, strict=True)
        if (size := size_of(station, kind)) is not None and said.word != "not_seen"
    ]
    if not sets:
        found = [Worst(kind, joint, station, size) for station in joint.stations if (size := size_of(station, kind))]
        return max(found, key=lambda one: one.value.value if one.value else 0.0, default=Worst(kind, joint))
    if not found:
        return Worst(kind, joint, limit_mm=_least_mm(sets), word="not_seen", verdict="not_seen")
    worst = min(found, key=lambda one: one.rank)
    verdict = min((joint_word(stations, most_unseen_share) for stations in sets), key=word_rank)
    at = None if worst.station is None else worst.station.at
    return replace(worst, verdict=verdict, where=told.get((kind, joint.id, at), "" if at is None else places.point(at)))


def _least_mm(sets: Iterable[Sequence[Judged]]) -> float | None:
    return min((said.limit_mm for stations in sets for said in stations), default=None)
