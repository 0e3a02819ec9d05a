"""Lips: which are ground down, and a ramp on the low side for those that may not be."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM3_PER_LITRE, MM_PER_M

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.bounds import Bounds
    from flatscan.levelling.joint_work import JointWork, LipDown
    from flatscan.levelling.plan import Product
    from flatscan.surface.surface import Surface

#: A lip is brought this far below its limit, so that it meets it when it is measured again, mm.
AIM_BELOW_MM = 0.2
#: So far from a joint's centre line the first cell of the tile beside it is looked for, over the cell's own size, mm.
_REACH_MM = 40.0
Cells = tuple["NDArray[np.intp]", "NDArray[np.intp]"]


def excess_mm(lip: LipDown) -> float:
    """By how much a lip must become less, ``AIM_BELOW_MM`` below its limit."""
    return max(0.0, lip.lip.value - max(0.0, lip.limit_mm - AIM_BELOW_MM))


def lips_to_grind(surface: Surface, bounds: Bounds, work: JointWork | None) -> tuple[LipDown, ...]:
    """The lips over their limit that may be ground as deep as needed all along the high tile."""
    over = [] if work is None else [lip for lip in work.lips if lip.word == "over"]
    return tuple(lip for lip in over if _may_grind(surface, bounds, lip))


def lip_ramps(
    surface: Surface, bounds: Bounds, work: JointWork | None, product: Product
) -> tuple[NDArray[np.float32], tuple[LipDown, ...]]:
    """What must be filled beside the lips that may not be ground, and the lips that stay all the same.

    Returns
    -------
    least_mm : (rows, cols) float32, fill in the low tile's cells right at the joint, along the whole of it, since a
        piece's lip figures stand or fall together; 0 elsewhere. It is still to be run out from there
        (``product.feather_mm_per_m``)
    stays : lips whose low side was not seen or may not be filled so high, or where the product's least layer would
        make a new lip the other way round
    """
    least = np.zeros(surface.inside.shape, dtype=np.float32)
    stays = []
    ground = lips_to_grind(surface, bounds, work)
    for lip in [] if work is None else work.lips:
        if lip.word != "over" or lip in ground:
            continue
        cells = beside(surface, bounds, lip, high=False)
        need = max(excess_mm(lip), product.least_layer_mm)
        turned_mm = need - lip.lip.value  # the low tile would stand higher by so much
        if cells[0].size == 0 or float(bounds.most_fill_mm[cells].min()) < need or turned_mm > lip.limit_mm:
            stays.append(lip)
            continue
        least[cells] = np.maximum(least[cells], np.float32(need))
    return least, tuple(stays)


def ground_at_lips(lips: Sequence[LipDown], product: Product) -> tuple[float, float]:
    """(litres, m²) that grinding these lips takes off: a wedge that runs out as gently as an edge of fill.

    ``excess`` high at the joint and ``excess / feather`` wide, over the length that is over.
    """
    slope = product.feather_mm_per_m / MM_PER_M
    if slope <= 0.0:
        return 0.0, 0.0
    wide = [(lip.length_mm, excess_mm(lip) / slope, excess_mm(lip)) for lip in lips]
    mm3 = sum(length * width * height / 2.0 for length, width, height in wide)
    return mm3 / MM3_PER_LITRE, sum(length * width for length, width, _ in wide) / MM_PER_M**2


def beside(surface: Surface, bounds: Bounds, lip: LipDown, *, high: bool) -> Cells:
    """Rows and columns of the seen cells on one tile right at the joint; cells a straightedge bridges do not count."""
    (ax, ay), (bx, by) = lip.line[0], lip.line[-1]
    length = math.dist((ax, ay), (bx, by))
    none = np.empty(0, dtype=np.intp)
    if length <= 0.0:
        return none, none
    way = np.array([bx - ax, by - ay]) / length
    left = np.array([-way[1], way[0]])
    to_high = math.copysign(1.0, float(np.dot(np.subtract(lip.high_at, (ax, ay)), left)))
    normal = left * (to_high if high else -to_high)
    step = surface.cell_mm / 2.0
    along = np.arange(step / 2.0, length, step)
    out = np.arange(step / 2.0, _REACH_MM + surface.cell_mm, step)
    x = ax + way[0] * along[:, None] + normal[0] * out[None, :]
    y = ay + way[1] * along[:, None] + normal[1] * out[None, :]
    cols = np.floor((x - surface.origin_mm[0]) / surface.cell_mm).astype(np.intp)
    rows = np.floor((y - surface.origin_mm[1]) / surface.cell_mm).astype(np.intp)
    height, width = surface.inside.shape
    on = (rows >= 0) & (rows < height) & (cols >= 0) & (cols < width)
    usable = surface.seen & ~bounds.blocked
    good = on & usable[np.clip(rows, 0, height - 1), np.clip(cols, 0, width - 1)]
    good &= _middle_on_side(surface, rows, cols, (ax, ay), normal)
    first = good.argmax(axis=1)[good.any(axis=1)]
    picked = np.flatnonzero(good.any(axis=1))
    pairs = np.unique(np.column_stack([rows[picked, first], cols[picked, first]]), axis=0)
    return pairs[:, 0], pairs[:, 1]


def _middle_on_side(
    surface: Surface,
    rows: NDArray[np.intp],
    cols: NDArray[np.intp],
    start: tuple[float, float],
    normal: NDArray[np.float64],
) -> NDArray[np.bool_]:
    """Whether a cell's middle lies beyond the centre line on the side that ``normal`` points to."""
    x = surface.origin_mm[0] + (cols + 0.5) * surface.cell_mm - start[0]
    y = surface.origin_mm[1] + (rows + 0.5) * surface.cell_mm - start[1]
    side: NDArray[np.bool_] = x * normal[0] + y * normal[1] > 0.0
    return side


def _may_grind(surface: Surface, bounds: Bounds, lip: LipDown) -> bool:
    cells = beside(surface, bounds, lip, high=True)
    return cells[0].size > 0 and float(bounds.most_grind_mm[cells].min()) >= excess_mm(lip)
