"""The planned floor through gap and judgement again: what is printed as possible has passed here."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.constants import MM_PER_M
from flatscan.judgement.places import place_in_words
from flatscan.levelling.plan import GapAfter, Proof
from flatscan.measures.chords import gap_field

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.binding.bounds import Bounds
    from flatscan.levelling.filling.least_fill import EdgeRule
    from flatscan.levelling.joints.joint_work import JointWork, LipDown
    from flatscan.levelling.plan import Proposal
    from flatscan.levelling.targets import Target
    from flatscan.surface.surface import Surface

#: A gap this much over a limit is rounding of the heights' float32, not a gap.
_ROUNDING_MM = 1e-4


def finished_mm(surface: Surface, proposal: Proposal, bounds: Bounds) -> NDArray[np.float64]:
    """(rows, cols) heights of the planned floor; NaN where it was not seen and in movement joints."""
    height = surface.estimate_mm.astype(np.float64) + proposal.fill_mm - proposal.grind_mm
    height[bounds.blocked] = np.nan
    return height


def prove(
    height_mm: NDArray[np.floating],
    surface: Surface,
    bounds: Bounds,
    limits: Sequence[Target],
    rule: EdgeRule,
    *,
    lips_left: Sequence[LipDown] = (),
    work: JointWork | None = None,
    joints_filled: bool = True,
) -> Proof:
    """Lay every edge on the planned floor, at full resolution, and hold it against the limits themselves.

    ``height_mm``: the finished floor. ``limits``: no margin taken off. ``lips_left``: those that the plan leaves.
    ``joints_filled``: the plan fills those that are over.
    """
    share = np.full(surface.inside.shape, np.nan, dtype=np.float32)
    after = []
    for edge_mm, limit_mm in limits:
        gap = gap_field(
            height_mm,
            bounds.inside,
            cell_mm=rule.cell_mm,
            edge_mm=edge_mm,
            directions=rule.directions,
            bridge_mm=rule.bridge_mm,
        ).gap_mm
        share = np.fmax(share, gap / np.float32(limit_mm))
        after.append(_worst(gap, surface, edge_mm, limit_mm))
    return Proof(
        gaps=tuple(after),
        joints_over=0 if work is None or joints_filled else sum(fill.word == "over" for fill in work.fills),
        lips_over=sum(lip.word == "over" for lip in lips_left),
        share=share,
        open=_open(work, surface),
    )


def worst_over(proof: Proof) -> str:
    """The gap furthest over its limit, in words with its place; "" where every gap passes."""
    over = [after for after in proof.gaps if after.gap_mm > after.limit_mm]
    if not over:
        return ""
    worst = max(over, key=lambda after: after.gap_mm / after.limit_mm)
    place = "" if worst.at is None else f", {place_in_words(worst.at)}"
    gap, edge = said.thickness(worst.gap_mm), said.reach(worst.edge_mm)
    return f"a gap of {gap} under a {edge} straightedge (limit {said.length(worst.limit_mm)}){place}"


def _worst(gap: NDArray[np.float32], surface: Surface, edge_mm: float, limit_mm: float) -> GapAfter:
    if not np.isfinite(gap).any():
        return GapAfter(edge_mm, limit_mm, 0.0, None)
    row, col = np.unravel_index(int(np.nanargmax(gap)), gap.shape)
    most = float(gap[row, col])
    # Meeting a limit to the last digit of a float32 is meeting it.
    if limit_mm < most <= limit_mm + _ROUNDING_MM:
        most = limit_mm
    return GapAfter(edge_mm, limit_mm, most, surface.xy_mm(float(row), float(col)))


def _open(work: JointWork | None, surface: Surface) -> tuple[str, ...]:
    if work is None and surface.kind == "readings":
        return ("Joints and lips are not in this plan: any that were read by hand are done by the list, findings.csv",)
    if work is None:
        return ("Joints and lips are not in this plan: the capture measured none",)
    told = []
    undecided_m = work.metres_to_fill("not_decided")
    if undecided_m > 0.0:
        told.append(f"{said.run(undecided_m * MM_PER_M)} of joint is not decided and not counted as filled")
    lips = sum(lip.word == "not_decided" for lip in work.lips)
    if lips:
        told.append(f"{lips} lip{'' if lips == 1 else 's'} not decided and not counted as taken down")
    if work.unmeasured_m > 0.0:
        told.append(f"{said.run(work.unmeasured_m * MM_PER_M)} of joint could not be measured")
    return tuple(told)
