"""Limits that grow with the distance between the contacts, as limits beneath edges of fixed length."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

from flatscan.judgement.limits import Limit

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from flatscan.judgement.limits import LimitSet

#: A limit that rounds up at a distance holds for that distance itself, so the step below it ends this much short.
STEP_BACK_MM = 0.01
#: Steps of the ladder that stands for an interpolated limit which the source does not round.
LADDER_STEP_MM = 0.25
_EDGED = ("gap", "span_gap")


def span_limit_mm(limit_set: LimitSet, span_mm: float) -> float:
    """The limit for contacts ``span_mm`` apart: straight line between the columns, then rounded, halves up.

    Below the first and beyond the last column the end values hold (DIN 18202 table 3, from memory).
    """
    value = _interpolated_mm(limit_set.spans, span_mm)
    step = limit_set.round_to_mm
    # The tiny term takes up the binary rounding of a value that is a half in decimals.
    return value if step is None else step * math.floor(value / step + 0.5 + 1e-9)


def stepped_limits(limit_set: LimitSet, longest_mm: float) -> tuple[Limit, ...]:
    """The ``span_gap`` limits that together stand for the set's ``spans`` on a floor ``longest_mm`` across.

    With t(d) the limit for contacts d apart, the floor passes if every chord has a gap <= t(d). Let t be
    constant, t_m, on the steps (e_(m-1), e_m], t_1 < t_2 < ... The floor passes exactly if for every m the
    gap beneath an edge of length e_m, the greatest over all chords with d <= e_m, is <= t_m. *If it passes*:
    such a chord has gap <= t(d) <= t_m, as t never falls. *If all the edges pass*: a chord with d in
    (e_(m-1), e_m] lies beneath the edge e_m, so its gap is <= t_m = t(d). Nothing is sampled, so judging the
    listed edges is exact. Halves round up, so a step ends just short of the distance where t rises
    (``STEP_BACK_MM``), for that distance already has the next limit.

    A set without ``round_to_mm`` has no steps: a ladder of ``LADDER_STEP_MM`` takes their place, each rung
    judged by the value at its middle, so that no chord is judged by a limit more than half a rung
    (0.125 mm) from its own.
    """
    if not limit_set.spans:
        return ()
    steps = _ladder(limit_set.spans, longest_mm)
    if limit_set.round_to_mm is not None:
        steps = _rounded_steps(limit_set, limit_set.round_to_mm, longest_mm)
    return tuple(Limit(what="span_gap", limit_mm=round(limit, 9), edge_mm=edge) for edge, limit in steps)


def gap_limits(limit_set: LimitSet, longest_mm: float) -> tuple[Limit, ...]:
    """All gap limits of a set: those it states, and its spans as steps."""
    stated = tuple(limit for limit in limit_set.limits if limit.what in _EDGED)
    return stated + stepped_limits(limit_set, longest_mm)


def edges_needed(limit_sets: Iterable[LimitSet], longest_mm: float) -> tuple[float, ...]:
    """Edge lengths, rising, at which the gaps must be measured so that these sets can be judged."""
    every = (limit.edge_mm for s in limit_sets for limit in gap_limits(s, longest_mm))
    return tuple(sorted({edge for edge in every if edge is not None}))


def _rounded_steps(limit_set: LimitSet, step: float, longest_mm: float) -> list[tuple[float, float]]:
    """(end of the step, limit on it) of a rounded limit; the last step is cut short by the floor."""
    value, last = (span_limit_mm(limit_set, d) for d in (0.0, longest_mm))
    steps = []
    while value < last - step / 2:
        steps.append((_distance_mm(limit_set.spans, value + step / 2) - STEP_BACK_MM, value))
        value += step
    return [*steps, (longest_mm, last)]


def _ladder(spans: Sequence[tuple[float, float]], longest_mm: float) -> list[tuple[float, float]]:
    """(end of the rung, value at its middle); below the first column the limit is constant and exact."""
    least, most = (_interpolated_mm(spans, d) for d in (0.0, longest_mm))
    if most <= least:
        return [(longest_mm, least)]
    steps, value = [(spans[0][0], least)], least
    while value + LADDER_STEP_MM < most:
        value += LADDER_STEP_MM
        steps.append((_distance_mm(spans, value), value - LADDER_STEP_MM / 2))
    return [*steps, (longest_mm, (value + most) / 2)]


def _interpolated_mm(spans: Sequence[tuple[float, float]], span_mm: float) -> float:
    for (d0, t0), (d1, t1) in pairwise(spans):
        if d0 <= span_mm <= d1:
            return t0 + (t1 - t0) * (span_mm - d0) / (d1 - d0)
    return spans[0][1] if span_mm < spans[0][0] else spans[-1][1]


def _distance_mm(spans: Sequence[tuple[float, float]], value_mm: float) -> float:
    """The least distance whose interpolated limit is ``value_mm``."""
    for (d0, t0), (d1, t1) in pairwise(spans):
        if t0 < value_mm <= t1:
            return d0 + (d1 - d0) * (value_mm - t0) / (t1 - t0)
    raise ValueError(f"no distance has the limit {value_mm}")
