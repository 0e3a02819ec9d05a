"""Where a pour must be held back, how high, and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.levelling.plan import Dam
from flatscan.levelling.pouring.regions import OWN, leaves_own_height, spread

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray

    from flatscan.levelling.binding.bounds import Bounds
    from flatscan.levelling.pouring.pour_levels import Levels
    from flatscan.levelling.pouring.regions import Regions
    from flatscan.surface.surface import Surface

_Cut = tuple[slice, slice]
#: A dam shorter than this is where another one ends; along a wall it would be a door, and none is so narrow
#: (common practice, no source).
LEAST_DAM_MM, LEAST_DOOR_MM = 100.0, 300.0
#: A dam's line is smoothed by a cell: that is what the grid makes of a slanting one.
_SIMPLIFY_CELLS = 1.0
#: What a dam can be for, the first that is there. Zones stand for any rule that leaves floor at its own height.
_ZONE = "zone"
_BETWEEN_PARTS, _BESIDE_ZONE, _AT_WALL = ("movement_joint", "dam", "door"), (_ZONE,), ("dam", "door")
#: A rule that covers less than this of the cells on both sides of a dam only crosses it.
_LEAST_SHARE = 0.25
_NECK = "doorway or narrow passage"


@dataclass(frozen=True, slots=True, eq=False)
class _Sides:
    """Sides of cells that dams stand along: (n, 2) rows and columns of the cells below or left, and above or right.

    ``key``: (n,) sides with the same key can be of one dam. ``kinds``: the rules that it can be for.
    """

    first: NDArray[np.int64]
    second: NDArray[np.int64]
    key: NDArray[np.int64]
    kinds: tuple[str, ...]
    shortest_mm: float = LEAST_DAM_MM

    def both(self, chosen: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Rows and columns of the cells on both sides."""
        cells = np.concatenate([self.first[chosen], self.second[chosen]])
        return cells[:, 0], cells[:, 1]


def dams_of(
    surface: Surface,
    level_height_mm: NDArray[np.float64],
    regions: Regions,
    levels: Levels,
    bounds: Bounds,
) -> tuple[Dam, ...]:
    """Dams of all pours: where two levels meet, where a pour meets floor that takes none, and where one was asked for.

    A dam in a movement joint runs along its middle, one at a door in the wall along the edge of the floor. The height
    is the thickest that the pour gets along the dam; where the floor along it stands out of the pour there is none.
    """
    label, rise = _carried_into_joints(level_height_mm, regions, levels, bounds, surface)
    label, rise = np.pad(label, 1), np.pad(rise, 1)
    dams, inside = np.pad(bounds.dams, 1), np.pad(surface.inside, 1)
    group = levels.group[np.maximum(label, 0)]
    found = []
    for sides in (
        _between_parts(label, group, dams),
        _beside_own(label, group),
        _at_doors(group, dams, inside, surface),
    ):
        for line, chosen in _lines(sides, label.shape, surface):
            rows, cols = sides.both(chosen)
            height = float(np.fmax.reduce(rise[rows, cols], initial=0.0))
            if height > 0.0:
                found.append(Dam(line, height, _where(sides.kinds, rows - 1, cols - 1, bounds)))
    return tuple(found)


def _carried_into_joints(
    level_height_mm: NDArray[np.float64], regions: Regions, levels: Levels, bounds: Bounds, surface: Surface
) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    """Label of the part, and thickness of its pour, in every cell; in a movement joint those of the nearest cell."""
    level = levels.level_mm[levels.group[np.maximum(regions.label, 0)]]
    rise = np.where(np.isfinite(level), level - level_height_mm, np.nan)
    joints = surface.inside & bounds.blocked
    if not joints.any():
        return regions.label, rise
    source = np.where(regions.label > 0, np.arange(1, rise.size + 1).reshape(rise.shape), 0).astype(np.int32)
    spread(source, joints)
    label = regions.label.copy()
    reached = joints & (source > 0)
    label[reached] = regions.label.ravel()[source[reached] - 1]
    rise[reached] = rise.ravel()[source[reached] - 1]
    return label, rise


def _between_parts(label: NDArray[np.int32], group: NDArray[np.int32], dams: NDArray[np.bool_]) -> _Sides:
    """Two parts, at least one of them poured: their levels differ, or a dam is to stand there anyway."""

    def dammed(a: _Cut, b: _Cut) -> NDArray[np.bool_]:
        parts = (label[a] != label[b]) & (label[a] > 0) & (label[b] > 0)
        held: NDArray[np.bool_] = parts & ((group[a] != group[b]) | ((group[a] > 0) & (dams[a] | dams[b])))
        return held

    first, second = _side_by_side(dammed)
    two = np.sort(np.stack([label[tuple(first.T)], label[tuple(second.T)]]), axis=0).astype(np.int64)
    return _Sides(first, second, two[0] * (int(label.max(initial=0)) + 1) + two[1], _BETWEEN_PARTS)


