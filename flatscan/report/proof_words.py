"""How the planned floor that was measured again is said to people."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flatscan.report import places, wording

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from flatscan.levelling.plan import GapAfter, Proof

#: Of more edges than this only those nearest to their limit are told.
_MOST_TOLD = 2


def proof_line(proof: Proof, before: Proof | None) -> str:
    """The planned floor measured again, beside the floor as it is; of many edges the two nearest to their limit."""
    was = {} if before is None else {gap.edge_mm: gap.gap_mm for gap in before.gaps}
    # Where an edge fitted nowhere, no gap was found, which is not a gap of nothing.
    laid = [gap for gap in proof.gaps if gap.at is not None]
    nowhere = [wording.reach(gap.edge_mm) for gap in proof.gaps if gap.at is None]
    unlaid = f"Nowhere could an edge of {', '.join(nowhere)} be laid" if nowhere else ""
    return ". ".join(part for part in (_gaps(laid, was), unlaid, _stays(proof)) if part)


def _gaps(gaps: Sequence[GapAfter], was: Mapping[float, float]) -> str:
    if not gaps:
        return ""
    told = list(gaps)
    if len(told) > _MOST_TOLD:
        told = sorted(gaps, key=lambda gap: gap.gap_mm / gap.limit_mm, reverse=True)[:_MOST_TOLD]
    first = next((gap for gap in told if gap.edge_mm in was), None)
    said = ", ".join(_gap(gap, was, explained=gap is first) for gap in told)
    if len(told) == len(gaps):
        return f"As planned, measured again on the same grid: largest gap {said}"
    over = sum(gap.gap_mm > gap.limit_mm for gap in gaps)
    met = f"{over} of {len(gaps)} limits are not met" if over else f"all {len(gaps)} limits are met"
    return f"As planned, measured again on the same grid: {met}, nearest to their limits {said}"


def _gap(gap: GapAfter, was: Mapping[float, float], *, explained: bool) -> str:
    # One that is over is rounded up, so that it never looks like its limit.
    over = gap.gap_mm > gap.limit_mm
    size = math.ceil(gap.gap_mm * 100.0 - 1e-9) / 100.0 if over else gap.gap_mm
    now = f", now {was[gap.edge_mm]:.2f} mm" if gap.edge_mm in was else ""
    # The verdict's gap has the noise of the measurement taken off, so it is smaller.
    now += ", noise not taken off" if explained else ""
    where = f", over it {places.point(gap.at)}" if over and gap.at is not None else ""
    return f"{size:.2f} mm {wording.under_edge(gap.edge_mm)} (limit {wording.length(gap.limit_mm)}{where}{now})"


def _stays(proof: Proof) -> str:
    left = [_count(proof.joints_over, "joint")] if proof.joints_over else []
    left += [_count(proof.lips_over, "lip")] if proof.lips_over else []
    if not left:
        return ""
    return f"{' and '.join(left)} {'stays' if proof.joints_over + proof.lips_over == 1 else 'stay'} over"


def _count(number: int, name: str) -> str:
    return f"{number} {name}{'' if number == 1 else 's'}"
