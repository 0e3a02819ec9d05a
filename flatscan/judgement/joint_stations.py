"""Each station of each joint held against one kind of limit of one set."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.judgement.decision import decide, decide_size, guard_factor
from flatscan.judgement.joint_words import NO_LIMIT
from flatscan.judgement.lip_prior import LipPrior, lip_prior
from flatscan.judgement.tile_limits import LipLimits, lip_limits_within

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Literal

    from flatscan.judgement.limits import Limit, LimitKind, LimitSet
    from flatscan.judgement.tile_limits import Range
    from flatscan.judgement.verdict import Point, VerdictWord
    from flatscan.measures.joints.joints import Joints, MeasuredJoint, Station
    from flatscan.measures.measurement import HeldAgainst
    from flatscan.quantity import Quantity
    from flatscan.sources.hand.hand_reading import HandWhat

#: Joint taken off the tile's pitch where no joint was measured: 0 to 10 mm, any (common practice, no source).
_UNKNOWN_JOINT: Range = (0.0, 5.0, 10.0)
#: How far a contradiction by hand reaches along a joint, mm: what made the photo wrong at one station (a shadow, a
#: stain) lies at its neighbours too (common practice, no source).
_DOUBT_REACH_MM: dict[LimitKind | HandWhat, float] = {"joint_width": 150.0, "joint_depth": 0.0, "lip": math.inf}


@dataclass(frozen=True, slots=True)
class Judged:
    """One station's word. ``why``: for what was not seen, the refusal's name. ``bounds_mm``: limits that may hold.

    ``conflict``: hand and scan contradict each other; ``read_here``: at this very station.
    """

    at: Point
    stretch_mm: float
    word: VerdictWord
    limit_mm: float
    value: Quantity | None = None
    p_over: float | None = None
    why: str = ""
    bounds_mm: tuple[float, float] | None = None
    conflict: bool = False
    read_here: bool = False


def figure(station: Station, kind: LimitKind | HandWhat) -> Quantity | None:
    """The station's figure that a limit or a hand reading of this kind is about."""
    if kind == "lip":
        return station.lip
    return station.width if kind == "joint_width" else station.depth


def judge_stations(
    joints: Joints, limit_set: LimitSet, kind: LimitKind, confidence: float, hand: Sequence[HeldAgainst] = ()
) -> list[list[Judged]]:
    """The words of all stations, a list per joint, for the strictest limit of that kind that holds for it.

    A lip is over only where the floor's other lips do not make noise the likelier cause (``lip_prior``): of hundreds of
    joints some show a large lip by chance. They never make a lip within.

    Where hand and scan contradict each other the word is *not decided*: at that station for a depth, some way round it
    for a width, on the whole piece for a lip, whose scan figures stand or fall together.
    """
    limits = [limit for limit in limit_set.limits if limit.what == kind]
    lip_limits, prior = None, None
    if kind == "lip":
        lip_limits, prior = _lip_limits(joints, limits, confidence), lip_prior(joints)
    words = []
    for joint in joints.joints:
        of_joint = [_judge(station, kind, limits, lip_limits, confidence) for station in joint.stations]
        if prior is not None:
            of_joint = [_among_others(judged, prior, confidence) for judged in of_joint]
        for at in _conflicts(hand, joint, kind):
            of_joint = _doubted(of_joint, at, reach_mm=_DOUBT_REACH_MM[kind])
        words.append(of_joint)
    return words


