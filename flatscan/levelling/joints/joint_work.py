"""The work on joints and lips that the judgement asks for, with what it takes."""

# ruff: noqa: TC001 - the saved basis is read by these names
from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from flatscan.constants import MM_PER_M
from flatscan.judgement.findings import WORD_ORDER
from flatscan.judgement.joint_stations import judge_stations
from flatscan.judgement.verdict import Point
from flatscan.levelling.joints import joint_fills
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.joint_stations import Judged
    from flatscan.judgement.limits import LimitKind, LimitSet
    from flatscan.judgement.verdict import Verdict, VerdictWord
    from flatscan.levelling.plan import MethodName
    from flatscan.measures.joints.joints import Joints, MeasuredJoint
    from flatscan.measures.measurement import Measurement
    from flatscan.settings import JudgeSettings

#: Over the limit, or so near to it that it may be.
WorkWord = Literal["over", "not_decided"]
#: From a joint's centre line to a place on the tile beside it, mm.
_ON_TILE_MM = 100.0
#: How far a hole may be from the depth the person gave for it, as a share (common practice, no source).
_HOLE_U = 0.1
JOINTS, HOLES = "joints", "holes of tiles that come out"


@dataclass(frozen=True, slots=True)
class JointFill:
    """One joint to fill flush. ``line``: its centre line, floor-frame mm. ``length_mm``: what of it is over, or may be.

    ``width``, ``depth``: mean over that length, or over the joint where nothing of that length was measured, mm; None
    where it was measured nowhere on it. ``volume``: litres that the length takes; what was not measured is taken from
    the joint's other stations, else from the floor's other joints, else guessed (``guessed``). A joint that is over on
    part of its way and may be on another has two fills, one for each word.
    """

    joint: str
    line: tuple[Point, ...]
    length_mm: float
    word: WorkWord
    width: Quantity | None
    depth: Quantity | None
    volume: Quantity
    guessed: bool = False


@dataclass(frozen=True, slots=True)
class LipDown:
    """One lip to take down. ``lip``: its size, mm, at its worst place ``at``. ``line``: the joint's centre line.

    ``high_at``: a place on the tile that stands high, 100 mm from the joint. ``limit_mm``: what it was held against.
    """

    joint: str
    at: Point
    line: tuple[Point, ...]
    high_at: Point
    length_mm: float
    word: WorkWord
    lip: Quantity
    limit_mm: float


@dataclass(frozen=True, slots=True)
class JointWork:
    """All of it, the joints in the order they were found, the lips worst first.

    ``every_joint``: litres that all joints of the floor together hold, for a coat that fills them all; ``joints_m``:
    their length; ``unmeasured_m``: the length of those with neither width nor depth.
    """

    fills: tuple[JointFill, ...]
    lips: tuple[LipDown, ...]
    every_joint: Quantity
    joints_m: float
    unmeasured_m: float

    def metres_to_fill(self, word: WorkWord = "over") -> float:
        """Metres of joint to fill that are over, or may be."""
        return sum(fill.length_mm for fill in self.fills if fill.word == word) / 1000.0


def joint_work_of(
    measurement: Measurement, verdict: Verdict, limit_sets: Sequence[LimitSet], settings: JudgeSettings
) -> JointWork | None:
    """What the joints and lips of a floor ask for; None where no joints were measured.

    Station by station the words are those of the verdict, of several limit sets the worst: the metres to fill are
    the tally's ``fill_m`` and ``fill_undecided_m``. Where all lips that measure over may be the capture's noise
    (``lips_beyond_noise``), none is taken down before it was read by hand: they count as not decided.
    """
    joints = measurement.joints
    if joints is None or not joints.joints:
        return None

    def words(kind: LimitKind) -> list[list[Judged]] | None:
        sets = [one for one in limit_sets if any(limit.what == kind for limit in one.limits)]
        judged = [judge_stations(joints, one, kind, settings.confidence, measurement.hand) for one in sets]
        return [_worst_of_sets(same) for same in zip(*judged, strict=True)] if judged else None

    widths, depths = joint_fills.figures_of(joints, "width"), joint_fills.figures_of(joints, "depth")
    kinds = [found for kind in ("joint_width", "joint_depth") if (found := words(kind)) is not None]
    fills: list[JointFill] = []
    every, unmeasured_mm = [], 0.0
    for number, joint in enumerate(joints.joints):
        width, depth, stretch = widths[number], depths[number], joint_fills.stretch_of(joint)
        every.append(joint_fills.litres(width, depth, stretch, np.ones(len(stretch), dtype=bool)))
        unmeasured_mm += 0.0 if width.anywhere or depth.anywhere else joint.length_mm
        said = _worst_words([found[number] for found in kinds], len(stretch))
        of_words: tuple[WorkWord, ...] = ("over", "not_decided")
        fills += [
            JointFill(
                joint=joint.id,
                line=joint.line,
                length_mm=float(stretch[here].sum()),
                word=word,
                width=width.mean(stretch, here) if width.anywhere else None,
                depth=depth.mean(stretch, here) if depth.anywhere else None,
                volume=joint_fills.litres(width, depth, stretch, here),
                guessed=width.guessed or depth.guessed,
            )
            for word in of_words
            if (here := np.array([one == word for one in said], dtype=bool)).any()
        ]
    tally = verdict.joint_tally
    return JointWork(
        fills=tuple(fills),
        lips=_lips(joints, words("lip") or [], noise=tally is not None and not tally.lips_beyond_noise),
        every_joint=joint_fills.total_l(every),
        joints_m=sum(joint.length_mm for joint in joints.joints) / MM_PER_M,
        unmeasured_m=unmeasured_mm / MM_PER_M,
    )


