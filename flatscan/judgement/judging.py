"""The stage: a measurement against limit sets."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.judgement.answer import answer
from flatscan.judgement.findings import gap_findings, other_findings, share_over, unseen_findings, worst_first
from flatscan.judgement.readings import joint_reading, next_readings
from flatscan.judgement.verdict import Verdict

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.limits import LimitSet
    from flatscan.judgement.verdict import Point
    from flatscan.measures.measurement import Measurement
    from flatscan.settings import JudgeSettings
    from flatscan.surface.surface import Surface


def judge(
    measurement: Measurement, surface: Surface, limit_sets: Sequence[LimitSet], settings: JudgeSettings
) -> Verdict:
    """Hold every limit against the measurement (JCGM 106) and answer whether the floor can be laid over.

    The gaps must have been measured at the edges ``edges_needed(limit_sets, surface.longest_mm)``; a
    limit whose edge was not measured is *not seen*. The whole floor is within only if every judged part is and
    less than ``settings.most_unseen_share`` of it was not seen.
    """
    findings = worst_first(
        gap_findings(measurement, surface, limit_sets, settings.confidence)
        + other_findings(limit_sets)
        + unseen_findings(surface, limit_sets)
    )
    return Verdict(
        answer=answer(
            findings,
            unseen_share=1.0 - surface.seen_share,
            most_unseen_share=settings.most_unseen_share,
            share_over=share_over(measurement, surface, limit_sets),
        ),
        findings=findings,
        next_readings=next_readings(findings, settings.confidence) + joint_reading(findings, _middle(surface)),
        caveats=(),
    )


def _middle(surface: Surface) -> Point:
    rows, cols = np.nonzero(surface.seen if surface.seen.any() else surface.inside)
    if rows.size == 0:
        return surface.xy_mm(0, 0)
    return surface.xy_mm(float(np.median(rows)), float(np.median(cols)))
