"""The grid that level readings without line names lie on, and the straight runs along its rows and columns."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.lines import APART_MM, FROM_EDGES_MM, LEAST_LENGTH_MM, STEP_MM, STEP_TOLERANCE

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from flatscan.settings import Segment
    from flatscan.sources.hand.field_readings import LevelReading

#: Readings this share of the spacing off their node are still on it: set out with a tape, not with a laser.
_OFF_NODE = 0.1
#: What was marked with a tape may be nearer to an edge, or to the next line, by this much.
_TAPE_MM = 20.0
_LEAST_PLACES = 4
_LEAST_RUN = math.ceil(LEAST_LENGTH_MM / STEP_MM) + 1
_SAME_ANGLE_RAD = math.radians(0.05)


@dataclass(frozen=True, slots=True, eq=False)
class LevelGrid:
    """Where each reading lies on a grid, which may lie askew in the room.

    ``node`` (n, 2) int64: along the grid's two ways, from 0. ``spacing_mm``: along each. ``axes`` (2, 2): unit
    vectors of the two ways, in rows. ``corner_mm`` (2,): node (0, 0), along the two ways.
    """

    node: NDArray[np.int64]
    spacing_mm: tuple[float, float]
    axes: NDArray[np.float64]
    corner_mm: NDArray[np.float64]

    def nearest(self, xy_mm: NDArray[np.float64]) -> NDArray[np.int64]:
        """Node nearest to each place (m, 2); it need not have been read."""
        return np.asarray(np.rint((xy_mm @ self.axes.T - self.corner_mm) / self.spacing_mm), dtype=np.int64)

    def steps(self, way: int) -> bool:
        """Whether readings along a way are a foot or 300 mm apart."""
        return abs(self.spacing_mm[way] / STEP_MM - 1.0) <= STEP_TOLERANCE


def grid_of(readings: Sequence[LevelReading]) -> LevelGrid | None:
    """The grid on which all places lie, within a tenth of its spacing; None where there is none."""
    xy = np.array([reading.at for reading in readings], dtype=np.float64).reshape(-1, 2)
    places = np.unique(np.round(xy, 1), axis=0)
    if len(places) < _LEAST_PLACES:
        return None
    angle, reach = _direction(places)
    axes = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    along = xy @ axes.T
    spacing = (_spacing(along[:, 0], reach), _spacing(along[:, 1], reach))
    # The lowest reading may itself be off: the grid's phase is the middle of all.
    place = along / spacing
    phase = np.angle(np.exp(2j * np.pi * place).mean(axis=0)) / (2.0 * np.pi)
    node = np.rint(place - phase).astype(np.int64)
    if np.abs(place - phase - node).max() > _OFF_NODE:
        return None
    first = node.min(axis=0)
    return LevelGrid(node - first, spacing, axes, (first + phase) * spacing)


def grid_runs(
    readings: Sequence[LevelReading], outline_mm: NDArray[np.float64] | None = None
) -> Iterator[tuple[str, list[int]]]:
    """Names and readings (indices) of the runs to read F-numbers along: rows and columns, 1.2 m or more apart.

    Only along ways with a reading every 300 mm or foot. A run holds 3.3 m of readings without a place missing; where
    the room is known it keeps 0.6 m off its edges.
    """
    grid = grid_of(readings)
    if grid is None:
        return
    by_node = _by_node(readings, grid)
    allowed = {node for node in by_node if _clear(readings[by_node[node][0]].at, outline_mm)}
    for way, letter in enumerate("RC"):
        if not grid.steps(way) or not allowed:
            continue
        apart = max(1, math.ceil((APART_MM - _TAPE_MM) / grid.spacing_mm[1 - way]))
        beside = sorted({node[1 - way] for node in allowed})
        for line in range(beside[0], beside[-1] + 1, apart):
            at = sorted(node[way] for node in allowed if node[1 - way] == line)
            for k, run in enumerate(run for run in _unbroken(at) if len(run) >= _LEAST_RUN):
                nodes = [(s, line) if way == 0 else (line, s) for s in run]
                name = f"{letter}{line + 1}" + ("abcdefgh"[k - 1] if k else "")
                yield name, [i for node in nodes for i in by_node[node]]


def asked_run(readings: Sequence[LevelReading], grid: LevelGrid | None, line_mm: Segment) -> list[int] | None:
    """Readings (indices) from the place nearest to one end of a line to that nearest to the other.

    None where those do not lie on one row or column with a reading every 300 mm or foot, or where one is missing.
    """
    if grid is None:
        return None
    first, last = grid.nearest(np.asarray(line_mm, dtype=np.float64))
    moved = last - first
    if np.count_nonzero(moved) != 1 or not grid.steps(int(np.flatnonzero(moved)[0])):
        return None
    by_node = _by_node(readings, grid)
    count = int(np.abs(moved).max())
    nodes = [(int(c), int(r)) for c, r in first + np.outer(np.arange(count + 1), np.sign(moved))]
    return [i for node in nodes for i in by_node[node]] if all(node in by_node for node in nodes) else None


def _by_node(readings: Sequence[LevelReading], grid: LevelGrid) -> dict[tuple[int, int], list[int]]:
    """Readings at each node: of each set-up the first, for a second one closes the round."""
    found: dict[tuple[int, int], list[int]] = {}
    for i, (c, r) in enumerate(grid.node.tolist()):
        here = found.setdefault((c, r), [])
        if all(readings[i].set_up != readings[j].set_up for j in here):
            here.append(i)
    return found


def _clear(at: tuple[float, float], outline_mm: NDArray[np.float64] | None) -> bool:
    from shapely.geometry import Point, Polygon

    return outline_mm is None or Polygon(outline_mm).boundary.distance(Point(at)) >= FROM_EDGES_MM - _TAPE_MM


def _unbroken(numbers: Sequence[int]) -> list[list[int]]:
    """Rising whole numbers, parted where one is missing."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return runs


def _direction(places_mm: NDArray[np.float64]) -> tuple[float, float]:
    """Direction (in [0, π/2)) that the steps between neighbours suggest, and the length of the longest such step.

    The mean of exp(4iφ) over the steps gives the direction up to right angles.
    """
    from scipy.spatial import cKDTree

    tree = cKDTree(places_mm)
    reach = 1.2 * float(np.median(tree.query(places_mm, k=2)[0][:, 1]))
    pairs = tree.query_pairs(reach, output_type="ndarray")
    steps = places_mm[pairs[:, 1]] - places_mm[pairs[:, 0]]
    angle = float(np.angle(np.exp(4j * np.arctan2(steps[:, 1], steps[:, 0])).mean()) / 4.0 % (math.pi / 2.0))
    return (0.0 if math.pi / 2.0 - angle < _SAME_ANGLE_RAD else angle), reach


def _spacing(along_mm: NDArray[np.float64], reach_mm: float) -> float:
    """Usual distance between the lines that places fall on, seen end-on."""
    ordered = np.sort(along_mm)
    lines = np.split(ordered, np.flatnonzero(np.diff(ordered) > 0.25 * reach_mm) + 1)
    middles = np.array([line.mean() for line in lines])
    return float(np.median(np.diff(middles))) if len(middles) > 1 else reach_mm
