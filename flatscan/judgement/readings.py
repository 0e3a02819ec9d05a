"""Where a hand reading would decide what the capture could not."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flatscan.constants import MM_PER_M
from flatscan.judgement.decision import guard_factor
from flatscan.judgement.findings import GAP_KINDS, JOINT_KINDS
from flatscan.judgement.places import place_in_words
from flatscan.judgement.verdict import Reading

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.verdict import Finding, Point

#: Readings closer together than this, beneath edges of like length, are one reading.
SAME_PLACE_MM = 300.0
#: Standard uncertainty of a reading that is only limited by its step r: r / sqrt(12) (JCGM 100, 4.3.7).
_STEPS_PER_U = math.sqrt(12.0)
#: What feeler gauges, wedges and rules can be read to.
_HAND_STEPS_MM = (1.0, 0.5, 0.2, 0.1, 0.05)
MOST_READINGS = 12
#: How a reading of floor that was not seen begins.
UNSEEN = "floor not seen"


def next_readings(findings: Sequence[Finding], confidence: float) -> tuple[Reading, ...]:
    """Hand readings for what is not decided, the most informative first, then for what was not seen.

    A reading tells most where the outcome is least known, which is where the chance of being over is nearest
    one half (the greatest entropy of a yes or no). Places that coincide are listed once.
    """
    undecided = [f for f in findings if f.verdict == "not_decided" and f.what in GAP_KINDS and f.at is not None]
    undecided.sort(key=lambda f: abs((f.p_over or 0.0) - 0.5))
    readings = [_gap_reading(f, confidence) for f in _apart(undecided)]
    readings += [
        Reading(
            at=f.at,
            what=f"{UNSEEN}, {place_in_words(f.at)}: clear it and scan it, or lay the straightedge across it "
            "in two directions",
            instrument=f"{_metres(f.edge_mm)} straightedge and feeler gauges",
            resolves=_resolution_words(_HAND_STEPS_MM[1]),
        )
        for f in findings
        if f.verdict == "not_seen" and f.what in GAP_KINDS and f.at is not None
    ]
    return tuple(readings[:MOST_READINGS])


def joint_reading(findings: Sequence[Finding], start_at: Point) -> tuple[Reading, ...]:
    """One line of the field sheet for joints that were not measured."""
    kinds = [f.what for f in findings if f.verdict == "not_seen" and f.what in JOINT_KINDS]
    if not kinds:
        return ()
    words = {"lip": "lip", "joint_width": "width", "joint_depth": "depth"}
    named = ", ".join(words[k] for k in dict.fromkeys(kinds))
    return (
        Reading(
            at=start_at,
            what=f"{named} of the widest, deepest and most uneven joints you can find; begin here",
            instrument="steel rule, depth gauge and feeler gauges",
            resolves=_resolution_words(0.1),
        ),
    )


def _gap_reading(finding: Finding, confidence: float) -> Reading:
    if finding.at is None or finding.value is None:
        raise ValueError("an undecided finding has a place and a value")
    lay = f"gap under a {_metres(finding.edge_mm)} straightedge, {place_in_words(finding.at)}"
    if finding.contacts is not None:
        a, b = finding.contacts
        lay += f", resting at {_tapes(a)} and {_tapes(b)}"
    needed_u = abs(finding.limit_mm - finding.value.value) / guard_factor(confidence)
    step = next((s for s in _HAND_STEPS_MM if s <= needed_u * _STEPS_PER_U), None)
    resolves = (
        _resolution_words(step)
        if step is not None
        else "0.05 mm, and even that may not tell so close to the limit: if the reading agrees, treat it as over"
    )
    return Reading(
        at=finding.at,
        what=lay,
        instrument=f"{_metres(finding.edge_mm)} straightedge and feeler gauges",
        resolves=resolves,
    )


def _apart(findings: Sequence[Finding]) -> list[Finding]:
    kept: list[Finding] = []
    for finding in findings:
        if not any(_same_reading(finding, other) for other in kept):
            kept.append(finding)
    return kept


def _same_reading(a: Finding, b: Finding) -> bool:
    if a.at is None or b.at is None:
        return False
    like_edge = max(a.edge_mm or 0.0, b.edge_mm or 0.0) <= 1.5 * min(a.edge_mm or 0.0, b.edge_mm or 0.0)
    return like_edge and math.dist(a.at, b.at) < SAME_PLACE_MM


def _tapes(at: Point) -> str:
    """A second and third place beside one that named the walls."""
    return f"({at[0] / MM_PER_M:.2f}, {at[1] / MM_PER_M:.2f}) m"


def _metres(edge_mm: float | None) -> str:
    return f"{round((edge_mm or 0.0) / MM_PER_M, 2):g} m"


def _resolution_words(step_mm: float) -> str:
    return f"{step_mm:g} mm or finer"