def _judge(
    station: Station,
    kind: LimitKind,
    limits: Sequence[Limit],
    lip_limits: Callable[[Station], LipLimits | None] | None,
    confidence: float,
) -> Judged:
    if lip_limits is None:
        strictest = min(limit.limit_mm for limit in limits)
        bounds: LipLimits | None = LipLimits(limits[0], strictest, strictest, strictest)
    else:
        bounds = lip_limits(station)
    if bounds is None:
        lowest = min(limit.limit_mm for limit in limits)
        return Judged(station.at, station.stretch_mm, "not_seen", lowest, why=NO_LIMIT)
    value = figure(station, kind)
    if value is None or not math.isfinite(value.u):
        return Judged(station.at, station.stretch_mm, "not_seen", bounds.likely_mm, why=_reason(station, kind))
    rule = decide_size if kind == "lip" else decide
    p_over, word = rule(value.value, value.u, bounds.likely_mm, confidence)
    limit_mm, uncertain = bounds.likely_mm, bounds.strictest_mm < bounds.mildest_mm
    if uncertain:
        p_strict, word_strict = rule(value.value, value.u, bounds.strictest_mm, confidence)
        p_mild, word_mild = rule(value.value, value.u, bounds.mildest_mm, confidence)
        if word_strict == "within":
            word, p_over, limit_mm = "within", p_strict, bounds.strictest_mm
        elif word_mild == "over":
            word, p_over, limit_mm = "over", p_mild, bounds.mildest_mm
        else:
            word = "not_decided"
    return Judged(
        at=station.at,
        stretch_mm=station.stretch_mm,
        word=word,
        limit_mm=limit_mm,
        value=value,
        p_over=p_over,
        bounds_mm=(bounds.strictest_mm, bounds.mildest_mm) if uncertain else None,
    )


def _among_others(judged: Judged, prior: LipPrior, confidence: float) -> Judged:
    """A lip not within is held against the floor's other lips too; within stays as its own measurement says."""
    if judged.word not in ("over", "not_decided") or judged.value is None:
        return judged
    p_over = prior.chance_over(judged.value.value, judged.value.u, judged.limit_mm)
    if judged.word == "over" and p_over >= confidence:
        return judged
    return replace(judged, word="not_decided", p_over=p_over)


def _reason(station: Station, kind: LimitKind) -> str:
    name = kind.removeprefix("joint_")
    return next((why for what, why in station.refused if what == name), "")


def _lip_limits(joints: Joints, limits: Sequence[Limit], confidence: float) -> Callable[[Station], LipLimits | None]:
    """The lip limits of a station: by its own joint width and the floor's tile, each within its guard band."""
    z = guard_factor(confidence)
    tile = tile_range(joints, z)
    if all(limit.joint_mm is None for limit in limits):
        same = lip_limits_within(limits, None, tile)
        return lambda _: same
    return lambda station: lip_limits_within(limits, _range(station.width, z), tile)


def _range(value: Quantity | None, z: float) -> Range | None:
    if value is None or not math.isfinite(value.u):
        return None
    return max(0.0, value.value - z * value.u), max(0.0, value.value), max(0.0, value.value + z * value.u)


def tile_range(joints: Joints, z: float) -> tuple[Range, Range] | None:
    """Length and width of the commonest tile, pitch less joint, each as (least, best, most); None: no format."""
    found = joints.network.format
    if found is None:
        return None
    widths = [s.width for joint in joints.joints for s in joint.stations if s.width is not None]
    ranges = [r for width in widths if (r := _range(width, z)) is not None]
    # Medians of the ends: what the whole floor's width may be by definition does not average out.
    joint: Range = _UNKNOWN_JOINT
    if ranges:
        least, best, most = np.median(np.array(ranges), axis=0).tolist()
        joint = (least, best, most)

    def side(pitch: Quantity) -> Range:
        low, best, high = pitch.value - joint[2], pitch.value - joint[1], pitch.value - joint[0]
        return (
            max(0.0, best - math.hypot(best - low, z * pitch.u)),
            max(0.0, best),
            best + math.hypot(high - best, z * pitch.u),
        )

    return side(found.pitch_long), side(found.pitch_short)


def _conflicts(hand: Sequence[HeldAgainst], joint: MeasuredJoint, kind: LimitKind) -> list[Point]:
    return [h.reading.at for h in hand if h.conflict and h.reading.what == kind and h.reading.joint == joint.id]


def _doubted(of_joint: Sequence[Judged], at: Point, *, reach_mm: float) -> list[Judged]:
    nearest = min(range(len(of_joint)), key=lambda i: math.dist(of_joint[i].at, at), default=-1)
    word: Literal["not_decided"] = "not_decided"
    return [
        replace(j, word=word, conflict=True, read_here=j.read_here or i == nearest)
        if i == nearest or math.dist(j.at, at) <= reach_mm
        else j
        for i, j in enumerate(of_joint)
    ]
