"""The plan of an invented room: a polygon, anticlockwise, its longest wall along x from the origin."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

_CORNERS_AT_LEAST = 3


def rectangle(length_mm: float, width_mm: float) -> NDArray[np.float64]:
    """Corners (4, 2) mm of a room ``length_mm`` along x and ``width_mm`` along y."""
    return l_shape(length_mm, width_mm, 0.0, 0.0)


def l_shape(length_mm: float, width_mm: float, notch_x_mm: float, notch_y_mm: float) -> NDArray[np.float64]:
    """Corners (6, 2) mm of a room whose far corner (largest x and y) is cut out by a notch.

    A notch of size zero gives the plain rectangle (4, 2).
    """
    if not (0 <= notch_x_mm < length_mm and 0 <= notch_y_mm < width_mm):
        raise ValueError("the notch must be smaller than the room")
    if notch_x_mm == 0 or notch_y_mm == 0:
        corners = [(0, 0), (length_mm, 0), (length_mm, width_mm), (0, width_mm)]
    else:
        inner_x, inner_y = length_mm - notch_x_mm, width_mm - notch_y_mm
        corners = [(0, 0), (length_mm, 0), (length_mm, inner_y), (inner_x, inner_y), (inner_x, width_mm), (0, width_mm)]
    return np.array(corners, dtype=np.float64)


def check_outline(outline_mm: NDArray[np.float64]) -> None:
    """Refuse what is not an anticlockwise ring of at least three corners."""
    if outline_mm.ndim != 2 or outline_mm.shape[1] != 2 or len(outline_mm) < _CORNERS_AT_LEAST:  # noqa: PLR2004
        raise ValueError("outline_mm must be (k, 2) with k >= 3")
    if signed_area_mm2(outline_mm) <= 0:
        raise ValueError("outline_mm must run anticlockwise")


def signed_area_mm2(outline_mm: NDArray[np.float64]) -> float:
    """Area by the shoelace formula; positive when the ring runs anticlockwise."""
    x, y = outline_mm.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def inside(outline_mm: NDArray[np.float64], x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether each point lies in the ring: even-odd rule, one ray to +x. Any shape of points."""
    odd = np.zeros(np.broadcast(x_mm, y_mm).shape, dtype=bool)
    for (ax, ay), (bx, by) in zip(outline_mm, np.roll(outline_mm, -1, axis=0), strict=True):
        if ay == by:
            continue
        crosses = (ay > y_mm) != (by > y_mm)
        odd ^= crosses & (x_mm < ax + (y_mm - ay) * (bx - ax) / (by - ay))
    return odd


def cell_centres(
    outline_mm: NDArray[np.float64], cell_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Centres of the cells that cover the ring's bounding box: x (cols,), y (rows,), and which lie inside."""
    low, high = outline_mm.min(axis=0), outline_mm.max(axis=0)
    cols, rows = np.ceil((high - low) / cell_mm - 1e-9).astype(int)
    x_mm = low[0] + (np.arange(cols) + 0.5) * cell_mm
    y_mm = low[1] + (np.arange(rows) + 0.5) * cell_mm
    return x_mm, y_mm, inside(outline_mm, x_mm[None, :], y_mm[:, None])
