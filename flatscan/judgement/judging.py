"""The stage: a measurement against limit sets."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.judgement.answer import answer
from flatscan.judgement.bends import bend_readings, unseen_bends
from flatscan.judgement.between_readings import hidden_findings, search_readings
from flatscan.judgement.findings import (
    GAP_KINDS,
    gap_findings,
    other_findings,
    share_over,
    unseen_findings,
    worst_first,
)
from flatscan.judgement.hand_findings import lone_findings
from flatscan.judgement.joint_findings import joint_findings
from flatscan.judgement.joint_places import JointPlaces
from flatscan.judgement.placement_findings import placement_findings, tells_gap
from flatscan.judgement.readiness.judging import readiness_of
from flatscan.judgement.readings import next_readings
from flatscan.judgement.searched_joints import with_spots, without_network
from flatscan.judgement.soundness import Soundness
from flatscan.judgement.verdict import Verdict
from flatscan.settings import PlaceSettings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.limits import LimitSet
    from flatscan.judgement.verdict import Finding, JointTally, Point
    from flatscan.measures.measurement import Measurement
    from flatscan.settings import JudgeSettings
    from flatscan.sources.hand.field_readings import FieldReadings
    from flatscan.sources.survey.survey import Survey
    from flatscan.surface.surface import Surface

_NOWHERE = PlaceSettings()
#: The caveat that a reading does not fit what all others tell.
SLIP = "reading_stands_out"


def judge(
    measurement: Measurement,
    surface: Surface,
    limit_sets: Sequence[LimitSet],
    settings: JudgeSettings,
    *,
    place: PlaceSettings = _NOWHERE,
    field: FieldReadings | None = None,
    survey: Survey | None = None,
) -> Verdict:
    """Hold every limit against the measurement (JCGM 106) and answer whether the floor can be laid over.

    The gaps must have been measured at the edges ``edges_needed(limit_sets, surface.longest_mm)``; a
    limit whose edge was not measured is *not seen*. The whole floor is within only if every judged part is and
    less than ``settings.most_unseen_share`` of it was not seen; so are its joints, by their length. ``place`` names
    the doors that joints are counted from. ``field``: what was written down on site: its readings at single places,
    taps and cracks; the placements of a straightedge are judged as they stand in the measurement. ``survey``: what a
    survey file says of the other conditions.
    """
    measurement = with_spots(measurement, field)
    joints = measurement.joints if measurement.joints is not None and measurement.joints.joints else None
    places = None if joints is None else JointPlaces.of(joints.network, surface, place.doors_mm)
    of_joints: list[Finding] = []
    tally: JointTally | None = None
    if joints is not None and places is not None:
        of_joints, tally = joint_findings(joints, limit_sets, settings, places, measurement.hand)
    lone = lone_findings(measurement, surface.longest_mm, limit_sets, settings.confidence)
    unmeasured = other_findings(limit_sets, with_joints=joints is None)
    of_surface = gap_findings(measurement, surface, limit_sets, settings.confidence)
    asked = any(f.what in GAP_KINDS for f in of_surface)
    bends = unseen_bends(surface, of_surface)
    hidden = hidden_findings(surface, of_surface, field)
    findings = worst_first(
        of_surface
        + hidden
        + placement_findings(measurement, limit_sets, settings.confidence)
        + of_joints
        + ([*unmeasured, *lone] if joints is not None else without_network(unmeasured, lone, field))
        + unseen_findings(surface, limit_sets)
    )
    readings, more = next_readings(
        findings,
        settings,
        start_at=_middle(surface),
        joints=joints,
        places=places,
        lips_may_be_noise=tally is not None and not tally.lips_beyond_noise,
        first=(*bend_readings(bends, _middle(surface)), *search_readings(hidden, _middle(surface))),
        by_hand=surface.kind == "readings",
    )
    soundness = Soundness.of(field, survey)
    readiness = readiness_of(
        findings,
        limit_sets,
        soundness,
        survey,
        unseen_share=1.0 - surface.seen_share,
        most_unseen_share=settings.most_unseen_share,
        confidence=settings.confidence,
        tally=tally,
    )
    return Verdict(
        answer=answer(
            findings,
            unseen_share=1.0 - surface.seen_share,
            most_unseen_share=settings.most_unseen_share,
            share_over=share_over(measurement, surface, limit_sets),
            tally=tally,
            soundness=soundness,
            readiness=readiness,
            bends=bends,
            hidden=hidden,
            slip=next((c.text for c in surface.caveats if c.name == SLIP), ""),
            by_hand=surface.kind == "readings",
            laid=sum(tells_gap(figure) for figure in measurement.placements) if asked else 0,
        ),
        findings=findings,
        next_readings=readings,
        caveats=(),
        joint_tally=tally,
        more_readings=more,
        readiness=readiness,
    )


def _middle(surface: Surface) -> Point:
    rows, cols = np.nonzero(surface.seen if surface.seen.any() else surface.inside)
    if rows.size == 0:
        return surface.xy_mm(0, 0)
    return surface.xy_mm(float(np.median(rows)), float(np.median(cols)))
