"""Gaps of the two results at one place: what the result's own gap maps say, held against its own limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.comparing.kept import grid_for
from flatscan.judgement.decision import decide, guard_factor
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.comparing.kept import GapGrid
    from flatscan.comparing.measured import Measured
    from flatscan.judgement.verdict import Finding, VerdictWord

WORST: tuple[VerdictWord, ...] = ("over", "not_decided", "not_seen", "within")
GAP_KINDS = ("gap", "span_gap")


@dataclass(frozen=True, slots=True, eq=False)
class Words:
    """A gap grid judged: ``word`` (rows, cols) int8 index into ``WORST``; ``not_seen`` where there is no gap."""

    grid: GapGrid
    limit_mm: float
    word: NDArray[np.int8]
    xy_mm: NDArray[np.float64]


def judged(measured: Measured, edge_mm: float, limit_mm: float) -> Words | None:
    """Every block of the edge's map, held against a limit; None where the edge was not laid.

    A single block never says more than the result did: where the result calls no gap of this limit over, none is here
    (a map has many blocks and some look over by chance; the result's own rule is the one that holds).
    """
    grid = grid_for(measured.kept.gaps, edge_mm)
    if grid is None:
        return None
    z = guard_factor(measured.confidence)
    gap, u = grid.gap_mm.astype(np.float64), np.nan_to_num(grid.u_mm.astype(np.float64))
    word = np.full(gap.shape, WORST.index("not_decided"), dtype=np.int8)
    word[gap + z * u <= limit_mm] = WORST.index("within")
    if most_said(measured, edge_mm, limit_mm) == "over":
        word[gap - z * u >= limit_mm] = WORST.index("over")
    word[~np.isfinite(gap)] = WORST.index("not_seen")
    rows, cols = gap.shape
    x, y = (
        origin + (np.arange(count) + 0.5) * grid.block_mm
        for origin, count in zip(measured.surface.origin_mm, (cols, rows), strict=True)
    )
    return Words(grid, limit_mm, word, np.stack(np.meshgrid(x, y), axis=-1))


def most_said(measured: Measured, edge_mm: float, limit_mm: float) -> VerdictWord | None:
    """The worst word that the result has for any gap of this limit; None: it says nothing of it."""
    words = [f.verdict for f in measured.findings if _of(f, edge_mm, limit_mm)]
    return min(words, key=WORST.index) if words else None


def untold(measured: Measured, edge_mm: float, limit_mm: float) -> str:
    """What the result says that it cannot tell of the whole floor under this limit; "": nothing."""
    found = (f for f in measured.findings if _of(f, edge_mm, limit_mm))
    return next((f.where for f in found if f.verdict == "not_seen" and f.at is None), "")


def _of(finding: Finding, edge_mm: float, limit_mm: float) -> bool:
    same = finding.edge_mm is not None and abs(finding.edge_mm - edge_mm) < 0.5  # noqa: PLR2004
    return finding.what in GAP_KINDS and same and abs(finding.limit_mm - limit_mm) < 1e-3 and finding.placement is None  # noqa: PLR2004


def worst_in(words: Words, mask: NDArray[np.bool_]) -> tuple[Quantity | None, VerdictWord]:
    """The largest gap among the blocks ``mask`` and the word for them together; nothing seen: not seen."""
    gap = np.where(mask & np.isfinite(words.grid.gap_mm), words.grid.gap_mm, -np.inf)
    if not np.isfinite(gap).any():
        return None, "not_seen"
    at = np.unravel_index(int(gap.argmax()), gap.shape)
    said = words.word[mask & np.isfinite(words.grid.gap_mm)]
    word = WORST[int(said.min())]
    return Quantity(float(words.grid.gap_mm[at]), float(np.nan_to_num(words.grid.u_mm[at])), "mm"), word


def gap_near(measured: Measured, edge_mm: float, at_mm: NDArray[np.float64], reach_mm: float) -> Quantity | None:
    """The largest gap that a result had within ``reach_mm`` of a place of its map; None: not measured."""
    grid = grid_for(measured.kept.gaps, edge_mm)
    if grid is None:
        return None
    rows, cols = grid.gap_mm.shape
    x, y = (
        origin + (np.arange(count) + 0.5) * grid.block_mm - place
        for origin, count, place in zip(measured.surface.origin_mm, (cols, rows), at_mm, strict=True)
    )
    near = np.hypot(x[None, :], y[:, None]) <= max(reach_mm, grid.block_mm)
    gap = np.where(near & np.isfinite(grid.gap_mm), grid.gap_mm, -np.inf)
    if not np.isfinite(gap).any():
        return None
    found = np.unravel_index(int(gap.argmax()), gap.shape)
    return Quantity(float(grid.gap_mm[found]), float(np.nan_to_num(grid.u_mm[found])), "mm")


def word_of(value: Quantity | None, limit_mm: float, confidence: float) -> VerdictWord:
    """The word for one gap; nothing measured: not seen."""
    return "not_seen" if value is None else decide(value.value, value.u, limit_mm, confidence)[1]
