"""Worst humps, freed of noise like the gaps but never mixed with them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.measures.humps import hump_field
from flatscan.measures.measurement import HumpSpot
from flatscan.measures.replicas import free
from flatscan.measures.simulation import apart_cells, worst_values
from flatscan.measures.spots import is_summit, peaks

if TYPE_CHECKING:
    from flatscan.measures.simulation import MapStudy
    from flatscan.settings import MeasureSettings
    from flatscan.surface.surface import Surface


def hump_spots(surface: Surface, edge_mm: float, study: MapStudy, settings: MeasureSettings) -> list[HumpSpot]:
    """The worst crests under one edge length, worst first; none where no crest clears the noise."""
    field = hump_field(
        surface.estimate_mm,
        surface.inside,
        cell_mm=surface.cell_mm,
        edge_mm=edge_mm,
        directions=settings.directions,
    )
    apart = apart_cells(surface, edge_mm)
    fine = worst_values(field.clearance_mm, settings.spots_per_edge, apart)
    freed = free(fine, study.measured, study.base, study.worst)
    named = peaks(field.clearance_mm, most=settings.spots_per_edge, apart_cells=apart)
    spots = [
        HumpSpot(edge_mm, clearance, surface.xy_mm(*cell), field.angles_rad[int(field.direction[cell])])
        for cell, clearance in zip(named, freed, strict=False)
        if field.direction[cell] >= 0 and clearance.value > 0.0 and is_summit(field.clearance_mm, cell, apart)
    ]
    return sorted(spots, key=lambda s: -s.clearance.value)
