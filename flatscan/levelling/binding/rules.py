"""Rules laid on the floor, one by one, and whether two of them contradict each other."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.errors import InputError
from flatscan.judgement.places import place_in_words
from flatscan.levelling.binding.bounds import WHOLE_FLOOR, NamedMask
from flatscan.levelling.binding.zone_cells import cells_of_line, cells_of_zone

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray
    from shapely import Geometry

    from flatscan.measures.measurement import Point
    from flatscan.surface.surface import Surface

#: Rules that say how much may lie somewhere at most.
UPPER_KINDS = ("greatest_build_up", "door", "no_fill")
_ELSEWHERE = "Correct its places: metres from corner 0 of the map, x to the right, y up"


@dataclass(frozen=True, slots=True, eq=False)
class Rule:
    """A rule with its shape: ``region`` in floor-frame mm, None for the whole floor and for lines."""

    on_grid: NamedMask
    region: Geometry | None = None

    @property
    def kind(self) -> str:
        """As ``NamedMask.kind``."""
        return self.on_grid.kind

    @property
    def mask(self) -> NDArray[np.bool_]:
        """As ``NamedMask.mask``."""
        return self.on_grid.mask

    @property
    def value_mm(self) -> float:
        """What it asks for, mm; 0 where no compound may lie."""
        return self.on_grid.value_mm or 0.0

    def shared_with(self, other: Rule) -> NDArray[np.bool_]:
        """Cells where both hold; none where their shapes only lie side by side and share the cells of a seam."""
        apart = self.region is not None and other.region is not None and not self.region.intersection(other.region).area
        return np.zeros_like(self.mask) if apart else self.mask & other.mask


@dataclass(frozen=True, slots=True, eq=False)
class RuledFloor:
    """The floor and the rules laid on it so far. ``file``: the survey file's name, for messages."""

    file: str
    surface: Surface
    rules: list[Rule] = field(default_factory=list)

    def add_whole(self, kind: str, value_mm: float | None) -> None:
        """A rule over the whole floor."""
        self.rules.append(Rule(NamedMask(kind, WHOLE_FLOOR, self.surface.inside, value_mm)))

    def add_zone(self, kind: str, name: str, region: Geometry, value_mm: float | None = None) -> None:
        """A rule over a polygon; raises ``InputError`` where no judged floor lies in it.

        A threshold drawn along the wall may lie wholly in the strip that is not judged. What meets it is the floor
        beyond the strip, so that is what it binds.
        """
        mask = cells_of_zone(self.surface, region)
        if not (mask & self.surface.inside).any():
            region = self._across_the_strip(name, region)
            mask = cells_of_zone(self.surface, region)
        self.rules.append(Rule(NamedMask(kind, name, mask, value_mm), region))

    def refuse_beside(self, name: str, region: Geometry) -> None:
        """Raise ``InputError`` where no judged floor lies in a polygon that asks for nothing."""
        self._check_on_floor(name, cells_of_zone(self.surface, region))

    def add_line(self, kind: str, name: str, line: Sequence[Point]) -> None:
        """A rule along a line; raises ``InputError`` where it does not cross the floor."""
        mask = cells_of_line(self.surface, line)
        self._check_on_floor(name, mask)
        self.rules.append(Rule(NamedMask(kind, name, mask)))

    def of_kind(self, *kinds: str) -> Iterator[Rule]:
        """Those rules, in the order they were laid."""
        return (rule for rule in self.rules if rule.kind in kinds)

    def check_contradictions(self) -> None:
        """Refuse two rules that cannot both be kept, naming both and the place."""
        fixed = list(self.of_kind("fixed_height"))
        for rule in fixed:
            for upper in self.of_kind(*UPPER_KINDS):
                if rule.value_mm > upper.value_mm:
                    self._refuse_both(rule, upper)
        for one, other in combinations(fixed, 2):
            if one.value_mm != other.value_mm:
                self._refuse_both(one, other)
        for hole in self.of_kind("remove_tiles"):
            for dry in self.of_kind("no_fill"):
                self._refuse_both(hole, dry)

    def _refuse_both(self, one: Rule, other: Rule) -> None:
        rows, cols = np.nonzero(one.shared_with(other) & self.surface.inside)
        if rows.size == 0:
            return
        nearest = int(np.argmin((rows - rows.mean()) ** 2 + (cols - cols.mean()) ** 2))
        where = place_in_words(self.surface.xy_mm(float(rows[nearest]), float(cols[nearest])))
        what = f"{asks(one.on_grid)}, but {asks(other.on_grid)}, and both hold {where}"
        raise InputError(self.file, what, "Change one of them, or draw them apart")

    def _across_the_strip(self, name: str, region: Geometry) -> Geometry:
        """The polygon, widened by so much that it takes one line of cells of the judged floor."""
        import shapely

        cell_mm = self.surface.cell_mm
        reach = cells_of_zone(self.surface, region.buffer(self.surface.strip_mm + cell_mm, join_style="mitre"))
        self._check_on_floor(name, reach)
        rows, cols = np.nonzero(reach & self.surface.inside)
        x0, y0 = self.surface.origin_mm
        centres = shapely.points(x0 + (cols + 0.5) * cell_mm, y0 + (rows + 0.5) * cell_mm)
        nearest = float(shapely.distance(region, centres).min())
        return region.buffer(nearest + 0.99 * cell_mm, join_style="mitre")

    def _check_on_floor(self, name: str, mask: NDArray[np.bool_]) -> None:
        if (mask & self.surface.inside).any():
            return
        low, high = self.surface.outline[0].min(axis=0), self.surface.outline[0].max(axis=0)
        wide, deep = (said.run(float(side)) for side in high - low)
        strip = (
            f" with the {said.cell(self.surface.strip_mm)} along its walls left out"
            if self.surface.strip_mm > 0
            else ""
        )
        what = f"'{name}' lies outside the judged floor; the floor is {wide} by {deep}{strip}"
        raise InputError(self.file, what, _ELSEWHERE)


def asks(rule: NamedMask) -> str:
    """What a rule asks for, in words.

    >>> asks(NamedMask("door", "hall door", np.ones((1, 1), dtype=bool), 3.0))
    "'hall door' allows 3.0 mm"
    """
    value = rule.value_mm or 0.0
    if rule.name == WHOLE_FLOOR:
        return f"the whole floor may rise {said.thickness(value)}"
    if rule.kind == "fixed_height":
        if value == 0.0:
            return f"'{rule.name}' stays as high as the old floor"
        return f"'{rule.name}' stands {said.thickness(value)} above the old floor"
    if rule.kind == "no_fill":
        return f"'{rule.name}' takes no compound"
    if rule.kind == "remove_tiles":
        return f"'{rule.name}' come out and leave a hole of {said.thickness(value)} to fill"
    return f"'{rule.name}' allows {said.thickness(value)}"
