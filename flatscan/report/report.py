"""The whole run in one record: what every output is drawn from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flatscan.judgement.limits import LimitSet
    from flatscan.judgement.verdict import Verdict
    from flatscan.levelling.basis import Basis
    from flatscan.levelling.plan import LevellingPlan
    from flatscan.measures.measurement import Measurement
    from flatscan.settings import Segment, Settings
    from flatscan.sources.hand.field_readings import FieldReadings
    from flatscan.sources.scan import InputFile
    from flatscan.sources.survey.survey import Survey
    from flatscan.surface.picture.floor_picture import FloorPicture
    from flatscan.surface.surface import Surface


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class Report:
    """Everything the outputs may say."""

    inputs: tuple[InputFile, ...]
    settings: Settings
    limits: tuple[LimitSet, ...]
    surface: Surface
    measurement: Measurement
    verdict: Verdict
    plan: LevellingPlan
    #: Seconds per stage, in order.
    seconds: tuple[tuple[str, float], ...]
    #: The floor from straight above; None: there was nothing to make one of.
    picture: FloorPicture | None = None
    #: What was read by hand; None: nothing was.
    field: FieldReadings | None = None
    #: What the plan was made from, kept so that it can be made anew; None: it is not kept.
    basis: Basis | None = None
    #: What a survey file says; None: there was none.
    survey: Survey | None = None

    @property
    def doors_mm(self) -> tuple[Segment, ...]:
        """Both ends of every door: those named on the command line, then those of the survey file."""
        surveyed = () if self.survey is None else tuple(door.line_mm for door in self.survey.doors)
        return (*self.settings.place.doors_mm, *surveyed)
