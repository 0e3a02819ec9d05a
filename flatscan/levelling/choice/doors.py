"""How far the finished floor rises at the doors."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.levelling.plan import DoorRise
from flatscan.sources.survey.survey import Door

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.settings import Segment
    from flatscan.surface.surface import Surface

#: A door's line is drawn this near to the floor it leads on to; the strip along the walls comes on top.
_NEAR_MM = 100.0


def doors_of(surveyed: Sequence[Door], drawn_mm: Sequence[Segment]) -> tuple[Door, ...]:
    """The survey's doors, then those drawn on the map by both ends; what has no name is numbered.

    >>> [door.name for door in doors_of([Door("hall", ((0, 0), (900, 0)))], [((0, 5), (0, 900)), ((9, 5), (9, 90))])]
    ['hall', 'door 1', 'door 2']
    """
    return (*surveyed, *(Door(f"door {number}", line) for number, line in enumerate(drawn_mm, start=1)))


def door_rises(rise_mm: NDArray[np.floating], surface: Surface, doors: Sequence[Door]) -> tuple[DoorRise, ...]:
    """Mean and most of the rise near each door's line; a door beside which no floor was seen is left out.

    ``rise_mm``: (rows, cols) finished floor less old floor, NaN not seen. Near is within 100 mm and the strip along
    the walls that is not judged.
    """
    found = []
    for door in doors:
        near = _near(surface, door.line_mm, _NEAR_MM + surface.strip_mm)
        here = rise_mm[near & np.isfinite(rise_mm)]
        if here.size:
            mean, most = float(here.mean(dtype=np.float64)), float(here.max())
            found.append(DoorRise(door.name, mean, most, door.greatest_build_up_mm))
    return tuple(found)


def _near(surface: Surface, line: Segment, within_mm: float) -> NDArray[np.bool_]:
    """(rows, cols) bool: cells whose middle lies so near to the line."""
    (ax, ay), (bx, by) = line
    rows, cols = surface.inside.shape
    x = surface.origin_mm[0] + (np.arange(cols) + 0.5) * surface.cell_mm - ax
    y = surface.origin_mm[1] + (np.arange(rows) + 0.5) * surface.cell_mm - ay
    length = math.dist((ax, ay), (bx, by))
    way = ((bx - ax) / length, (by - ay) / length) if length > 0.0 else (0.0, 0.0)
    along = np.clip(x[None, :] * way[0] + y[:, None] * way[1], 0.0, length)
    near: NDArray[np.bool_] = np.hypot(x[None, :] - along * way[0], y[:, None] - along * way[1]) <= within_mm
    return near
