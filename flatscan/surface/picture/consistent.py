"""Which shifts between photos agree with each other around the loops of the graph: a mistaken one does not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.picture.motion import PLACES_ONLY, left_after, solved

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from flatscan.surface.picture.motion import Motions
    from flatscan.surface.picture.posed_photo import PosedPhoto
    from flatscan.surface.picture.shifts import Shifts

#: A shift may differ from what the surest others say by this: turns and heights are not solved yet.
_MOST_OFF_MM = 6.0


def consistent(
    photos: Sequence[PosedPhoto], shifts: Mapping[tuple[int, int], Shifts], before: Motions
) -> list[tuple[int, int]]:
    """Pairs whose shift is what the tree of the surest shifts says.

    Where two photos lie further apart than was searched, another shift may look likely; but it agrees less well than
    the true ones, and closes no loop.
    """
    import networkx as nx

    graph = nx.Graph()
    graph.add_edges_from((i, j, {"agreement": seen.agreement}) for (i, j), seen in shifts.items() if len(seen))
    tree = {(min(e), max(e)) for e in nx.maximum_spanning_edges(graph, weight="agreement", data=False)}
    after = solved(photos, {pair: shifts[pair] for pair in sorted(tree)}, before, PLACES_ONLY)
    left = left_after(photos, shifts, before, after)
    return [pair for pair, rest in left.items() if len(rest) and np.hypot(*rest[0]) <= _MOST_OFF_MM]
