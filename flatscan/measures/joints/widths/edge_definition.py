"""A limit seldom says where a tile ends. The width it means lies between the two it could mean."""

from __future__ import annotations

import math

#: How far a tile's rounded or bevelled edge reaches in from its side, mm, when nobody measured it: anywhere between
#: these with equal chance. Common practice, no source.
TILE_EDGE_MM = (0.3, 1.2)


def between_walls_and_tops(
    wall_mm: float, u_mm: float, *, tile_edge_mm: float | None
) -> tuple[float, float, dict[str, float]]:
    """Width to hold against a limit that does not say between what it is measured.

    A tile's edge is rounded over r. Between the tiles' sides the joint is ``wall`` wide, which is what a photo shows;
    between the ends of the flat faces it is ``wall + 2 r``, which is what a straightedge or a depth profile shows.
    Where the limit does not say, the judged width is ``wall + delta``, with delta anywhere between 0 and 2 r with equal
    chance (assumption; common practice, no source). Given r, delta has mean r and variance (2 r)²/12 = r²/3
    (JCGM 100, 4.3.7). With r itself uniform between ``TILE_EDGE_MM``: mean E[r] = 0.75 mm, and by the law of total
    variance E[r²]/3 + Var[r] = 0.63/3 + 0.0675 = 0.2775 mm², 0.53 mm.

    Parameters
    ----------
    wall_mm, u_mm : width between the tiles' sides and its standard uncertainty
    tile_edge_mm : r, where it is known

    Returns
    -------
    The width, its standard uncertainty, and the parts of that: ``wall`` and ``edge_definition``.

    >>> width, u, parts = between_walls_and_tops(4.0, 0.1, tile_edge_mm=None)
    >>> round(width, 2), round(u, 2), round(parts["edge_definition"], 2)
    (4.75, 0.54, 0.53)
    """
    if tile_edge_mm is not None and tile_edge_mm < 0.0:
        raise ValueError("tile_edge_mm must not be negative")
    mean_mm, variance_mm2 = _delta(TILE_EDGE_MM if tile_edge_mm is None else (tile_edge_mm, tile_edge_mm))
    definition_mm = math.sqrt(variance_mm2)
    return wall_mm + mean_mm, math.hypot(u_mm, definition_mm), {"wall": u_mm, "edge_definition": definition_mm}


def _delta(edge_mm: tuple[float, float]) -> tuple[float, float]:
    """Mean and variance of delta, uniform between 0 and 2 r, with r uniform between the two."""
    low, high = edge_mm
    mean = (low + high) / 2.0
    spread = (high - low) ** 2 / 12.0
    return mean, (mean**2 + spread) / 3.0 + spread
