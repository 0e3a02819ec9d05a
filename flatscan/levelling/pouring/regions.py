"""The parts of the floor that a pour fills each by itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.levelling.pouring.necks import split_at_necks

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.levelling.binding.bounds import Bounds, NamedMask
    from flatscan.surface.surface import Surface

#: Label of floor that no pour reaches: it keeps its slope, takes nothing, or has a fixed height.
OWN = -1
#: A part smaller than this (22 cm square; common practice, no source) beside a dam or a joint goes with its neighbour.
LEAST_REGION_MM2 = 50_000.0


@dataclass(frozen=True, slots=True, eq=False)
class Regions:
    """Labels on the surface's grid.

    Attributes
    ----------
    label : (rows, cols) int32, 1 to ``count`` for the parts; ``OWN``; 0 for walls and cells of movement joints
    whole : (count + 1,) int32, for each part the part it belongs to where narrow passages are not dammed
    necks : pairs of parts that only a narrow passage parts
    """

    label: NDArray[np.int32]
    whole: NDArray[np.int32]
    necks: tuple[tuple[int, int], ...] = ()

    @property
    def count(self) -> int:
        """How many parts."""
        return len(self.whole) - 1


def own_height(bounds: Bounds) -> NDArray[np.bool_]:
    """(rows, cols) bool: floor that no pour or screed covers, its height being its own or fixed."""
    return bounds.keeps_slope | (bounds.most_fill_mm <= bounds.least_fill_mm)


def leaves_own_height(rule: NamedMask) -> bool:
    """The rule keeps pour and screed off, by its kind or because nothing may lie there."""
    return rule.kind in {"fixed_height", "no_fill", "keep_slope"} or rule.value_mm == 0.0


def fixed_fill_mm(bounds: Bounds) -> NDArray[np.float32]:
    """(rows, cols) float32, what lies on floor of a fixed height; 0 elsewhere and in movement joints."""
    fixed = own_height(bounds) & ~bounds.keeps_slope & ~bounds.blocked
    return np.where(fixed, bounds.least_fill_mm, np.float32(0.0))


def regions_of(surface: Surface, bounds: Bounds) -> Regions:
    """Connected parts of the floor, parted by walls, dams and zones of their own height, and at narrow passages.

    Cells that touch along a side are connected; an unseen cell is floor. A dam has no width of its own: its cells
    go to the nearest part, so that no trench is left, unless it stands in a movement joint, which takes no compound.
    The line of cells that bounds a zone which keeps its slope goes the same way. Specks smaller than
    ``LEAST_REGION_MM2`` beside such cells go with a neighbour (a slanting dam cuts slivers off at a wall); those that
    stand alone between walls are parts like others.
    """
    from scipy import ndimage

    own = surface.inside & own_height(bounds)
    shut = surface.inside & ~own & (bounds.dams | bounds.blocked | ~bounds.inside)
    floor = surface.inside & ~own & ~bounds.blocked
    found, count = ndimage.label(surface.inside & ~own & ~shut)
    label = found.astype(np.int32)
    if shut.any():
        label, count = _without_specks(label, count, shut, floor, surface.cell_mm)
    label, whole = split_at_necks(label, count, surface.cell_mm)
    spread(label, floor)
    label[own] = OWN
    return Regions(label, whole, _necks(label, whole))


def spread(label: NDArray[np.int32], cells: NDArray[np.bool_]) -> None:
    """Give the cells that have label 0 the nearest label above 0, counted in steps along sides, in place.

    Cells that no label reaches through ``cells`` keep 0.
    """
    rows, cols = np.nonzero(cells & (label == 0))
    padded = np.pad(label, 1)
    while len(rows):
        best = np.zeros(len(rows), dtype=np.int32)
        for down, right in ((0, 1), (1, 0), (1, 2), (2, 1)):
            best = np.maximum(best, padded[rows + down, cols + right])
        new = best > 0
        if not new.any():
            break
        padded[rows[new] + 1, cols[new] + 1] = best[new]
        rows, cols = rows[~new], cols[~new]
    label[...] = padded[1:-1, 1:-1]


def _without_specks(
    label: NDArray[np.int32], count: int, shut: NDArray[np.bool_], floor: NDArray[np.bool_], cell_mm: float
) -> tuple[NDArray[np.int32], int]:
    """Take the label off small parts beside a dam or a joint that a larger part will reach.

    ``shut``: dams and joints. ``floor``: cells through which labels are spread afterwards.
    """
    from scipy import ndimage

    size_mm2 = np.bincount(label.ravel(), minlength=count + 1) * cell_mm**2
    speck = np.zeros(count + 1, dtype=bool)
    speck[np.unique(label[ndimage.binary_dilation(shut)])] = True
    speck &= size_mm2 < LEAST_REGION_MM2
    speck[0] = False
    if not speck.any():
        return label, count
    reached = np.where(speck[label], 0, label).astype(np.int32)
    spread(reached, floor)
    speck[np.unique(label[(reached == 0) & (label > 0)])] = False
    number = np.zeros(count + 1, dtype=np.int32)
    number[1:][~speck[1:]] = np.arange(1, count - int(speck.sum()) + 1)
    kept: NDArray[np.int32] = number[label]
    return kept, int(number.max())


def _necks(label: NDArray[np.int32], whole: NDArray[np.int32]) -> tuple[tuple[int, int], ...]:
    """Pairs of parts of one whole that have cells side by side, the lower number first."""
    if len(np.unique(whole)) == len(whole):
        return ()
    found = set()
    for a, b in ((label[:, :-1], label[:, 1:]), (label[:-1], label[1:])):
        meet = (a != b) & (a > 0) & (b > 0)
        pairs = np.unique(np.sort(np.stack([a[meet], b[meet]], axis=1), axis=1), axis=0)
        found |= {(int(p), int(q)) for p, q in pairs if whole[p] == whole[q]}
    return tuple(sorted(found))
