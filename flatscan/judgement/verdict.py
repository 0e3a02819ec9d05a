"""The record this stage hands on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from flatscan.caveats import Caveat
    from flatscan.judgement.readiness.readiness import Readiness
    from flatscan.quantity import Quantity
    from flatscan.sources.hand.hand_reading import HandWhat

VerdictWord = Literal["within", "over", "not_decided", "not_seen"]
AnswerCode = Literal["lay_as_is", "fill_joints_and_lips", "level_areas", "level_all", "not_decided"]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Finding:
    """One limit held against one measured value (or against nothing: ``not_seen``).

    ``p_over`` is the chance that the true value is over the limit (JCGM 106). ``where`` is the place in
    words a person on site can follow. ``joint`` names the joint of a joint's or a lip's finding. ``share``, 0 to 1, of
    what was not seen: the share of the joints' length that this finding speaks for. ``conflict``: hand and scan
    contradict each other there. ``placement``: the straightedge reading that is judged by itself here; None: the
    surface is judged.
    """

    what: str
    limit_id: str
    limit_mm: float
    value: Quantity | None
    p_over: float | None
    verdict: VerdictWord
    at: Point | None
    where: str
    edge_mm: float | None = None
    contacts: tuple[Point, Point] | None = None
    joint: str | None = None
    share: float | None = None
    conflict: bool = False
    placement: str | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """A hand reading that would help decide: where, what, with which instrument, how finely.

    ``number`` counts from 1, the most informative first. ``kind`` is what the value is to be called when it is taken
    in again; None: a job, such as clearing the floor, that gives no value. ``edge_mm``: straightedge of a gap.
    ``joint``: id of the joint of the others.
    """

    at: Point
    what: str
    instrument: str
    resolves: str
    number: int = 0
    kind: HandWhat | None = None
    edge_mm: float | None = None
    joint: str | None = None


@dataclass(frozen=True, slots=True)
class JointShares:
    """Shares of the joints' length, 0 to 1, that together make 1."""

    over: float
    not_decided: float
    within: float
    not_seen: float


@dataclass(frozen=True, slots=True)
class JointTally:
    """How much of the joints is over what was asked. Shares: None where no such limit was asked for.

    ``fill_m``: metres of joint over in width or depth; ``fill_undecided_m``: those that may be and are not among them.
    ``lips_over``: joints whose lip is over somewhere, to be taken down, ``lips_over_m`` the length over;
    ``lips_undecided`` and ``lips_undecided_m``: joints, and length, whose lips are not decided.
    ``lips_beyond_noise``: False where all lips that measure over may be noise of this capture on a dead-flat floor.
    """

    length_m: float
    width: JointShares | None
    depth: JointShares | None
    lip: JointShares | None
    fill_m: float
    fill_undecided_m: float
    lips_over: int
    lips_over_m: float
    lips_undecided: int
    lips_undecided_m: float
    lips_beyond_noise: bool = True


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to the question whether the new floor can be laid over this one."""

    code: AnswerCode
    text: str
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Verdict:
    """``findings`` worst first. ``more_readings``: hand readings that would help too, beyond those listed.

    ``readiness``: the other conditions; None: a judgement that was not asked for them.
    """

    answer: Answer
    findings: tuple[Finding, ...]
    next_readings: tuple[Reading, ...]
    caveats: tuple[Caveat, ...]
    joint_tally: JointTally | None = None
    more_readings: int = 0
    readiness: Readiness | None = None
