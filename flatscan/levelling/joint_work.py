"""The work on joints and lips that the judgement asks for, with what it takes."""

# ruff: noqa: TC001 - the saved basis is read by these names
from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from flatscan.judgement.verdict import Point
from flatscan.quantity import Quantity

#: Over the limit, or so near to it that it may be.
WorkWord = Literal["over", "not_decided"]


@dataclass(frozen=True, slots=True)
class JointFill:
    """One joint to fill flush. ``line``: its centre line, floor-frame mm. ``length_mm``: what of it is over, or may be.

    ``width``, ``depth``: mean over its stations, mm; None where it was measured nowhere. ``volume``: litres that the
    length takes; what was not measured is taken from the floor's other joints, or as wide as can be (``guessed``).
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
