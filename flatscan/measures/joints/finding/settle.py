"""Nodes moved so that the pieces between them lie on the joints as they are seen, to a part of a pixel."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.finding.proof import proof_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.measures.joints.finding.graph import Graph
    from flatscan.measures.joints.finding.strips import Strips

#: Halves shorter than this, or seen less clearly, say nothing of where the joint lies.
_LEAST_MM = 25.0
_LEAST_Z = 4.0
#: Weight of staying in place against one clear half: only nodes that nothing else holds feel it.
_STAY = 0.1
_ROUNDS = 2


def settled(graph: Graph, strips: Sequence[Strips], *, steps: bool) -> Graph:
    """The graph with each half of each piece drawn to the joint beneath it, by least squares over all nodes."""
    from scipy.sparse import coo_matrix, eye
    from scipy.sparse.linalg import spsolve

    for _ in range(_ROUNDS):
        count = len(graph.nodes_mm)
        if len(graph.links) == 0:
            return graph
        ends = graph.nodes_mm[graph.links]
        middle = ends.mean(axis=1)
        halves = np.concatenate([np.stack([ends[:, 0], middle], axis=1), np.stack([middle, ends[:, 1]], axis=1)])
        proof = proof_of(halves, strips, steps=steps)
        way = np.tile(ends[:, 1] - ends[:, 0], (2, 1))
        length = np.linalg.norm(way, axis=1)
        normal = np.column_stack([-way[:, 1], way[:, 0]]) / length[:, None]
        off = proof.aside_mm * (normal * proof.normal).sum(axis=1)
        use = np.flatnonzero((proof.z > _LEAST_Z) & (length / 2.0 > _LEAST_MM))
        near = np.repeat([0.75, 0.25], len(ends))[use]
        node = np.tile(graph.links, (2, 1))[use]
        row = np.repeat(np.arange(len(use)), 4)
        col = np.column_stack([2 * node[:, 0], 2 * node[:, 0] + 1, 2 * node[:, 1], 2 * node[:, 1] + 1]).ravel()
        share = np.column_stack([near[:, None] * normal[use], (1.0 - near)[:, None] * normal[use]]).ravel()
        design = coo_matrix((share, (row, col)), shape=(len(use), 2 * count)).tocsr()
        moved = spsolve((design.T @ design + _STAY**2 * eye(2 * count)).tocsc(), design.T @ off[use])
        graph = replace(graph, nodes_mm=graph.nodes_mm + np.clip(moved, -3.0, 3.0).reshape(count, 2))
    return graph
