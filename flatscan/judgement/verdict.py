"""The record this stage hands on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from flatscan.caveats import Caveat
    from flatscan.quantity import Quantity

VerdictWord = Literal["within", "over", "not_decided", "not_seen"]
AnswerCode = Literal["lay_as_is", "fill_joints_and_lips", "level_areas", "level_all", "not_decided"]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Finding:
    """One limit held against one measured value (or against nothing: ``not_seen``).

    ``p_over`` is the chance that the true value is over the limit (JCGM 106). ``where`` is the place in
    words a person on site can follow.
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


@dataclass(frozen=True, slots=True)
class Reading:
    """A hand reading that would help decide: where, what, with which instrument, how finely."""

    at: Point
    what: str
    instrument: str
    resolves: str


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to the question whether the new floor can be laid over this one."""

    code: AnswerCode
    text: str
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Verdict:
    """``findings`` worst first."""

    answer: Answer
    findings: tuple[Finding, ...]
    next_readings: tuple[Reading, ...]
    caveats: tuple[Caveat, ...]
