"""Lines of cells that an edge can be laid along, and the chords on them that a surface fails by most."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.measures.line_family import LineFamily

#: Stands where no reading is: no chord from or to it is ever the highest.
_NOWHERE_MM = -1e30
#: Fewest steps between the contacts that leave a reading between them.
_LEAST_STEPS = 2


@dataclass(frozen=True, slots=True, eq=False)
class StraightLines:
    """All lines of one direction.

    Attributes
    ----------
    direction : index of the direction, as in ``measures.chords.gap_field``
    cells : (lines, readings) int64, flat index of each reading's cell; -1 off the grid
    pieces : for each target (lines, readings) int64, number of the unbroken piece: contacts must lie on the same one
    windows : for each target the most steps between the contacts
    """

    direction: int
    cells: NDArray[np.int64]
    pieces: tuple[NDArray[np.int64], ...]
    windows: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Chords:
    """Chords, each with one reading beneath it. All (n,).

    Attributes
    ----------
    direction : int64, index of the direction
    first, second, middle : int64, flat index of the contacts' cells and of the cell beneath
    before, after : int64, steps along the line from the first contact to the middle, and on to the second
    target : int64, index of the target that allows it least
    limit_mm : float64, the gap allowed there
    """

    direction: NDArray[np.int64]
    first: NDArray[np.int64]
    second: NDArray[np.int64]
    middle: NDArray[np.int64]
    before: NDArray[np.int64]
    after: NDArray[np.int64]
    target: NDArray[np.int64]
    limit_mm: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.middle)

    @property
    def share(self) -> NDArray[np.float64]:
        """Weight of the first contact in the chord's height over the middle."""
        share: NDArray[np.float64] = self.after / (self.before + self.after)
        return share

    def gap_mm(self, surface_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) height of each chord over its middle. ``surface_mm``: flat (cells,)."""
        first, second, middle = (surface_mm[at] for at in (self.first, self.second, self.middle))
        gap: NDArray[np.float64] = self.share * first + (1.0 - self.share) * second - middle
        return gap

    def worst_of_each_cell(self, surface_mm: NDArray[np.float64]) -> Chords:
        """For each middle the chord that exceeds its limit most."""
        order = np.lexsort((self.limit_mm - self.gap_mm(surface_mm), self.middle))
        return self[order[np.diff(self.middle[order], prepend=-1) > 0]]

    def __getitem__(self, keep: NDArray[np.bool_] | NDArray[np.intp]) -> Chords:
        return Chords(*(getattr(self, field.name)[keep] for field in fields(self)))


def joined(parts: Sequence[Chords]) -> Chords:
    """Several sets of chords as one."""
    if not parts:
        no = np.zeros(0, dtype=np.int64)
        return Chords(no, no, no, no, no, no, no, np.zeros(0))
    return Chords(*(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(Chords)))


def cells_of_lines(shape: tuple[int, int], family: LineFamily) -> NDArray[np.int64]:
    """(lines, readings) int64, flat index of the cells of every line of a family; -1 off the grid."""
    rows, cols = shape
    n_major, n_minor = (cols, rows) if family.columns_major else (rows, cols)
    least, greatest = family.offset_range
    minor = np.arange(-greatest, n_minor - least)[:, None] + family.offsets[None, :]
    major = np.broadcast_to(np.arange(n_major), minor.shape)
    flat = minor * cols + major if family.columns_major else major * cols + minor
    cells: NDArray[np.int64] = np.where((minor >= 0) & (minor < n_minor), flat, -1)
    return cells


def piece_numbers(
    cells: NDArray[np.int64], inside: NDArray[np.bool_], seen: NDArray[np.bool_], hole: int
) -> NDArray[np.int64]:
    """Number of the unbroken piece of each reading: walls, and more than ``hole`` unseen readings in a row, raise it.

    ``cells``: (lines, readings) int64, -1 off the grid. ``inside``, ``seen``: (cells,) bool.
    """
    wall = (cells < 0) | ~inside[cells]
    unseen = ~wall & ~seen[cells]
    count = np.cumsum(unseen, axis=1)
    long = np.zeros(cells.shape, dtype=bool)
    long[:, hole:] = count[:, hole:] == hole + 1
    long[:, hole + 1 :] = count[:, hole + 1 :] - count[:, : -hole - 1] == hole + 1
    piece: NDArray[np.int64] = np.cumsum(wall | long, axis=1)
    return piece


def broken_chords(
    surface_mm: NDArray[np.float64],
    lines: Sequence[StraightLines],
    limits_mm: NDArray[np.float64],
    *,
    more_than_mm: float,
) -> Chords:
    """The highest chord of every cell, direction and target that exceeds its limit.

    The compiled gap search keeps only heights; here the contacts are wanted, on grids of some thousand cells. From
    every reading the steepest chord (the farthest of several) is the only one that can be highest over what lies
    beneath it; each is laid over its readings in turn.

    Parameters
    ----------
    surface_mm : (cells,) float64; NaN where there is no reading
    lines : one for each direction
    limits_mm : (targets, cells) float64, the gap allowed over each cell
    more_than_mm : chords that exceed the limit by less are left out
    """
    found = []
    seen = np.isfinite(surface_mm)
    surface = np.append(np.where(seen, surface_mm, _NOWHERE_MM), _NOWHERE_MM)
    allowed = np.append(np.where(seen, limits_mm, np.inf), np.full((len(limits_mm), 1), np.inf), axis=1)
    for way in lines:
        z = surface[way.cells]
        for target, window in enumerate(way.windows):
            if window < _LEAST_STEPS or z.shape[1] <= _LEAST_STEPS:
                continue
            before, length, chord = _highest(z, way.pieces[target], window)
            limit = allowed[target][way.cells]
            line, at = np.nonzero(chord - z > limit + more_than_mm)
            back, on = before[line, at], length[line, at] - before[line, at]
            same = np.ones(len(at), dtype=np.int64)
            found.append(
                Chords(
                    direction=way.direction * same,
                    first=way.cells[line, at - back],
                    second=way.cells[line, at + on],
                    middle=way.cells[line, at],
                    before=back,
                    after=on,
                    target=target * same,
                    limit_mm=limit[line, at],
                )
            )
    return joined(found)


def _highest(
    z: NDArray[np.float64], piece: NDArray[np.int64], window: int
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """The highest chord over each reading: steps back to its first contact, its length in steps, its height.

    All (lines, readings); where no chord is higher than the reading, 0, some length, and the reading itself.
    """
    n = z.shape[1]
    slope, reach = np.full(z.shape, -np.inf), np.zeros(z.shape, dtype=np.int64)
    for step in range(1, min(window, n - 1) + 1):
        s = (z[:, step:] - z[:, :-step]) / step
        better = (s >= slope[:, :-step]) & (piece[:, step:] == piece[:, :-step])
        np.copyto(slope[:, :-step], s, where=better)
        np.copyto(reach[:, :-step], step, where=better)
    chord, back = z.copy(), np.zeros(z.shape, dtype=np.int64)
    for step in range(1, min(window, n)):
        height = z[:, :-step] + slope[:, :-step] * step
        higher = (reach[:, :-step] > step) & (height > chord[:, step:])
        np.copyto(chord[:, step:], height, where=higher)
        np.copyto(back[:, step:], step, where=higher)
    return back, np.take_along_axis(reach, np.arange(n)[None, :] - back, axis=1), chord
