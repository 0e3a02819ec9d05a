"""The hump reading: the edge balanced on a crest, the clearance of its free ends halved.

A common site rule, apart from the gap: centre the bar on the hump, press one end down, read beneath the
other, halve it. That equals the clearance beneath both ends when the bar is balanced so that they are
alike: crest minus the mean of the floor beneath the two ends (when nothing but the crest is touched).
No standard quoted here asks for it; a gap limit does not apply to it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.measures.chords_plain import family_cells
from flatscan.measures.line_family import line_families

if TYPE_CHECKING:
    from numpy.typing import NDArray


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

    Both ends must lie over seen floor with no wall between; the ends are ``floor(edge / 2 spacing)``
    readings away, so the edge is at most ``edge_mm`` long. A place where a lower crest would lift the edge
    off still gets a figure, but never the largest nearby: the crest itself has a larger one.

    Parameters
    ----------
    height_mm, inside, cell_mm, edge_mm, directions, lattice : as for ``chords.gap_field``
    """
    coded = np.where(inside, height_mm, np.inf).astype(np.float64)
    families = line_families(coded.shape, cell_mm=cell_mm, directions=directions, lattice=lattice)
    best = np.where(np.isfinite(coded), np.float32(0.0), np.float32(np.nan))
    way = np.full(coded.shape, -1, dtype=np.int8)
    for d, family in enumerate(families):
        half = family.window(edge_mm) // 2
        view, best_view, way_view = (a.T if family.columns_major else a for a in (coded, best, way))
        for major, minor in family_cells(view.shape, family):
            if half < 1 or major.shape[1] <= 2 * half:
                continue
            values = np.where(minor < 0, np.inf, view[major, minor])
            walls = np.cumsum(np.isinf(values), axis=1)
            with np.errstate(invalid="ignore"):
                clearance = values[:, half:-half] - 0.5 * (values[:, 2 * half :] + values[:, : -2 * half])
            free = (walls[:, 2 * half :] == walls[:, : -2 * half]) & np.isfinite(clearance)
            at = major[:, half:-half][free], minor[:, half:-half][free]
            shown = clearance[free].astype(np.float32)
            higher = shown > best_view[at]
            at = at[0][higher], at[1][higher]
            best_view[at] = shown[higher]
            way_view[at] = d
    return HumpField(best, way, tuple(f.angle_rad for f in families))
