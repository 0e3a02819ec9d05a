"""Every condition before a new floor is laid, from the measurement, the field sheet and the survey file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.judgement.readiness.climate import acclimatised, climate
from flatscan.judgement.readiness.dry import dry
from flatscan.judgement.readiness.heating import heating
from flatscan.judgement.readiness.measured import measured
from flatscan.judgement.readiness.old_covering import old_covering
from flatscan.judgement.readiness.readiness import Readiness
from flatscan.judgement.readiness.sound import clean, crack_free, movement_joints, sound
from flatscan.sources.survey.site import NO_SITE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.limits import LimitSet
    from flatscan.judgement.soundness import Soundness
    from flatscan.judgement.verdict import Finding, JointTally
    from flatscan.sources.survey.survey import Survey


def readiness_of(
    findings: Sequence[Finding],
    limit_sets: Sequence[LimitSet],
    soundness: Soundness | None,
    survey: Survey | None,
    *,
    unseen_share: float,
    most_unseen_share: float,
    confidence: float,
    tally: JointTally | None = None,
) -> Readiness:
    """Every condition, each once, in the order of ``ConditionName``.

    Parameters
    ----------
    findings : of the verdict, worst first
    limit_sets : those the findings were held against, for their sources
    soundness : taps and cracks of field sheet and survey file together; None: nobody wrote any down
    survey : None: everything but the measured conditions comes from the field sheet, or is not recorded
    unseen_share, most_unseen_share : of the floor, 0 to 1
    confidence : of the decision rule, for moisture readings that come with their ±
    tally : over all joints, where they were measured
    """
    site = NO_SITE if survey is None else survey.site
    return Readiness(
        (
            *measured(
                findings,
                limit_sets,
                site.old,
                unseen_share=unseen_share,
                most_unseen_share=most_unseen_share,
                tally=tally,
            ),
            dry(site, confidence),
            sound(soundness, site.sound, site.old),
            crack_free(soundness, site.sound),
            clean(site.sound, site.old),
            climate(site),
            acclimatised(site),
            heating(site),
            movement_joints(site.sound, survey),
            old_covering(site),
        )
    )
