"""Everything that is measured on one surface, one line per kind of figure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.caveats import Caveat, caveat
from flatscan.constants import COVERAGE_K, MM_PER_M
from flatscan.measures.f_numbers import measure_f_numbers
from flatscan.measures.flatness import flatness, flatness_parameters
from flatscan.measures.gap_maps import flat_captures, gap_map
from flatscan.measures.hump_spots import hump_spots
from flatscan.measures.left_noise import LeftNoise
from flatscan.measures.lines import LEAST_LENGTH_MM, given_lines
from flatscan.measures.measurement import GapSpot, HumpSpot, Measurement
from flatscan.measures.realised import measure_realised
from flatscan.measures.simulation import simulate
from flatscan.progress import SILENT, Progress

if TYPE_CHECKING:
    import numpy as np

    from flatscan.settings import MeasureSettings
    from flatscan.surface.surface import Surface

#: An edge shorter than this many cells is not resolved by them.
LEAST_CELLS = 4.0
#: A noise floor above this, a third of the usual 3 mm limit, deserves a caveat where it also leaves doubt.
HIGH_NOISE_FLOOR_MM = 1.0


def measure(
    surface: Surface,
    settings: MeasureSettings,
    *,
    edges_mm: tuple[float, ...] | None = None,
    rng: np.random.Generator,
    progress: Progress = SILENT,
) -> Measurement:
    """Lay the straightedge everywhere, find humps, flatness parameters and F-numbers, all with their doubt.

    Parameters
    ----------
    surface : the floor's height map
    settings : where and how the edge is laid
    edges_mm : lengths that the limits need, besides ``settings.edges_mm``; on a floor shorter than one of them
        the edge is laid over contacts as far apart as the floor allows, as the limit's words ask
    rng : for the simulated captures
    progress : told about the simulated captures

    A surface that comes as floors which agree with readings taken by hand is measured on those (``realised``); it
    has no F-numbers, for it is smooth between readings (``level_runs`` has those of the readings themselves).
    """
    edges, caveats = usable_edges(surface, needed_mm=set(edges_mm or ()), extra_mm=set(settings.edges_mm))
    if surface.realisations_mm is not None:
        return _of_realisations(surface, edges, caveats, settings, progress)
    simulation = simulate(surface, edges, settings, rng=rng, progress=progress)
    maps, gaps, humps = [], list[GapSpot](), list[HumpSpot]()
    flat, left = flat_captures(surface, rng), LeftNoise.of(surface)
    for edge in progress.track(edges, label="Laying the straightedge", total=len(edges)):
        of_edge, spots = gap_map(surface, edge, simulation.gaps[edge], settings, flat_mm=flat, left=left)
        maps.append(of_edge)
        gaps += spots
        humps += hump_spots(surface, edge, simulation.humps[edge], settings)
        caveats += _noise_caveat(spots)
    if edges:
        caveats.append(caveat("directions_sampled", count=settings.directions))
    given, missed = given_lines(surface, settings.lines_mm)
    caveats += [caveat("line_not_read", number=number) for number in missed]
    f_numbers = measure_f_numbers(surface, rng=rng, given=given)
    if f_numbers is None:
        caveats.append(caveat("no_f_number_line", least_m=LEAST_LENGTH_MM / MM_PER_M))
    return Measurement(
        flatness=flatness(
            flatness_parameters(surface.estimate_mm, surface.cell_mm),
            simulation.flatness_measured,
            simulation.flatness_base,
            simulation.flatness,
        ),
        gaps=tuple(sorted(gaps, key=lambda s: -s.gap.value)),
        gap_maps=tuple(maps),
        humps=tuple(sorted(humps, key=lambda s: -s.clearance.value)),
        f_numbers=f_numbers,
        caveats=tuple(caveats),
    )


def _of_realisations(
    surface: Surface, edges: tuple[float, ...], caveats: list[Caveat], settings: MeasureSettings, progress: Progress
) -> Measurement:
    shown = measure_realised(surface, edges, settings, progress=progress)
    caveats += _hidden(surface, edges)
    for of_edge in shown.gap_maps:
        worst = max((s.gap.u for s in shown.gaps if s.edge_mm == of_edge.edge_mm), default=0.0)
        if of_edge.noise_floor_mm > HIGH_NOISE_FLOOR_MM and COVERAGE_K * worst > HIGH_NOISE_FLOOR_MM:
            caveats.append(
                caveat("readings_leave_open", floor_mm=of_edge.noise_floor_mm, edge_m=of_edge.edge_mm / MM_PER_M)
            )
    if edges:
        caveats.append(caveat("directions_sampled", count=settings.directions))
    return Measurement(
        flatness=shown.flatness,
        gaps=shown.gaps,
        gap_maps=shown.gap_maps,
        humps=shown.humps,
        f_numbers=None,
        caveats=tuple(caveats),
    )


def _hidden(surface: Surface, edges_mm: tuple[float, ...]) -> list[Caveat]:
    """A wave no longer than the edge shows under it in full, from crest to crest: the readings should see those."""
    if surface.fit is None:
        return []
    wave_mm = surface.fit.smallest_wave_mm
    below = [edge for edge in edges_mm if edge < wave_mm]
    if not below:
        return []
    return [caveat("edge_below_readings", edge_m=max(below) / MM_PER_M, wave_m=wave_mm / MM_PER_M)]


def usable_edges(
    surface: Surface, *, needed_mm: set[float], extra_mm: set[float]
) -> tuple[tuple[float, ...], list[Caveat]]:
    """The lengths that the cells resolve, shortest first, and what must be said of them and of those left out.

    A limit under an edge asks for contacts no further apart than the edge is long, so ``needed_mm`` are laid
    on floors shorter than they are too; ``extra_mm`` only where they fit.
    """
    least = LEAST_CELLS * surface.cell_mm
    longest_m = surface.longest_mm / MM_PER_M
    edges, caveats = [], []
    for edge in sorted(needed_mm | extra_mm):
        if edge < least:
            caveats.append(caveat("edge_too_short", edge_m=edge / MM_PER_M, cell_mm=surface.cell_mm))
            continue
        longer = edge > surface.longest_mm
        if longer:
            name = "edge_too_long" if edge in needed_mm else "edge_not_laid"
            caveats.append(caveat(name, edge_m=edge / MM_PER_M, longest_m=longest_m))
        if edge in needed_mm or not longer:
            edges.append(edge)
    return tuple(edges), caveats


def _noise_caveat(spots: list[GapSpot]) -> list[Caveat]:
    if not spots or spots[0].noise_floor_mm <= HIGH_NOISE_FLOOR_MM:
        return []
    if COVERAGE_K * max(s.gap.u for s in spots) <= HIGH_NOISE_FLOOR_MM:
        return []
    return [caveat("noise_floor_high", floor_mm=spots[0].noise_floor_mm, edge_m=spots[0].edge_mm / MM_PER_M)]
