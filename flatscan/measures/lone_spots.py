"""Joints and lips read by hand where nothing else tells of them: what was read more than once at one place is one."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.fusion import contradict, fused
from flatscan.measures.measurement import HeldAgainst
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.sources.hand.hand_reading import HandReading

#: A place read again is found again by its figures, which a sheet gives to the millimetre. Four tiles' corners lie
#: within a joint's width of each other, so more would mix up their lips.
SAME_SPOT_MM = 5.0


def same_spot(a: HandReading, b: HandReading) -> bool:
    """Whether two readings are of one thing at one place: of one kind (and edge), and of no two joints."""
    named_apart = a.joint is not None and b.joint is not None and a.joint != b.joint
    one_kind = (a.what, a.edge_mm) == (b.what, b.edge_mm)
    return one_kind and not named_apart and math.dist(a.at, b.at) <= SAME_SPOT_MM


def held_alone(readings: Sequence[HandReading]) -> list[HeldAgainst]:
    """Each reading with what is judged at its place: the mean weighted by 1/u² of all readings there.

    Readings of one place that differ by more than chance explains (``fusion.contradict``) are not averaged; each is
    marked, as one that contradicts a scan would be.
    """
    return [_held(one, [other for other in readings if same_spot(one, other)]) for one in readings]


def _held(one: HandReading, there: Sequence[HandReading]) -> HeldAgainst:
    if len(there) == 1:
        return HeldAgainst(one, scan=None, taken=one.value, conflict=False)
    values = [other.value for other in there]
    if any(contradict(a.value, a.u, b.value, b.u) for i, a in enumerate(values) for b in values[i + 1 :]):
        return HeldAgainst(one, scan=None, taken=None, conflict=True)
    value, u = fused(np.array([q.value for q in values]), np.array([q.u for q in values]))
    return HeldAgainst(one, scan=None, taken=Quantity(value, u, "mm", (("readings", u),)), conflict=False)
