"""Where the floor is, seen from above: one piece within its walls, columns left out, things on it filled in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.surface.finding.occupancy import Occupancy

#: Closes what thin cover leaves open between points, in cells.
_CLOSE_CELLS = 2.0
#: A column is at least this wide one way; less is a pole or a pipe, and lies on the floor like other things.
_COLUMN_MM = 120.0
#: Views of one floor may lie this far apart and still be one floor.
_BRIDGES_MM = (150.0, 300.0, 500.0)
_WHOLE = 0.95


@dataclass(frozen=True, slots=True, eq=False)
class Footprint:
    """``mask`` (rows, cols) bool: the floor within its walls, columns left out, things on it filled in.

    ``left_out_m2``: floor-like area that could not be joined to it.
    """

    mask: NDArray[np.bool_]
    left_out_m2: float


def footprint(cells: Occupancy) -> Footprint:
    """The floor as one piece without convex hull.

    What is filled: cells without floor points that the floor encloses, or that hold a thing and lie between
    parts of the floor. What is not: tall faces (walls, columns, wardrobes) and what they enclose. A column
    or built-in is told from furniture by a face that reaches 1.5 m and is 120 mm or more wide; a tall
    wardrobe counts as built-in, and a column of which only the foot was seen counts as furniture.
    """
    seen = (cells.floor >= _least_count(cells.floor)) & ~cells.face & ~cells.foot
    base = _closed(seen, _CLOSE_CELLS) & ~cells.tall
    things = cells.thing & _hull(base)
    base = (_closed(base | things, _CLOSE_CELLS) & ~cells.tall) | base
    base = ndimage.binary_opening(base, np.ones((3, 3), dtype=bool)) & ~cells.tall
    piece = _joined(base, seen, cells)
    filled: NDArray[np.bool_] = ndimage.binary_fill_holes(piece)
    filled &= ~_columns(cells, filled)
    left_out = float((base & seen & ~filled & ~cells.tall).sum()) * cells.cell_mm**2 / 1e6
    return Footprint(filled, left_out)


def _least_count(floor: NDArray[np.int32]) -> int:
    """Fewer points than a tenth of the usual are stray."""
    filled = floor[floor > 0]
    return max(1, int(0.1 * np.median(filled))) if len(filled) else 1


def _closed(mask: NDArray[np.bool_], radius_cells: float) -> NDArray[np.bool_]:
    """Morphological closing with a disk, by distance transforms; the border of the array is open."""
    pad = int(np.ceil(radius_cells)) + 1
    wide = np.pad(mask, pad)
    if not wide.any():
        return mask.copy()
    grown = ndimage.distance_transform_edt(~wide) <= radius_cells
    closed: NDArray[np.bool_] = ndimage.distance_transform_edt(grown) > radius_cells
    return (closed | wide)[pad:-pad, pad:-pad]


def _hull(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Convex hull: a thing beyond it does not make the floor larger than it was seen."""
    from skimage.morphology import convex_hull_image

    if not mask.any():
        return mask
    hull: NDArray[np.bool_] = convex_hull_image(mask)  # type: ignore[no-untyped-call]
    return hull


def _joined(base: NDArray[np.bool_], seen: NDArray[np.bool_], cells: Occupancy) -> NDArray[np.bool_]:
    """The piece with the most seen floor; the gaps between views are bridged, the narrowest bridge that does it."""
    piece, share = _largest(base, seen)
    for bridge_mm in _BRIDGES_MM:
        if share >= _WHOLE:
            break
        # The barrier goes in before the pieces are told apart, so that no bridge leads through a wall.
        wider, wider_share = _largest(_closed(base, bridge_mm / cells.cell_mm) & ~cells.tall, seen)
        # A bridge that gains less is not worth its rounded corners.
        if wider_share > share + 0.02:
            piece, share = wider, wider_share
    return piece


def _largest(base: NDArray[np.bool_], seen: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], float]:
    labels, count = ndimage.label(base)
    if count == 0:
        return base, 1.0
    sizes = np.bincount(labels[seen & base], minlength=count + 1)
    sizes[0] = 0
    best = int(sizes.argmax())
    return labels == best, float(sizes[best]) / max(1, int(sizes.sum()))


def _columns(cells: Occupancy, filled: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Hulls of the tall faces inside the floor: a column is seen from some sides only, and never its inside."""
    inside = np.zeros_like(filled)
    tall = cells.tall & filled
    # Faces seen from several places may not meet.
    labels, _ = ndimage.label(_closed(tall, max(_CLOSE_CELLS, _COLUMN_MM / cells.cell_mm)), np.ones((3, 3)))
    for k, box in enumerate(ndimage.find_objects(labels), start=1):
        part = (labels[box] == k) & tall[box]
        if max(part.shape) * cells.cell_mm >= _COLUMN_MM:
            inside[box] |= _hull(part) if min(part.shape) > 1 else part
    return inside
