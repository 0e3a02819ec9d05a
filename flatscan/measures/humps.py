"""The hump reading: the edge balanced on a crest, the clearance of its free ends halved.

A common site rule, apart from the gap: centre the bar on the hump, press one end down, read beneath the
other, halve it. That equals the clearance beneath both ends when the bar is balanced so that they are
alike: crest minus the mean of the floor beneath the two ends (when nothing but the crest is touched).
No standard quoted here asks for it; a gap limit does not apply to it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.measures.line_family import line_families

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.line_family import LineFamily


@dataclass(frozen=True, slots=True, eq=False)
class HumpField:
    """Arrays (rows, cols): ``clearance_mm`` float32 >= 0, NaN where not seen; ``direction`` int8, -1 where none."""

    clearance_mm: NDArray[np.float32]
    direction: NDArray[np.int8]
    angles_rad: tuple[float, ...]


def hump_field(
    height_mm: NDArray[Any],
    inside: NDArray[np.bool_],
    *,
    cell_mm: float,
    edge_mm: float,
    directions: int = 12,
    lattice: bool = False,
) -> HumpField:
    """Largest halved clearance over all directions with the edge centred on each place.

    Both ends must lie over seen floor with no wall between; each is at most half the edge away. The edge is
    taken to touch at its middle: beside a crest, where the crest would lift it, the figure is only the crest's
    seen from the side, so read it at local maxima.

    Parameters
    ----------
    height_mm, inside, cell_mm, edge_mm, directions, lattice : as for ``chords.gap_field``
    """
    best = np.where(np.isfinite(height_mm) & inside, np.float32(0.0), np.float32(np.nan))
    way = np.full(best.shape, -1, dtype=np.int8)
    families = line_families(best.shape, cell_mm=cell_mm, directions=directions, lattice=lattice)
    for d, family in enumerate(families):
        down, right = _half_edge(family, edge_mm, cell_mm, lattice=lattice)
        middle, one, other = _shifted(best.shape, down, right)
        if (down, right) == (0, 0) or best[middle].size == 0:
            continue
        clearance = height_mm[middle] - 0.5 * (height_mm[one] + height_mm[other])
        higher = (clearance > best[middle]) & _free_path(inside, down, right)
        best[middle][higher] = clearance[higher]
        way[middle][higher] = d
    return HumpField(best, way, tuple(f.angle_rad for f in families))


def _half_edge(family: LineFamily, edge_mm: float, cell_mm: float, *, lattice: bool) -> tuple[int, int]:
    """Steps (rows, columns) from the middle of the edge to its end, never longer than half the edge."""
    along = (math.sin(family.angle_rad), math.cos(family.angle_rad))
    if lattice:
        step = family.spacing_mm / cell_mm * family.window(0.5 * edge_mm)
        return round(step * along[0]), round(step * along[1])
    half = 0.5 * edge_mm / cell_mm + 1e-6
    nearest = round(half * along[0]), round(half * along[1])
    return nearest if math.hypot(*nearest) <= half else (int(half * along[0]), int(half * along[1]))


Window = tuple[slice, slice]


def _shifted(shape: tuple[int, ...], down: int, right: int) -> tuple[Window, Window, Window]:
    """Windows of the cells whose two partners, (down, right) away and opposite, are on the grid; and of those."""
    rows, cols = shape
    r, c = abs(down), abs(right)

    def window(dr: int, dc: int) -> Window:
        return slice(r + dr, max(r + dr, rows - r + dr)), slice(c + dc, max(c + dc, cols - c + dc))

    return window(0, 0), window(down, right), window(-down, -right)


def _free_path(inside: NDArray[np.bool_], down: int, right: int) -> NDArray[np.bool_]:
    """For the middles of :func:`_shifted`: the edge passes no wall, looked at in every row or column it crosses."""
    r, c = abs(down), abs(right)
    rows, cols = inside.shape
    free = np.ones((rows - 2 * r, cols - 2 * c), dtype=bool)
    if inside.all():
        return free
    most = max(r, c)
    for k in range(-most, most + 1):
        dr, dc = round(down * k / most), round(right * k / most)
        free &= inside[r + dr : rows - r + dr, c + dc : cols - c + dc]
    return free
