"""Joints found in two pictures of one floor put together: positions from the finer, what it lacks from the other."""

from __future__ import annotations

import numpy as np

from flatscan.measures.joints.finding.crossings import cut_at_crossings
from flatscan.measures.joints.finding.graph import Graph, dissolved, without_dangling

#: A joint of the coarser picture is the finer one's within this, mm and coarse pixels, whichever is more.
_SAME_MM = 8.0
_SAME_PX = 3.0
#: Rests of joints shorter than this are no more than the two pictures' difference, mm.
_LEAST_MM = 45.0


def united(fine: Graph, coarse: Graph, coarse_pixel_mm: float) -> Graph:
    """The finer graph with what only the coarser one shows."""
    import shapely

    beside = max(_SAME_MM, _SAME_PX * coarse_pixel_mm)
    kept = shapely.union_all(shapely.linestrings(fine.nodes_mm[fine.links]))
    other = shapely.linestrings(coarse.nodes_mm[coarse.links])
    shapely.prepare(kept)
    rest = shapely.difference(other, kept.buffer(beside))
    parts, source = shapely.get_parts(rest, return_index=True)
    long = shapely.length(parts) > _LEAST_MM
    parts, source = parts[long], source[long]
    if len(parts) == 0:
        return fine
    extra = np.array([(p.coords[0], p.coords[-1]) for p in parts], dtype=np.float64)
    # What was cut off beside the finer lines is drawn on again, so that the rests meet them.
    way = extra[:, 1] - extra[:, 0]
    way = way / np.linalg.norm(way, axis=1)[:, None]
    extra = np.stack([extra[:, 0] - (beside + 2.0) * way, extra[:, 1] + (beside + 2.0) * way], axis=1)
    every = np.concatenate([fine.nodes_mm[fine.links], extra])
    z_of = np.concatenate([fine.z, coarse.z[source]])
    nodes, links = cut_at_crossings(every, max(4.0, coarse_pixel_mm))
    tree = shapely.STRtree(shapely.linestrings(every))
    middle = shapely.points(nodes[links].mean(axis=1))
    nearest = tree.nearest(middle)
    keep = without_dangling(nodes, links, np.ones(len(links), dtype=np.bool_), np.full(len(nodes), beside + 4.0))
    return dissolved(Graph(nodes, links[keep], z_of[nearest][keep]))