def _beside_own(label: NDArray[np.int32], group: NDArray[np.int32]) -> _Sides:
    """A pour beside floor of its own height."""

    def meet(a: _Cut, b: _Cut) -> NDArray[np.bool_]:
        beside: NDArray[np.bool_] = ((group[a] > 0) & (label[b] == OWN)) | ((group[b] > 0) & (label[a] == OWN))
        return beside

    first, second = _side_by_side(meet)
    return _Sides(
        first, second, np.maximum(label[tuple(first.T)], label[tuple(second.T)]).astype(np.int64), _BESIDE_ZONE
    )


def _at_doors(group: NDArray[np.int32], dams: NDArray[np.bool_], inside: NDArray[np.bool_], surface: Surface) -> _Sides:
    """A pour at the edge of the floor, along a dam there or just outside: the strip at the wall is not part of it."""
    from scipy import ndimage

    reach = 1 + int(np.ceil(surface.strip_mm / surface.cell_mm))
    near = ndimage.binary_dilation(dams & ~inside, iterations=reach) | dams

    def leak(a: _Cut, b: _Cut) -> NDArray[np.bool_]:
        out: NDArray[np.bool_] = ((group[a] > 0) & near[a] & ~inside[b]) | ((group[b] > 0) & near[b] & ~inside[a])
        return out

    first, second = _side_by_side(leak)
    key = np.maximum(group[tuple(first.T)], group[tuple(second.T)]).astype(np.int64)
    return _Sides(first, second, key, _AT_WALL, LEAST_DOOR_MM)


def _side_by_side(which: Callable[[_Cut, _Cut], NDArray[np.bool_]]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Cells with a right or an upper neighbour for which ``which(cells, neighbours)`` holds, and those neighbours."""
    every, but_last, but_first = slice(None), slice(None, -1), slice(1, None)
    right = np.argwhere(which((every, but_last), (every, but_first)))
    up = np.argwhere(which((but_last, every), (but_first, every)))
    return np.concatenate([right, up]), np.concatenate([right + np.array([0, 1]), up + np.array([1, 0])])


def _lines(
    sides: _Sides, shape: tuple[int, int], surface: Surface
) -> Iterator[tuple[NDArray[np.float64], NDArray[np.bool_]]]:
    """Each dam's line, (k, 2) floor-frame mm, and which of the sides it is made of. Cells are of the padded grid."""
    import shapely
    from scipy import ndimage

    up = sides.second[:, 0] > sides.first[:, 0]
    corner = np.stack([sides.first[:, 1] + ~up, sides.first[:, 0] + up], axis=1)
    ends = np.stack([corner, corner + np.stack([up, ~up], axis=1)], axis=1)
    ends_mm = np.asarray(surface.origin_mm) + (ends - 1.0) * surface.cell_mm
    for key in np.unique(sides.key):
        mine = sides.key == key
        raster = np.zeros(shape, dtype=bool)
        raster[sides.both(mine)] = True
        piece = ndimage.label(raster, np.ones((3, 3)))[0][tuple(sides.first.T)]
        for number in np.unique(piece[mine]):
            chosen = mine & (piece == number)
            merged = shapely.line_merge(shapely.multilinestrings(shapely.linestrings(ends_mm[chosen])))
            for line in shapely.get_parts(merged):
                if line.length >= sides.shortest_mm:
                    yield np.asarray(line.simplify(_SIMPLIFY_CELLS * surface.cell_mm).coords), chosen


def _where(kinds: tuple[str, ...], rows: NDArray[np.int64], cols: NDArray[np.int64], bounds: Bounds) -> str:
    """What the dam is for: the rule that covers most of the cells along it; else a door on the map or a passage."""
    on_grid = (rows >= 0) & (cols >= 0) & (rows < bounds.dams.shape[0]) & (cols < bounds.dams.shape[1])
    rows, cols = rows[on_grid], cols[on_grid]
    for kind in kinds:
        rules = [r for r in bounds.rules if (leaves_own_height(r) if kind == _ZONE else r.kind == kind)]
        shares = [float(rule.mask[rows, cols].mean()) for rule in rules]
        if max(shares, default=0.0) >= _LEAST_SHARE:
            name = rules[int(np.argmax(shares))].name
            return f"edge of '{name}'" if kind == _ZONE else name
    if kinds == _BESIDE_ZONE:
        return "edge of floor that keeps its height"
    return "door" if kinds == _AT_WALL or bounds.dams[rows, cols].any() else _NECK
