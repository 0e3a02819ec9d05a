"""How far apart readings lie, and with it the shortest wave that cannot slip between them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.sources.hand.field_readings import FieldReadings, Placement

#: A wave shorter than this many spacings can slip between the readings.
SMALLEST_WAVE = 3.0
#: Lines within this angle of each other run side by side.
_PARALLEL_RAD = np.deg2rad(20.0)
#: Lines nearer than this are one line read twice.
_SAME_LINE_MM = 50.0


def typical_spacing_mm(field: FieldReadings, area_mm2: float) -> float:
    """Usual distance from one line of readings to the next, or from one staff place to the next: the smaller.

    Each placement looks for the nearest other that runs side by side with it (within 20°, some of it alongside); the
    median of those distances over the placements that have one. Where placements lie in all directions, as far apart
    as lines of the same total length, half of them each way, would lie: 2 · area / length. For places read with a
    staff the median distance to the nearest other.
    """
    found = [math for math in (_lines_mm(field.placements, area_mm2), _places_mm(field)) if math is not None]
    return min(found) if found else float(np.sqrt(area_mm2))


def _lines_mm(placements: Sequence[Placement], area_mm2: float) -> float | None:
    if not placements:
        return None
    start = np.array([p.start for p in placements])
    end = np.array([p.end for p in placements])
    distances = [_nearest_alongside_mm(k, start, end) for k in range(len(placements))]
    known = [d for d in distances if np.isfinite(d)]
    total = float(np.hypot(*(end - start).T).sum())
    by_length = min(2.0 * area_mm2 / total, float(np.sqrt(area_mm2)))
    return float(np.median(known)) if 2 * len(known) >= len(placements) else by_length


def _nearest_alongside_mm(k: int, start: NDArray[np.float64], end: NDArray[np.float64]) -> float:
    """Distance of line k to the nearest that runs alongside, inf for none."""
    way = end[k] - start[k]
    length = float(np.hypot(*way))
    along, across = way / length, np.array([-way[1], way[0]]) / length
    others = end - start
    parallel = np.abs(others @ across) <= np.sin(_PARALLEL_RAD) * np.hypot(*others.T)
    low, high = np.sort(np.stack([(p - start[k]) @ along for p in (start, end)]), axis=0)
    beside = (np.minimum(high, length) - np.maximum(low, 0.0)) > 0.25 * length
    apart = np.abs((0.5 * (start + end) - start[k]) @ across)
    apart[~parallel | ~beside | (apart < _SAME_LINE_MM)] = np.inf
    return float(apart.min())


def _places_mm(field: FieldReadings) -> float | None:
    from scipy.spatial import cKDTree

    places = np.unique(np.round([reading.at for reading in field.levels], 0), axis=0) if field.levels else np.zeros(0)
    if len(places) < 2:  # noqa: PLR2004 - a distance takes two
        return None
    return float(np.median(cKDTree(places).query(places, k=2)[0][:, 1]))
