"""What the plan is made from: all that a later ``flatscan level`` needs of a run, and nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flatscan.judgement.verdict import AnswerCode, Point
    from flatscan.levelling.joint_work import JointWork
    from flatscan.levelling.targets import Target
    from flatscan.settings import Segment
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
    tapped, bad_taps : places tapped, and those of them that sounded hollow or loose
    doors_mm : doors drawn on the map
    directions, bridge_mm : how the straightedge is laid
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
