"""Points along walls and joints, with the direction square to the line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray


def along(
    lines: Iterable[NDArray[np.float64]], step_mm: float, *, closed: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(n, 2) places about ``step_mm`` apart along each line, and (n, 2) unit vectors square to it there.

    Each point stands for an equal length of its side. ``closed``: the last place of a line is joined to its first.
    """
    places, normals = [np.empty((0, 2))], [np.empty((0, 2))]
    for line in lines:
        starts = line if closed else line[:-1]
        ends = np.roll(line, -1, axis=0) if closed else line[1:]
        for start, end in zip(starts, ends, strict=True):
            way = end - start
            length = float(np.hypot(*way))
            if length == 0.0:
                continue
            count = max(1, round(length / step_mm))
            places.append(start + (np.arange(count) + 0.5)[:, None] / count * way)
            normals.append(np.tile(np.array([-way[1], way[0]]) / length, (count, 1)))
    return np.concatenate(places), np.concatenate(normals)


def distance_to(points: NDArray[np.float64], lines: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) distance of each point to the nearest of the places ``lines`` (m, 2); inf where there are none."""
    from scipy.spatial import cKDTree

    if not len(lines) or not len(points):
        return np.full(len(points), np.inf)
    distance, _ = cKDTree(lines).query(points)
    return np.asarray(distance, dtype=np.float64)
