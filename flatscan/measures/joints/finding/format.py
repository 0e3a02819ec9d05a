"""Which tile was laid, and how: the commonest size of the faces, and how neighbours lie against each other."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import SIGMA_PER_MAD
from flatscan.measures.joints.network import Bond, TileFormat
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

#: A face is the format's where both sides agree within this share, or within this many mm.
_SAME_SHARE = 0.02
_SAME_MM = 3.0
#: A rectangle fills its own smallest rectangle by at least this share.
_RECTANGULAR = 0.96
#: Edges within this of a side's direction belong to it (sine).
_SIDE_TURN = 0.35
#: A format stands on at least this many tiles.
_LEAST_TILES = 3
#: Of the pairs of neighbours, this share must agree on a bond.
_MOST_AGREE = 0.7
#: Two shifts are alike within this share of the pitch.
_SHIFT_ALIKE = 0.06


@dataclass(frozen=True, slots=True, eq=False)
class Boxes:
    """Smallest rectangle about each face: sides (n, 2) mm, long first; direction of the long side; fill; middle."""

    sides_mm: NDArray[np.float64]
    direction_rad: NDArray[np.float64]
    fill: NDArray[np.float64]
    middle_mm: NDArray[np.float64]


def boxes_about(rings: Sequence[NDArray[np.float64]]) -> Boxes:
    """Smallest rectangle about each ring."""
    import shapely

    count = len(rings)
    sides, direction, fill, middle = np.empty((count, 2)), np.empty(count), np.empty(count), np.empty((count, 2))
    for index, ring in enumerate(rings):
        polygon = shapely.Polygon(ring)
        corners = np.asarray(shapely.oriented_envelope(polygon).exterior.coords)[:4]
        edge = corners[1:3] - corners[0:2]
        length = np.linalg.norm(edge, axis=1)
        long = int(np.argmax(length))
        direction[index], sides[index] = _sides(
            ring, math.atan2(edge[long, 1], edge[long, 0]), length[[long, 1 - long]]
        )
        fill[index] = polygon.area / max(float(np.prod(length)), 1e-9)
        middle[index] = polygon.centroid.coords[0]
    return Boxes(sides, direction, fill, middle)


def _sides(ring: NDArray[np.float64], turn: float, box_mm: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
    """Direction of the long side and distance of opposite sides by their mean places, long first.

    The smallest rectangle goes by its outermost corners and is too large by their scatter; means are not.
    """
    edge = np.roll(ring, -1, axis=0) - ring
    length = np.linalg.norm(edge, axis=1)
    middle = ring + 0.5 * edge - ring.mean(axis=0)
    along = np.arctan2(edge[:, 1], edge[:, 0])
    near = np.abs(np.sin(along - turn)) < _SIDE_TURN
    turn = float(np.angle(np.sum(length[near] * np.exp(2j * along[near]))) / 2.0)
    sides = box_mm.copy()
    for index, (normal, way) in enumerate(((turn, turn + math.pi / 2.0), (turn + math.pi / 2.0, turn))):
        side = np.abs(np.sin(along - way)) < _SIDE_TURN
        place = middle @ (math.cos(normal), math.sin(normal))
        if (side & (place > 0)).any() and (side & (place < 0)).any():
            high, low = (np.average(place[side & s], weights=length[side & s]) for s in (place > 0, place < 0))
            sides[index] = high - low
    return turn % math.pi % math.pi, sides


def tile_format(boxes: Boxes, pixel_mm: float) -> tuple[TileFormat | None, NDArray[np.bool_]]:
    """The commonest format and which faces have it."""
    count = len(boxes.fill)
    none = np.zeros(count, dtype=np.bool_)
    good = boxes.fill > _RECTANGULAR
    if good.sum() < _LEAST_TILES:
        return None, none
    near = np.maximum(_SAME_MM, _SAME_SHARE * boxes.sides_mm) + 0.5 * pixel_mm
    sides = boxes.sides_mm
    alike = np.all(np.abs(sides[:, None, :] - sides[None, good, :]) < near[:, None, :], axis=2).sum(axis=1)
    # The commonest by covered area: cut tiles and mosaics between large tiles are many but small.
    weight = np.where(good, alike * np.sqrt(sides[:, 0] * sides[:, 1]), 0.0)
    centre = sides[int(np.argmax(weight))]
    for _ in range(3):
        whole = good & np.all(
            np.abs(sides - centre) < np.maximum(_SAME_MM, _SAME_SHARE * centre) + 0.5 * pixel_mm, axis=1
        )
        centre = np.median(sides[whole], axis=0)
    if whole.sum() < _LEAST_TILES:
        return None, none
    square = abs(centre[0] - centre[1]) < max(_SAME_MM, _SAME_SHARE * centre[0])
    if square:
        centre = np.array([centre.mean()] * 2)
    direction = _mean_direction(boxes.direction_rad[whole], quarter=square)
    long, short = (_pitch(sides[whole, k] if not square else sides[whole].mean(axis=1), pixel_mm) for k in (0, 1))
    bond, shift = _bond(boxes, whole, (long.value, short.value), direction, square=square)
    found = TileFormat(long, short, direction, bond, shift, float(whole.sum() / max(1, good.sum())))
    return found, whole


def _pitch(values: NDArray[np.float64], pixel_mm: float) -> Quantity:
    """Median with its standard uncertainty: spread of the tiles over root n, and the picture's own step."""
    middle = float(np.median(values))
    spread = SIGMA_PER_MAD * float(np.median(np.abs(values - middle)))
    # 1.2533 is the median's loss against the mean for normal scatter, sqrt(pi / 2).
    repeat = math.sqrt(math.pi / 2.0) * max(spread, pixel_mm / math.sqrt(12.0)) / math.sqrt(len(values))
    return Quantity.from_budget(middle, "mm", spread_of_tiles=repeat, pixel=0.05 * pixel_mm)


