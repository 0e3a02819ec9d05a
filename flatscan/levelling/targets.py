"""What the finished floor must meet: (edge length, greatest gap) pairs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan import said
from flatscan.errors import SettingsError
from flatscan.judgement.steps import gap_limits
from flatscan.measures.measure import LEAST_CELLS

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from flatscan.judgement.limits import LimitSet

Target = tuple[float, float]


def gap_pairs(limit_sets: Iterable[LimitSet], longest_mm: float) -> tuple[Target, ...]:
    """Every gap limit of the sets as (edge, limit) pairs, on a floor ``longest_mm`` across."""
    return tuple(
        (limit.edge_mm, limit.limit_mm)
        for limit_set in limit_sets
        for limit in gap_limits(limit_set, longest_mm)
        if limit.edge_mm is not None
    )


def laid_on(pairs: Sequence[Target], cell_mm: float) -> tuple[tuple[Target, ...], tuple[Target, ...]]:
    """The pairs whose edge can be laid on cells of this size, and those whose edge is too short for them.

    Where none can be laid all are kept: a floor must be held against something.
    """
    laid = tuple(pair for pair in pairs if pair[0] >= LEAST_CELLS * cell_mm)
    return (laid, tuple(pair for pair in pairs if pair not in laid)) if laid else (tuple(pairs), ())


def targets_of(pairs: Iterable[Target], *, margin_mm: float = 0.0) -> tuple[Target, ...]:
    """The pairs less a margin, by rising edge length; those that others imply left out.

    A gap beneath an edge is never more than beneath a longer one, so (L, t) is implied by any (L', t') with
    L' >= L and t' <= t. Raises SettingsError where the margin leaves nothing of a limit.
    """
    every = {(edge, limit - margin_mm) for edge, limit in pairs}
    if any(limit <= 0 for _, limit in every):
        raise SettingsError(
            "--margin", f"a margin of {said.length(margin_mm)} leaves nothing of a limit", "Use a smaller one"
        )
    kept: list[Target] = []
    for edge, limit in sorted(every, key=lambda pair: (-pair[0], pair[1])):
        if not kept or limit < kept[-1][1]:
            kept.append((edge, limit))
    return tuple(reversed(kept))
