"""All caveats of a run, each once, in the order of the stages that raised them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.report.words.caption import noise_floor_text

if TYPE_CHECKING:
    from flatscan.caveats import Caveat
    from flatscan.report.report import Report

#: Raised once for each edge, told in one sentence.
_NOISE_FLOORS = ("noise_floor_high", "readings_leave_open")


def caveats_of(report: Report) -> tuple[Caveat, ...]:
    """Caveats of the surface (with the scan's), picture, joints, measures, verdict and plan; repeats left out."""
    joints = report.measurement.joints
    of_joints = (joints.network, joints) if joints is not None else ()
    of_picture = (report.picture,) if report.picture is not None else ()
    stages = (report.surface, *of_picture, *of_joints, report.measurement, report.verdict, report.plan)
    return tuple(dict.fromkeys(c for stage in stages for c in stage.caveats))


def doubts_of(report: Report) -> tuple[Caveat, ...]:
    """The caveats as a person reads them: one sentence for what was raised once for each edge."""
    found: dict[str, Caveat] = {}
    for one in (one for one in caveats_of(report) if not _goes_without_saying(one, report)):
        if one.name not in _NOISE_FLOORS:
            found[one.text] = one
        elif told := noise_floor_text(report):
            found.setdefault(one.name, replace(one, text=told))
        else:
            found[one.text] = one
    return tuple(found.values())


def _goes_without_saying(one: Caveat, report: Report) -> bool:
    """On a floor read by hand: that shorter waves may lie between, told again; and that a usual edge is too short."""
    if report.surface.kind != "readings":
        return False
    if one.name == "readings_spacing":
        return any(other.name == "edge_below_readings" for other in report.measurement.caveats)
    rules = [rule for limits in report.limits for rule in limits.limits if rule.what == "gap"]
    asked = [f"A {said.reach(rule.edge_mm)} edge " for rule in rules if rule.edge_mm is not None]
    return one.name == "edge_too_short" and not one.text.startswith(tuple(asked))
