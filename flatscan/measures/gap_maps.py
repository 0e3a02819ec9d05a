"""Gap maps freed of noise, and their worst places as the straightedge lay there."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.chords import contacts_at, gap_field
from flatscan.measures.coarse import refine
from flatscan.measures.measurement import GapMap, GapSpot
from flatscan.measures.replicas import NOTHING_MM, free, scatter_at
from flatscan.measures.simulation import apart_cells, lay_edge, worst_values
from flatscan.measures.spots import is_summit, peaks
from flatscan.quantity import Quantity
from flatscan.surface.noise.draws import draw_noise

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.chords import GapField
    from flatscan.measures.left_noise import LeftNoise
    from flatscan.measures.simulation import MapStudy
    from flatscan.settings import MeasureSettings
    from flatscan.surface.surface import Surface

#: Captures of a perfectly flat floor, on the surface's own cells, behind the noise floor (a median).
FLAT_CAPTURES = 3


def free_map(
    shown: NDArray[np.float32], worst: Quantity, study: MapStudy
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Map of the floor a·s whose captures show what was read, and its standard uncertainty.

    ``shown`` is the map of s, the smoothed heights, so the map sought is a·shown with the freed worst value
    as its greatest. The uncertainty at a place is the scatter of what captures of that floor show there.
    """
    top = float(np.nanmax(shown)) if np.isfinite(shown).any() else 0.0
    size = worst.value / top if top > NOTHING_MM else 1.0
    if study.place is None:
        raise ValueError("the study kept no map")
    scatter = refine(scatter_at(study.place, size, 1.0).astype(np.float32), study.factor, shown.shape)
    return shown * np.float32(size), np.where(np.isfinite(shown), scatter, np.float32(np.nan))


def flat_captures(surface: Surface, rng: np.random.Generator) -> NDArray[np.float32]:
    """Captures of a perfectly flat floor on the surface's own cells: (captures, rows, cols), mm."""
    return np.stack([draw_noise(surface, rng) for _ in range(FLAT_CAPTURES)])


def noise_floor(flat_mm: NDArray[np.float32], surface: Surface, edge_mm: float, settings: MeasureSettings) -> float:
    """Median over captures of a perfectly flat floor of the worst gap they show, not smoothed, not corrected."""
    return float(np.median([worst_values(m, 1, 1.0) for m in lay_edge(flat_mm, surface, edge_mm, settings)]))


def gap_map(
    surface: Surface,
    edge_mm: float,
    study: MapStudy,
    settings: MeasureSettings,
    *,
    flat_mm: NDArray[np.float32],
    left: LeftNoise,
) -> tuple[GapMap, list[GapSpot]]:
    """One edge's map and its worst places, worst first. ``flat_mm``: from :func:`flat_captures`.

    The k-th worst value is freed of noise against the k-th worst of simulated captures, which select alike
    (:mod:`flatscan.measures.replicas`). The place it is given to, its contacts and direction are those of
    the edge on the smoothed heights, where single noisy cells do not decide how it lies.
    """
    field = gap_field(
        surface.estimate_mm,
        surface.inside,
        cell_mm=surface.cell_mm,
        edge_mm=edge_mm,
        directions=settings.directions,
        bridge_mm=settings.bridge_mm,
    )
    raw_mm = lay_edge(surface.height_mm[None], surface, edge_mm, settings)[0]
    floor = noise_floor(flat_mm, surface, edge_mm, settings)
    apart = apart_cells(surface, edge_mm)
    named = peaks(field.gap_mm, most=settings.spots_per_edge, apart_cells=apart)
    fine = worst_values(field.gap_mm, settings.spots_per_edge, apart)
    freed = free(fine, study.measured, study.base, study.worst)
    gap_mm, u_mm = free_map(field.gap_mm, freed[0], study)
    spots = [
        spot_at(
            surface,
            field,
            edge_mm,
            cell,
            _at_place(gap, float(gap_mm[cell])),
            settings,
            raw_mm=float(raw_mm[cell]),
            floor_mm=floor,
            left=left,
        )
        for k, (cell, gap) in enumerate(zip(named, freed, strict=False))
        if k == 0 or is_summit(field.gap_mm, cell, apart)
    ]
    spots.sort(key=lambda s: -s.gap.value)
    return GapMap(edge_mm, gap_mm, raw_mm, u_mm, floor), spots


def _at_place(gap: Quantity, shown_mm: float) -> Quantity:
    """Allow for the k-th worst value lying elsewhere: the map's own figure at the place says how much that matters.

    Both are taken to bound a rectangle (JCGM 100, 4.3.7). At the worst place they agree but for rounding.
    """
    parts = dict(gap.budget)
    parts["place"] = abs(gap.value - shown_mm) / math.sqrt(12.0)
    return Quantity.from_budget(0.5 * (gap.value + shown_mm), gap.unit, **parts)


def _as_it_lies(gap: Quantity, left_mm: float) -> Quantity:
    """Two accounts of what noise does to the reading: over captures, and as the edge lies. The larger one holds."""
    parts = dict(gap.budget)
    parts["noise_left"] = math.sqrt(max(0.0, left_mm**2 - parts["capture_noise"] ** 2))
    return Quantity.from_budget(gap.value, gap.unit, **parts)


def spot_at(
    surface: Surface,
    field: GapField,
    edge_mm: float,
    cell: tuple[int, int],
    gap: Quantity,
    settings: MeasureSettings,
    *,
    raw_mm: float,
    floor_mm: float,
    left: LeftNoise | None = None,
) -> GapSpot:
    """The gap at a place with the edge as it lies on the estimate, whose gaps ``field`` are.

    Both contacts are the place itself where the edge cannot lie. ``left``: noise that the estimate still holds.
    """
    row, col = cell
    direction = int(field.direction[cell])
    contacts = None
    if direction >= 0:
        contacts = contacts_at(
            surface.estimate_mm,
            surface.inside,
            row=row,
            col=col,
            direction=direction,
            cell_mm=surface.cell_mm,
            edge_mm=edge_mm,
            directions=settings.directions,
            bridge_mm=settings.bridge_mm,
        )
    at = surface.xy_mm(row, col)
    return GapSpot(
        edge_mm=edge_mm,
        gap=gap if left is None else _as_it_lies(gap, left.beneath(cell, contacts)),
        raw_mm=raw_mm,
        noise_floor_mm=floor_mm,
        at=at,
        contacts=(at, at) if contacts is None else (surface.xy_mm(*contacts.first), surface.xy_mm(*contacts.second)),
        span_mm=0.0 if contacts is None else contacts.span_mm,
        direction_rad=field.angles_rad[direction] if direction >= 0 else 0.0,
        bridges_hole=bool(field.bridged[cell]),
    )
