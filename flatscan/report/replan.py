"""The record of a plan made anew from a result folder."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flatscan.levelling.basis import Basis
    from flatscan.levelling.plan import LevellingPlan
    from flatscan.settings import LevelSettings
    from flatscan.sources.survey.survey import Survey


@dataclass(frozen=True, slots=True, eq=False)
class Replan:
    """Everything the outputs may say. ``from_sha256``: of the floor's file in the result folder."""

    basis: Basis
    plan: LevellingPlan
    survey: Survey | None
    settings: LevelSettings
    from_sha256: str
