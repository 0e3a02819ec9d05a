"""One set of simulated captures serves every figure: gap maps of all edges, and the flatness parameters."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.chords import GapField, gap_field
from flatscan.measures.coarse import coarsen, coarsening
from flatscan.measures.flatness import PARAMETERS, flatness_parameters
from flatscan.measures.humps import hump_field
from flatscan.measures.replicas import SIZES, Moments, captures
from flatscan.measures.spots import PLACES_APART, peaks

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.progress import Progress
    from flatscan.settings import MeasureSettings
    from flatscan.surface.surface import Surface


@dataclass(frozen=True, slots=True, eq=False)
class MapStudy:
    """What simulated captures show of one map (a gap or a hump map) on coarse cells.

    ``factor``: cells merged to a side; ``apart_cells`` between different places; ``measured`` and ``base``
    (places,): the worst values, greatest first, of the map of the measured and of the smoothed heights;
    ``worst``: moments of the same over the captures; ``place``: moments of the map itself.
    """

    factor: int
    apart_cells: float
    measured: NDArray[np.float64]
    base: NDArray[np.float64]
    worst: Moments
    place: Moments

    @classmethod
    def of(
        cls, measured: NDArray[np.float32], base: NDArray[np.float32], *, factor: int, apart_cells: float, places: int
    ) -> MapStudy:
        """A study with no captures yet of the maps of the measured and of the smoothed heights."""
        first, second = (worst_values(m, places, apart_cells) for m in (measured, base))
        return cls(factor, apart_cells, first, second, Moments((places,)), Moments(base.shape))

    def add(self, size: int, shown: NDArray[np.float32]) -> None:
        """Take in the map of one simulated capture."""
        self.worst.add(size, worst_values(shown, len(self.base), self.apart_cells))
        self.place.add(size, shown)


@dataclass(frozen=True, slots=True, eq=False)
class Simulation:
    """All studies of one surface.

    ``gaps`` and ``humps`` by edge length; ``flatness``: moments of ``PARAMETERS``, ``flatness_measured`` and
    ``flatness_base`` those of the measured and the smoothed heights, on coarse cells.
    """

    gaps: dict[float, MapStudy]
    humps: dict[float, MapStudy]
    flatness: Moments
    flatness_measured: NDArray[np.float64]
    flatness_base: NDArray[np.float64]


def lay_edge(height_mm: NDArray[np.float32], surface: Surface, edge_mm: float, settings: MeasureSettings) -> GapField:
    """Gap map of heights on the surface's grid."""
    return gap_field(
        height_mm,
        surface.inside,
        cell_mm=surface.cell_mm,
        edge_mm=edge_mm,
        directions=settings.directions,
        bridge_mm=settings.bridge_mm,
        lattice=surface.lattice,
    )


def balance_edge(
    height_mm: NDArray[np.float32], surface: Surface, edge_mm: float, settings: MeasureSettings
) -> NDArray[np.float32]:
    """Hump map of heights on the surface's grid."""
    return hump_field(
        height_mm,
        surface.inside,
        cell_mm=surface.cell_mm,
        edge_mm=edge_mm,
        directions=settings.directions,
        lattice=surface.lattice,
    ).clearance_mm


def simulate(
    surface: Surface,
    edges_mm: tuple[float, ...],
    settings: MeasureSettings,
    *,
    rng: np.random.Generator,
    progress: Progress,
) -> Simulation:
    """Measure simulated captures, edges that bear the same cells together."""
    groups: dict[int, list[float]] = defaultdict(list)
    for edge in edges_mm:
        groups[coarsening(surface, edge)].append(edge)
    coarsest = max(groups, default=coarsening(surface, surface.longest_mm))
    groups.setdefault(coarsest, [])
    gaps, humps = {}, {}
    flatness = Moments((len(PARAMETERS),))
    figures = [np.zeros(len(PARAMETERS))] * 2
    for factor, edges in groups.items():
        coarse = coarsen(surface, factor)
        both = coarse.height_mm, coarse.estimate_mm
        for edge in edges:
            study = partial(
                MapStudy.of,
                factor=factor,
                apart_cells=PLACES_APART * edge / coarse.cell_mm,
                places=settings.spots_per_edge,
            )
            gaps[edge] = study(*(lay_edge(z, coarse, edge, settings).gap_mm for z in both))
            humps[edge] = study(*(balance_edge(z, coarse, edge, settings) for z in both))
        if factor == coarsest:
            figures = [flatness_parameters(z, coarse.cell_mm) for z in both]
        label = f"Simulated captures, {coarse.cell_mm:g} mm cells"
        steps = captures(coarse, settings.draws, rng)
        for size, heights in progress.track(steps, label=label, total=settings.draws * len(SIZES)):
            for edge in edges:
                gaps[edge].add(size, lay_edge(heights, coarse, edge, settings).gap_mm)
                humps[edge].add(size, balance_edge(heights, coarse, edge, settings))
            if factor == coarsest:
                flatness.add(size, flatness_parameters(heights, coarse.cell_mm))
    return Simulation(gaps, humps, flatness, *figures)


def worst_values(field: NDArray[np.float32], places: int, apart_cells: float) -> NDArray[np.float64]:
    """(places,) greatest values of a map at places apart from each other, greatest first; 0 where there are no more."""
    values = np.zeros(places)
    for k, cell in enumerate(peaks(field, most=places, apart_cells=apart_cells)):
        values[k] = field[cell]
    return values
