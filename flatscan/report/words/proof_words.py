"""How the planned floor that was measured again is told to people."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.report.words import places, wording

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from flatscan.judgement.verdict import Finding
    from flatscan.levelling.plan import GapAfter, Proof

    #: The gap of the plan's own floor before, and the largest that was found under that edge, mm.
    Was = tuple[float, float | None]

#: Of more edges than this only those nearest to their limit are told.
_MOST_TOLD = 2
#: Decimals of a gap in mm.
_PLACES = 2


#: A floor as it is whose gap is smaller than the worst that was found by more than this is explained, mm.
_APART_MM = 0.5


def worst_found(findings: Iterable[Finding]) -> dict[float, float]:
    """The largest gap that was found under each edge, mm: what a reader has seen before the proof."""
    worst: dict[float, float] = {}
    for one in findings:
        if one.what == "gap" and one.edge_mm is not None and one.value is not None:
            worst[one.edge_mm] = max(worst.get(one.edge_mm, 0.0), one.value.value)
    return worst


def proof_line(proof: Proof, before: Proof | None, found: Mapping[float, float] | None = None) -> str:
    """The planned floor measured again, beside the floor as it is; of many edges the two nearest to their limit.

    ``found``: as ``worst_found`` gives it, to say why the plan's own floor has other gaps than those.
    """
    was = {} if before is None else {gap.edge_mm: (gap.gap_mm, (found or {}).get(gap.edge_mm)) for gap in before.gaps}
    # Where an edge fitted nowhere, no gap was found, which is not a gap of nothing.
    laid = [gap for gap in proof.gaps if gap.at is not None]
    nowhere = [wording.reach(gap.edge_mm) for gap in proof.gaps if gap.at is None]
    unlaid = f"Nowhere could an edge of {', '.join(nowhere)} be laid" if nowhere else ""
    return ". ".join(part for part in (_gaps(laid, was), unlaid, _stays(proof)) if part)


def _gaps(gaps: Sequence[GapAfter], was: Mapping[float, Was]) -> str:
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


def _gap(gap: GapAfter, was: Mapping[float, Was], *, explained: bool) -> str:
    # One that is over is rounded up, so that it never looks like its limit.
    over = gap.gap_mm > gap.limit_mm
    figures = _PLACES + said.extra_decimals("mm")
    size = said.in_unit(gap.gap_mm, "mm")
    size = math.ceil(size * 10.0**figures - 1e-9) / 10.0**figures if over else size
    now = _now(*was[gap.edge_mm], explained=explained) if gap.edge_mm in was else ""
    where = f", over it {places.point(gap.at)}" if over and gap.at is not None else ""
    limit = said.length(gap.limit_mm)
    return f"{size:.{figures}f} {said.unit('mm')} {wording.under_edge(gap.edge_mm)} (limit {limit}{where}{now})"


def _now(was_mm: float, found_mm: float | None, *, explained: bool) -> str:
    told = f", now {said.thickness(was_mm, _PLACES)}"
    if found_mm is not None and found_mm - was_mm > _APART_MM:
        return f"{told} on the best estimate of the floor, which is smoother than the floor may be"
    # The verdict's gap has the noise of the measurement taken off, so it is smaller.
    return f"{told}, noise not taken off" if explained else told


def _stays(proof: Proof) -> str:
    left = [said.counted(proof.joints_over, "joint")] if proof.joints_over else []
    left += [said.counted(proof.lips_over, "lip")] if proof.lips_over else []
    if not left:
        return ""
    return f"{' and '.join(left)} {'stays' if proof.joints_over + proof.lips_over == 1 else 'stay'} over"