def _mean_direction(direction: NDArray[np.float64], *, quarter: bool) -> float:
    """Commonest direction: of the two that lie square to each other in herringbone, the commoner one."""
    fold = 4.0 if quarter else 2.0
    if not quarter:
        grid = np.arange(0.0, math.pi, math.radians(1.0))
        votes = [np.sum(np.abs(np.sin(direction - g)) < math.sin(math.radians(5.0))) for g in grid]
        near = np.abs(np.sin(direction - grid[int(np.argmax(votes))])) < math.sin(math.radians(5.0))
        direction = direction[near]
    mean = np.angle(np.mean(np.exp(1j * fold * direction))) / fold
    whole_turn = math.pi / 2.0 if quarter else math.pi
    # Twice: a tiny negative angle rounds up to the whole turn itself.
    return float(mean % whole_turn % whole_turn)


def _bond(
    boxes: Boxes, whole: NDArray[np.bool_], pitch: tuple[float, float], direction: float, *, square: bool
) -> tuple[Bond, float | None]:
    """How whole neighbours lie: of tiles in the next row, how far they are shifted along."""
    turned = np.abs(np.sin(boxes.direction_rad[whole] - direction))
    across = turned > math.sin(math.pi / 4.0)
    if not square and 0.25 < across.mean() < 0.75:  # noqa: PLR2004 - about half lie square to the others
        return "herringbone", None
    at = boxes.middle_mm[whole]
    at = at if square else at[~across]
    if len(at) < _LEAST_TILES:
        return "mixed", None
    c, s = math.cos(direction), math.sin(direction)
    place = np.column_stack([at @ (c, s) / pitch[0], at @ (-s, c) / pitch[1]])
    shifts = _shifts(place)
    if square and len(shifts):
        # Rows of squares may run either way: the way in which neighbours within a row stand in line.
        other = _shifts(place[:, ::-1])
        shifts = shifts if np.std(np.abs(shifts)) < np.std(np.abs(other)) or np.median(np.abs(shifts)) > 0.05 else other  # noqa: PLR2004
    if len(shifts) == 0:
        return "mixed", None
    size = np.abs(shifts)
    middle = float(np.median(size))
    agree = float(np.mean(np.abs(size - middle) < _SHIFT_ALIKE))
    stacked = float(np.mean(size < _SHIFT_ALIKE))
    if stacked > _MOST_AGREE:
        return "stack", None
    return ("running", min(0.5, middle)) if agree > _MOST_AGREE and middle > _SHIFT_ALIKE else ("mixed", None)


def _shifts(place: NDArray[np.float64]) -> NDArray[np.float64]:
    """Shift along (-0.5 to 0.5 pitches) of each pair of tiles one row apart and less than a pitch along."""
    from scipy.spatial import cKDTree

    pairs = np.array(list(cKDTree(place).query_pairs(1.3)), dtype=np.int64).reshape(-1, 2)
    step = place[pairs[:, 1]] - place[pairs[:, 0]]
    rows = np.abs(np.abs(step[:, 1]) - 1.0) < 0.1  # noqa: PLR2004 - a row is one pitch high
    along = step[rows, 0] * np.sign(step[rows, 1])
    return np.asarray((along + 0.5) % 1.0 - 0.5, dtype=np.float64)
