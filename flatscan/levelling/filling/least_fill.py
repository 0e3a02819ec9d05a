"""The least fill that makes a floor meet its gap limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM_PER_M
from flatscan.levelling.filling.feather import run_out
from flatscan.measures.raiser import Raiser

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.targets import Target

#: The fill aims this much below a limit, so that the finished surface, measured again, meets it.
AIM_BELOW_MM = 0.01
#: The sweeps end when none lifts a place by more than this. Even if every direction of the last sweep (fewer than a
#: hundred) lifted a chord by it after the place below was visited, the limit itself would be kept.
_SETTLED_MM = AIM_BELOW_MM / 100
#: A rise this small is rounding, not fill.
_ROUNDING_MM = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeRule:
    """How the edge is laid: as in ``measures.chords.gap_field``."""

    cell_mm: float
    directions: int = 12
    bridge_mm: float = 100.0


@dataclass(frozen=True, slots=True, eq=False)
class Fill:
    """A fill and what it could not keep to. Arrays (rows, cols).

    Attributes
    ----------
    fill_mm : float64, thickness; 0 where nothing is needed, NaN where the floor was not seen
    beyond_most : bool, cells whose least fill is more than is allowed there: filling alone cannot keep to the bounds,
        so the floor must be ground near there, or a limit must give. The fill is the least one without that bound
    feathered : bool, filled cells thinner than the least layer, because the edge runs out there
    """

    fill_mm: NDArray[np.float64]
    beyond_most: NDArray[np.bool_]
    feathered: NDArray[np.bool_]


def least_fill(
    height_mm: NDArray[np.floating],
    inside: NDArray[np.bool_],
    targets: Sequence[Target],
    rule: EdgeRule,
    *,
    least_layer_mm: float = 0.0,
    feather_mm_per_m: float | None = None,
    least_mm: NDArray[np.floating] | None = None,
    most_mm: NDArray[np.floating] | None = None,
) -> Fill:
    """Thickness of the least fill, cell by cell.

    A fill is right if the floor with it keeps every limit t; if it is at least ``least_mm``; at least the least layer
    where it is more than the edge that runs out there; and, with a feather, if its upright edges run out on the floor
    around (``feather``): the step of the least layer, or of ``least_mm`` where that is more.

    Without a feather, or without a least layer, each rule has the form "the fill at a place is at least so much", and
    that much never falls when the fill rises elsewhere. So the cell-by-cell least of two right fills is right, and one
    of them lies below all others in every cell: it has the least volume and the least thickness at once. Starting
    from the floor and raising places to what the rules ask of them never overtakes a right fill, and ends where all
    are kept: in the least one, whatever the order.

    With both, an edge may be as thin as it comes out, and what needs more than the edge gives is laid as a layer. Which
    places that are is settled in rounds: the least surface above what is laid so far that keeps the limits; a layer
    wherever that is above it; the edges anew. It ends in a right fill, nowhere above that of the same rules with a
    layer on all that must be filled at all.

    Parameters
    ----------
    height_mm : (rows, cols) float, mm; NaN is not seen and gets no fill
    inside : (rows, cols) bool, where the edge can pass; elsewhere there is ``least_mm`` only
    targets : (edge_mm, limit_mm) pairs, limits more than 0
    rule : how the edge is laid
    least_layer_mm : thinnest layer the product allows
    feather_mm_per_m : steepest slope an edge runs out in; None: edges are upright
    least_mm : (rows, cols) fill that is there anyway (fixed heights, ramps)
    most_mm : (rows, cols) most fill allowed. A fill over it by no more than what was aimed below the limits is cut to
        it: lower by so much, the place still keeps them

    Returns
    -------
    The fill. A floor that meets the limits gets exactly 0, or what ``least_mm`` asks for
    """
    floor = np.array(height_mm, dtype=np.float64)
    drop_mm = None if feather_mm_per_m is None else feather_mm_per_m * rule.cell_mm / MM_PER_M
    core = np.zeros(floor.shape) if least_mm is None else np.maximum(least_mm, 0.0) + np.zeros(floor.shape)
    step_mm = np.maximum(core, least_layer_mm)

    def laid(core_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        layer = _no_thinner(core_mm, least_layer_mm)
        return layer if drop_mm is None else run_out(floor, layer, step_mm, inside, drop_mm)

    fill = laid(core)
    raiser = _raiser(floor + fill, inside, [(edge, limit - _aim(limit)) for edge, limit in targets], rule)
    raiser.sweep()
    if not _meets(floor + fill, raiser, inside, targets, rule):
        rise = np.inf
        while rise > _SETTLED_MM:
            while raiser.sweep() > _SETTLED_MM:
                pass
            raised = np.where(inside, raiser.surface_mm - floor, fill)
            core = np.where(raised > fill + _ROUNDING_MM, raised, core)
            fill = laid(core)
            rise = raiser.raise_to(floor + fill)
    return _as_fill(np.where(np.isnan(floor), np.nan, fill), least_layer_mm, most_mm)


def _aim(limit_mm: float) -> float:
    """How much below a limit the fill aims."""
    return min(AIM_BELOW_MM, limit_mm / 2.0)


def _raiser(
    height_mm: NDArray[np.float64], inside: NDArray[np.bool_], targets: Sequence[Target], rule: EdgeRule
) -> Raiser:
    return Raiser(
        height_mm, inside, targets, cell_mm=rule.cell_mm, directions=rule.directions, bridge_mm=rule.bridge_mm
    )


def _meets(
    start_mm: NDArray[np.float64],
    swept: Raiser,
    inside: NDArray[np.bool_],
    targets: Sequence[Target],
    rule: EdgeRule,
) -> bool:
    """Whether a surface keeps the limits themselves, told from what the first sweep at the aims made of it.

    No rise beyond the aim below the limits: it does, for then every chord was within its limit of the start. And on a
    surface that does, each lift raises by at most that much more than the lifts before it. What lies between is tried.
    """
    rise = float(np.nanmax((swept.surface_mm - start_mm)[inside], initial=0.0))
    if rise <= AIM_BELOW_MM:
        return True
    return rise <= swept.lifts * AIM_BELOW_MM and _raiser(start_mm, inside, targets, rule).sweep() <= _ROUNDING_MM


def _no_thinner(needed_mm: NDArray[np.float64], least_layer_mm: float) -> NDArray[np.float64]:
    """Thickness of what is laid where so much is needed."""
    if least_layer_mm <= 0.0:
        return needed_mm
    return np.where(needed_mm > _ROUNDING_MM, np.maximum(needed_mm, least_layer_mm), needed_mm)


def _as_fill(fill_mm: NDArray[np.float64], least_layer_mm: float, most_mm: NDArray[np.floating] | None) -> Fill:
    fill = np.where(fill_mm <= _ROUNDING_MM, 0.0, fill_mm)
    feathered = (fill > 0.0) & (fill < least_layer_mm - _ROUNDING_MM)
    if most_mm is None:
        return Fill(fill, np.zeros(fill.shape, dtype=np.bool_), feathered)
    beyond = fill > most_mm + (AIM_BELOW_MM - 10.0 * _SETTLED_MM)
    return Fill(np.where(beyond, fill, np.minimum(fill, most_mm)), beyond, feathered)
