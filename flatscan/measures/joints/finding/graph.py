"""The graph of nodes and pieces while it is being cleaned."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Two pieces at a node without a third are one where the node lies this close to the straight past it, mm.
_STRAIGHT_MM = 2.5
#: A part of the network shorter than this in all is no network, mm.
_LOOSE_MM = 300.0
#: A part whose outline is smaller than this share of a face of the rest lies within a tile.
_ISLAND_SHARE = 1.1
#: Pieces shorter than this, and than this share of the usual one, may tie print to a joint.
_TIE_MM = 45.0
_TIE_SHARE = 0.4
#: Straight on, radians.
_STRAIGHT_ON = 0.15


@dataclass(frozen=True, slots=True, eq=False)
class Graph:
    """``nodes_mm`` (n, 2) float64; ``links`` (m, 2) int64 numbers of nodes; ``z`` (m,) how clearly each was seen."""

    nodes_mm: NDArray[np.float64]
    links: NDArray[np.int64]
    z: NDArray[np.float64]

    @classmethod
    def empty(cls) -> Graph:
        """No joints."""
        return cls(np.empty((0, 2)), np.empty((0, 2), np.int64), np.empty(0))

    @property
    def length_mm(self) -> NDArray[np.float64]:
        """(m,) length of each piece."""
        ends = self.nodes_mm[self.links]
        return np.asarray(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1), dtype=np.float64)

    def only(self, keep: NDArray[np.bool_]) -> Graph:
        """The graph with some of its pieces."""
        return Graph(self.nodes_mm, self.links[keep], self.z[keep])


def without_dangling(
    nodes: NDArray[np.float64], links: NDArray[np.int64], keep: NDArray[np.bool_], least_mm: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Which of the kept pieces stay when chains with a free end shorter than ``least_mm`` (n,) there are cut."""
    import networkx as nx

    graph = nx.Graph()
    for index in np.flatnonzero(keep):
        a, b = links[index]
        graph.add_edge(int(a), int(b), index=int(index), length=float(np.linalg.norm(nodes[a] - nodes[b])))
    todo = [node for node, degree in graph.degree() if degree == 1]
    while todo:
        node = todo.pop()
        if graph.degree(node) != 1:
            continue
        chain, length = _chain(graph, node)
        if length < least_mm[node]:
            graph.remove_edges_from(list(itertools.pairwise(chain)))
            if graph.degree(chain[-1]) == 1:
                todo.append(chain[-1])
    stays = np.zeros(len(links), dtype=np.bool_)
    stays[[data["index"] for _, _, data in graph.edges(data=True)]] = True
    return stays


def _chain(graph, node: int) -> tuple[list[int], float]:  # type: ignore[no-untyped-def]
    """From a free end on to the next crossing or free end, and how long that is."""
    chain, length = [node], 0.0
    while True:
        onward = [n for n in graph[chain[-1]] if len(chain) == 1 or n != chain[-2]]
        if len(onward) != 1:
            return chain, length
        length += graph[chain[-1]][onward[0]]["length"]
        chain.append(onward[0])
        if chain[-1] == node:
            return chain, length


def dissolved(graph: Graph) -> Graph:
    """Drop nodes at which only two pieces meet on one straight; evidence is weighted by length."""
    import networkx as nx

    net = nx.Graph()
    for (a, b), z, length in zip(graph.links, graph.z, graph.length_mm, strict=True):
        net.add_edge(int(a), int(b), z=float(z), length=float(length))
    at = graph.nodes_mm
    # Short bumps first, so that what they leave is straight.
    order = sorted(net, key=lambda n: (min((d["length"] for _, _, d in net.edges(n, data=True)), default=0.0), n))
    for node in order:
        if net.degree(node) != 2:  # noqa: PLR2004 - neither end nor crossing
            continue
        a, b = net[node]
        before, after, past = at[node] - at[a], at[b] - at[node], at[b] - at[a]
        off = abs(before[0] * after[1] - before[1] * after[0]) / max(float(np.linalg.norm(past)), 1e-9)
        if off > _STRAIGHT_MM or before @ after < 0 or net.has_edge(a, b):
            continue
        one, other = net[a][node], net[node][b]
        length = one["length"] + other["length"]
        z = (one["z"] * one["length"] + other["z"] * other["length"]) / length
        net.remove_node(node)
        net.add_edge(a, b, z=z, length=length)
    links = np.array(sorted(tuple(sorted(e)) for e in net.edges()), dtype=np.int64).reshape(-1, 2)
    z = np.array([net[a][b]["z"] for a, b in links.tolist()], dtype=np.float64)
    used, renamed = np.unique(links, return_inverse=True)
    return Graph(at[used], renamed.reshape(-1, 2).astype(np.int64), z)


