"""A gap read by hand at the worst place of a floor that is known as many floors.

That spot answers for the whole floor, so the reading, which is of its place, moves it only as far as the floors whose
worst gap is large are also those with a large gap there: of a normal pair, one is updated for what was learnt of the
other, with the floors' own covariance (the update of an ensemble Kalman filter; Evensen 2003).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.realised import batches
from flatscan.measures.simulation import lay_edge, worst_values
from flatscan.quantity import Quantity
from flatscan.settings import MeasureSettings

if TYPE_CHECKING:
    from flatscan.measures.measurement import GapMap, GapSpot, Measurement
    from flatscan.surface.surface import Surface


def answers_for_floor(spot: GapSpot, measurement: Measurement, surface: Surface | None) -> bool:
    """Whether this is the spot that holds the worst gap over all floors, not the gap at its own place."""
    if surface is None or surface.realisations_mm is None:
        return False
    return spot is next(s for s in measurement.gaps if s.edge_mm == spot.edge_mm)


def own_figure(spot: GapSpot, measurement: Measurement, surface: Surface) -> Quantity:
    """The gap at the spot's own place, from the map of its edge."""
    of_edge = _map_of(spot, measurement)
    cell = _cell(spot, surface)
    return Quantity(float(of_edge.gap_mm[cell]), float(of_edge.u_mm[cell]), "mm")


def floor_after(spot: GapSpot, own: Quantity, read: Quantity, both: Quantity, surface: Surface) -> Quantity:
    """The worst gap of the floor once its likeliest place was read.

    Parameters
    ----------
    spot : whose ``gap`` is the worst over all floors
    own, read, both : the gap at its place as the floors have it, as it was read, and the two together
    surface : with its realisations; the edge is laid as by default, which hardly moves how the two hang together
    """
    floors = surface.realisations_mm
    if floors is None:
        raise ValueError("the surface has no realisations")
    cell = _cell(spot, surface)
    worst, there = [], []
    for batch in batches(floors):
        for one in lay_edge(batch, surface, spot.edge_mm, MeasureSettings()):
            worst.append(worst_values(one, 1, 1.0)[0])
            there.append(float(one[cell]))
    shared = float(np.cov(worst, there)[0, 1])
    variance = float(np.var(there, ddof=1)) + read.u**2
    pull = max(0.0, shared) / variance if variance > 0.0 else 0.0
    value = max(both.value, spot.gap.value + pull * (read.value - own.value))
    parts = dict(spot.gap.budget)
    parts.setdefault("readings", spot.gap.u)
    parts["readings"] = math.sqrt(max(0.0, parts["readings"] ** 2 - pull * max(0.0, shared)))
    parts["place"] = (value - both.value) / math.sqrt(12.0)
    return Quantity.from_budget(value, "mm", **parts, hand=both.u if value == both.value else 0.0)


def _map_of(spot: GapSpot, measurement: Measurement) -> GapMap:
    return next(m for m in measurement.gap_maps if m.edge_mm == spot.edge_mm)


def _cell(spot: GapSpot, surface: Surface) -> tuple[int, int]:
    x0, y0 = surface.xy_mm(0, 0)
    return round((spot.at[1] - y0) / surface.cell_mm), round((spot.at[0] - x0) / surface.cell_mm)
