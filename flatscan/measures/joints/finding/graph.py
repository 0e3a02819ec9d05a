"""The graph of nodes and pieces while it is being cleaned."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Two pieces at a node without a third are one where they bend by less than this, radians.
_STRAIGHT = 0.02
#: A part of the network shorter than this in all is no network, mm.
_LOOSE_MM = 300.0


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
    nodes: NDArray[np.float64], links: NDArray[np.int64], keep: NDArray[np.bool_], least_mm: float
) -> NDArray[np.bool_]:
    """Which of the kept pieces stay when chains with a free end shorter than ``least_mm`` are cut, again and again."""
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
        if length < least_mm:
            graph.remove_edges_from(list(zip(chain[:-1], chain[1:], strict=True)))
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
    for node in list(net):
        if net.degree(node) != 2:  # noqa: PLR2004 - neither end nor crossing
            continue
        a, b = net[node]
        before, after = at[node] - at[a], at[b] - at[node]
        turn = abs(before[0] * after[1] - before[1] * after[0]) / (np.linalg.norm(before) * np.linalg.norm(after))
        if turn > _STRAIGHT or before @ after < 0 or net.has_edge(a, b):
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
    """Leave out parts that lie within one face of the rest without touching it (print on a tile), and short loose ones."""
    import shapely
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    if len(graph.links) == 0:
        return graph
    count = len(graph.nodes_mm)
    a, b = graph.links.T
    _, part = connected_components(coo_matrix((np.ones(len(a)), (a, b)), shape=(count, count)), directed=False)
    part = part[a]
    lines = shapely.linestrings(graph.nodes_mm[graph.links])
    whole = np.array([shapely.multilinestrings(lines[part == p]) for p in range(part.max() + 1)])
    around = np.array([_filled(w) for w in whole])
    one, other = shapely.STRtree(around).query(whole, predicate="within")
    drop = np.zeros(len(whole), dtype=np.bool_)
    drop[one[one != other]] = True
    drop |= shapely.length(whole) < _LOOSE_MM
    return graph.only(~drop[part])


def _filled(lines):  # type: ignore[no-untyped-def]
    """The area enclosed by a connected part, its faces together."""
    import shapely

    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(lines)))
    return shapely.union_all(faces) if len(faces) else shapely.Polygon()
