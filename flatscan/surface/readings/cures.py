"""Readings that could be taken beside those there are, and whether they would show a bend."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray

    from flatscan.surface.readings.nodes import Nodes

#: What is tried is laid with an ordinary bar, read as often and as well (common practice, no source).
_BAR_MM = 2000.0
_STATION_MM = 500.0
_GAP_SIGMA_MM = 0.3
_STAFF_SIGMA_MM = 0.5
#: A place this many cells from the nearest node is not on the floor.
_ON_FLOOR_CELLS = 1.0
#: Corners are read this share of the room in from the walls.
_IN_FROM_WALL = 0.03


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """Readings that nobody took yet.

    ``rows`` (q, n): what they feel of the floor's heights, freed of what is not known of the instrument (a bar's height
    and rise, a level's height and plane). ``sigma_mm``: standard uncertainty of each.
    """

    text: str
    rows: NDArray[np.float64]
    sigma_mm: float


def candidates(nodes: Nodes) -> Iterator[Readings]:
    """Readings to try, the least work first; of those that the floor has no room for none."""
    low, high = nodes.xy_mm.min(axis=0), nodes.xy_mm.max(axis=0)
    low, high = low + _IN_FROM_WALL * (high - low), high - _IN_FROM_WALL * (high - low)
    middle = 0.5 * (low + high)
    lines = {
        "a row of straightedge placements along x through the middle of the room": [
            ((low[0], middle[1]), (high[0], middle[1]))
        ],
        "a row of straightedge placements along y through the middle of the room": [
            ((middle[0], low[1]), (middle[0], high[1]))
        ],
        "straightedge placements along both diagonals of the room": [
            ((low[0], low[1]), (high[0], high[1])),
            ((low[0], high[1]), (high[0], low[1])),
        ],
    }
    for text, ends in lines.items():
        rows = [row for a, b in ends for row in _bars(nodes, np.array(a), np.array(b))]
        if rows:
            yield Readings(text, np.concatenate(rows), _GAP_SIGMA_MM)
    for text, places in (
        ("heights with staff and level at the four corners and in the middle", _cross(low, high)),
        ("heights with staff and level on a grid of 3 by 3 places", _grid(low, high, 3)),
        ("heights with staff and level on a grid of 5 by 5 places", _grid(low, high, 5)),
    ):
        row = _freed(nodes, places, lambda xy: np.column_stack([np.ones(len(xy)), xy - xy.mean(axis=0)]))
        if row is not None:
            yield Readings(text, row, _STAFF_SIGMA_MM)


def still_unknown(
    known: NDArray[np.float64], shared: NDArray[np.float64], own: NDArray[np.float64], sigma_mm: float
) -> NDArray[np.float64]:
    """(k,) standard deviation of k figures once q more readings are taken (conditioning of a Gaussian).

    ``known`` (k,) variances before, ``shared`` (k, q) covariances with what is read, ``own`` (q, q) its covariance.
    """
    gained = np.linalg.solve(own + sigma_mm**2 * np.eye(len(own)), shared.T)
    return np.asarray(np.sqrt(np.maximum(known - np.einsum("kq,qk->k", shared, gained), 0.0)))


def _bars(nodes: Nodes, start: NDArray[np.float64], end: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
    """Placements end to end along a line, each freed of its height and rise."""
    length = float(np.linalg.norm(end - start))
    count = max(1, int(np.ceil(length / _BAR_MM)))
    for bar in range(count):
        share = np.linspace(bar, bar + 1, max(3, round(length / count / _STATION_MM) + 1)) / count
        places = start + share[:, None] * (end - start)
        row = _freed(nodes, places, lambda xy: np.column_stack([np.ones(len(xy)), xy @ (end - start) / length]))
        if row is not None:
            yield row


def _freed(
    nodes: Nodes, places: NDArray[np.float64], unknowns: Callable[[NDArray[np.float64]], NDArray[np.float64]]
) -> NDArray[np.float64] | None:
    """Rows of those places that are floor, freed of the columns ``unknowns`` makes of them; None where none is left."""
    from scipy.linalg import null_space
    from scipy.spatial import cKDTree

    off, _ = cKDTree(nodes.xy_mm).query(places)
    on = places[off <= _ON_FLOOR_CELLS * nodes.spacing_mm]
    columns = unknowns(on) if len(on) else np.zeros((0, 1))
    if len(on) <= columns.shape[1]:
        return None
    columns = columns / np.maximum(np.abs(columns).max(axis=0), 1.0)
    return np.asarray(null_space(columns.T).T @ nodes.weights(on).toarray())


def _cross(low: NDArray[np.float64], high: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.vstack([_grid(low, high, 2), 0.5 * (low + high)])


def _grid(low: NDArray[np.float64], high: NDArray[np.float64], side: int) -> NDArray[np.float64]:
    x, y = np.meshgrid(np.linspace(low[0], high[0], side), np.linspace(low[1], high[1], side))
    return np.column_stack([x.ravel(), y.ravel()])
