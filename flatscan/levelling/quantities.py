"""From thickness to litres, kilograms, bags, hours and money, with what is not known about them."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.constants import MM2_PER_M2, MM3_PER_LITRE
from flatscan.judgement.places import place_in_words
from flatscan.levelling.choice.costs import cost_of
from flatscan.levelling.choice.doors import door_rises
from flatscan.levelling.choice.times import cover_h, layers_of, walk_on_h
from flatscan.levelling.joints.joint_work import HOLES
from flatscan.levelling.joints.lip_work import ground_at_lips
from flatscan.levelling.plan import Method
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.joints.joint_work import LipDown
    from flatscan.levelling.plan import Percentiles, Product, Proof, Proposal
    from flatscan.sources.survey.survey import Door
    from flatscan.surface.surface import Surface

#: Both ends of a central 95 % interval.
_INTERVAL_95 = (0.025, 0.975)
#: One floor of ten, of two, nine of ten.
_TENTHS = (0.1, 0.5, 0.9)
#: A bag is not opened for this share of its weight: binary rounding, not compound.
_BAG_ROUNDING = 1e-9
#: Draws of a way that takes the same whatever the floor is: only what no cell shows is uncertain then.
_DRAWS_OF_ONE = 20
#: A layer this much over the product's most is float32 rounding.
_ROUNDING_MM = 1e-4


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


def quantiles_l(draws: Sequence[float], shares: Sequence[float], *, degrees: int | None = None) -> list[float]:
    """What one further draw stays below with these chances, from a few: mean + t s sqrt(1 + 1/n), not below 0.

    The true floor is one further draw of what the capture allows. t is Student's quantile for ``degrees`` of freedom
    (JCGM 100, annex G), n - 1 if not given, so that few draws give a wider range and not a false one.
    Worked on square roots, because volumes cannot be negative and small ones are skewed.
    """
    from scipy.special import stdtrit

    roots = np.sqrt(np.asarray(draws, dtype=np.float64))
    count = len(roots)
    spread = float(roots.std(ddof=1)) * math.sqrt(1.0 + 1.0 / count)
    t = [float(stdtrit(count - 1 if degrees is None else degrees, share)) for share in shares]
    return [max(0.0, float(roots.mean()) + factor * spread) ** 2 for factor in t]


def interval_95(draws: Sequence[float], *, degrees: int | None = None) -> tuple[float, float]:
    """Central 95 % interval for one further draw (see ``quantiles_l``)."""
    low, high = quantiles_l(draws, _INTERVAL_95, degrees=degrees)
    return low, high


def quantity_l(draws: Sequence[float]) -> Quantity:
    """Mean of the draws and the standard uncertainty of one further draw."""
    values = np.asarray(draws, dtype=np.float64)
    u = float(values.std(ddof=1)) * math.sqrt(1.0 + 1.0 / len(values))
    return Quantity(float(values.mean()), u, "l")


def with_extras(
    draws_l: Sequence[float], extra_l: Sequence[tuple[str, Quantity]], rng: np.random.Generator
) -> NDArray[np.float64]:
    """The draws with what no cell shows added, drawn too: normal by its own uncertainty, not below 0."""
    draws = np.array(draws_l, dtype=np.float64)
    for _, litres in extra_l:
        draws += np.maximum(0.0, rng.normal(litres.value, litres.u, size=len(draws)))
    return draws


def method_of(
    proposal: Proposal,
    draws_l: Sequence[float],
    product: Product,
    surface: Surface,
    *,
    rng: np.random.Generator,
    accounts: int = 2,
    doors: Sequence[Door] = (),
    proof: Proof | None = None,
    feathered: NDArray[np.bool_] | None = None,
    lips: Sequence[LipDown] = (),
    lifted_m2: float = 0.0,
    holes_mm: NDArray[np.floating] | None = None,
) -> Method:
    """One way of levelling with all that it takes.

    Area and thickness are of the planned fill, volumes of the draws: fill is a convex function of the floor, so what
    a floor known only roughly needs is on average more than what its best estimate needs.

    Parameters
    ----------
    draws_l : litres that the fill takes on simulated floors, without ``proposal.extra_l``, which is drawn in here;
        empty where it takes the same on any floor
    accounts : how many accounts of the doubt the draws come from, with a mean each, so that only a share of them tells
        of any one's spread
    doors : where the rise is wanted
    feathered : (rows, cols) bool, the edges that run out; they do not count for the thinnest layer
    lips : those that this way grinds down; they add to what is ground
    lifted_m2 : area of the tiles that come out
    holes_mm : (rows, cols), the depth of the holes they leave, 0 elsewhere; filled before all else
    """
    cell_mm = surface.cell_mm
    planned_l = volume_l(proposal.fill_mm, cell_mm)
    draws = with_extras(draws_l if len(draws_l) else [planned_l] * _DRAWS_OF_ONE, proposal.extra_l, rng)
    degrees = max(1, len(draws) // accounts - 1)
    volume = quantity_l(list(draws))
    low, high = interval_95(list(draws), degrees=degrees)
    tenths = quantiles_l(list(draws), _TENTHS, degrees=degrees)
    bags_p = tuple(bags_to_buy(litres, product) for litres in tenths)
    filled = proposal.fill_mm > 0
    thin, mean, thick = _thickness(proposal.fill_mm, filled, feathered)
    area_m2 = float(filled.sum()) * cell_mm**2 / MM2_PER_M2
    hollow = None if proposal.name == "lift_tiles" else holes_mm
    in_holes = 0.0 if hollow is None else _deepest_mm(proposal.fill_mm, hollow)
    holes_m2 = 0.0 if hollow is None else float(((hollow > 0.0) & ~filled).sum()) * cell_mm**2 / MM2_PER_M2
    deepest = max(thick, in_holes)
    layers = layers_of(deepest, product, fills=volume.value > 0.0)
    lips_l, lips_m2 = ground_at_lips(lips, product)
    made = Method(
        name=proposal.name,
        volume_l=volume,
        volume_interval_l=(low, high),
        mass_kg=Quantity(mass_kg(volume.value, product), mass_kg(volume.u, product), "kg"),
        bags=bags_to_buy(volume.value, product),
        bags_interval=(bags_to_buy(low, product), bags_to_buy(high, product)),
        area_m2=area_m2,
        mean_mm=mean,
        max_mm=thick,
        min_mm=thin,
        why_not=proposal.why_not or _too_thick(proposal.fill_mm, thick, product, surface),
        volume_p_l=_three(tenths),
        bags_p=(bags_p[0], bags_p[1], bags_p[2]),
        buy=bags_p[2],
        keep_sealed=bags_p[2] - bags_p[1],
        ground_l=volume_l(proposal.grind_mm, cell_mm) + lips_l,
        ground_m2=float((proposal.grind_mm > 0).sum()) * cell_mm**2 / MM2_PER_M2 + lips_m2,
        lifted_m2=surface.area_m2 if proposal.name == "lift_tiles" else lifted_m2,
        primer_kg=None if product.primer_kg_per_m2 is None else product.primer_kg_per_m2 * (area_m2 + holes_m2),
        layers=layers,
        walk_on_h=walk_on_h(layers, product),
        cover_h=cover_h(layers, deepest, product),
        # What comes after the tiles are up, and how high it will stand, nobody knows.
        doors=() if proposal.name == "lift_tiles" else door_rises(proposal.fill_mm - proposal.grind_mm, surface, doors),
        proof=proof,
        bound=proposal.bound,
        edges_mm=proposal.edges_mm,
        holes_mm=in_holes,
        holes_m2=holes_m2,
        notes=(*proposal.notes, *_of_holes(proposal, holes_mm, deepest, product)),
    )
    return replace(made, cost=cost_of(made, product))


def _deepest_mm(fill_mm: NDArray[np.floating], holes_mm: NDArray[np.floating]) -> float:
    """The thickest fill over a hole, the hole counted in; 0 where there is none."""
    return float(np.nanmax(np.where(holes_mm > 0.0, fill_mm + holes_mm, 0.0), initial=0.0))


def _of_holes(
    proposal: Proposal, holes_mm: NDArray[np.floating] | None, deepest_mm: float, product: Product
) -> tuple[str, ...]:
    litres = next((litres for name, litres in proposal.extra_l if name == HOLES), None)
    if litres is None or holes_mm is None:
        return ()
    deep = f"{said.volume(litres.value)}, {said.thickness(float(holes_mm.max()), 0)} deep, counted in"
    told = f"The holes of tiles that come out are filled flush first: {deep}"
    most_mm = product.greatest_layer_mm
    if most_mm is not None and deepest_mm > most_mm:
        told += (
            f"; with the fill above {said.thickness(deepest_mm, 0)}, and this product may lie {said.length(most_mm)} "
            f"thick: take another"
        )
    return (told,)


def _three(values: Sequence[float]) -> Percentiles:
    few, middle, many = values
    return few, middle, many


def _thickness(
    fill_mm: NDArray[np.floating], filled: NDArray[np.bool_], feathered: NDArray[np.bool_] | None
) -> tuple[float, float, float]:
    """Thinnest (of what is not a running-out edge, if there is any), mean and thickest, mm; zeros for no fill."""
    if not filled.any():
        return 0.0, 0.0, 0.0
    core = filled if feathered is None else filled & ~feathered
    thinnest = fill_mm[core if core.any() else filled].min()
    return float(thinnest), float(fill_mm[filled].mean(dtype=np.float64)), float(fill_mm[filled].max())


def _too_thick(fill_mm: NDArray[np.floating], thickest_mm: float, product: Product, surface: Surface) -> str:
    most_mm = product.greatest_layer_mm
    if most_mm is None or thickest_mm <= most_mm + _ROUNDING_MM:
        return ""
    row, col = np.unravel_index(int(np.nanargmax(fill_mm)), fill_mm.shape)
    place = place_in_words(surface.xy_mm(float(row), float(col)))
    return f"{said.thickness(thickest_mm)} is needed {place}, and the product allows at most {said.length(most_mm)}"
