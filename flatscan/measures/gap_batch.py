"""Gap maps of many height maps of one floor: what simulated captures need, without directions or contacts."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.measures.chords import LEAST_WINDOW, gap_field
from flatscan.measures.line_family import LineFamily, line_families

if TYPE_CHECKING:
    from types import ModuleType

    from numpy.typing import NDArray

#: With less work than this (cells times directions times steps) waking threads costs more than they save.
WORK_FOR_THREADS = 2_000_000


def gap_batch(
    height_mm: NDArray[np.float32],
    inside: NDArray[np.bool_],
    *,
    cell_mm: float,
    edge_mm: float,
    directions: int = 12,
    bridge_mm: float = 100.0,
) -> NDArray[np.float32]:
    """``gap_field(...).gap_mm`` of each of several height maps, in float32.

    Heights of 10 mm carry 1e-6 mm of rounding: give deviations from the reference plane, not elevations.

    Parameters
    ----------
    height_mm : (maps, rows, cols); NaN is not seen
    inside, cell_mm, edge_mm, directions, bridge_mm : as for ``chords.gap_field``

    Returns
    -------
    gap_mm : (maps, rows, cols), NaN where not seen
    """
    families = line_families(inside.shape, cell_mm=cell_mm, directions=directions)
    kernel = _kernel()
    if kernel is None or max((f.window(edge_mm) for f in families), default=0) > kernel.LONGEST_WINDOW:
        return np.stack(
            [
                gap_field(
                    z, inside, cell_mm=cell_mm, edge_mm=edge_mm, directions=directions, bridge_mm=bridge_mm
                ).gap_mm
                for z in height_mm
            ]
        )
    seen = np.isfinite(height_mm) & inside
    coded = np.where(seen, height_mm, np.where(inside, kernel.UNSEEN, np.float32(np.nan))).astype(np.float32)
    broken = not bool(seen.all())
    gap = np.zeros(coded.shape, dtype=np.float32)
    for columns_major in (True, False):
        half = [f for f in families if f.columns_major is columns_major and f.window(edge_mm) >= LEAST_WINDOW]
        if half and coded.size:
            view = np.ascontiguousarray(coded.transpose(0, 2, 1)) if columns_major else coded
            best = np.zeros_like(view)
            _lay(kernel, view, half, edge_mm, bridge_mm, broken=broken, best=best)
            gap = np.maximum(gap, best.transpose(0, 2, 1) if columns_major else best)
    gap[~seen] = np.nan
    return gap


def _lay(
    kernel: ModuleType,
    view: NDArray[np.float32],
    families: list[LineFamily],
    edge_mm: float,
    bridge_mm: float,
    *,
    broken: bool,
    best: NDArray[np.float32],
) -> None:
    """Directions that follow one axis, which ``view`` and ``best`` (maps, major, minor) have as their second."""
    at_once, n_minor = kernel.LINES_AT_ONCE, view.shape[2]
    readings = max(len(f.offsets) for f in families)
    offsets = np.zeros((len(families), readings), dtype=np.int64)
    laid = np.zeros((len(families), 4), dtype=np.int64)
    for d, family in enumerate(families):
        least, greatest = family.offset_range
        offsets[d, : len(family.offsets)] = family.offsets
        blocks = -(-(n_minor - least + greatest) // at_once)
        window, hole = family.window(edge_mm), family.most_hole(edge_mm, bridge_mm)
        laid[d] = -greatest, window, hole, blocks
    work = view.size * int(laid[:, 1].sum())
    run: Any = kernel.gap_fields_threads if len(view) > 1 and work >= WORK_FOR_THREADS else kernel.gap_fields
    run(view, offsets, laid, broken, best)


@cache
def _kernel() -> ModuleType | None:
    """The compiled search; None where numba is missing or has nowhere to keep its cache."""
    try:
        from flatscan.measures import window_kernel
    except (ImportError, RuntimeError):
        return None
    return window_kernel
