"""Each laying of a straightedge by itself: what its readings alone say of the gap beneath it.

Rule R1: the bar's chord between two contacts over the floor between them; what overhangs is not measured. Read from
any line (bar, string, laser), the floor's profile is minus what was read, but for a height and a tilt that no gap
feels: the gap is the largest height of a chord between two stations over a station between them. Three stations make
the German three-point rule (offsets 50, 62, 30 mm: 22 mm; TABLES 6, O-4).

A bar on feet (R3) stands on the floor at both ends, so those are two more places on the profile; how far the floor
stands above the line of the feet is told besides, as the hump. Nothing is said of what lies between stations.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.highest_chord import Deepest, deepest
from flatscan.measures.measurement import PlacementFigure
from flatscan.measures.surface_chord import SurfaceChord
from flatscan.quantity import Quantity
from flatscan.sources.hand.instruments import CONTACT_MM

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.sources.hand.field_readings import FieldReadings, HumpReading, Placement
    from flatscan.surface.surface import Surface

#: A station this near to a foot is read beside it: the foot has the word.
_AT_FOOT_MM = 5.0
#: Ends are marked with a tape, so stations may be this share further apart than the bar is long.
_STRETCH = 0.03


def placement_figures(field: FieldReadings, surface: Surface | None) -> tuple[PlacementFigure, ...]:
    """All layings, then all humps, in the order of the file.

    ``surface`` adds what the surface says of the same chord, for the reader to compare; None: nothing to compare with.
    """
    beside = SurfaceChord.of(surface, field.steps) if surface is not None and field.placements else None
    figures = [_of_placement(p, beside) for p in field.placements] + [_of_hump(h) for h in field.humps]
    return tuple(sorted(figures, key=lambda f: f.row))


def _of_placement(placement: Placement, beside: SurfaceChord | None) -> PlacementFigure:
    at, height, u, touching = _profile(placement)
    most = deepest(at, height, placement.bar.length_mm * (1.0 + _STRETCH))
    gap = _quantity(placement, most, at, u, touching)
    place, first, second = (placement.xy_mm(float(at[i])) for i in (most.at, most.first, most.second))
    shown = None
    if beside is not None and most.first != most.second:
        shown = beside.gap(place, first, second)
    return PlacementFigure(
        row=placement.row,
        number=placement.number,
        edge_mm=placement.bar.length_mm,
        gap=gap,
        at=_point(place),
        contacts=(_point(first), _point(second)),
        span_mm=float(at[most.second] - at[most.first]),
        hump=_above_feet(placement) if placement.rule == "feet" else None,
        surface=shown,
    )


def _profile(
    placement: Placement,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Stations, the floor there about the line, its standard uncertainty, and where the bar (or its foot) touches."""
    if placement.rule != "feet":
        return placement.at_mm, -placement.gap_mm, placement.u_mm, placement.contact
    ends = np.array([0.0, placement.length_mm])
    clear = (placement.at_mm > _AT_FOOT_MM) & (placement.at_mm < placement.length_mm - _AT_FOOT_MM)
    at, order = np.unique(np.concatenate([ends, placement.at_mm[clear]]), return_index=True)
    height = np.concatenate([np.zeros(2), placement.bar.feet_mm - placement.gap_mm[clear]])
    u = np.concatenate([np.full(2, CONTACT_MM), placement.u_mm[clear]])
    feet = np.concatenate([np.ones(2, dtype=bool), np.zeros(int(clear.sum()), dtype=bool)])
    return at, height[order], u[order], feet[order]


def _quantity(
    placement: Placement,
    most: Deepest,
    at_mm: NDArray[np.float64],
    u_mm: NDArray[np.float64],
    touching: NDArray[np.bool_],
) -> Quantity:
    """The gap with its doubt: the three readings that make it, the supports by the lever rule, and the bar's own bend.

    A contact is known by touch, a station by reading, so the supports share themselves out between the two.
    """
    if most.first == most.second:
        return Quantity.from_budget(0.0, "mm", reading=float(u_mm[most.at]))
    three = np.array([most.at, most.first, most.second])
    share = float((at_mm[most.at] - at_mm[most.first]) / (at_mm[most.second] - at_mm[most.first]))
    weight = np.array([-1.0, 1.0 - share, share])
    variance = np.square(weight * u_mm[three])
    return Quantity.from_budget(
        most.gap_mm,
        "mm",
        reading=math.sqrt(float(variance[~touching[three]].sum())),
        contact=math.sqrt(float(variance[touching[three]].sum())),
        bow=_bend_mm(placement, at_mm[three], weight),
    )


def _bend_mm(placement: Placement, at_mm: NDArray[np.float64], weight: NDArray[np.float64]) -> float:
    """What the bar's bow and skew, each as uncertain as its bow at mid-length, do to a gap made of these stations."""
    share = at_mm / placement.length_mm
    bow, skew = weight @ (4.0 * share * (1.0 - share)), weight @ np.sin(2.0 * np.pi * share)
    return placement.bar.bow_mm * math.hypot(float(bow), float(skew))


def _above_feet(placement: Placement) -> Quantity:
    """How far the floor stands above the line of the feet, where it stands highest; 0 where it nowhere does (R3)."""
    above = placement.bar.feet_mm - placement.gap_mm
    k = int(above.argmax())
    share = float(placement.at_mm[k]) / placement.length_mm
    bow = _bend_mm(placement, placement.length_mm * np.array([share, 0.0, 1.0]), np.array([1.0, share - 1.0, -share]))
    return Quantity.from_budget(
        max(0.0, float(above[k])),
        "mm",
        reading=float(placement.u_mm[k]),
        contact=CONTACT_MM * math.hypot(share, 1.0 - share),
        bow=bow,
    )


def _of_hump(reading: HumpReading) -> PlacementFigure:
    """A bar balanced on a crest: no chord was read beneath, so no gap is; the crest has the word."""
    start, end = np.asarray(reading.start), np.asarray(reading.end)
    at = _point(0.5 * (start + end))
    # Crest less the mean of the ends, so contact errors count whole at the crest and half at the pressed end.
    contact = CONTACT_MM * math.hypot(1.0, 0.5)
    height = Quantity.from_budget(
        reading.height.value, "mm", reading=reading.height.u, contact=contact, bow=reading.bar.bow_mm
    )
    return PlacementFigure(
        row=reading.row,
        number=reading.number,
        edge_mm=reading.bar.length_mm,
        gap=Quantity.from_budget(0.0, "mm", reading=reading.height.u),
        at=at,
        contacts=(at, at),
        span_mm=0.0,
        hump=height,
    )


def _point(xy: NDArray[np.float64]) -> tuple[float, float]:
    return float(xy[0]), float(xy[1])
