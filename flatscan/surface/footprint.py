"""Where the floor is, seen from above: occupancy of floor, of things on it and of walls, cell by cell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

if TYPE_CHECKING:
    from numpy.typing import NDArray

_CHUNK = 500_000
#: Heights between which walls and things are looked at, in slices of 100 mm.
_LOWEST_MM, _SLICE_MM, _SLICES = 100.0, 100.0, 16
#: A wall or a column reaches at least this high; furniture seldom does.
TALL_MM = 1500.0
#: A vertical face fills three slices (300 mm) of its cell in a row; a table top fills one or two.
_FACE_SLICES = 3
#: A wall or column fills this share of the slices from 200 mm up to ``TALL_MM``.
_TALL_SHARE = 0.6
#: Closes what thin cover leaves open between points, in cells.
_CLOSE_CELLS = 2.0
#: A column is at least this wide one way; less is a pole or a pipe, and lies on the floor like other things.
_COLUMN_MM = 120.0
#: Views of one floor may lie this far apart and still be one floor.
_BRIDGES_MM = (150.0, 300.0, 500.0)
_WHOLE = 0.95


@dataclass(frozen=True, slots=True, eq=False)
class Occupancy:
    """(rows, cols) arrays over cells of ``cell_mm`` from ``origin_mm`` (x, y of the outer corner of [0, 0]).

    ``floor`` int32: points within the band; ``thing`` bool: something between 100 and 1500 mm up that is
    no vertical face; ``face`` bool: a vertical face; ``tall`` bool: a face that reaches 1.5 m.
    """

    origin_mm: tuple[float, float]
    cell_mm: float
    floor: NDArray[np.int32]
    thing: NDArray[np.bool_]
    face: NDArray[np.bool_]
    tall: NDArray[np.bool_]


def occupancy(
    points_mm: NDArray[np.float32],
    floor_from_points: NDArray[np.float64],
    low_mm: tuple[float, float],
    high_mm: tuple[float, float],
    *,
    cell_mm: float,
    band_mm: float,
) -> Occupancy:
    """Count the points over the box from ``low_mm`` to ``high_mm`` (x, y in the floor frame), chunk by chunk."""
    cols, rows = (max(1, int(np.ceil((high - low) / cell_mm))) for low, high in zip(low_mm, high_mm, strict=True))
    floor = np.zeros(rows * cols, dtype=np.int32)
    hit = np.zeros((rows * cols, _SLICES), dtype=bool)
    for start in range(0, len(points_mm), _CHUNK):
        xyz = points_mm[start : start + _CHUNK] @ floor_from_points[:3, :3].T + floor_from_points[:3, 3]
        col = np.floor((xyz[:, 0] - low_mm[0]) / cell_mm)
        row = np.floor((xyz[:, 1] - low_mm[1]) / cell_mm)
        slice_ = np.floor((xyz[:, 2] - _LOWEST_MM) / _SLICE_MM)
        over = (col >= 0) & (col < cols) & (row >= 0) & (row < rows)
        on_floor = over & (np.abs(xyz[:, 2]) <= band_mm)
        key = (row[on_floor] * cols + col[on_floor]).astype(np.int64)
        floor += np.bincount(key, minlength=rows * cols).astype(np.int32)
        up = over & (slice_ >= 0) & (slice_ < _SLICES)
        hit[(row[up] * cols + col[up]).astype(np.int64), slice_[up].astype(np.int64)] = True
    thing, face, tall = (_what_stands(hit)[k].reshape(rows, cols) for k in range(3))
    return Occupancy(low_mm, cell_mm, floor.reshape(rows, cols), thing, face, tall)


def _what_stands(hit: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_]]:
    """Tell things, faces and tall faces from the slices (cells, slices) that each cell fills."""
    runs = hit[:, : 1 - _FACE_SLICES].copy()
    for k in range(1, _FACE_SLICES):
        runs &= hit[:, k : hit.shape[1] + k + 1 - _FACE_SLICES]
    filled = np.asarray(runs.any(axis=1))
    top = int((TALL_MM - _LOWEST_MM) / _SLICE_MM)
    tall: NDArray[np.bool_] = hit[:, top:].any(axis=1) & (hit[:, 1:top].mean(axis=1) >= _TALL_SHARE)
    thing: NDArray[np.bool_] = hit[:, :top].any(axis=1) & ~filled
    return thing, filled | tall, tall


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
    seen = (cells.floor >= _least_count(cells.floor)) & ~cells.face
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
    labels, _ = ndimage.label(_closed(cells.tall & filled, _CLOSE_CELLS), np.ones((3, 3)))
    for k, box in enumerate(ndimage.find_objects(labels), start=1):
        part = labels[box] == k
        if max(part.shape) * cells.cell_mm >= _COLUMN_MM:
            inside[box] |= _hull(part) if min(part.shape) > 1 else part
    return inside
