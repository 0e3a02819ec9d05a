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
) -> HumpField:
    """Largest halved clearance over all directions with the edge centred on each place.

    Both ends must lie over seen floor with no wall between; each is at most half the edge away. The edge is
    taken to touch at its middle: beside a crest, where the crest would lift it, the figure is only the crest's
    seen from the side, so read it at local maxima.

    Parameters
    ----------
    height_mm, inside, cell_mm, edge_mm, directions : as for ``chords.gap_field``
    """
    layout = HumpLayout.of(inside, cell_mm=cell_mm, edge_mm=edge_mm, directions=directions)
    best = np.where(np.isfinite(height_mm) & inside, np.float32(0.0), np.float32(np.nan))
    way = np.full(best.shape, -1, dtype=np.int8)
    for d, place in enumerate(layout.placements):
        if place is not None:
            clearance = place.clearance(height_mm)
            higher = clearance > best[place.middle]
            best[place.middle][higher] = clearance[higher]
            way[place.middle][higher] = d
    return HumpField(best, way, layout.angles_rad)


Window = tuple[slice, slice]


@dataclass(frozen=True, slots=True, eq=False)
class Placement:
    """The edge in one direction, over every place where it fits on the grid.

    ``middle``, ``one``, ``other``: windows of the cells beneath its middle and its ends; ``blocked``: bool like
    them, a wall lies beneath it (None: nowhere).
    """

    middle: Window
    one: Window
    other: Window
    blocked: NDArray[np.bool_] | None

    def clearance(self, height_mm: NDArray[Any]) -> NDArray[Any]:
        """Middle less the mean of the ends, mm; NaN where the edge cannot lie."""
        ends = height_mm[self.one] + height_mm[self.other]
        ends *= height_mm.dtype.type(0.5)
        clearance: NDArray[Any] = np.subtract(height_mm[self.middle], ends, out=ends)
        if self.blocked is not None:
            clearance[self.blocked] = np.nan
        return clearance


@dataclass(frozen=True, slots=True, eq=False)
class HumpLayout:
    """Where the edge can lie on one floor: worked out once for many height maps. None: it fits nowhere."""

    placements: tuple[Placement | None, ...]
    angles_rad: tuple[float, ...]

    @classmethod
    def of(cls, inside: NDArray[np.bool_], *, cell_mm: float, edge_mm: float, directions: int = 12) -> HumpLayout:
        """Parameters as for :func:`hump_field`."""
        families = line_families(inside.shape, cell_mm=cell_mm, directions=directions)
        steps = (_half_edge(f, edge_mm, cell_mm) for f in families)
        placed = tuple(_placement(inside, down, right) for down, right in steps)
        return cls(placed, tuple(f.angle_rad for f in families))

    def worst(self, height_mm: NDArray[np.float32]) -> NDArray[np.float32]:
        """``hump_field(...).clearance_mm`` alone; heights must be NaN off the floor."""
        best = np.where(np.isfinite(height_mm), np.float32(0.0), np.float32(np.nan))
        for place in self.placements:
            if place is not None:
                middle = best[place.middle]
                np.fmax(middle, place.clearance(height_mm), out=middle)
        return best


def _placement(inside: NDArray[np.bool_], down: int, right: int) -> Placement | None:
    middle, one, other = _shifted(inside.shape, down, right)
    if (down, right) == (0, 0) or inside[middle].size == 0:
        return None
    return Placement(middle, one, other, None if inside.all() else ~_free_path(inside, down, right))


def _half_edge(family: LineFamily, edge_mm: float, cell_mm: float) -> tuple[int, int]:
    """Steps (rows, columns) from the middle of the edge to its end, never longer than half the edge."""
    along = (math.sin(family.angle_rad), math.cos(family.angle_rad))
    half = 0.5 * edge_mm / cell_mm + 1e-6
    nearest = round(half * along[0]), round(half * along[1])
    return nearest if math.hypot(*nearest) <= half else (int(half * along[0]), int(half * along[1]))


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
    most = max(r, c)
    for k in range(-most, most + 1):
        dr, dc = round(down * k / most), round(right * k / most)
        free &= inside[r + dr : rows - r + dr, c + dc : cols - c + dc]
    return free
