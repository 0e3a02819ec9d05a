"""Every way's floor judged again, before anything is said of it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from flatscan.judgement.places import place_in_words
from flatscan.levelling.proof import finished_mm, prove, worst_over

if TYPE_CHECKING:
    from collections.abc import Iterable

    from flatscan.levelling.frame import Frame
    from flatscan.levelling.plan import Proof
    from flatscan.levelling.ways import Way


def all_judged_again(candidates: Iterable[Way], frame: Frame) -> list[tuple[Way, Proof | None]]:
    """Each way with its proof; None where it is not possible or cannot be proven beforehand."""
    judged: list[tuple[Way, Proof | None]] = []
    for way in candidates:
        # Where nothing is worth grinding two ways are one.
        same = next((proof for other, proof in judged if other.again is way.again), None)
        judged.append(_judged_again(way, frame) if same is None else (way, same))
    return judged


def _judged_again(way: Way, frame: Frame) -> tuple[Way, Proof | None]:
    """The way with its floor judged again; one that leaves a limit unmet is not possible.

    A fill that meets its limits by construction and fails here is a mistake of ours, which must not be printed.
    """
    proposal, surface = way.proposal, frame.basis.surface
    if proposal.why_not or proposal.name == "lift_tiles":
        return way, None
    proof = prove(
        finished_mm(surface, proposal, frame.bounds),
        surface,
        frame.bounds,
        frame.limits,
        frame.rule,
        lips_left=() if way.covers_lips else frame.lips_left,
        work=frame.basis.joint_work,
    )
    if proof.passes:
        return way, proof
    leaves = worst_over(proof)
    if leaves and proposal.name in ("patch", "grind_and_patch"):
        raise AssertionError(f"the planned {proposal.name} leaves {leaves}")
    return replace(way, proposal=replace(proposal, why_not=f"It leaves {leaves or _lip_left(frame)}")), proof


def _lip_left(frame: Frame) -> str:
    lip = frame.lips_left[0]
    return f"the lip of {lip.lip.size_text()} {place_in_words(lip.at)}, which may be neither ground nor filled against"
