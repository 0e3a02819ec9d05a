"""Each limit held against what was measured."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.judgement.decision import chance_over, decide, guard_factor
from flatscan.judgement.hand_findings import SAME_PLACE_MM, contradicted, same_edge
from flatscan.judgement.joint_findings import CONFLICT
from flatscan.judgement.places import place_in_words, unseen_patches
from flatscan.judgement.steps import gap_limits
from flatscan.judgement.verdict import Finding
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from flatscan.judgement.limits import Limit, LimitSet
    from flatscan.judgement.verdict import VerdictWord
    from flatscan.measures.measurement import GapMap, GapSpot, HeldAgainst, Measurement
    from flatscan.surface.surface import Surface

JOINT_KINDS = ("lip", "joint_width", "joint_depth")
GAP_KINDS = ("gap", "span_gap")
#: Unseen patches listed one by one.
MOST_UNSEEN_LISTED = 10
#: Worst first; one word for several findings is the first of these that any of them has.
WORD_ORDER: tuple[VerdictWord, ...] = ("over", "not_decided", "not_seen", "within")
_BY_HAND = "not measured from what was captured: read them by hand"
_NOT_LAID = "some edges that the limits ask for could not be laid: see the doubts"
_NOT_MEASURED = {
    "lip": _BY_HAND,
    "joint_width": _BY_HAND,
    "joint_depth": _BY_HAND,
    "level": "flat is not level: check the level with a levelling instrument",
    "slope": "flat is not level: check the fall with a levelling instrument",
}


def limit_id(limit_set: LimitSet, limit: Limit) -> str:
    """A name for one limit of a set: ``bs8204-sr1/gap-2000``."""
    return f"{limit_set.id}/{limit.what}" + ("" if limit.edge_mm is None else f"-{limit.edge_mm:.0f}")


def gap_findings(
    measurement: Measurement, surface: Surface, limit_sets: Sequence[LimitSet], confidence: float
) -> list[Finding]:
    """For every gap limit the worst spot of its edge, and every further spot that is not within.

    A place whose value is small but poorly known can be the one that keeps a floor from being within, so the
    place with the greatest chance of being over is taken from the map as well.
    """
    found = []
    for limit_set in limit_sets:
        for limit in gap_limits(limit_set, surface.longest_mm):
            name = limit_id(limit_set, limit)
            spots = [s for s in measurement.gaps if same_edge(s.edge_mm, limit.edge_mm)]
            judged = [_of_spot(name, limit, s, confidence, measurement.hand) for s in spots]
            judged = judged[:1] + [f for f in judged[1:] if f.verdict != "within"]
            if all(f.verdict == "within" for f in judged):
                judged += _doubtful_place(name, limit, measurement, surface, confidence)
            found += judged or [_not_measured(name, limit, _NOT_LAID)]
    return found


def other_findings(limit_sets: Sequence[LimitSet], *, with_joints: bool = True) -> list[Finding]:
    """Limits of what was not measured, the strictest of each kind and set: not seen.

    ``with_joints``: joints and lips are among them.
    """
    found = []
    for limit_set in limit_sets:
        for kind, why in _NOT_MEASURED.items():
            if kind in JOINT_KINDS and not with_joints:
                continue
            of_kind = [limit for limit in limit_set.limits if limit.what == kind]
            if of_kind:
                strictest = min(of_kind, key=lambda limit: limit.limit_mm)
                found.append(_not_measured(f"{limit_set.id}/{kind}", strictest, why))
    return found


def unseen_findings(surface: Surface, limit_sets: Sequence[LimitSet]) -> list[Finding]:
    """The largest unseen patches, as places where the sets' longest gap limit was not judged."""
    limits = [(limit_set, limit) for limit_set in limit_sets for limit in gap_limits(limit_set, surface.longest_mm)]
    if not limits:
        return []
    limit_set, limit = max(limits, key=lambda pair: pair[1].edge_mm or 0.0)
    return [
        Finding(
            what=limit.what,
            limit_id=limit_id(limit_set, limit),
            limit_mm=limit.limit_mm,
            value=None,
            p_over=None,
            verdict="not_seen",
            at=at,
            where=f"{said.area(area_m2)} of floor not seen, {place_in_words(at)}",
            edge_mm=limit.edge_mm,
        )
        for area_m2, at in unseen_patches(surface)[:MOST_UNSEEN_LISTED]
    ]


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Over, then not decided, then not seen, then within; in each the most doubtful or most excessive first."""

    def key(finding: Finding) -> tuple[int, float, float]:
        excess = -math.inf if finding.value is None else finding.value.value - finding.limit_mm
        # Chances that a person would call equal leave the order to the excess.
        return WORD_ORDER.index(finding.verdict), -round(finding.p_over or 0.0, 2), -excess

    return tuple(sorted(findings, key=key))


def share_over(measurement: Measurement, surface: Surface, limit_sets: Sequence[LimitSet]) -> float:
    """Share of the seen floor whose measured gap is over any gap limit, 0 to 1."""
    over = np.zeros(surface.height_mm.shape, dtype=bool)
    for limit_set in limit_sets:
        for limit in gap_limits(limit_set, surface.longest_mm):
            for gap_map in _maps_of(measurement.gap_maps, limit):
                over |= gap_map.gap_mm > limit.limit_mm  # NaN compares False
    return float(over.sum()) / max(1, int(surface.seen.sum()))


def _of_spot(name: str, limit: Limit, spot: GapSpot, confidence: float, hand: Sequence[HeldAgainst] = ()) -> Finding:
    p_over, word = decide(spot.gap.value, spot.gap.u, limit.limit_mm, confidence)
    tail = "; crosses floor that was not seen, so at least this much" if spot.bridges_hole else ""
    conflict = contradicted(hand, spot.edge_mm, spot.at)
    if conflict:
        word, tail = "not_decided", f"; {CONFLICT}{tail}"
    return Finding(
        what=limit.what,
        limit_id=name,
        limit_mm=limit.limit_mm,
        value=spot.gap,
        p_over=p_over,
        verdict=word,
        at=spot.at,
        where=place_in_words(spot.at) + tail,
        edge_mm=limit.edge_mm,
        contacts=spot.contacts,
        conflict=conflict,
    )


def _doubtful_place(
    name: str, limit: Limit, measurement: Measurement, surface: Surface, confidence: float
) -> list[Finding]:
    for gap_map in _maps_of(measurement.gap_maps, limit):
        chance_order = _excess_in_u(gap_map, limit.limit_mm)
        chance_order[_read_by_hand(measurement.hand, limit, surface)] = np.nan
        if not np.isfinite(chance_order).any():
            continue
        row, col = np.unravel_index(int(np.nanargmax(chance_order)), chance_order.shape)
        value, u = float(gap_map.gap_mm[row, col]), float(gap_map.u_mm[row, col])
        if chance_order[row, col] <= -guard_factor(confidence):
            continue
        at = surface.xy_mm(int(row), int(col))
        return [
            Finding(
                what=limit.what,
                limit_id=name,
                limit_mm=limit.limit_mm,
                value=Quantity(value, u, "mm"),
                p_over=chance_over(value, u, limit.limit_mm),
                verdict="not_decided",  # one cell of a map never calls a floor over
                at=at,
                where=f"{place_in_words(at)}; poorly known there",
                edge_mm=limit.edge_mm,
            )
        ]
    return []


def _read_by_hand(hand: Sequence[HeldAgainst], limit: Limit, surface: Surface) -> NDArray[np.bool_]:
    """Cells at which the edge was laid by hand: the reading has the word there."""
    rows, cols = np.indices(surface.height_mm.shape)
    read = np.zeros(surface.height_mm.shape, dtype=bool)
    x0, y0 = surface.xy_mm(0, 0)
    for held in hand:
        if held.reading.what == "gap" and same_edge(held.reading.edge_mm, limit.edge_mm):
            x, y = held.reading.at
            read |= np.hypot(x0 + cols * surface.cell_mm - x, y0 + rows * surface.cell_mm - y) < SAME_PLACE_MM
    return read


def _excess_in_u(gap_map: GapMap, limit_mm: float) -> NDArray[np.float64]:
    """(value - limit) / u per cell, rising with the chance of being over; NaN where not seen or u is not above 0."""
    u = np.where(gap_map.u_mm > 0, gap_map.u_mm, np.nan).astype(np.float64)
    excess: NDArray[np.float64] = (gap_map.gap_mm.astype(np.float64) - limit_mm) / u
    return excess


def _not_measured(name: str, limit: Limit, why: str) -> Finding:
    return Finding(
        what=limit.what,
        limit_id=name,
        limit_mm=limit.limit_mm,
        value=None,
        p_over=None,
        verdict="not_seen",
        at=None,
        where=why,
        edge_mm=limit.edge_mm,
    )


def _maps_of(maps: Iterable[GapMap], limit: Limit) -> list[GapMap]:
    return [m for m in maps if same_edge(m.edge_mm, limit.edge_mm)]
