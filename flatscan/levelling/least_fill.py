"""The least fill that makes a floor meet its gap limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.chords import lift_pass

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.targets import Target

#: The fill aims this much below a limit, so that the finished surface, measured again, meets it.
AIM_BELOW_MM = 0.01
#: The sweeps end when none lifts a place by more than this.
_SETTLED_MM = AIM_BELOW_MM / 10
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
    least_mm: NDArray[np.floating] | None = None,
    most_mm: NDArray[np.floating] | None = None,
) -> Fill:
    """Thickness of the least fill, cell by cell.

    The surfaces that meet the limits and are nowhere below the floor are closed under the pointwise minimum
    (raising a chord's middle never spoils it, lowering its ends never does), so one of them is lower than all
    others everywhere: it has the least volume and the least greatest thickness at once. The operator
    ``y -> max(z, U(y) - t)``, U the highest chord over each place, is monotone and climbs to it from the floor.
    With a least layer m a place is left alone or gets at least m; the argument holds as before, and the
    iteration lifts to ``z + m`` every place that is lifted at all.

    Parameters
    ----------
    height_mm : (rows, cols) float, mm; NaN is not seen and gets no fill
    inside : (rows, cols) bool, where the edge can pass
    targets : (edge_mm, limit_mm) pairs, limits more than ``AIM_BELOW_MM``
    rule : how the edge is laid
    least_layer_mm : thinnest layer the product allows
    least_mm : (rows, cols) fill that is there anyway (fixed heights, ramps)
    most_mm : (rows, cols) most fill allowed

    Returns
    -------
    The fill. A floor that meets the limits gets exactly 0
    """
    floor = np.array(height_mm, dtype=np.float64)
    start = floor if least_mm is None else floor + np.maximum(least_mm, 0.0)
    raised = start.copy()
    if _sweep(raised, inside, targets, rule, aim_below=0.0) <= _ROUNDING_MM:
        return _as_fill(start - floor, most_mm)
    raised[...] = start
    rise = np.inf
    while rise > _SETTLED_MM:
        rise = _sweep(raised, inside, targets, rule, aim_below=AIM_BELOW_MM)
        if least_layer_mm > 0.0:
            rise = max(rise, _thicken(raised, floor, least_layer_mm))
    return _as_fill(raised - floor, most_mm)


def _as_fill(fill_mm: NDArray[np.float64], most_mm: NDArray[np.floating] | None) -> Fill:
    fill_mm[fill_mm <= _ROUNDING_MM] = 0.0
    none = np.zeros(fill_mm.shape, dtype=np.bool_)
    beyond = none if most_mm is None else fill_mm > most_mm + AIM_BELOW_MM
    return Fill(fill_mm, beyond, none)


def _sweep(
    surface: NDArray[np.float64],
    inside: NDArray[np.bool_],
    targets: Sequence[Target],
    rule: EdgeRule,
    *,
    aim_below: float,
) -> float:
    """Lift once for every target, in place; returns the largest rise."""
    rises = [
        lift_pass(
            surface,
            inside,
            cell_mm=rule.cell_mm,
            edge_mm=edge_mm,
            limit_mm=limit_mm - aim_below,
            directions=rule.directions,
            bridge_mm=rule.bridge_mm,
        )
        for edge_mm, limit_mm in targets
    ]
    return max(rises, default=0.0)


def _thicken(surface: NDArray[np.float64], floor: NDArray[np.float64], least_layer_mm: float) -> float:
    """Lift what is filled to the least layer, in place; returns the largest rise."""
    thin = (surface - floor > _ROUNDING_MM) & (surface - floor < least_layer_mm)
    if not thin.any():
        return 0.0
    lifted = floor[thin] + least_layer_mm
    rise = float((lifted - surface[thin]).max())
    surface[thin] = lifted
    return rise
