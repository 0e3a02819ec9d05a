"""The order of the lays: row after row, the nearest end first, so that a person walks little and loses no row."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from flatscan.sheet.rows import Lay, Row
    from flatscan.sources.hand.field_readings import Point

_Name = TypeVar("_Name")


def walked(families: Mapping[_Name, tuple[Row, ...]]) -> Iterator[tuple[_Name, Point, Point]]:
    """All lays of one family, then of the next, from corner 0; a row is walked from its nearer end, and so read."""
    here = (0.0, 0.0)
    for name, rows in families.items():
        left = list(rows)
        while left:
            row, backwards = min(
                ((row, backwards) for row in left for backwards in (False, True)),
                key=lambda choice: math.dist(here, _middle(choice[0][-1 if choice[1] else 0])),
            )
            left.remove(row)
            lays = [(end, start) for start, end in reversed(row)] if backwards else list(row)
            for start, end in lays:
                yield name, start, end
            here = _middle(lays[-1])


def _middle(lay: Lay) -> Point:
    (x0, y0), (x1, y1) = lay
    return (x0 + x1) / 2.0, (y0 + y1) / 2.0
