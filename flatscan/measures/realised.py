"""Figures of a floor known as many floors that agree with its readings, each as likely as the next.

Nothing is freed of noise here: the floors drawn hold none, so a figure of the true floor is one further draw of that
figure over them (predictive inference; Gelman et al., *Bayesian Data Analysis*, 2013, ch. 6). The worst gap is a
convex figure of the heights, so over the draws it is on average larger than on their mean: what could hide between
the readings counts.

The first spot answers for the floor: the worst gap of each draw, wherever it lies, named at the likeliest place. How
much more that is than the place's own figure is a doubt of its own (``place``). The others answer for their own
places: a k-th worst value over places that change from draw to draw is known better than any one of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.chords import gap_field
from flatscan.measures.flatness import PARAMETERS, flatness_parameters
from flatscan.measures.gap_maps import spot_at
from flatscan.measures.humps import HumpLayout, hump_field
from flatscan.measures.measurement import Flatness, GapMap, GapSpot, HumpSpot
from flatscan.measures.simulation import apart_cells, lay_edge, worst_values
from flatscan.measures.spots import is_summit, peaks
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from flatscan.progress import Progress
    from flatscan.settings import MeasureSettings
    from flatscan.surface.surface import Surface

#: Heights worked on at once: 16 MB of float32 and a few arrays like it.
CELLS_AT_ONCE = 4_000_000
#: With fewer draws a scatter means nothing.
LEAST_DRAWS = 4


@dataclass(frozen=True, slots=True, eq=False)
class Realised:
    """All figures of one surface, gaps and humps worst first."""

    flatness: Flatness
    gap_maps: tuple[GapMap, ...]
    gaps: tuple[GapSpot, ...]
    humps: tuple[HumpSpot, ...]


@dataclass(frozen=True, slots=True, eq=False)
class DrawnMap:
    """A map over the draws. ``mean_mm``, ``sd_mm`` (rows, cols) float32, NaN where not seen.

    ``worst_mm`` (draws,) float64: greatest value of each.
    """

    mean_mm: NDArray[np.float32]
    sd_mm: NDArray[np.float32]
    worst_mm: NDArray[np.float64]

    @classmethod
    def of(cls, maps: Iterator[NDArray[np.float32]]) -> DrawnMap:
        """From batches (some, rows, cols); all of one shape."""
        worst, total, squares = [], np.zeros(()), np.zeros(())
        for batch in maps:
            worst += [worst_values(one, 1, 1.0)[0] for one in batch]
            total = total + batch.sum(axis=0, dtype=np.float64)
            squares = squares + np.square(batch, dtype=np.float64).sum(axis=0)
        n = len(worst)
        mean = total / n
        variance = np.maximum(squares - n * np.square(mean), 0.0) / (n - 1)
        return cls(mean.astype(np.float32), np.sqrt(variance).astype(np.float32), np.array(worst))

    def worst(self, place: tuple[int, int]) -> Quantity:
        """The greatest value on the floor, given to ``place``, whose own mean it exceeds by what is a doubt."""
        value = float(self.worst_mm.mean())
        doubt = (value - float(self.mean_mm[place])) / math.sqrt(12.0)  # a rectangle's, JCGM 100, 4.3.7
        return further_draw(value, float(self.worst_mm.std(ddof=1)), len(self.worst_mm), place=doubt)

    def at(self, place: tuple[int, int]) -> Quantity:
        """The place's own value."""
        return further_draw(float(self.mean_mm[place]), float(self.sd_mm[place]), len(self.worst_mm))


def further_draw(value: float, sd: float, draws: int, **others: float) -> Quantity:
    """One further draw of a figure, in mm, from the mean and standard deviation over some.

    A standard deviation from n draws is itself uncertain: variance of Student's t with n - 1 degrees.
    """
    n = float(draws)
    scatter = sd * math.sqrt((n - 1.0) / (n - 3.0))
    return Quantity.from_budget(value, "mm", readings=scatter, few_draws=scatter / math.sqrt(n), **others)


