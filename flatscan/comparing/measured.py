"""One of the two measurements, as far as the comparison needs it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flatscan.comparing.kept import Kept
    from flatscan.judgement.verdict import AnswerCode, Finding
    from flatscan.levelling.plan import MethodName
    from flatscan.levelling.targets import Target
    from flatscan.quantity import Quantity
    from flatscan.surface.surface import Surface


@dataclass(frozen=True, slots=True, eq=False)
class PlannedArea:
    """One area of the plan before the work. ``rings``: (k, 2) float64 mm of that floor's frame, exterior first.

    ``grinds``: floor is taken off there, ``volume_l`` is then what comes off.
    """

    number: int
    rings: tuple[NDArray[np.float64], ...]
    area_m2: float
    volume_l: Quantity
    mean_mm: float
    max_mm: float
    grinds: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """A floor as it was measured, judged and planned.

    Attributes
    ----------
    surface : the floor
    gap_limits : (edge_mm, limit_mm) pairs of its limit sets
    limit_ids : the limit sets, for people
    answer, answer_text : what the result answered
    confidence : chance needed to call a value over or within
    findings : limits held against values, worst first
    joint_lines : (k, 2) float64 mm, the joints that were found
    areas, method : of the plan; no area and None: nothing was planned
    kept : planned change and gap grids
    kept_places : (k, 2) float64 mm, rings within which the survey lets nothing be placed
    """

    surface: Surface
    gap_limits: tuple[Target, ...]
    limit_ids: tuple[str, ...]
    answer: AnswerCode
    answer_text: str
    confidence: float
    findings: tuple[Finding, ...]
    joint_lines: tuple[NDArray[np.float64], ...]
    areas: tuple[PlannedArea, ...]
    method: MethodName | None
    kept: Kept
    kept_places: tuple[NDArray[np.float64], ...] = ()
