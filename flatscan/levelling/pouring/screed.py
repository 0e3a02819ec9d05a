"""One plane over the floor, struck off with a straightedge: it may fall, which a pour cannot."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM_PER_M
from flatscan.judgement.places import heading
from flatscan.levelling.plan import Proposal
from flatscan.levelling.pouring.breaches import breaches
from flatscan.levelling.pouring.layer_bounds import thinnest_mm, too_thick_words
from flatscan.levelling.pouring.lowest_plane import NoPlaneError, lowest_plane
from flatscan.levelling.pouring.regions import OWN, Regions, fixed_fill_mm, own_height
from flatscan.quantity import Quantity
from flatscan.surface.planes import Plane

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.binding.bounds import Bounds
    from flatscan.levelling.filling.least_fill import EdgeRule
    from flatscan.levelling.plan import Product
    from flatscan.levelling.targets import Target
    from flatscan.surface.surface import Surface

#: The plane meets floor that keeps its height this much better than the limit, so that rounding does not take it over.
_AIM_BELOW_MM = 0.001


def screed(
    surface: Surface,
    height_mm: NDArray[np.floating],
    bounds: Bounds,
    targets: Sequence[Target],
    rule: EdgeRule,
    product: Product,
) -> Proposal:
    """The plane of least volume that lies at least the least layer over the floor everywhere.

    It covers the whole floor but movement joints and floor that keeps its slope, takes nothing or has a fixed height;
    that gets what its rule says, and the plane meets it within the tightest limit if it can. It keeps below the
    greatest build-up and the product's greatest layer if any plane can. A plane shows no gap, so the limits are only
    looked at where there is floor of another height. ``why_not`` as for ``flood``.

    Parameters
    ----------
    height_mm : (rows, cols), heights about the reference plane; NaN is not seen and gets no fill
    targets : (edge_mm, limit_mm) pairs
    rule : how the edge is laid
    """
    height = np.asarray(height_mm, dtype=np.float64)
    plane, fill = _laid(surface, height, bounds, product, targets)
    return Proposal(
        name="screed",
        fill_mm=fill.astype(np.float32),
        grind_mm=np.where(np.isfinite(fill), 0.0, np.nan).astype(np.float32),
        why_not=_why_not(surface, height, fill, bounds, targets, rule, product),
        notes=_fall_words(plane, surface),
    )


def screed_again(
    surface: Surface,
    height_mm: NDArray[np.floating],
    bounds: Bounds,
    product: Product,
    targets: Sequence[Target] = (),
) -> NDArray[np.float64]:
    """Fill of the plane that :func:`screed` lays over another draw of the floor; (rows, cols), mm, NaN where not seen.

    ``targets``: as for :func:`screed`, so that the plane meets floor that keeps its height; no gap is measured.
    """
    return _laid(surface, np.asarray(height_mm, dtype=np.float64), bounds, product, targets)[1]


def _laid(
    surface: Surface, height: NDArray[np.float64], bounds: Bounds, product: Product, targets: Sequence[Target]
) -> tuple[Plane, NDArray[np.float64]]:
    """The plane and its fill."""
    own = surface.inside & own_height(bounds)
    seen = np.isfinite(height)
    covered = surface.inside & ~own & ~bounds.blocked & seen
    fill = np.where(seen, fixed_fill_mm(bounds), np.nan)
    rows, cols = np.nonzero(covered)
    x, y, z = (*_place(surface, rows, cols), height[covered])
    if not len(z):
        return Plane(0.0, 0.0, 0.0), fill
    greatest = np.inf if product.greatest_layer_mm is None else product.greatest_layer_mm
    low = z + thinnest_mm(bounds, product)[covered]
    high = z + np.minimum(bounds.most_fill_mm[covered], greatest)
    plane, excess = _plane_over(x, y, low, high)
    beside = _beside(own & ~bounds.keeps_slope & seen, covered) if targets and excess == 0.0 else own & False
    if beside.any():
        nearest = min(limit_mm for _, limit_mm in targets) - _AIM_BELOW_MM
        finished = (height + fill)[beside]
        bx, by = _place(surface, *np.nonzero(beside))
        meeting, excess = _plane_over(
            np.concatenate([x, bx]),
            np.concatenate([y, by]),
            np.concatenate([low, finished - nearest]),
            np.concatenate([high, finished + nearest]),
            counted=len(z),
        )
        plane = meeting if excess == 0.0 else plane
    fill[covered] = np.maximum(plane.height_mm(x, y) - z, 0.0)
    return plane, fill


def _plane_over(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    counted: int | None = None,
) -> tuple[Plane, float]:
    """``lowest_plane``; a level one over a floor so narrow that it makes no plane."""
    try:
        return lowest_plane(x, y, low, high, counted=counted)
    except NoPlaneError:
        height = float(low.max())
        return Plane(0.0, 0.0, height), max(0.0, float((height - high).max()))


def _place(
    surface: Surface, rows: NDArray[np.intp], cols: NDArray[np.intp]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Floor-frame x and y of the middles of cells, mm."""
    x0, y0 = surface.origin_mm
    x, y = x0 + (cols + 0.5) * surface.cell_mm, y0 + (rows + 0.5) * surface.cell_mm
    return np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)


def _beside(own: NDArray[np.bool_], covered: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Cells of floor of another height that share a side with the plane's."""
    from scipy import ndimage

    beside: NDArray[np.bool_] = own & ndimage.binary_dilation(covered) if own.any() else own
    return beside


def _why_not(
    surface: Surface,
    height: NDArray[np.float64],
    fill: NDArray[np.float64],
    bounds: Bounds,
    targets: Sequence[Target],
    rule: EdgeRule,
    product: Product,
) -> str:
    own = surface.inside & own_height(bounds)
    laid = np.where(own | bounds.blocked, 0.0, fill)
    words = too_thick_words(surface, laid, bounds, product, "The screed")
    if words or not (own & ~bounds.keeps_slope & np.isfinite(height)).any():
        return words
    finished = np.where(bounds.blocked, np.nan, height + fill)
    regions = Regions(np.where(own, OWN, surface.inside).astype(np.int32), np.array([0, 1], dtype=np.int32))
    found = breaches(finished, regions, bounds, targets, rule)
    worst = max(found, key=lambda b: b.gap_mm / b.limit_mm, default=None)
    return "" if worst is None else f"A screed to one plane leaves {worst.words(surface, bounds)}"


def _fall_words(plane: Plane, surface: Surface) -> tuple[str, ...]:
    """How the plane falls against gravity; nothing where gravity is not known."""
    if surface.slope is None:
        return ()
    fall, way = surface.slope.fall, surface.slope.direction_rad
    down_x = fall.value * math.cos(way) - MM_PER_M * plane.a
    down_y = fall.value * math.sin(way) - MM_PER_M * plane.b
    steep = Quantity(math.hypot(down_x, down_y), fall.u, "mm/m")
    if steep.value < steep.expanded:
        return (f"The plane is level within what is known: {steep.size_text()}",)
    return (f"The plane falls {steep.text()} towards the {heading(math.atan2(down_y, down_x))} of the map",)