def measure_realised(
    surface: Surface, edges_mm: tuple[float, ...], settings: MeasureSettings, *, progress: Progress
) -> Realised:
    """Everything measured on every floor drawn.

    Parameters
    ----------
    surface : with ``realisations_mm``, at least ``LEAST_DRAWS``
    edges_mm : lengths that the cells resolve
    settings : where and how the edge is laid; ``draws`` is not used
    """
    floors = surface.realisations_mm
    if floors is None or len(floors) < LEAST_DRAWS:
        raise ValueError(f"a surface measured on its realisations needs at least {LEAST_DRAWS} of them")
    maps, gaps, humps = [], list[GapSpot](), list[HumpSpot]()
    for edge in progress.track(edges_mm, label="Laying the straightedge", total=len(edges_mm)):
        of_edge, spots = _gaps(surface, floors, edge, settings)
        maps.append(of_edge)
        gaps += spots
        humps += _humps(surface, floors, edge, settings)
    return Realised(
        _flatness(floors, surface.cell_mm),
        tuple(maps),
        tuple(sorted(gaps, key=lambda s: -s.gap.value)),
        tuple(sorted(humps, key=lambda s: -s.clearance.value)),
    )


def batches(floors: NDArray[np.float32]) -> Iterator[NDArray[np.float32]]:
    """The floors, some at a time, as memory allows."""
    at_once = max(1, CELLS_AT_ONCE // max(1, floors[0].size))
    for start in range(0, len(floors), at_once):
        yield floors[start : start + at_once]


def _gaps(
    surface: Surface, floors: NDArray[np.float32], edge_mm: float, settings: MeasureSettings
) -> tuple[GapMap, list[GapSpot]]:
    drawn = DrawnMap.of(lay_edge(batch, surface, edge_mm, settings) for batch in batches(floors))
    left_open = DrawnMap.of(
        lay_edge(batch - surface.estimate_mm, surface, edge_mm, settings) for batch in batches(floors)
    )
    floor_mm = float(np.median(left_open.worst_mm))
    field = gap_field(
        surface.estimate_mm,
        surface.inside,
        cell_mm=surface.cell_mm,
        edge_mm=edge_mm,
        directions=settings.directions,
        bridge_mm=settings.bridge_mm,
    )
    spots = [
        spot_at(surface, field, edge_mm, cell, gap, settings, raw_mm=float(field.gap_mm[cell]), floor_mm=floor_mm)
        for cell, gap in _places(drawn, apart_cells(surface, edge_mm), settings.spots_per_edge)
    ]
    return GapMap(edge_mm, drawn.mean_mm, field.gap_mm, drawn.sd_mm, floor_mm), spots


def _humps(surface: Surface, floors: NDArray[np.float32], edge_mm: float, settings: MeasureSettings) -> list[HumpSpot]:
    """The worst crests of one edge; only where the estimate shows a crest."""
    cell_mm, directions = surface.cell_mm, settings.directions
    layout = HumpLayout.of(surface.inside, cell_mm=cell_mm, edge_mm=edge_mm, directions=directions)
    drawn = DrawnMap.of(np.stack([layout.worst(one) for one in batch]) for batch in batches(floors))
    field = hump_field(surface.estimate_mm, surface.inside, cell_mm=cell_mm, edge_mm=edge_mm, directions=directions)
    return [
        HumpSpot(edge_mm, clearance, surface.xy_mm(*cell), field.angles_rad[int(field.direction[cell])])
        for cell, clearance in _places(drawn, apart_cells(surface, edge_mm), settings.spots_per_edge)
        if field.direction[cell] >= 0
    ]


def _places(drawn: DrawnMap, apart: float, most: int) -> list[tuple[tuple[int, int], Quantity]]:
    """Summits of the mean map; the first answers for the floor, the others for themselves."""
    named = peaks(drawn.mean_mm, most=most, apart_cells=apart)
    return [
        (cell, drawn.worst(cell) if k == 0 else drawn.at(cell))
        for k, cell in enumerate(named)
        if k == 0 or is_summit(drawn.mean_mm, cell, apart)
    ]


def _flatness(floors: NDArray[np.float32], cell_mm: float) -> Flatness:
    figures = np.array([flatness_parameters(one, cell_mm) for one in floors])
    means, sds = figures.mean(axis=0), figures.std(axis=0, ddof=1)
    return Flatness(
        **{
            name: further_draw(float(value), float(sd), len(figures))
            for name, value, sd in zip(PARAMETERS, means, sds, strict=True)
        }
    )
