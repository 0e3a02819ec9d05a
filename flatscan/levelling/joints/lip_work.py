"""Lips: which are ground down, and a ramp on the low side for those that may not be."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM3_PER_LITRE, MM_PER_M

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.binding.bounds import Bounds
    from flatscan.levelling.joints.joint_work import JointWork, LipDown
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
    """Ramps beside the lips that may not be ground, and the lips that stay all the same.

    A ramp lies on the low tile along the whole joint, since a piece's lip figures stand or fall together; there it is
    as high as the lip is too high, or the product's least layer, and from there it runs out over the low side alone.
    Other fill is laid on the floor with its ramps: given to ``least_fill`` as fill that is there anyway, a ramp would
    be made to run out over the high tile too, and the lip would be back.

    Returns
    -------
    least_mm : (rows, cols) float32, thickness of the ramps; 0 elsewhere
    stays : lips whose low side was not seen or may not be filled so high, or where the product's least layer would
        make a new lip the other way round
    """
    least = np.zeros(surface.inside.shape, dtype=np.float32)
    stays = []
    ground = lips_to_grind(surface, bounds, work)
    for lip in [] if work is None else work.lips:
        if lip.word != "over" or lip in ground:
            continue
        need = max(excess_mm(lip), product.least_layer_mm)
        ramp = _ramp(surface, bounds, lip, need, product.feather_mm_per_m)
        turned_mm = need - lip.lip.value  # the low tile would stand higher by so much
        if ramp is None or turned_mm > lip.limit_mm or bool((ramp > bounds.most_fill_mm).any()):
            stays.append(lip)
        else:
            np.maximum(least, ramp, out=least)
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
    start, way, length = _line(lip)
    none = np.empty(0, dtype=np.intp)
    if length <= 0.0:
        return none, none
    normal = _to_side(lip, high=high)
    step = surface.cell_mm / 2.0
    along = np.arange(step / 2.0, length, step)
    out = np.arange(step / 2.0, _REACH_MM + surface.cell_mm, step)
    x = start[0] + way[0] * along[:, None] + normal[0] * out[None, :]
    y = start[1] + way[1] * along[:, None] + normal[1] * out[None, :]
    cols = np.floor((x - surface.origin_mm[0]) / surface.cell_mm).astype(np.intp)
    rows = np.floor((y - surface.origin_mm[1]) / surface.cell_mm).astype(np.intp)
    height, width = surface.inside.shape
    on = (rows >= 0) & (rows < height) & (cols >= 0) & (cols < width)
    usable = surface.seen & ~bounds.blocked
    good = on & usable[np.clip(rows, 0, height - 1), np.clip(cols, 0, width - 1)]
    good &= _on_side(surface, rows, cols, lip, high=high)
    picked = np.flatnonzero(good.any(axis=1))
    first = good.argmax(axis=1)[picked]
    pairs = np.unique(np.column_stack([rows[picked, first], cols[picked, first]]), axis=0)
    return pairs[:, 0], pairs[:, 1]


def _ramp(
    surface: Surface, bounds: Bounds, lip: LipDown, need_mm: float, slope_mm_per_m: float
) -> NDArray[np.float32] | None:
    """(rows, cols) float32: ``need_mm`` in the low tile's cells at the joint, falling from there; None: not seen."""
    from scipy import ndimage

    foot = beside(surface, bounds, lip, high=False)
    if foot[0].size == 0:
        return None
    ramp = np.zeros(surface.inside.shape, dtype=np.float32)
    reach = math.ceil(need_mm / (slope_mm_per_m / MM_PER_M) / surface.cell_mm) if slope_mm_per_m > 0.0 else 0
    box = tuple(slice(max(0, int(at.min()) - reach), int(at.max()) + reach + 1) for at in foot)
    away = np.ones(surface.inside.shape, dtype=bool)
    away[foot] = False
    away_mm = ndimage.distance_transform_edt(away[box]) * surface.cell_mm
    thick = np.where(away[box], need_mm - slope_mm_per_m / MM_PER_M * away_mm, need_mm)
    rows, cols = (np.arange(part.start, part.start + size) for part, size in zip(box, away_mm.shape, strict=True))
    low = _on_side(surface, rows[:, None], cols[None, :], lip, high=False) & (surface.seen & ~bounds.blocked)[box]
    # Without a slope there is no way to run out: the ramp is a step in the cells at the joint.
    ramp[box] = np.where(low & ((slope_mm_per_m > 0.0) | ~away[box]), np.maximum(thick, 0.0), 0.0)
    return ramp


def _line(lip: LipDown) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Start, unit way and length of the joint's centre line."""
    start, end = np.array(lip.line[0], dtype=np.float64), np.array(lip.line[-1], dtype=np.float64)
    length = float(np.hypot(*(end - start)))
    return start, (end - start) / max(length, 1e-9), length


def _to_side(lip: LipDown, *, high: bool) -> NDArray[np.float64]:
    """Unit vector square to the joint, towards the high or the low tile."""
    start, way, _ = _line(lip)
    left = np.array([-way[1], way[0]])
    to_high = math.copysign(1.0, float(np.dot(np.asarray(lip.high_at) - start, left)))
    return np.asarray(left * (to_high if high else -to_high))


def _on_side(
    surface: Surface, rows: NDArray[np.intp], cols: NDArray[np.intp], lip: LipDown, *, high: bool
) -> NDArray[np.bool_]:
    """Whether a cell's middle lies beyond the joint's line on that side."""
    start, normal = _line(lip)[0], _to_side(lip, high=high)
    x = surface.origin_mm[0] + (cols + 0.5) * surface.cell_mm - start[0]
    y = surface.origin_mm[1] + (rows + 0.5) * surface.cell_mm - start[1]
    side: NDArray[np.bool_] = x * normal[0] + y * normal[1] > 0.0
    return side


def _may_grind(surface: Surface, bounds: Bounds, lip: LipDown) -> bool:
    cells = beside(surface, bounds, lip, high=True)
    return cells[0].size > 0 and float(bounds.most_grind_mm[cells].min()) >= excess_mm(lip)