def without_islands(graph: Graph) -> Graph:
    """Leave out parts that touch no network, first with the short links cut that may only seem to tie them to it."""
    return _without_islands(_without_islands(graph, ties=False), ties=True)


def _without_islands(graph: Graph, *, ties: bool) -> Graph:
    """Leave out parts that touch no network: print within one tile, and short loose ones.

    A part is print where it lies within one face of another part, or is smaller than the faces of the largest part.
    """
    import shapely
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    if len(graph.links) == 0:
        return graph
    count = len(graph.nodes_mm)
    a, b = graph.links.T
    length = graph.length_mm
    # Print close to a joint seems tied to it by short links, which say nothing of their own here.
    tie = (length < _TIE_MM) & (length < _TIE_SHARE * _usual_length(length)) & ~_goes_on(graph)
    tie &= not ties
    _, of_node = connected_components(
        coo_matrix((np.ones(int((~tie).sum())), (a[~tie], b[~tie])), shape=(count, count)), directed=False
    )
    part = np.where(tie, -1, of_node[a])
    names = np.unique(part[~tie])
    lines = shapely.linestrings(graph.nodes_mm[graph.links])
    whole = np.array([shapely.multilinestrings(lines[part == name]) for name in names])
    largest = int(np.argmax(shapely.length(whole)))
    drop = shapely.length(whole) < _LOOSE_MM
    faces = shapely.get_parts(shapely.polygonize(lines[part == names[largest]]))
    if len(faces):
        one, _ = shapely.STRtree(faces).query(whole, predicate="within")
        drop |= shapely.area(shapely.convex_hull(whole)) < _ISLAND_SHARE * np.median(shapely.area(faces))
        drop[one] = True
        drop[largest] = False
    gone = np.isin(of_node, names[drop])
    return graph.only(~(gone[a] | gone[b]))


def _goes_on(graph: Graph) -> NDArray[np.bool_]:
    """Which pieces have another straight on at both ends."""
    leaving: dict[int, list[tuple[int, NDArray[np.float64]]]] = {}
    for index, (a, b) in enumerate(graph.links.tolist()):
        way = graph.nodes_mm[b] - graph.nodes_mm[a]
        leaving.setdefault(a, []).append((index, way))
        leaving.setdefault(b, []).append((index, -way))
    on = np.ones(len(graph.links), dtype=np.bool_)
    for out in leaving.values():
        for index, way in out:
            on[index] &= any(other != index and _turn(-way, far) < _STRAIGHT_ON for other, far in out)
    return on


def _usual_length(length: NDArray[np.float64]) -> float:
    """Half of all joint is in pieces longer than this."""
    ranked = np.sort(length)
    return float(ranked[np.searchsorted(np.cumsum(ranked), 0.5 * ranked.sum())])


def without_slivers(graph: Graph, thin_mm: float) -> Graph:
    """Of two lines closer than ``thin_mm`` side by side, leave out what is seen less clearly."""
    import shapely

    if len(graph.links) == 0:
        return graph
    lines = shapely.linestrings(graph.nodes_mm[graph.links])
    faces = shapely.get_parts(shapely.polygonize(lines))
    thin = faces[2.0 * shapely.area(faces) < thin_mm * shapely.length(faces)]
    drop = np.zeros(len(lines), dtype=np.bool_)
    length = graph.length_mm
    tree = shapely.STRtree(lines)
    for face in thin:
        around = tree.query(face.exterior, predicate="covered_by")
        around = (
            np.array([k for k in tree.query(face) if face.exterior.covers(lines[k])]) if not len(around) else around
        )
        around = around[~drop[around]]
        if len(around) < 2:  # noqa: PLR2004 - one of the two sides has gone already
            continue
        long = around[length[around] > 0.3 * length[around].max()]
        drop[long[np.argmin(graph.z[long])]] = True
    return graph.only(~drop)