def joint_extra(name: MethodName, work: JointWork | None, void_l: float) -> tuple[tuple[str, Quantity], ...]:
    """What a way takes that no cell of its fill shows: its joints, and the holes of tiles that come out.

    Patches fill the joints that are over; what covers the whole floor runs into every joint. ``void_l``: litres of the
    holes, by the depth that the person gave.
    """
    if name == "lift_tiles":
        return ()
    joints = None
    if work is not None and name in ("patch", "grind_and_patch"):
        joints = joint_fills.total_l([fill.volume for fill in work.fills if fill.word == "over"])
    elif work is not None:
        joints = work.every_joint
    holes = Quantity(void_l, _HOLE_U * void_l, "l")
    named = ((JOINTS, joints), (HOLES, holes))
    return tuple((what, litres) for what, litres in named if litres is not None and litres.value > 0.0)


def _worst_of_sets(same: Sequence[Sequence[Judged]]) -> list[Judged]:
    """One joint's stations as the strictest of several sets has each."""
    return [min(of_sets, key=_rank) for of_sets in zip(*same, strict=True)]


def _rank(judged: Judged) -> tuple[int, float, float]:
    """Worst first: the word, the chance of being over, then how far over."""
    over_mm = -math.inf if judged.value is None else abs(judged.value.value) - judged.limit_mm
    return WORD_ORDER.index(judged.word), -round(judged.p_over or 0.0, 4), -over_mm


def _worst_words(kinds: Sequence[Sequence[Judged]], stations: int) -> list[VerdictWord]:
    """The worse word of width and depth at each station of one joint."""
    if not kinds:
        return ["within"] * stations
    return [min((judged.word for judged in same), key=WORD_ORDER.index) for same in zip(*kinds, strict=True)]


def _lips(joints: Joints, words: Sequence[Sequence[Judged]], *, noise: bool) -> tuple[LipDown, ...]:
    """One for each joint whose lip is over or not decided, over first, then the highest over its limit."""
    found = [
        _lip(joints, joint, stations, noise=noise)
        for joint, stations in zip(joints.joints, words, strict=bool(words))
        if any(s.word in ("over", "not_decided") for s in stations)
    ]
    return tuple(sorted(found, key=lambda lip: (lip.word != "over", lip.limit_mm - lip.lip.value)))


def _lip(joints: Joints, joint: MeasuredJoint, stations: Sequence[Judged], *, noise: bool) -> LipDown:
    worst = min(stations, key=_rank)
    if worst.value is None:
        raise ValueError("a lip that was judged has a value")
    piece = joints.network.pieces[joint.piece]
    along = ((piece.end[0] - piece.start[0]) / piece.length_mm, (piece.end[1] - piece.start[1]) / piece.length_mm)
    # A lip is the face to the left of the piece's way less the one to the right.
    side = math.copysign(_ON_TILE_MM, worst.value.value)
    counted = ("over", "not_decided") if noise else (worst.word,)
    return LipDown(
        joint=joint.id,
        at=worst.at,
        line=joint.line,
        high_at=(worst.at[0] - side * along[1], worst.at[1] + side * along[0]),
        length_mm=sum(s.stretch_mm for s in stations if s.word in counted),
        word="over" if worst.word == "over" and not noise else "not_decided",
        lip=replace(worst.value, value=abs(worst.value.value)),
        limit_mm=worst.limit_mm,
    )
