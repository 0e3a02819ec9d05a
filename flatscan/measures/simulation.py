"""One set of simulated captures serves every figure: gap maps of all edges, and the flatness parameters."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.measures.coarse import coarsen, coarsening
from flatscan.measures.flatness import PARAMETERS, flatness_parameters
from flatscan.measures.gap_batch import gap_batch
from flatscan.measures.humps import HumpLayout
from flatscan.measures.replicas import Moments, captures
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
    ``worst``: moments of the same over the captures; ``place``: moments of the map itself, where they are kept.
    """

    factor: int
    apart_cells: float
    measured: NDArray[np.float64]
    base: NDArray[np.float64]
    worst: Moments
    place: Moments | None

    @classmethod
    def of(
        cls,
        measured: NDArray[np.float32],
        base: NDArray[np.float32],
        *,
        factor: int,
        apart_cells: float,
        places: int,
        keep_place: bool,
    ) -> MapStudy:
        """A study with no captures yet of the maps of the measured and of the smoothed heights."""
        first, second = (worst_values(m, places, apart_cells) for m in (measured, base))
        place = Moments(base.shape) if keep_place else None
        return cls(factor, apart_cells, first, second, Moments((places,)), place)

    def add(self, shown: NDArray[np.float32]) -> None:
        """Take in the maps (sizes, rows, cols) of one draw."""
        self.worst.add([worst_values(m, len(self.base), self.apart_cells) for m in shown])
        if self.place is not None:
            self.place.add(shown)


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


def lay_edge(
    heights_mm: NDArray[np.float32], surface: Surface, edge_mm: float, settings: MeasureSettings
) -> NDArray[np.float32]:
    """Gap maps of height maps (maps, rows, cols) on the surface's grid."""
    return gap_batch(
        heights_mm,
        surface.inside,
        cell_mm=surface.cell_mm,
        edge_mm=edge_mm,
        directions=settings.directions,
        bridge_mm=settings.bridge_mm,
    )


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
        both = np.stack([coarse.height_mm, coarse.estimate_mm])
        layouts = {edge: _hump_layout(coarse, edge, settings) for edge in edges}
        for edge in edges:
            study = partial(
                MapStudy.of,
                factor=factor,
                apart_cells=apart_cells(coarse, edge),
                places=settings.spots_per_edge,
            )
            gaps[edge] = study(*lay_edge(both, coarse, edge, settings), keep_place=True)
            humps[edge] = study(*(layouts[edge].worst(z) for z in both), keep_place=False)
        if factor == coarsest:
            figures = [flatness_parameters(z, coarse.cell_mm) for z in both]
        label = f"Simulated captures, {said.cell(coarse.cell_mm)} cells"
        steps = captures(coarse, settings.draws, rng)
        for floors in progress.track(steps, label=label, total=settings.draws):
            for edge in edges:
                gaps[edge].add(lay_edge(floors, coarse, edge, settings))
                humps[edge].add(np.stack([layouts[edge].worst(z) for z in floors]))
            if factor == coarsest:
                flatness.add([flatness_parameters(z, coarse.cell_mm) for z in floors])
    return Simulation(gaps, humps, flatness, *figures)


def _hump_layout(surface: Surface, edge_mm: float, settings: MeasureSettings) -> HumpLayout:
    return HumpLayout.of(
        surface.inside,
        cell_mm=surface.cell_mm,
        edge_mm=edge_mm,
        directions=settings.directions,
    )


def apart_cells(surface: Surface, edge_mm: float) -> float:
    """Least distance between different places, in cells. An edge reaches no further than the floor does."""
    return PLACES_APART * min(edge_mm, surface.longest_mm) / surface.cell_mm


def worst_values(field: NDArray[np.float32], places: int, apart: float) -> NDArray[np.float64]:
    """(places,) greatest values of a map at places apart (cells), greatest first; 0 where there are no more."""
    values = np.zeros(places)
    for k, cell in enumerate(peaks(field, most=places, apart_cells=apart)):
        values[k] = field[cell]
    return values