def without_doubled_ends(graph: Graph, beside_mm: float) -> Graph:
    """Leave out pieces with a free end that run beside a longer one."""
    import shapely

    if len(graph.links) == 0:
        return graph
    degree = np.bincount(graph.links.ravel(), minlength=len(graph.nodes_mm))
    ends = graph.nodes_mm[graph.links]
    length = graph.length_mm
    way = (ends[:, 1] - ends[:, 0]) / length[:, None]
    loose = np.flatnonzero((degree[graph.links] == 1).any(axis=1))
    tree = shapely.STRtree(shapely.linestrings(ends))
    drop = np.zeros(len(length), dtype=np.bool_)
    for share in (0.2, 0.5, 0.8):
        at = ends[loose, 0] + share * (ends[loose, 1] - ends[loose, 0])
        one, other = tree.query(shapely.points(at), predicate="dwithin", distance=beside_mm)
        alike = np.abs((way[loose[one]] * way[other]).sum(axis=1)) > np.cos(_STRAIGHT_ON)
        hit = np.zeros(len(loose), dtype=np.bool_)
        hit[one[alike & (other != loose[one]) & (length[other] > length[loose[one]])]] = True
        drop[loose] = hit if share == 0.2 else drop[loose] & hit  # noqa: PLR2004 - the first of the three
    return graph.only(~drop)


def closed_gaps(
    nodes: NDArray[np.float64], links: NDArray[np.int64], keep: NDArray[np.bool_], most_mm: float
) -> NDArray[np.bool_]:
    """Kept pieces with short gaps closed: from a free end straight on along pieces left out, to the next kept node.

    Joints have no free ends but where a stain or shadow hides them; so nothing need be seen in a gap shorter than
    ``most_mm`` and than what is seen of the line before it.
    """
    keep = keep.copy()
    at_node: dict[int, list[int]] = {}
    for index, (a, b) in enumerate(links.tolist()):
        at_node.setdefault(a, []).append(index)
        at_node.setdefault(b, []).append(index)
    degree = np.bincount(links[keep].ravel(), minlength=len(nodes))
    for node in np.flatnonzero(degree == 1):
        first = next(k for k in at_node[int(node)] if keep[k])
        back, way = _run_back(nodes, links, keep, at_node, int(node), first)
        run, length, here = list[int](), 0.0, int(node)
        while True:
            onward = [(k, _other(links, k, here)) for k in at_node[here] if not keep[k] and k not in run]
            onward = [(k, n) for k, n in onward if _turn(way, nodes[n] - nodes[here]) < _STRAIGHT_ON]
            if not onward:
                break
            k, after = min(onward, key=lambda kn: _turn(way, nodes[kn[1]] - nodes[here]))
            run.append(k)
            length += float(np.linalg.norm(nodes[after] - nodes[here]))
            here = after
            if length > min(most_mm, back):
                break
            if degree[here] > 0:
                keep[run] = True
                break
    return keep


def _run_back(nodes, links, keep, at_node, node: int, first: int) -> tuple[float, NDArray[np.float64]]:  # type: ignore[no-untyped-def]
    """Length of the straight run of kept pieces that ends at ``node``, and its outward direction."""
    start = nodes[_other(links, first, node)]
    way = nodes[node] - start
    here, used, length = _other(links, first, node), {first}, float(np.linalg.norm(way))
    while True:
        onward = [
            k
            for k in at_node[here]
            if keep[k] and k not in used and _turn(way, nodes[here] - nodes[_other(links, k, here)]) < _STRAIGHT_ON
        ]
        if not onward:
            return length, nodes[node] - nodes[here]
        used.add(onward[0])
        here = _other(links, onward[0], here)
        length = float(np.linalg.norm(nodes[node] - nodes[here]))


def _other(links: NDArray[np.int64], link: int, node: int) -> int:
    a, b = links[link]
    return int(b if a == node else a)


def _turn(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    """Angle between two ways."""
    return float(abs(np.arctan2(one[0] * other[1] - one[1] * other[0], one @ other)))
