"""The faces between the joints: rings anticlockwise, and which face lies on which side of each piece."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


def faces_of(
    nodes: NDArray[np.float64], links: NDArray[np.int64], most_mm2: float
) -> tuple[list[NDArray[np.float64]], NDArray[np.int64]]:
    """Rings (k, 2), anticlockwise, not closed, and per piece the face to its left and right, -1 for none."""
    import shapely

    sides = np.full((len(links), 2), -1, dtype=np.int64)
    if len(links) == 0:
        return [], sides
    lines = shapely.linestrings(nodes[links])
    polygons = shapely.get_parts(shapely.polygonize(lines))
    polygons = polygons[shapely.area(polygons) < most_mm2]
    if len(polygons) == 0:
        return [], sides
    rings = []
    for polygon in polygons:
        xy = np.asarray(polygon.exterior.coords, dtype=np.float64)[:-1]
        twice = np.sum(xy[:, 0] * np.roll(xy[:, 1], -1) - np.roll(xy[:, 0], -1) * xy[:, 1])
        rings.append(np.ascontiguousarray(xy if twice > 0 else xy[::-1]))
    start, way = nodes[links[:, 0]], nodes[links[:, 1]] - nodes[links[:, 0]]
    length = np.linalg.norm(way, axis=1)[:, None]
    normal = np.column_stack([-way[:, 1], way[:, 0]]) / length
    tree = shapely.STRtree(polygons)
    for side, sign in enumerate((1.0, -1.0)):
        beside = shapely.points(start + 0.5 * way + sign * np.minimum(1.0, 0.1 * length) * normal)
        piece, face = tree.query(beside, predicate="within")
        sides[piece, side] = face
    return rings, sides
