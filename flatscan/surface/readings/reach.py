"""How far a floor reaches whose outline nobody stated: as far as it was read."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Neighbours with a side this many times the usual one are none: between them lies the corner of an L. One place missed
#: on a square grid makes a side of 2 / sqrt(2) = 1.41 times the usual diagonal, the first step across a corner 1.58.
_FAR = 1.5
#: A bite smaller than this share of the hull is an uneven border, not a corner.
_BITE = 0.03


def hull_mm(places_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """(k, 2) convex ring around places (m, 2), closed."""
    from shapely.geometry import MultiPoint

    return np.array(MultiPoint(places_mm).convex_hull.exterior.coords, dtype=np.float64)


def reach_mm(places_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """(k, 2) ring around places (m, 2) read one by one, closed: their hull, without the corners that nobody read.

    Triangles between neighbours (Delaunay) whose longest side is usual; what they enclose counts. The hull where they
    part the floor or leave out a place that was read.
    """
    from scipy.spatial import Delaunay
    from shapely import covers, multipoints, polygons, union_all
    from shapely.geometry import Polygon

    hull = hull_mm(places_mm)
    corners = places_mm[Delaunay(places_mm).simplices]
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    # A hundredth of a millimetre joins triangles that rounding has parted.
    whole = union_all(polygons(corners[longest <= _FAR * np.median(longest)])).buffer(0.01, join_style="mitre")
    if not isinstance(whole, Polygon) or not covers(whole, multipoints(places_mm)):
        return hull
    if whole.area > (1.0 - _BITE) * Polygon(hull).area:
        return hull
    return np.array(Polygon(whole.exterior).simplify(1.0).exterior.coords, dtype=np.float64)
