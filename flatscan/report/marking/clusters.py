"""Which areas share a drawing, and at what scale: few pages, each as large as the paper allows."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

#: Scales of drawings in building (ISO 5455), and 1:25, which rulers carry.
SCALES = (10, 20, 25, 50, 100, 200, 500, 1000)
#: More drawings than this and nobody finds an area; a smaller scale is taken instead.
MOST_DRAWINGS = 6


@dataclass(frozen=True, slots=True, eq=False)
class Cluster:
    """Areas by their place in the list, the scale 1:``scale``, and the floor that is drawn: low and high (x, y) mm."""

    members: tuple[int, ...]
    scale: int
    low: NDArray[np.float64]
    high: NDArray[np.float64]


def clusters_of(
    boxes: Sequence[tuple[NDArray[np.float64], NDArray[np.float64]]], space_mm: tuple[float, float]
) -> tuple[Cluster, ...]:
    """Near areas put together at the largest scale at which ``MOST_DRAWINGS`` drawings or fewer hold all of them.

    Parameters
    ----------
    boxes : lowest and highest (x, y) of each area, floor mm
    space_mm : width and height of paper for one drawing's areas

    A drawing of which less would fill the paper is then drawn larger, by the same list of scales.
    """
    space = np.asarray(space_mm)
    if not boxes:
        return ()
    groups: list[_Group] = []
    for scale in SCALES:
        groups = _together([_Group((k,), low, high) for k, (low, high) in enumerate(boxes)], scale * space)
        if len(groups) <= MOST_DRAWINGS:
            break
    found = [Cluster(tuple(sorted(g.members)), _scale(g.high - g.low, space), g.low, g.high) for g in groups]
    return tuple(sorted(found, key=lambda cluster: cluster.members))


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    members: tuple[int, ...]
    low: NDArray[np.float64]
    high: NDArray[np.float64]

    def united(self, other: _Group) -> _Group:
        return _Group(self.members + other.members, np.minimum(self.low, other.low), np.maximum(self.high, other.high))


def _together(groups: list[_Group], most_mm: NDArray[np.float64]) -> list[_Group]:
    """Pairs are united, those first whose common box is least, as long as one fits."""
    while True:
        pairs = [(one, other, one.united(other)) for one, other in combinations(groups, 2)]
        fitting = [pair for pair in pairs if np.all(pair[2].high - pair[2].low <= most_mm)]
        if not fitting:
            return groups
        one, other, both = min(fitting, key=lambda pair: float(np.prod(pair[2].high - pair[2].low)))
        groups = [group for group in groups if group is not one and group is not other] + [both]


def _scale(size_mm: NDArray[np.float64], space: NDArray[np.float64]) -> int:
    return next((scale for scale in SCALES if np.all(size_mm <= scale * space)), SCALES[-1])
