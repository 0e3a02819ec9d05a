"""The gap search in plain numpy, O(n·w): for machines without numba, and the compiled search's twin.

Same definition, separately written: the steepest chord from every reading is found by trying every
length, then every such chord is painted on what lies beneath it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from flatscan.measures.line_family import LineFamily

Array = NDArray[Any]

#: Side of the tiles of cells that are stamped when one of them rises.
TILE = 16
#: A smaller rise is rounding.
LEAST_RISE_MM = 1e-9


def gap_direction(
    coded: Array, family: LineFamily, window: int, hole: int, d: int, best: Array, way: Array, bridged: Array
) -> None:
    """One direction of the gap map, in place; arrays (major, minor), inf is a wall, NaN is unseen."""
    at = family_cells(coded.shape, family)
    values = _values(coded, at)
    upper, holed = upper_chords(values, window, hole)
    with np.errstate(invalid="ignore"):
        gap = (upper - values).astype(np.float32)
    on = np.isfinite(values)
    cells = at[0][on], at[1][on]
    better = gap[on] > best[cells]
    cells = cells[0][better], cells[1][better]
    best[cells] = gap[on][better]
    way[cells] = d
    bridged[cells] = holed[on][better]


def lift_direction(
    heights: tuple[Array, Array, Array], family: LineFamily, edges: tuple[Array, Array, Array], now: int
) -> float:
    """Lift as the compiled lift does, but all lines; the largest rise.

    ``heights``: the present surface, stamps of its cells and of its tiles; all are changed in place. ``edges``: window,
    longest hole and limit of each.
    """
    surface, rose, tiles = heights
    at = family_cells(surface.shape, family)
    values = _values(surface, at)
    raised = np.full(values.shape, -np.inf)
    for window, hole, limit in zip(*edges, strict=True):
        np.maximum(raised, upper_chords(values, window, hole)[0] - limit, out=raised)
    on = np.isfinite(values)
    on[on] = raised[on] - values[on] > LEAST_RISE_MM
    cells = at[0][on], at[1][on]
    surface[cells] = raised[on]
    rose[cells] = now
    tiles[cells[0] // TILE, cells[1] // TILE] = now
    return float((raised[on] - values[on]).max(initial=0.0))


def upper_chords(values: Array, window: int, hole: int) -> tuple[Array, NDArray[np.bool_]]:
    """Height of the highest chord over each reading.

    Parameters
    ----------
    values : (lines, readings) float64; inf is a wall, NaN is unseen
    window : most steps between the contacts
    hole : most unseen readings in a row that are bridged

    Returns
    -------
    upper : like ``values``, at least the value itself
    holed : bool, the chord that gave it crosses unseen readings
    """
    piece = pieces(values, hole)
    unseen = np.cumsum(np.isnan(values), axis=1)
    z = np.where(np.isfinite(values), values, np.nan)
    n = values.shape[1]
    slope = np.full(values.shape, -np.inf)
    reach = np.zeros(values.shape, dtype=np.int64)
    for step in range(1, min(window, n - 1) + 1):
        s = (z[:, step:] - z[:, :-step]) / step
        better = (s >= slope[:, :-step]) & (piece[:, step:] == piece[:, :-step])
        slope[:, :-step][better] = s[better]
        reach[:, :-step][better] = step
    upper, holed = z.copy(), np.zeros(values.shape, dtype=bool)
    crosses = np.take_along_axis(unseen, np.arange(n)[None, :] + reach, axis=1) > unseen
    for step in range(1, min(window, n)):
        with np.errstate(invalid="ignore"):
            chord = z[:, :-step] + slope[:, :-step] * step
            higher = (reach[:, :-step] > step) & (chord > upper[:, step:])
        upper[:, step:][higher] = chord[higher]
        holed[:, step:][higher] = crosses[:, :-step][higher]
    return upper, holed


def pieces(values: Array, hole: int) -> NDArray[np.int64]:
    """Number of the unbroken piece each reading belongs to: walls and long holes raise it."""
    piece = np.zeros(values.shape, dtype=np.int64)
    run = np.zeros(len(values), dtype=np.int64)
    number = np.zeros(len(values), dtype=np.int64)
    for k in range(values.shape[1]):
        unseen = np.isnan(values[:, k])
        run = np.where(unseen, run + 1, 0)
        number = number + (np.isinf(values[:, k]) | (run == hole + 1))
        piece[:, k] = number
    return piece


def family_cells(shape: tuple[int, ...], family: LineFamily) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Cells (major, minor), each (lines, readings), of every line; readings off the grid carry minor -1."""
    n_major, n_minor = shape
    least, greatest = family.offset_range
    b = np.arange(-greatest, n_minor - least)[:, None]
    minor = b + family.offsets[None, :]
    minor = np.where((minor >= 0) & (minor < n_minor), minor, -1)
    return np.broadcast_to(np.arange(n_major), minor.shape), minor


def _values(coded: Array, at: tuple[NDArray[np.int64], NDArray[np.int64]]) -> Array:
    return np.where(at[1] < 0, np.inf, coded[at].astype(np.float64))
