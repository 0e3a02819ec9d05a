"""Is there a joint along this very piece? Its own cross profile, against the same measure beside it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import SIGMA_PER_MAD
from flatscan.measures.joints.finding.ridges import (
    STEP_BEYOND_MM,
    clip_specks,
    lasting_step,
    odd_widths,
    tone_range,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.measures.joints.finding.strips import Strips

#: The profile reaches this far to either side, mm.
_REACH_MM = 45.0
_FLANK_MM = 5.0
#: A joint may lie this far off the piece, mm and pixels, whichever is more.
_OFF_MM = 1.5
#: Both ends of a piece lie in another joint: this much of it is not looked at, mm.
_END_MM = 5.0
_LEAST_OF_RANGE = 0.006
_HALF_CELL = 0.7
#: Noise needs more places beside the piece than this.
_LEAST_BESIDE = 5
#: Pieces taken at a time times cells times rows: bounds the memory.
_MOST_VALUES = 8_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Proof:
    """Of each piece (n,): evidence in standard deviations, share of its cells that agree, difference in tone.

    ``aside_mm`` (n,): how far the joint lies to the side, along ``normal`` (n, 2), the strips' v.
    """

    z: NDArray[np.float64]
    agree: NDArray[np.float64]
    contrast: NDArray[np.float64]
    aside_mm: NDArray[np.float64]
    normal: NDArray[np.float64]

    @classmethod
    def empty(cls, count: int) -> Proof:
        """Room for so many pieces."""
        return cls(np.zeros(count), np.zeros(count), np.zeros(count), np.zeros(count), np.zeros((count, 2)))

    def put(self, at: NDArray[np.int64], part: Proof) -> None:
        """Fill in some of the pieces."""
        for whole, some in (
            (self.z, part.z),
            (self.agree, part.agree),
            (self.contrast, part.contrast),
            (self.aside_mm, part.aside_mm),
            (self.normal, part.normal),
        ):
            whole[at] = some


def proof_of(pieces: NDArray[np.float64], strips: Sequence[Strips], *, steps: bool) -> Proof:
    """How clearly each piece is seen.

    Parameters
    ----------
    pieces : (n, 2, 2) ends, picture mm
    strips : by direction; each piece is looked at in the one nearest to its own
    steps : a step in height from side to side counts as well
    """
    proof = Proof.empty(len(pieces))
    if len(pieces) == 0:
        return proof
    d = pieces[:, 1] - pieces[:, 0]
    turn = np.arctan2(d[:, 1], d[:, 0])
    aligned = np.stack([np.abs(np.cos(turn - one.direction_rad)) for one in strips])
    nearest = np.argmax(aligned, axis=0)
    for index, one in enumerate(strips):
        mine = np.flatnonzero(nearest == index)
        if mine.size:
            proof.put(mine, _in_strips(pieces[mine], one, steps=steps))
    return proof


def _in_strips(pieces: NDArray[np.float64], strips: Strips, *, steps: bool) -> Proof:
    tone = clip_specks(strips)
    span = tone_range(strips)
    u0, v0 = strips.from_picture(pieces[:, 0])
    u1, v1 = strips.from_picture(pieces[:, 1])
    swap = u0 > u1
    u0, u1, v0, v1 = (np.where(swap, b, a) for a, b in ((u0, u1), (u1, u0), (v0, v1), (v1, v0)))
    short = np.minimum(_END_MM, 0.25 * (u1 - u0))
    low, high = u0 + short, u1 - short
    first = np.floor(low / strips.cell_mm).astype(np.int64)
    count = np.maximum(np.ceil(high / strips.cell_mm).astype(np.int64) - first, 1)
    reach = round(_REACH_MM / strips.pixel_mm)
    proof = Proof.empty(len(pieces))
    order = np.argsort(count)
    start = 0
    while start < len(order):
        stop = start + 1
        total = int(count[order[start]])
        while stop < len(order) and (total + count[order[stop]]) * (2 * reach + 1) < _MOST_VALUES:
            total += int(count[order[stop]])
            stop += 1
        some = order[start:stop]
        cells, share = _cells(first[some], count[some], low[some], high[some], strips.cell_mm)
        piece = np.repeat(np.arange(len(some)), count[some])
        slope = (v1 - v0)[some] / np.maximum((u1 - u0)[some], 1e-9)
        middle = v0[some][piece] + slope[piece] * ((cells + 0.5) * strips.cell_mm - u0[some][piece])
        part = _profiles(tone, strips, cells, share, middle, piece, len(some), reach, span, steps=steps)
        proof.put(some, part)
        start = stop
    return proof


def _cells(
    first: NDArray[np.int64], count: NDArray[np.int64], low: NDArray[np.float64], high: NDArray[np.float64], cell: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Cells of each piece one after the other, and the share of the cell that belongs to it."""
    begin = np.cumsum(count) - count
    within = np.arange(count.sum()) - np.repeat(begin, count)
    cells = np.repeat(first, count) + within
    share = np.minimum(np.repeat(high, count), (cells + 1) * cell) - np.maximum(np.repeat(low, count), cells * cell)
    # A cell that lies half outside shows what lies there (the joint across, print): it hardly counts.
    share = np.clip(share / cell, 0.05, 1.0)
    return cells, np.where(share < _HALF_CELL, 0.1 * share, share)


