"""How the planned floor that was measured again is told to people."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.report import places, wording

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from flatscan.levelling.plan import GapAfter, Proof

#: Of more edges than this only those nearest to their limit are told.
_MOST_TOLD = 2
#: Decimals of a gap in mm.
_PLACES = 2


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
    shown = list(gaps)
    if len(shown) > _MOST_TOLD:
        shown = sorted(gaps, key=lambda gap: gap.gap_mm / gap.limit_mm, reverse=True)[:_MOST_TOLD]
    first = next((gap for gap in shown if gap.edge_mm in was), None)
    told = ", ".join(_gap(gap, was, explained=gap is first) for gap in shown)
    if len(shown) == len(gaps):
        return f"As planned, measured again on the same grid: largest gap {told}"
    over = sum(gap.gap_mm > gap.limit_mm for gap in gaps)
    met = f"{over} of {len(gaps)} limits are not met" if over else f"all {len(gaps)} limits are met"
    return f"As planned, measured again on the same grid: {met}, nearest to their limits {told}"


def _gap(gap: GapAfter, was: Mapping[float, float], *, explained: bool) -> str:
    # One that is over is rounded up, so that it never looks like its limit.
    over = gap.gap_mm > gap.limit_mm
    figures = _PLACES + said.extra_decimals("mm")
    size = said.in_unit(gap.gap_mm, "mm")
    size = math.ceil(size * 10.0**figures - 1e-9) / 10.0**figures if over else size
    now = f", now {said.thickness(was[gap.edge_mm], _PLACES)}" if gap.edge_mm in was else ""
    # The verdict's gap has the noise of the measurement taken off, so it is smaller.
    now += ", noise not taken off" if explained else ""
    where = f", over it {places.point(gap.at)}" if over and gap.at is not None else ""
    limit = said.length(gap.limit_mm)
    return f"{size:.{figures}f} {said.unit('mm')} {wording.under_edge(gap.edge_mm)} (limit {limit}{where}{now})"


def _stays(proof: Proof) -> str:
    left = [_count(proof.joints_over, "joint")] if proof.joints_over else []
    left += [_count(proof.lips_over, "lip")] if proof.lips_over else []
    if not left:
        return ""
    return f"{' and '.join(left)} {'stays' if proof.joints_over + proof.lips_over == 1 else 'stay'} over"


def _count(number: int, name: str) -> str:
    return f"{number} {name}{'' if number == 1 else 's'}"
