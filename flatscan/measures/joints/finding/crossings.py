"""Lines cut at their crossings, with crossings that lie almost at one place made one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


def cut_at_crossings(segments: NDArray[np.float64], snap_mm: float) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Nodes (n, 2) mm and pieces (m, 2) of node numbers; nodes closer than ``snap_mm`` are one, at their mean."""
    import shapely

    if len(segments) == 0:
        return np.empty((0, 2)), np.empty((0, 2), np.int64)
    noded = shapely.get_parts(shapely.node(shapely.multilinestrings(shapely.linestrings(segments))))
    ends = np.array([(p.coords[0], p.coords[-1]) for p in noded], dtype=np.float64)
    return joined(ends, snap_mm)


def joined(pieces: NDArray[np.float64], snap_mm: float) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Nodes and pieces of straight pieces (n, 2, 2) whose ends meet within ``snap_mm``."""
    import shapely
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    points = pieces.reshape(-1, 2)
    tree = shapely.STRtree(shapely.points(points))
    a, b = tree.query(shapely.points(points), predicate="dwithin", distance=snap_mm)
    count, node = connected_components(coo_matrix((np.ones(len(a)), (a, b)), shape=(len(points), len(points))), False)
    number = np.bincount(node, minlength=count)
    nodes = np.column_stack([np.bincount(node, points[:, k], count) / number for k in (0, 1)])
    links = np.sort(node.reshape(-1, 2).astype(np.int64), axis=1)
    links = np.unique(links[links[:, 0] != links[:, 1]], axis=0)
    return nodes, links
