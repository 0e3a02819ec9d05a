"""The gap beneath a straightedge, at every place and in many directions.

Definition: on a line of readings z, spacing h, an edge of length L may rest on readings i < j with
``(j - i)·h <= L``; the gap at k between them is the height of that chord over z_k, and the gap map
holds the largest, over all chords and directions, never less than 0. No other reading pokes through
the highest chord: if one did, a shorter, higher chord would end there. Where a full length fits on
the floor the highest chord is also how a rigid edge of length L comes to rest, so this is rule "rests
on two high points, measured between them" (DIN 18202 as restated by several trade bodies). The
overhanging ends are never measured: a hump is seen as the gaps beside it.

Adding a plane changes no gap along rows, columns and diagonals; along others the nearest-cell lines turn a
slope into a small positive bias (0.07 mm for 2 % at 5 mm cells). Nothing is subtracted here: give
heights about the floor's own reference plane.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.measures import chords_plain
from flatscan.measures.line_family import LineFamily, line_families

if TYPE_CHECKING:
    from types import ModuleType

    from numpy.typing import NDArray

#: Below this many cells the threads wait for each other longer than they work.
CELLS_FOR_THREADS = 100_000
#: With fewer steps between the contacts nothing lies between them.
LEAST_WINDOW = 2


@dataclass(frozen=True, slots=True, eq=False)
class GapField:
    """All places of one edge length. Arrays (rows, cols).

    Attributes
    ----------
    gap_mm : float32, NaN where the floor was not seen
    direction : int8, index into ``angles_rad`` of the edge that shows the gap; -1 where there is none
    bridged : bool, the edge that shows it crosses cells that were not seen, so it is a lower bound
    angles_rad : direction of the edge from the column axis, anticlockwise
    """

    gap_mm: NDArray[np.float32]
    direction: NDArray[np.int8]
    bridged: NDArray[np.bool_]
    angles_rad: tuple[float, ...]


def gap_field(
    height_mm: NDArray[Any],
    inside: NDArray[np.bool_],
    *,
    cell_mm: float,
    edge_mm: float,
    directions: int = 12,
    bridge_mm: float = 100.0,
) -> GapField:
    """Gap map of one edge length.

    Parameters
    ----------
    height_mm : (rows, cols) float32 or float64, heights about the reference plane; NaN is not seen
    inside : (rows, cols) bool, where the edge can pass; False (walls) always ends a line
    cell_mm : side of a cell
    edge_mm : length of the edge
    directions : how many, over half a turn; a sampled set of directions is a lower bound
    bridge_mm : unseen cells in a row are bridged up to this and up to ``edge_mm / 4``, else the line ends

    References
    ----------
    The all-chords definition is checked by brute force in ``tests/measures``.
    """
    coded = coded_heights(height_mm, inside)
    families = line_families(coded.shape, cell_mm=cell_mm, directions=directions)
    across, along = (
        _half(coded, families, edge_mm, bridge_mm, columns_major=columns_major) for columns_major in (True, False)
    )
    second = along[0] > across[0]
    best, way, bridged = (np.where(second, b, a) for a, b in zip(across, along, strict=True))
    best[~np.isfinite(coded)] = np.nan
    return GapField(best, way, bridged, tuple(f.angle_rad for f in families))


def _half(
    coded: NDArray[Any], families: tuple[LineFamily, ...], edge_mm: float, bridge_mm: float, *, columns_major: bool
) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
    """Gap, direction and bridged over the directions that follow one axis. The minor axis is made contiguous."""
    view = np.ascontiguousarray(coded.T if columns_major else coded)
    best = np.zeros(view.shape, dtype=np.float32)
    way = np.full(view.shape, -1, dtype=np.int8)
    bridged = np.zeros(view.shape, dtype=np.bool_)
    for d, family in enumerate(families):
        if family.columns_major is columns_major:
            window, hole = family.window(edge_mm), family.most_hole(edge_mm, bridge_mm)
            _gap_direction(view, family, window, hole, d, best, way, bridged)
    return (best.T, way.T, bridged.T) if columns_major else (best, way, bridged)


@dataclass(frozen=True, slots=True)
class Contacts:
    """Where the edge rests. ``first`` and ``second`` are (row, col)."""

    first: tuple[int, int]
    second: tuple[int, int]
    span_mm: float
    gap_mm: float


def contacts_at(
    height_mm: NDArray[Any],
    inside: NDArray[np.bool_],
    *,
    row: int,
    col: int,
    direction: int,
    cell_mm: float,
    edge_mm: float,
    directions: int = 12,
    bridge_mm: float = 100.0,
) -> Contacts | None:
    """Contacts of the edge that shows the gap at one cell: all chords of its line tried; the widest on ties.

    Parameters as for :func:`gap_field`; ``direction`` is an index into its ``angles_rad``. None where
    no edge can rest over the cell.
    """
    coded = coded_heights(height_mm, inside)
    family = line_families(coded.shape, cell_mm=cell_mm, directions=directions)[direction]
    rows, cols, at = family.through(row, col, coded.shape)
    values = coded[rows, cols].astype(np.float64)
    window = family.window(edge_mm)
    lo, hi = _piece_around(values, at, window, family.most_hole(edge_mm, bridge_mm))
    left = lo + np.flatnonzero(np.isfinite(values[lo:at]))
    right = at + 1 + np.flatnonzero(np.isfinite(values[at + 1 : hi]))
    steps = right[None, :] - left[:, None]
    if not np.isfinite(values[at]) or steps.size == 0 or steps.min() > window:
        return None
    share = (at - left)[:, None] / steps
    chord = values[left][:, None] * (1.0 - share) + values[right][None, :] * share
    chord[steps > window] = -np.inf
    highest = chord.max()
    tied = chord >= highest - 1e-9 * max(1.0, abs(highest))
    i, j = np.unravel_index(int(np.argmax(np.where(tied, steps, -1))), steps.shape)
    p, q = left[i], right[j]
    return Contacts(
        (int(rows[p]), int(cols[p])),
        (int(rows[q]), int(cols[q])),
        float(steps[i, j] * family.spacing_mm),
        max(0.0, float(highest - values[at])),
    )


def _piece_around(values: NDArray[np.float64], at: int, window: int, hole: int) -> tuple[int, int]:
    """Range of readings that an edge over reading ``at`` may rest on."""
    ends = []
    for side in (values[at::-1], values[at:]):
        unseen, reach = 0, 0
        for v in side[1 : window + 1]:
            unseen = unseen + 1 if np.isnan(v) else 0
            if np.isinf(v) or unseen > hole:
                break
            reach += 1
        ends.append(reach)
    return at - ends[0], at + ends[1] + 1


def coded_heights(height_mm: NDArray[Any], inside: NDArray[np.bool_]) -> NDArray[Any]:
    """Heights in one array that tells all: inf is a wall, NaN is not seen."""
    if height_mm.shape != inside.shape or height_mm.ndim != 2:  # noqa: PLR2004
        raise ValueError(f"height {height_mm.shape} and inside {inside.shape} must be the same grid")
    return np.where(inside, height_mm, height_mm.dtype.type(np.inf))


@cache
def _kernel() -> ModuleType | None:
    """The compiled search; None where numba is missing or has nowhere to keep its cache."""
    try:
        from flatscan.measures import chord_kernel
    except (ImportError, RuntimeError):
        return None
    return chord_kernel


def blocks_of(family: LineFamily, n_minor: int, at_once: int) -> int:
    """How many blocks of lines the compiled search takes, beginning at line ``-greatest offset``."""
    least, greatest = family.offset_range
    return -(-(n_minor - least + greatest) // at_once)


def _gap_direction(
    view: NDArray[Any],
    family: LineFamily,
    window: int,
    hole: int,
    d: int,
    best: NDArray[np.float32],
    way: NDArray[np.int8],
    bridged: NDArray[np.bool_],
) -> None:
    kernel = _kernel()
    if view.size == 0 or window < LEAST_WINDOW:
        return
    if kernel is None:
        chords_plain.gap_direction(view, family, window, hole, d, best, way, bridged)
        return
    run = kernel.gap_direction_threads if view.size >= CELLS_FOR_THREADS else kernel.gap_direction
    blocks = blocks_of(family, view.shape[1], kernel.LINES_AT_ONCE)
    run(view, (family.offsets, window, hole), blocks, d, best, way, bridged)
