"""Each joint's worst place for width, depth and lip with its verdict: the same on map, page, tables and terminal."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from flatscan.judgement.decision import chance_over, chance_size_over, decide, decide_size
from flatscan.judgement.tile_limits import lip_limit, lip_limit_mm
from flatscan.report.wording import VERDICT_RANK

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from flatscan.judgement.verdict import VerdictWord
    from flatscan.measures.joints.joints import MeasuredJoint, Station
    from flatscan.quantity import Quantity
    from flatscan.report.report import Report

JointKind = Literal["lip", "joint_width", "joint_depth"]
JOINT_KINDS: tuple[JointKind, ...] = ("lip", "joint_width", "joint_depth")


@dataclass(frozen=True, slots=True)
class Worst:
    """The worst station of one joint for one kind. ``value`` of a lip is its size, whichever side is high.

    ``station``, ``value``: None where the kind was measured nowhere on this joint. ``verdict``, ``limit_mm``: None
    where no limit asks for the kind.
    """

    what: JointKind
    joint: MeasuredJoint
    station: Station | None
    value: Quantity | None
    limit_mm: float | None
    p_over: float | None
    verdict: VerdictWord | None

    @property
    def rank(self) -> tuple[int, float, float]:
        """Worst first: the word, the chance of being over as a person tells chances, then how far over."""
        excess = 0.0 if self.value is None or not self.limit_mm else self.value.value / self.limit_mm
        return word_rank(self.verdict), -round(self.p_over or 0.0, 2), -excess


@dataclass(frozen=True, slots=True)
class JudgedJoint:
    """One joint with the worst of each kind."""

    joint: MeasuredJoint
    worst: Mapping[JointKind, Worst]

    @property
    def line_word(self) -> VerdictWord | None:
        """The word for width and depth together: what was seen speaks, and not seen only where nothing was."""
        words = [self.worst[kind].verdict for kind in ("joint_width", "joint_depth")]
        seen = [word for word in words if word not in (None, "not_seen")]
        return min(seen or words, key=word_rank)

    @property
    def rank(self) -> tuple[int, float, float]:
        """The worst of its kinds."""
        return min(one.rank for one in self.worst.values())


def word_rank(word: VerdictWord | None) -> int:
    """Worst first; what no limit names comes last."""
    return len(VERDICT_RANK) if word is None else VERDICT_RANK[word]


def judged_joints(report: Report) -> tuple[JudgedJoint, ...]:
    """Every joint in the order it was found; empty where joints were not looked for or none was found."""
    joints = report.measurement.joints
    if joints is None:
        return ()
    limits, confidence = _limits_mm(report), report.settings.judge.confidence
    return tuple(
        JudgedJoint(joint, {kind: _worst(kind, joint, limits[kind], confidence) for kind in JOINT_KINDS})
        for joint in joints.joints
    )


def worst_places(judged: Sequence[JudgedJoint]) -> list[Worst]:
    """Over and not decided, worst first: each kind of each joint by itself."""
    found = [one for each in judged for one in each.worst.values() if one.verdict in {"over", "not_decided"}]
    return sorted(found, key=lambda one: one.rank)


def figure(station: Station, kind: JointKind) -> Quantity | None:
    """What a station says, a lip as its size."""
    if kind == "joint_width":
        return station.width
    if kind == "joint_depth":
        return station.depth
    return None if station.lip is None else replace(station.lip, value=abs(station.lip.value))


def _limits_mm(report: Report) -> dict[JointKind, float | None]:
    """The strictest limit of each kind; of a lip, the one for these tiles."""
    rules = [rule for limits in report.limits for rule in limits.limits]
    joints = report.measurement.joints
    tile = None if joints is None or joints.network.format is None else joints.network.format
    tile_mm = None if tile is None else (tile.pitch_long.value, tile.pitch_short.value)
    lip = lip_limit(rules, tile_mm=tile_mm)
    return {
        "lip": None if lip is None else lip_limit_mm(lip, tile_mm),
        **{
            kind: min((rule.limit_mm for rule in rules if rule.what == kind), default=None)
            for kind in ("joint_width", "joint_depth")
        },
    }


def _worst(kind: JointKind, joint: MeasuredJoint, limit_mm: float | None, confidence: float) -> Worst:
    found = [(value, station) for station in joint.stations if (value := figure(station, kind)) is not None]
    if not found:
        return Worst(kind, joint, None, None, limit_mm, None, None if limit_mm is None else "not_seen")
    if limit_mm is None:
        value, station = max(found, key=lambda one: one[0].value)
        return Worst(kind, joint, station, value, None, None, None)
    # The size of a lip is judged with both its tails, for it has a sign.
    chance, judge = (chance_size_over, decide_size) if kind == "lip" else (chance_over, decide)
    value, station = max(found, key=lambda one: (round(chance(one[0].value, one[0].u, limit_mm), 2), one[0].value))
    p_over, word = judge(value.value, value.u, limit_mm, confidence)
    return Worst(kind, joint, station, value, limit_mm, p_over, word)
