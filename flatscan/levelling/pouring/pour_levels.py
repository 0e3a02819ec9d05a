"""How high each part of the floor is poured, so that the whole of it meets its limits."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM3_PER_LITRE
from flatscan.levelling.pouring.breaches import breaches
from flatscan.levelling.pouring.layer_bounds import thinnest_mm
from flatscan.levelling.pouring.lowest_level import Basin, lowest_level
from flatscan.levelling.pouring.regions import OWN, fixed_fill_mm, own_height

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.binding.bounds import Bounds
    from flatscan.levelling.filling.least_fill import EdgeRule
    from flatscan.levelling.plan import Product
    from flatscan.levelling.pouring.breaches import Breach
    from flatscan.levelling.pouring.regions import Regions
    from flatscan.levelling.targets import Target


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """Result of :func:`settle`.

    Attributes
    ----------
    group : (parts + 1,) int32, the group of each part of ``Regions``, 1 and up; 0: it is not poured
    level_mm : (groups + 1,) float64, level of each group in heights above a level plane; -inf for 0
    breach : what is over a limit nevertheless; None: the floor meets them all
    """

    group: NDArray[np.int32]
    level_mm: NDArray[np.float64]
    breach: Breach | None


def settle(
    height_mm: NDArray[np.floating],
    level_height_mm: NDArray[np.float64],
    regions: Regions,
    bounds: Bounds,
    targets: Sequence[Target],
    rule: EdgeRule,
    product: Product,
) -> Levels:
    """Find levels with which the whole floor, dams and zones included, meets the targets.

    At first nothing is poured. While a gap is over a limit, the part of the floor that shows it is poured by itself;
    where it is poured already, the others under that edge; where they are too, all under that edge are poured to one
    level, without a step between them. Each is poured as low as can be: with a least layer, that much over its highest
    place (then it is a plane and shows no gap of its own), else to the lowest level with which it meets the targets by
    itself and against floor that keeps its height (``lowest_level``). With a least layer it is raised above that only
    where it meets higher floor that keeps its height. A narrow passage is dammed only if that saves a bag or more.

    Parameters
    ----------
    height_mm, level_height_mm : (rows, cols), about the reference plane, and about a level plane; NaN is not seen
    """
    pouring = _Pouring(
        np.asarray(height_mm, dtype=np.float64), level_height_mm, regions, bounds, targets, rule, product
    )
    while True:
        if pouring.is_one_plane():
            return Levels(*pouring.numbered(), None)
        found = breaches(pouring.finished_mm(), regions, bounds, targets, rule)
        changed = [pouring.answer(breach) for breach in found]
        if not any(changed):
            worst = max(found, key=lambda b: b.gap_mm / b.limit_mm, default=None)
            return Levels(*pouring.numbered(), worst)
        pouring.join_cheap_necks()


def poured_mm(
    level_height_mm: NDArray[np.float64],
    group: NDArray[np.int32],
    level_mm: NDArray[np.float64],
    bounds: Bounds,
) -> NDArray[np.float64]:
    """(rows, cols) thickness: up to the level in each group, what the rule says where the height is fixed, else 0."""
    fill = np.maximum(level_mm[group] - level_height_mm, 0.0)
    own = own_height(bounds) & np.isfinite(level_height_mm)
    fill[own] = fixed_fill_mm(bounds)[own]
    return fill


def highest(values: NDArray[np.float64], label: NDArray[np.int32], count: int) -> NDArray[np.float64]:
    """(count,) largest value in each label from 0, NaN left out; -inf where there is none."""
    most = np.full(count, -np.inf)
    np.fmax.at(most, np.maximum(label, 0).ravel(), values.ravel())
    return most


@dataclass(slots=True, eq=False)
class _Pouring:
    """What is poured so far. ``leader[p]``: the part whose level part p shares; ``level[leader]``, -inf: not poured."""

    height_mm: NDArray[np.float64]
    level_height_mm: NDArray[np.float64]
    regions: Regions
    bounds: Bounds
    targets: Sequence[Target]
    rule: EdgeRule
    product: Product
    leader: NDArray[np.int32] = field(init=False)
    level: NDArray[np.float64] = field(init=False)
    cells: NDArray[np.int64] = field(init=False)
    top: NDArray[np.float64] = field(init=False)
    raised: set[int] = field(init=False, default_factory=set)

    def __post_init__(self) -> None:
        count = self.regions.count + 1
        label = np.maximum(self.regions.label, 0)
        self.leader = np.arange(count, dtype=np.int32)
        self.level = np.full(count, -np.inf)
        self.cells = np.bincount(label[np.isfinite(self.height_mm)], minlength=count)
        self.top = highest(self.level_height_mm + thinnest_mm(self.bounds, self.product), label, count)

    def numbered(self) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
        """Group of each part and level of each group, as in ``Levels``."""
        poured = [p for p in range(1, len(self.level)) if self.leader[p] == p and np.isfinite(self.level[p])]
        number = np.zeros(len(self.level), dtype=np.int32)
        number[poured] = np.arange(1, len(poured) + 1)
        return number[self.leader], np.concatenate([[-np.inf], self.level[poured]])

    def is_one_plane(self) -> bool:
        """All of the floor is covered to one level, so that no gap needs to be looked for."""
        bare = self.bounds.inside & (self.regions.label <= 0) & ~self.bounds.blocked
        if self.product.least_layer_mm == 0.0 or len(self.level) == 1 or bare.any():
            return False
        return bool((self.leader[1:] == self.leader[1]).all() and np.isfinite(self.level[self.leader[1]]))

    def finished_mm(self) -> NDArray[np.float64]:
        """The floor with the pours so far; NaN where not seen and in movement joints."""
        group = self.leader[np.maximum(self.regions.label, 0)]
        finished = self.height_mm + poured_mm(self.level_height_mm, group, self.level, self.bounds)
        finished[self.bounds.blocked] = np.nan
        return finished

    def answer(self, breach: Breach) -> bool:
        """Pour, join or raise what a gap over its limit asks for; False: nothing is left to do about it."""
        parts = [p for p in breach.parts if p > 0 and self.cells[p] > 0]
        at = int(self.regions.label[breach.cell])
        dry = [p for p in parts if not np.isfinite(self.level[self.leader[p]])]
        if dry:
            for part in [at] if at in dry else dry:
                self.level[part] = self._lowest([part])
            return True
        leaders = sorted({int(self.leader[p]) for p in parts})
        if len(leaders) > 1:
            self._join(leaders)
            return True
        if len(leaders) == 1 and OWN in breach.parts and leaders[0] not in self.raised:
            return self._raise(leaders[0])
        return False

    def join_cheap_necks(self) -> None:
        """One level on both sides of a narrow passage where two would save less than a bag."""
        bag_mm3 = self.product.bag_kg / self.product.kg_per_m2_mm * MM3_PER_LITRE
        for a, b in self.regions.necks:
            two = int(self.leader[a]), int(self.leader[b])
            levels = self.level[list(two)]
            if two[0] == two[1] or not np.isfinite(levels).all():
                continue
            lower = self.leader == two[int(levels.argmin())]
            if float(np.ptp(levels)) * float(self.cells[lower].sum()) * self.rule.cell_mm**2 < bag_mm3:
                self._join(sorted(two))

    def _join(self, leaders: list[int]) -> None:
        self.leader[np.isin(self.leader, leaders)] = leaders[0]
        self.level[leaders[0]] = self._lowest([int(p) for p in np.flatnonzero(self.leader == leaders[0])])

    def _lowest(self, parts: list[int]) -> float:
        highest_mm = float(self.top[parts].max())
        if self.product.least_layer_mm > 0.0:
            return highest_mm
        basin, member = self._basin(parts), np.isin(self.regions.label, parts)
        floor = self.level_height_mm[member]
        least = self.bounds.least_fill_mm[member]
        low = float(np.max((floor + least)[(least > 0) & np.isfinite(floor)], initial=float(np.nanmin(floor))))
        found = lowest_level(basin, low, max(highest_mm, basin.highest_beside_mm), self.targets, self.rule)
        return highest_mm if found is None else found

    def _raise(self, leader: int) -> bool:
        self.raised.add(leader)
        basin = self._basin([int(p) for p in np.flatnonzero(self.leader == leader)])
        low = float(self.level[leader])
        if basin.highest_beside_mm <= low:
            return False
        found = lowest_level(basin, low, basin.highest_beside_mm, self.targets, self.rule)
        self.level[leader] = low if found is None else found
        return found is not None

    def _basin(self, parts: list[int]) -> Basin:
        """The parts and the floor of its own height beside them, cut out of the grid."""
        member = np.isin(self.regions.label, parts)
        own = (self.regions.label == OWN) & ~self.bounds.keeps_slope
        fixed = fixed_fill_mm(self.bounds)
        rows, cols = (np.flatnonzero(member.any(axis=axis)) for axis in (1, 0))
        # One cell more on each side, for floor of its own height that lies along the box.
        box = tuple(slice(max(0, int(n[0]) - 1), int(n[-1]) + 2) for n in (rows, cols))
        height = np.where(self.bounds.blocked, np.nan, self.height_mm)[box]
        others = (self.regions.label > 0) & ~member
        return Basin(
            height_mm=height + fixed[box],
            level_mm=self.level_height_mm[box] + fixed[box],
            member=member[box],
            judged=(member | own)[box],
            inside=(self.bounds.inside & ~others)[box],
        )
