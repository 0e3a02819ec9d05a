"""Hand readings in the judgement: where they contradict the scan, and those that stand by themselves."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flatscan.judgement.decision import decide
from flatscan.judgement.joint_findings import CONFLICT
from flatscan.judgement.limits import Limit
from flatscan.judgement.places import place_in_words
from flatscan.judgement.steps import gap_limits, span_limit_mm
from flatscan.judgement.verdict import Finding
from flatscan.measures.lone_spots import same_spot

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.limits import LimitSet
    from flatscan.judgement.verdict import Point
    from flatscan.measures.measurement import HeldAgainst, Measurement

TWICE = "read more than once, and the readings disagree: read again"
#: Readings closer together than this, beneath edges of like length, are one reading.
SAME_PLACE_MM = 300.0
#: Half of steps.STEP_BACK_MM, so that a stepped edge is never taken for its neighbour.
_SAME_EDGE_MM = 5e-3


def same_edge(a: float | None, b: float | None) -> bool:
    """Whether two edges are of one length."""
    return a is not None and b is not None and abs(a - b) < _SAME_EDGE_MM


def contradicted(hand: Sequence[HeldAgainst], edge_mm: float | None, at: Point) -> bool:
    """Whether a reading beneath an edge of that length at this place contradicts the scan."""
    return any(
        h.conflict
        and h.reading.what == "gap"
        and same_edge(h.reading.edge_mm, edge_mm)
        and math.dist(h.reading.at, at) < SAME_PLACE_MM
        for h in hand
    )


def lone_findings(
    measurement: Measurement, longest_mm: float, limit_sets: Sequence[LimitSet], confidence: float
) -> list[Finding]:
    """Readings away from every worst place and joint of the scan, each judged by itself at its place.

    Such a reading can call its place over; *within* it says of its own place only. A gap read without its contacts
    is over a limit by their distance where it is over the limit of the whole edge's length, the mildest that can hold.
    """
    lone = _once([h for h in measurement.hand if _alone(h, measurement)])
    by_span = [
        _finding(limit_set, Limit(what="span_gap", limit_mm=limit_mm, edge_mm=h.reading.edge_mm), h, confidence)
        for limit_set in limit_sets
        if limit_set.spans
        for h in lone
        if h.reading.what == "gap" and h.reading.edge_mm is not None
        for limit_mm in [span_limit_mm(limit_set, h.reading.edge_mm)]
    ]
    return [f for f in by_span if f.verdict == "over"] + [
        _finding(limit_set, limit, held, confidence)
        for limit_set in limit_sets
        for limit in (*gap_limits(limit_set, longest_mm), *_strictest(limit_set))
        for held in lone
        if _is_about(limit, held)
    ]


def _once(lone: Sequence[HeldAgainst]) -> list[HeldAgainst]:
    """What was read more than once at one place, once: it is judged together."""
    kept: list[HeldAgainst] = []
    for held in lone:
        if not any(same_spot(held.reading, other.reading) for other in kept):
            kept.append(held)
    return kept


def _is_about(limit: Limit, held: HeldAgainst) -> bool:
    if limit.what in ("gap", "span_gap"):
        return held.reading.what == "gap" and same_edge(held.reading.edge_mm, limit.edge_mm)
    return held.reading.what == limit.what


def _alone(held: HeldAgainst, measurement: Measurement) -> bool:
    reading = held.reading
    if reading.what == "gap":
        return not any(
            same_edge(s.edge_mm, reading.edge_mm) and math.dist(s.at, reading.at) < SAME_PLACE_MM
            for s in measurement.gaps
        )
    known = measurement.joints.joints if measurement.joints is not None else ()
    return reading.joint not in {joint.id for joint in known}


def _strictest(limit_set: LimitSet) -> list[Limit]:
    """The strictest limit of each kind for joints: a lone reading knows neither its joint's width nor its tile."""
    found = []
    for kind in ("lip", "joint_width", "joint_depth"):
        of_kind = [limit for limit in limit_set.limits if limit.what == kind]
        found += sorted(of_kind, key=lambda limit: limit.limit_mm)[:1]
    return found


def _finding(limit_set: LimitSet, limit: Limit, held: HeldAgainst, confidence: float) -> Finding:
    reading, value = held.reading, held.taken or held.reading.value
    p_over, word = decide(value.value, value.u, limit.limit_mm, confidence)
    edge = "" if limit.edge_mm is None else f"-{limit.edge_mm:.0f}"
    differ = CONFLICT if held.scan is not None else TWICE
    tail = f"; {differ}" if held.conflict else "; read by hand"
    return Finding(
        what=limit.what,
        limit_id=f"{limit_set.id}/{limit.what}{edge if limit.what in ('gap', 'span_gap') else ''}",
        limit_mm=limit.limit_mm,
        value=value,
        p_over=p_over,
        verdict="not_decided" if held.conflict else word,
        at=reading.at,
        where=place_in_words(reading.at) + tail,
        edge_mm=limit.edge_mm,
        joint=reading.joint,
        conflict=held.conflict,
    )
