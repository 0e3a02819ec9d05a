"""Joints, worst places, areas, zones and doors as the page draws them: the same words and letters as on the map."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from flatscan.judgement.steps import gap_limits
from flatscan.report.marking.data import zones_of
from flatscan.report.words import joint_wording, wording
from flatscan.report.words.drawn import shown_gaps
from flatscan.report.words.joint_words import judged_joints
from flatscan.report.words.plain_text import clean

if TYPE_CHECKING:
    from collections.abc import Iterable

    from flatscan.judgement.verdict import VerdictWord
    from flatscan.quantity import Quantity
    from flatscan.report.report import Report
    from flatscan.report.words.joint_words import JudgedJoint, Worst

#: Places are told to this part of a mm; a tape is coarser.
_DECIMALS = 1
_Place = list[float]


def joints_of(report: Report) -> list[dict[str, Any]]:
    """Every joint with its line and the worst of its width, depth and lip."""
    return [_joint(one) for one in judged_joints(report)]


def findings_of(report: Report) -> list[dict[str, Any]]:
    """The worst gaps under their letters."""
    return [
        {
            "label": one.letter,
            "what": one.what,
            "text": wording.gap(one.spot, one.what),
            **_judged(one.spot.gap, one.verdict),
            "at_least": one.spot.bridges_hole,
            # As the words were made from: rounded twice, a tape's last figure may be another one.
            "at": [float(v) for v in one.spot.at],
            "contacts": None if one.spot.contacts[0] == one.spot.contacts[1] else line(one.spot.contacts),
            "edge_mm": one.spot.edge_mm,
            "limit_mm": None if one.finding is None else one.finding.limit_mm,
        }
        for one in shown_gaps(report)
    ]


def judged_of(report: Report) -> list[dict[str, Any]]:
    """Every gap of the surface that was judged, for an edge that is laid where the program's own lay."""
    return [
        {
            **_judged(found.value, found.verdict),
            "at": [float(v) for v in found.at],
            "contacts": line(found.contacts),
            "edge_mm": found.edge_mm,
        }
        for found in report.verdict.findings
        if found.value is not None and found.contacts is not None and found.edge_mm is not None
        if found.at is not None and found.placement is None and found.contacts[0] != found.contacts[1]
    ]


def _judged(value: Quantity, word: VerdictWord | None) -> dict[str, Any]:
    return {"verdict": word, "value_mm": round(value.value, 3), "u_mm": round(value.u, 3)}


def areas_of(report: Report) -> list[dict[str, Any]]:
    """The places to level; ``holes`` are rings where nothing is done."""
    return [
        {
            "number": area.number,
            "action": area.action,
            "ring": line(area.rings[0]),
            "holes": [line(ring) for ring in area.rings[1:]],
            "volume_l": round(area.volume_l.value, 2),
            "mean_mm": round(area.mean_mm, 2),
            "most_mm": round(area.max_mm, 2),
        }
        for area in report.plan.areas
        if area.rings
    ]


def zones_told(report: Report) -> list[dict[str, Any]]:
    """The survey's zones under their names, and tiles that come out."""
    zones = zones_of(report.survey, report.plan, report.surface)
    return [{"name": clean(zone.name), "kind": zone.kind, "ring": line(zone.rings[0])} for zone in zones if zone.rings]


def limits_of(report: Report) -> list[dict[str, Any]]:
    """Every limit of a gap, the shortest edge first, with the noise floor of its edge where it was laid."""
    rules = {
        (rule.edge_mm, rule.limit_mm, rule.what): rule
        for limits in report.limits
        for rule in gap_limits(limits, report.surface.longest_mm)
        if rule.edge_mm is not None
    }
    noise = {of_edge.edge_mm: of_edge.noise_floor_mm for of_edge in report.measurement.gap_maps}
    return [
        {
            "edge_mm": edge,
            "limit_mm": limit,
            "words": clean(wording.limit(rule)),
            # NaN: not simulated.
            "noise_mm": round(noise[edge], 2) if math.isfinite(noise.get(edge, math.nan)) else None,
            # Where the program could not lay it, the page gives no word either.
            "laid": edge in noise,
        }
        for (edge, limit, _), rule in sorted(rules.items())
    ]


def line(places: Iterable[Iterable[float]]) -> list[_Place]:
    """Places along a line."""
    return [place(at) for at in places]


def place(at: Iterable[float]) -> _Place:
    """A place, floor-frame mm."""
    x, y = at
    return [round(float(x), _DECIMALS) + 0.0, round(float(y), _DECIMALS) + 0.0]


def _joint(one: JudgedJoint) -> dict[str, Any]:
    told = {what: _figure(worst) for what, worst in one.worst.items()}
    return {
        "id": one.joint.id,
        "line": line(one.joint.line),
        "word": one.line_word,
        "lip": told["lip"],
        "width": told["joint_width"],
        "depth": told["joint_depth"],
        "words": "; ".join(said for worst in one.worst.values() if (said := _words(worst))),
    }


def _figure(worst: Worst) -> dict[str, Any] | None:
    if worst.value is None or worst.station is None:
        return None
    figure = {
        "value": round(worst.value.value, 3),
        "u": round(worst.value.u, 3),
        "word": worst.word,
        "limit_mm": worst.limit_mm,
        "at": place(worst.station.at),
    }
    if worst.what == "lip":
        figure["low_rad"] = round(joint_wording.low_side_rad(worst.station, worst.joint), 3)
    return figure


def _words(worst: Worst) -> str:
    if worst.value is None:
        return ""
    said = joint_wording.value(worst.what, worst.value)
    if worst.word is not None:
        said += f", {wording.VERDICT_TEXT[worst.word]}"
    return clean(said)
