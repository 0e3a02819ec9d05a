"""From thickness to litres, kilograms and bags, with what is not known about them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM2_PER_M2, MM3_PER_LITRE
from flatscan.levelling.plan import Method
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.plan import MethodName, Product

#: Half a tail of a central 95 % interval.
_UPPER_QUANTILE = 0.975
#: A bag is not opened for this share of its weight: binary rounding, not compound.
_BAG_ROUNDING = 1e-9


def volume_l(fill_mm: NDArray[np.floating], cell_mm: float) -> float:
    """Litres of a fill: thickness times cell area, unseen cells (NaN) left out."""
    return float(np.nansum(fill_mm, dtype=np.float64)) * cell_mm**2 / MM3_PER_LITRE


def mass_kg(volume: float, product: Product) -> float:
    """Kilograms of powder for so many litres: one litre is one millimetre on one square metre."""
    return volume * product.kg_per_m2_mm


def bags_to_buy(volume: float, product: Product) -> int:
    """Whole bags for so many litres, waste included."""
    bags = mass_kg(volume, product) * (1.0 + product.waste_share) / product.bag_kg
    return math.ceil(bags * (1.0 - _BAG_ROUNDING))


def interval_95(draws: Sequence[float], *, degrees: int | None = None) -> tuple[float, float]:
    """Central 95 % interval for one further draw, from a few: mean ± t s sqrt(1 + 1/n), not below 0.

    The true floor is one further draw of what the capture allows. t is Student's factor for ``degrees`` of freedom
    (JCGM 100, annex G), n - 1 if not given, so that few draws give a wider interval and not a false one.
    Worked on square roots, because volumes cannot be negative and small ones are skewed.
    """
    from scipy.special import stdtrit

    roots = np.sqrt(np.asarray(draws, dtype=np.float64))
    count = len(roots)
    half = (
        float(stdtrit(count - 1 if degrees is None else degrees, _UPPER_QUANTILE))
        * float(roots.std(ddof=1))
        * math.sqrt(1.0 + 1.0 / count)
    )
    middle = float(roots.mean())
    return max(0.0, middle - half) ** 2, (middle + half) ** 2


def quantity_l(draws: Sequence[float]) -> Quantity:
    """Mean of the draws and the standard uncertainty of one further draw."""
    values = np.asarray(draws, dtype=np.float64)
    u = float(values.std(ddof=1)) * math.sqrt(1.0 + 1.0 / len(values))
    return Quantity(float(values.mean()), u, "l")


def method(
    name: MethodName,
    fill_mm: NDArray[np.floating],
    cell_mm: float,
    draws_l: Sequence[float],
    product: Product,
    *,
    accounts: int = 2,
) -> Method:
    """One way of levelling: area and thickness from the planned fill, volume from the draws.

    Fill is a convex function of the floor, so what a floor known only roughly needs is on average more than
    what its best estimate needs: the mean of the draws is the volume to expect. ``accounts``: how many accounts of the
    doubt the draws come from, with a mean each, so that only a share of them tells of any one's spread.
    """
    volume, interval = quantity_l(draws_l), interval_95(draws_l, degrees=max(1, len(draws_l) // accounts - 1))
    filled = fill_mm[fill_mm > 0]
    low, high = interval
    return Method(
        name=name,
        volume_l=volume,
        volume_interval_l=interval,
        mass_kg=Quantity(mass_kg(volume.value, product), mass_kg(volume.u, product), "kg"),
        bags=bags_to_buy(volume.value, product),
        bags_interval=(bags_to_buy(low, product), bags_to_buy(high, product)),
        area_m2=filled.size * cell_mm**2 / MM2_PER_M2,
        mean_mm=float(filled.mean()) if filled.size else 0.0,
        max_mm=float(filled.max(initial=0.0)),
    )
