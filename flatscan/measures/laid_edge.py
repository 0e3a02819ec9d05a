"""A straightedge laid along any line of the floor: the gap beneath it, where it rests, and with what doubt.

Stations lie every cell along the line, its end included; the floor there is the best estimate between the four cells
around. Walls end the edge, and so do unseen stretches longer than an edge may bridge, as in the gap map
(:mod:`flatscan.measures.chords`); along rows and columns of cells both say the same.

The value is the estimate's own, not freed of noise. The estimate's error is known at the three places that make the
gap; that the deepest of many was taken is not in ``u`` (see ``report/viewer/edge_verdict.py`` for what may be said).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.chords_plain import pieces
from flatscan.measures.highest_chord import LEAST_STATIONS, Deepest, deepest
from flatscan.measures.surface_chord import SurfaceChord

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.measurement import Point
    from flatscan.quantity import Quantity
    from flatscan.sources.hand.field_readings import StepLine
    from flatscan.surface.surface import Surface

#: Longest unseen stretch that an edge bridges, which is also at most this share of its length.
BRIDGE_MM, BRIDGE_SHARE = 100.0, 0.25
#: Lengths that differ by this share of a cell are equal but for rounding.
ROUNDING = 1e-6
_NOTHING: tuple[float, int, Deepest | None] = (0.0, 0, None)


@dataclass(frozen=True, slots=True, eq=False)
class LaidEdge:
    """What one laying shows. Floor-frame mm.

    Attributes
    ----------
    at_mm : (n,) float64, stations along the line from its start
    height_mm : (n,) float64, the floor there, best estimate; NaN: not seen, or no floor
    gap : the largest; None where no three stations without a break between them were seen
    contacts : where the edge rests; both are ``deepest`` where there is no gap, None where ``gap`` is
    deepest : the place of the gap
    span_mm : between the contacts
    bridges_hole : a station between the contacts was not seen, so the gap is at least this
    """

    at_mm: NDArray[np.float64]
    height_mm: NDArray[np.float64]
    gap: Quantity | None = None
    contacts: tuple[Point, Point] | None = None
    deepest: Point | None = None
    span_mm: float = 0.0
    bridges_hole: bool = False


def lay_edge(
    surface: Surface, start: Point, end: Point, *, edge_mm: float | None = None, steps: tuple[StepLine, ...] = ()
) -> LaidEdge:
    """Lay an edge once; for many lines see :func:`lay_on`.

    Parameters
    ----------
    surface : the floor
    start, end : the line, floor-frame mm; they must not be the same place
    edge_mm : contacts are no further apart than this; None: as far as the line is long
    steps : lines across which the floor jumps
    """
    return lay_on(SurfaceChord.of(surface, steps), start, end, edge_mm=edge_mm)


def lay_on(floor: SurfaceChord, start: Point, end: Point, *, edge_mm: float | None = None) -> LaidEdge:
    """As :func:`lay_edge`, with what is worked out once for a surface."""
    surface, cell_mm = floor.surface, floor.surface.cell_mm
    first, way = np.asarray(start, dtype=np.float64), np.subtract(end, start, dtype=np.float64)
    length = float(np.hypot(*way))
    if not length > 0.0:
        raise ValueError(f"an edge is laid between two places, got {start} and {end}")
    at = stations_mm(length, cell_mm)
    places = first + (at / length)[:, None] * way
    height = floor.heights(surface.estimate_mm, places)
    most = longest_mm(edge_mm, cell_mm)
    found = _deepest_of_pieces(at, height, floor.on_floor(places), most, most_hole(edge_mm, cell_mm))
    if found is None:
        return LaidEdge(at, height)
    three = places[[found.at, found.first, found.second]]
    lowest, one, other = (_point(place) for place in three)
    return LaidEdge(
        at,
        height,
        gap=floor.gap(*three) if found.gap_mm > 0.0 else floor.no_gap(three[0]),
        contacts=(one, other),
        deepest=lowest,
        span_mm=float(at[found.second] - at[found.first]),
        bridges_hole=bool(np.isnan(height[found.first : found.second + 1]).any()),
    )


def stations_mm(length_mm: float, cell_mm: float) -> NDArray[np.float64]:
    """(n,) every cell from 0, and the length itself."""
    whole = np.arange(math.ceil(length_mm / cell_mm) + 1) * cell_mm
    return np.append(whole[whole < length_mm - ROUNDING * cell_mm], length_mm)


def longest_mm(edge_mm: float | None, cell_mm: float) -> float:
    """Greatest distance of the contacts, rounding allowed for."""
    return math.inf if edge_mm is None else edge_mm + ROUNDING * cell_mm


def most_hole(edge_mm: float | None, cell_mm: float) -> int:
    """Most unseen stations in a row that the edge bridges."""
    most = BRIDGE_MM if edge_mm is None else min(BRIDGE_MM, BRIDGE_SHARE * edge_mm)
    return math.floor(most / cell_mm + ROUNDING)


def _deepest_of_pieces(
    at_mm: NDArray[np.float64],
    height_mm: NDArray[np.float64],
    on_floor: NDArray[np.bool_],
    most_mm: float,
    hole: int,
) -> Deepest | None:
    """The deepest of the unbroken pieces, the first of equal ones; where none has a gap, the longest piece's."""
    piece = pieces(np.where(on_floor, height_mm, np.inf)[None], hole)[0]
    seen = on_floor & np.isfinite(height_mm)
    found: list[tuple[float, int, Deepest | None]] = []
    for number in np.unique(piece[seen]):
        kept = np.flatnonzero(seen & (piece == number))
        if len(kept) < LEAST_STATIONS:
            continue
        one = deepest(at_mm[kept], height_mm[kept], most_mm)
        at, first, second = kept[[one.at, one.first, one.second]].tolist()
        found.append((one.gap_mm, len(kept), Deepest(at, first, second, one.gap_mm)))
    return max(found, key=lambda row: row[:2], default=_NOTHING)[2]


def _point(place: NDArray[np.float64]) -> Point:
    return float(place[0]), float(place[1])
