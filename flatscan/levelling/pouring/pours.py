"""Pours as they are marked on the floor."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM2_PER_M2
from flatscan.levelling.marking.outlines import rings_of
from flatscan.levelling.plan import Pour
from flatscan.levelling.pouring.regions import LEAST_REGION_MM2
from flatscan.levelling.quantities import volume_l

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from flatscan.levelling.pouring.pour_levels import Levels
    from flatscan.levelling.pouring.regions import Regions
    from flatscan.surface.surface import Surface


def pours_of(
    surface: Surface,
    level_height_mm: NDArray[np.float64],
    fill_mm: NDArray[np.float64],
    regions: Regions,
    levels: Levels,
) -> tuple[Pour, ...]:
    """One pour for each part that is poured; parts that no dam parts, and that stand at one level, are one.

    The rings are those of the part, dry islands in it not cut out; ``area_m2`` and ``volume_l`` are of what is filled.
    """
    part = np.maximum(regions.label, 0)
    poured = {(int(g), int(w)) for g, w in zip(levels.group[1:], regions.whole[1:], strict=True) if g > 0}
    found = []
    for number, whole in sorted(poured):
        alike = (levels.group == number) & (regions.whole == whole)
        for drawn, counted in _pieces(alike[part], surface.cell_mm):
            seen = counted & np.isfinite(level_height_mm)
            if not seen.any():
                continue
            found.append(
                Pour(
                    rings=_rings(drawn, surface),
                    level_mm=float(levels.level_mm[number] - level_height_mm[seen].min()),
                    area_m2=float((fill_mm[seen] > 0).sum()) * surface.cell_mm**2 / MM2_PER_M2,
                    volume_l=volume_l(fill_mm[seen], surface.cell_mm),
                )
            )
    return tuple(found)


def _pieces(mask: NDArray[np.bool_], cell_mm: float) -> Iterator[tuple[NDArray[np.bool_], NDArray[np.bool_]]]:
    """Connected pieces of a part, each as it is drawn and as it is counted.

    Pieces smaller than ``LEAST_REGION_MM2`` (beyond a movement joint, say) are not drawn and counted with the largest.
    """
    from scipy import ndimage

    pieces, count = ndimage.label(mask)
    sizes = np.bincount(pieces.ravel(), minlength=count + 1)[1:]
    largest = int(sizes.argmax())
    large = sizes * cell_mm**2 >= LEAST_REGION_MM2
    large[largest] = True
    for number in np.flatnonzero(large):
        drawn = pieces == number + 1
        small = np.isin(pieces, 1 + np.flatnonzero(~large)) if number == largest and not large.all() else False
        yield drawn, drawn | small


def _rings(mask: NDArray[np.bool_], surface: Surface) -> tuple[NDArray[np.float64], ...]:
    row, col = int(np.flatnonzero(mask.any(axis=1))[0]), int(np.flatnonzero(mask.any(axis=0))[0])
    x0, y0 = surface.origin_mm
    corner = (x0 + col * surface.cell_mm, y0 + row * surface.cell_mm)
    return rings_of(mask[row:, col:], cell_mm=surface.cell_mm, corner_mm=corner)
