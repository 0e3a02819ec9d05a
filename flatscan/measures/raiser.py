"""Raising a floor until no gap under an edge is over its limit, without visiting twice what did not change."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures import chords_plain
from flatscan.measures.chords import CELLS_FOR_THREADS, LEAST_WINDOW, blocks_of, coded_heights
from flatscan.measures.line_family import LineFamily, line_families

if TYPE_CHECKING:
    from collections.abc import Sequence
    from types import ModuleType

    from numpy.typing import NDArray

    _Edges = tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]


@dataclass(frozen=True, slots=True, eq=False)
class _Direction:
    """All edges along one direction. ``visited``: when each block of lines last was, -1 never."""

    family: LineFamily
    edges: _Edges
    visited: NDArray[np.int32]


class Raiser:
    """A floor on its way up to meeting its gap limits.

    One sweep lifts it once along every direction: ``y = max(y, U - limit)`` for every limit, U the highest chord over
    each place as it stands by then. Each lift has a number; cells, and tiles of
    cells, are stamped with the number at which they last rose, and blocks of lines with the number at which they were
    last visited. A block none of whose cells rose since is skipped, and of the others only chords that rest on such a
    cell matter: all else was seen to when it was last visited.

    Attributes
    ----------
    surface_mm : (rows, cols) float64, the surface as it stands; inf where the edge cannot pass, NaN where nothing was
        seen
    """

    def __init__(
        self,
        height_mm: NDArray[np.floating],
        inside: NDArray[np.bool_],
        targets: Sequence[tuple[float, float]],
        *,
        cell_mm: float,
        directions: int = 12,
        bridge_mm: float = 100.0,
    ) -> None:
        """Begin at a surface no part of which was visited yet.

        Parameters
        ----------
        height_mm : (rows, cols), heights about the reference plane; copied; NaN is not seen
        targets : (edge_mm, limit_mm) pairs, limits more than 0
        inside, cell_mm, directions, bridge_mm : as for ``chords.gap_field``
        """
        self.surface_mm = coded_heights(np.asarray(height_mm, dtype=np.float64), inside)
        self._kernel = _kernel()
        self._rose = np.zeros(inside.shape, dtype=np.int32)
        self._tiles = np.zeros([-(-n // chords_plain.TILE) for n in inside.shape], dtype=np.int32)
        self._now = 0
        self._directions = [
            _Direction(family, edges, np.full(self._blocks(family), -1, dtype=np.int32))
            for family in line_families(inside.shape, cell_mm=cell_mm, directions=directions)
            if inside.size and len((edges := _edges(family, targets, bridge_mm))[0])
        ]

    @property
    def lifts(self) -> int:
        """How many lifts a sweep has, one for each direction."""
        return len(self._directions)

    def sweep(self) -> float:
        """Lift once along every direction; the largest rise."""
        return max([self._lift(one) for one in self._directions], default=0.0)

    def raise_to(self, height_mm: NDArray[np.floating]) -> float:
        """Raise the surface to another, (rows, cols), where that is higher; the largest rise."""
        rows, cols = np.nonzero(height_mm > self.surface_mm + chords_plain.LEAST_RISE_MM)
        if len(rows) == 0:
            return 0.0
        self._now += 1
        rise = float((height_mm[rows, cols] - self.surface_mm[rows, cols]).max())
        self.surface_mm[rows, cols] = height_mm[rows, cols]
        self._rose[rows, cols] = self._now
        self._tiles[rows // chords_plain.TILE, cols // chords_plain.TILE] = self._now
        return rise

    def _lift(self, one: _Direction) -> float:
        if self._tiles.max() < one.visited.min():
            return 0.0
        self._now += 1
        heights = self.surface_mm, self._rose, self._tiles
        if one.family.columns_major:
            heights = self.surface_mm.T, self._rose.T, self._tiles.T
        if self._kernel is None:
            rise = chords_plain.lift_direction(heights, one.family, one.edges, self._now)
            one.visited[...] = self._now
            return rise
        threads = self.surface_mm.size >= CELLS_FOR_THREADS
        lift = self._kernel.lift_direction_threads if threads else self._kernel.lift_direction
        return float(lift(heights, one.visited, self._now, one.family.offsets, one.edges))

    def _blocks(self, family: LineFamily) -> int:
        """How many blocks of lines the compiled lift takes; the plain one takes all lines at once."""
        if self._kernel is None:
            return 1
        n_minor = self.surface_mm.shape[0 if family.columns_major else 1]
        return blocks_of(family, n_minor, self._kernel.LINES_AT_ONCE)


def _edges(family: LineFamily, targets: Sequence[tuple[float, float]], bridge_mm: float) -> _Edges:
    """Window, longest hole and limit of the edges that reach over a reading."""
    reaching = [(edge, limit) for edge, limit in targets if family.window(edge) >= LEAST_WINDOW]
    windows = [family.window(edge) for edge, _ in reaching]
    holes = [family.most_hole(edge, bridge_mm) for edge, _ in reaching]
    limits = [limit for _, limit in reaching]
    return np.array(windows, np.int64), np.array(holes, np.int64), np.array(limits, np.float64)


@cache
def _kernel() -> ModuleType | None:
    """The compiled lift; None where numba is missing or has nowhere to keep its cache."""
    try:
        from flatscan.measures import lift_kernel
    except (ImportError, RuntimeError):
        return None
    return lift_kernel
