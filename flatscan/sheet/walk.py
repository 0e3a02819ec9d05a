"""The order of the lays: row after row, the nearest end first, so that a person walks little and loses no row."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from flatscan.sheet.rows import Lay, Row
    from flatscan.sources.hand.field_readings import Point

_Name = TypeVar("_Name")


def walked(families: Mapping[_Name, tuple[Row, ...]]) -> Iterator[tuple[_Name, Point, Point]]:
    """All lays of one family, then of the next, from corner 0; a row is walked from its nearer end, and so read.

    Of three orders of a family's rows (as they come, backwards, always on to the nearest) the shortest walk is taken.
    """
    here = (0.0, 0.0)
    for name, rows in families.items():
        if not rows:
            continue
        walks = [_in_turn(rows, here), _in_turn(rows[::-1], here), _nearest_first(rows, here)]
        lays = min(walks, key=lambda walk: _length(walk, here))
        for start, end in lays:
            yield name, start, end
        here = _middle(lays[-1])


def _in_turn(rows: tuple[Row, ...], here: Point) -> list[Lay]:
    walk: list[Lay] = []
    for row in rows:
        walk += _from_nearer_end(row, _middle(walk[-1]) if walk else here)
    return walk


def _nearest_first(rows: tuple[Row, ...], here: Point) -> list[Lay]:
    left: list[Row] = list(rows)
    walk: list[Lay] = []
    while left:
        at = _middle(walk[-1]) if walk else here
        row = min(left, key=lambda row: min(math.dist(at, _middle(row[k])) for k in (0, -1)))
        left.remove(row)
        walk += _from_nearer_end(row, at)
    return walk


def _from_nearer_end(row: Row, here: Point) -> list[Lay]:
    if math.dist(here, _middle(row[-1])) < math.dist(here, _middle(row[0])):
        return [(end, start) for start, end in reversed(row)]
    if len(row) == 1 and math.dist(here, row[0][1]) < math.dist(here, row[0][0]):
        return [row[0][::-1]]
    return list(row)


def _length(walk: list[Lay], here: Point) -> float:
    stops = [here, *(_middle(lay) for lay in walk)]
    return sum(math.dist(a, b) for a, b in itertools.pairwise(stops))


def _middle(lay: Lay) -> Point:
    (x0, y0), (x1, y1) = lay
    return (x0 + x1) / 2.0, (y0 + y1) / 2.0
