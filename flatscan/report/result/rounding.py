"""Numbers of the result file: rounded by the uncertainty, never NaN, so that files are stable."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import UNSET

from flatscan.report.result.measured import QuantityRecord

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy as np
    from numpy.typing import NDArray

    from flatscan.quantity import Quantity
    from flatscan.report.result.measured import XY

#: Decimals kept: coordinates, heights, shares and chances, parts of a unit vector.
MM, HEIGHT_MM, SHARE, UNIT_VECTOR = 1, 3, 4, 9
#: Figures kept of an uncertainty: one more than people are shown, for further sums (JCGM 100, 7.2.6).
_FIGURES = 3
#: Decimals kept of a value without uncertainty.
_EXACT = 6


def number(value: float, places: int) -> float:
    """Rounded; raises ValueError for what is not a finite number."""
    if not math.isfinite(value):
        raise ValueError(f"a result holds finite numbers only, got {value}")
    return round(float(value), places) + 0.0  # + 0.0: no minus zero


def maybe(value: float | None, places: int) -> float | None:
    """None for what was not measured, which some stages write as NaN."""
    return None if value is None or not math.isfinite(value) else number(value, places)


def figures(value: float) -> float:
    """Six significant figures, for settings of unknown size."""
    return float(f"{value:.6g}")


def quantity(q: Quantity) -> QuantityRecord:
    """Value, u and budget to the same decimals, three figures of u; an unknown u is None."""
    places = _EXACT
    u = None
    if math.isfinite(q.u):
        if q.u > 0.0:
            places = _FIGURES - 1 - math.floor(math.log10(q.u))
        u = number(q.u, places)
    return QuantityRecord(
        value=number(q.value, places),
        u=u,
        unit=q.unit,
        budget={name: number(part, places) for name, part in q.budget} if q.budget else UNSET,
    )


def maybe_quantity(q: Quantity | None) -> QuantityRecord | None:
    """None for what was not measured."""
    return None if q is None else quantity(q)


def xy(point: Iterable[float]) -> XY:
    """A floor-frame position."""
    x, y = point
    return number(x, MM), number(y, MM)


def rings(outlines: Iterable[NDArray[np.float64]]) -> list[list[XY]]:
    """Outlines, each (k, 2)."""
    return [[xy(point) for point in ring] for ring in outlines]


def degrees(angle_rad: float) -> float:
    """A direction."""
    return number(math.degrees(angle_rad), 1)
