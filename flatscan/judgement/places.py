"""Places on the floor, in words that a person with a tape can follow, and the parts that were not seen."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.constants import MM2_PER_M2

if TYPE_CHECKING:
    from flatscan.judgement.verdict import Point
    from flatscan.surface.surface import Surface

#: Unseen patches smaller than this (14 cm square) count in the unseen share but are not listed one by one.
LEAST_LISTED_M2 = 0.02

_HEADINGS = ("right", "top right", "top", "top left", "left", "bottom left", "bottom", "bottom right")


def heading(direction_rad: float) -> str:
    """A direction as seen on the map.

    >>> import math
    >>> heading(0.1), heading(math.pi), heading(-0.8)
    ('right', 'left', 'bottom right')
    """
    eighth = round(direction_rad / (math.pi / 4.0)) % len(_HEADINGS)
    return _HEADINGS[eighth]


def place_in_words(at: Point) -> str:
    """Where a floor-frame point (mm) lies; left and bottom are those of the map, where x and y are 0.

    >>> place_in_words((1234.0, 400.0))
    '1.23 m from the left wall, 0.40 m from the bottom wall'
    """
    x, y = (said.tape(v) for v in at)
    return f"{x} from the left wall, {y} from the bottom wall"


def unseen_patches(surface: Surface) -> list[tuple[float, Point]]:
    """(area in m², a floor-frame point in its middle) of every unseen patch worth listing, largest first.

    The point is the patch's cell nearest to its centroid, so that it lies in the patch whatever its shape.
    """
    from scipy import ndimage

    labels, count = ndimage.label(surface.inside & ~surface.seen, structure=np.ones((3, 3)))
    cell_m2 = surface.cell_mm**2 / MM2_PER_M2
    found = []
    for number, box in enumerate(ndimage.find_objects(labels, max_label=count), start=1):
        rows, cols = np.nonzero(labels[box] == number)
        if rows.size * cell_m2 < LEAST_LISTED_M2:
            continue
        nearest = int(np.argmin((rows - rows.mean()) ** 2 + (cols - cols.mean()) ** 2))
        at = surface.xy_mm(float(rows[nearest] + box[0].start), float(cols[nearest] + box[1].start))
        found.append((rows.size * cell_m2, at))
    return sorted(found, reverse=True)