def _profiles(
    tone: NDArray[np.float32],
    strips: Strips,
    cells: NDArray[np.int64],
    share: NDArray[np.float64],
    middle: NDArray[np.float64],
    piece: NDArray[np.int64],
    number: int,
    reach: int,
    span: float,
    *,
    steps: bool,
) -> Proof:
    rows, cols = tone.shape
    row = np.rint(middle / strips.pixel_mm - 0.5).astype(np.int64)[:, None] + np.arange(-reach, reach + 1)
    inside = (row >= 0) & (row < rows) & ((cells >= 0) & (cells < cols))[:, None]
    at = np.clip(row, 0, rows - 1), np.clip(cells, 0, cols - 1)[:, None]
    weight = np.where(inside, strips.seen[at], 0.0) * share[:, None]
    value = tone[at].astype(np.float64) * weight
    begin = np.searchsorted(piece, np.arange(number))
    total, mass = np.add.reduceat(value, begin, axis=0), np.add.reduceat(weight, begin, axis=0)
    mass_all = np.add.reduceat(share, begin)[:, None]
    seen = mass > 0.4 * mass_all
    profile = np.divide(total, mass, out=np.full(total.shape, np.nan), where=seen)
    per_cell = np.where(weight > 0.3 * share[:, None], value / np.maximum(weight, 1e-9), np.nan)
    off = max(1, math.ceil(_OFF_MM / strips.pixel_mm))
    flank = max(2, round(_FLANK_MM / strips.pixel_mm))
    tried: list[tuple[NDArray[np.float64], ...]] = []
    # Rows are whole pixels: the piece runs this far from the middle row's centre on average.
    rest = np.add.reduceat((middle / strips.pixel_mm - 0.5 - row[:, reach]) * share, begin) / mass_all[:, 0]
    number_of = np.arange(number)
    beyond = max(2, round(STEP_BEYOND_MM / strips.pixel_mm))
    for width in odd_widths(strips.pixel_mm):
        pairs = zip(*(measures(p, width, flank, beyond, steps=steps) for p in (profile, per_cell)), strict=True)
        for kind, cellwise in pairs:
            z, where = _stands_out(kind, reach, off, width // 2 + flank + 2, span)
            size = np.nan_to_num(kind[number_of, where])
            same = cellwise[np.arange(len(piece)), where[piece]] * np.sign(size)[piece] > 0
            fits = np.add.reduceat(same * share, begin) / mass_all[:, 0]
            tried.append((z, fits, np.abs(size), (where - reach - rest + _peak(kind, where)) * strips.pixel_mm))
    z, fits, size, aside = (np.stack(some) for some in zip(*tried, strict=True))
    best = np.argmax(z, axis=0)
    # Wide boxes are quiet but dilute a narrow joint: the largest contrast of those that show it as clearly.
    clear = z >= 0.5 * z[best, number_of]
    # A wide box has a flat top: the narrowest that shows the joint says where it lies.
    narrow = np.argmax(clear, axis=0)
    turn = strips.direction_rad
    return Proof(
        z[best, number_of],
        fits[best, number_of],
        np.where(clear, size, 0.0).max(axis=0),
        np.nan_to_num(aside[narrow, number_of]),
        np.tile([-math.sin(turn), math.cos(turn)], (number, 1)),
    )


def _peak(kind: NDArray[np.float64], where: NDArray[np.int64]) -> NDArray[np.float64]:
    """Where between the places the measure is largest: top of the parabola through three."""
    of = np.arange(len(kind))
    below, here, above = (np.abs(np.nan_to_num(kind[of, np.clip(where + k, 0, kind.shape[1] - 1)])) for k in (-1, 0, 1))
    bend = below - 2.0 * here + above
    return np.clip(np.divide(0.5 * (below - above), bend, out=np.zeros_like(here), where=bend < 0), -0.5, 0.5)


def measures(
    profile: NDArray[np.float64], width: int, flank: int, beyond: int, *, steps: bool
) -> tuple[NDArray[np.float64], ...]:
    """Ridge (middle against both sides, least of the two) and step (side against side) at every place; NaN unseen."""
    half = width // 2
    pad = half + 1 + flank + beyond
    known = np.isfinite(profile)
    value = np.cumsum(np.pad(np.where(known, profile, 0.0), ((0, 0), (pad + 1, pad))), axis=1)
    mass = np.cumsum(np.pad(known.astype(np.float64), ((0, 0), (pad + 1, pad))), axis=1)
    cols = profile.shape[1]

    def box(first: int, last: int) -> NDArray[np.float64]:
        a, b = pad + first, pad + last + 1
        n = mass[:, b : b + cols] - mass[:, a : a + cols]
        total = value[:, b : b + cols] - value[:, a : a + cols]
        mean = np.divide(total, n, out=np.full(n.shape, np.nan), where=n > 0.6 * (last - first + 1))
        return np.asarray(mean, dtype=np.float64)

    middle = box(-half, half)
    below, above = box(-half - 1 - flank, -half - 2), box(half + 2, half + 1 + flank)
    under, over = middle - below, middle - above
    ridge = np.where(under * over > 0, np.sign(under) * np.minimum(np.abs(under), np.abs(over)), 0.0)
    ridge = np.where(np.isfinite(under * over), ridge, np.nan)
    if not steps:
        return (ridge,)
    ridge = np.minimum(ridge, 0.0)
    far_below = box(-half - 1 - flank - beyond, -half - 2 - beyond)
    far_above = box(half + 2 + beyond, half + 1 + flank + beyond)
    return ridge, lasting_step(above - below, far_above - far_below)


def _stands_out(
    kind: NDArray[np.float64], reach: int, off: int, clear: int, span: float
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Largest measure near the middle in robust standard deviations of the measure elsewhere, and where it lies."""
    near = np.nan_to_num(np.abs(kind[:, reach - off : reach + off + 1]))
    where = np.argmax(near, axis=1) + reach - off
    top = near.max(axis=1)
    beside = np.concatenate([kind[:, : reach - clear], kind[:, reach + clear + 1 :]], axis=1)
    known = np.isfinite(beside)
    # Ridges are 0 where the sides disagree, about half of all places: the upper half of what is left is as
    # wide as the noise; 68 % lie below one standard deviation.
    some = known.sum(axis=1) > _LEAST_BESIDE
    noise = np.full(len(kind), np.inf)
    if some.any():
        ranked = np.sort(np.where(known, np.abs(beside), np.inf), axis=1)
        at = (0.75 * known.sum(axis=1)).astype(np.int64)
        noise[some] = SIGMA_PER_MAD * ranked[np.flatnonzero(some), at[some]]
    return top / np.maximum(noise, max(_LEAST_OF_RANGE * span, 1e-9)), where
