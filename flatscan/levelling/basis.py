"""What the plan is made from: all that a later ``flatscan level`` needs of a run, and nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan.judgement.soundness import Soundness
from flatscan.levelling.joints.joint_work import joint_work_of
from flatscan.levelling.targets import gap_pairs

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    from flatscan.judgement.limits import LimitSet
    from flatscan.judgement.verdict import AnswerCode, Point, Verdict
    from flatscan.levelling.joints.joint_work import JointWork
    from flatscan.levelling.plan import Product
    from flatscan.levelling.targets import Target
    from flatscan.measures.measurement import Measurement
    from flatscan.settings import Segment, Settings
    from flatscan.sources.hand.field_readings import FieldReadings
    from flatscan.sources.survey.survey import Survey
    from flatscan.surface.surface import Surface


@dataclass(frozen=True, slots=True, eq=False)
class Basis:
    """The floor and what it must meet.

    Attributes
    ----------
    surface : the floor
    gap_limits : (edge_mm, limit_mm) pairs as the limit sets say them, no margin taken off
    limit_ids : the limit sets, for people
    answer : the verdict's answer
    joint_work : joints to fill and lips to take down; None: joints were not measured
    tiles : ring of each tile, (k, 2) float64 floor-frame mm, not closed
    tapped, bad_taps : places tapped (0: nobody said how many), and where they sounded hollow or loose
    counted_bad : how many of them did, also those without a place
    doors_mm : doors drawn on the map
    directions, bridge_mm : how the straightedge is laid
    product, survey : what the check was given; a plan made anew has the same unless it is given others
    """

    surface: Surface
    gap_limits: tuple[Target, ...]
    limit_ids: tuple[str, ...]
    answer: AnswerCode
    joint_work: JointWork | None
    tiles: tuple[NDArray[np.float64], ...] = ()
    tapped: int = 0
    bad_taps: tuple[Point, ...] = ()
    doors_mm: tuple[Segment, ...] = ()
    directions: int = 12
    bridge_mm: float = 100.0
    product: Product | None = None
    survey: Survey | None = None
    counted_bad: int = 0

    @property
    def bad(self) -> int:
        """All places that sounded hollow or loose."""
        return max(self.counted_bad, len(self.bad_taps))


def basis_of(
    surface: Surface,
    measurement: Measurement,
    verdict: Verdict,
    limit_sets: Sequence[LimitSet],
    settings: Settings,
    field: FieldReadings | None = None,
    *,
    product: Product | None = None,
    survey: Survey | None = None,
) -> Basis:
    """What the stages before have found, as far as the plan needs it."""
    sound = Soundness.of(field, survey)
    return Basis(
        surface=surface,
        gap_limits=gap_pairs(limit_sets, surface.longest_mm),
        limit_ids=tuple(limits.id for limits in limit_sets),
        answer=verdict.answer.code,
        joint_work=joint_work_of(measurement, verdict, limit_sets, settings.judge),
        tiles=() if measurement.joints is None else tuple(face.ring for face in measurement.joints.network.faces),
        tapped=0 if sound is None or not sound.counted else sound.tapped,
        bad_taps=() if sound is None else tuple(tap.at for tap in sound.bad),
        doors_mm=settings.place.doors_mm,
        directions=settings.measure.directions,
        bridge_mm=settings.measure.bridge_mm,
        product=product,
        survey=survey,
        counted_bad=0 if sound is None else sound.bad_count,
    )
