"""Where labels go on a picture: near what they name, never over each other, never off the paper."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

Box = tuple[float, float, float, float]  # left, bottom, right, top

_DIRECTIONS = 24
_RINGS = 60
#: Points along a leader at which it is tried against other labels.
_LEADER_SAMPLES = 12
#: What covering one drawn point, or crossing one label with a leader, costs in lengths of one ring.
_COVER_COST = 3.0
_CROSS_COST = 6.0


@dataclass(frozen=True, slots=True)
class Wanted:
    """A label of this size, as close to the anchor as it fits. All in one unit, such as inches on paper."""

    anchor: tuple[float, float]
    width: float
    height: float


def place_labels(
    wanted: Sequence[Wanted], bounds: Box, *, blocked: Sequence[Box] = (), drawn: NDArray[np.float64], gap: float
) -> list[Box | None]:
    """Place greedily, first come first served.

    Parameters
    ----------
    wanted : the labels, most important first
    bounds : every label lies within
    blocked : boxes that no label may touch
    drawn : (n, 2) float64, points of lines and marks that labels should rather not cover
    gap : least distance between two labels, and between a label and its anchor

    Returns
    -------
    list
        a box for each label, None where it fits nowhere
    """
    taken = list(blocked)
    placed: list[Box | None] = []
    for label in wanted:
        box = _best(label, bounds, taken, drawn, gap)
        placed.append(box)
        if box is not None:
            taken.append(box)
            drawn = np.concatenate([drawn, _leaders(np.array([label.anchor]), np.array([box]))[0]])
    return placed


def leader_end(anchor: tuple[float, float], box: Box) -> tuple[float, float]:
    """The point of the box nearest to what it names."""
    return min(max(anchor[0], box[0]), box[2]), min(max(anchor[1], box[1]), box[3])


def _best(label: Wanted, bounds: Box, taken: Sequence[Box], drawn: NDArray[np.float64], gap: float) -> Box | None:
    step = max(gap, (bounds[2] - bounds[0] + bounds[3] - bounds[1]) / (2.0 * _RINGS))
    away = gap + step * np.repeat(np.arange(_RINGS), _DIRECTIONS)
    angle = np.tile(np.arange(_DIRECTIONS) * (2.0 * np.pi / _DIRECTIONS), _RINGS)
    half = np.array([label.width / 2.0, label.height / 2.0])
    centre = np.array(label.anchor) + np.stack(
        [np.cos(angle) * (half[0] + away), np.sin(angle) * (half[1] + away)], axis=1
    )
    boxes = np.concatenate([centre - half, centre + half], axis=1)
    fits = (boxes[:, :2] >= bounds[:2]).all(axis=1) & (boxes[:, 2:] <= bounds[2:]).all(axis=1)
    blocks = np.array(taken, dtype=np.float64).reshape(-1, 4)
    touch = (
        (boxes[:, None, 0] < blocks[:, 2] + gap)
        & (boxes[:, None, 2] > blocks[:, 0] - gap)
        & (boxes[:, None, 1] < blocks[:, 3] + gap)
        & (boxes[:, None, 3] > blocks[:, 1] - gap)
    )
    fits &= ~touch.any(axis=1)
    if not fits.any():
        return None
    boxes, away = boxes[fits], away[fits]
    covered = _count_inside(boxes, np.broadcast_to(drawn, (len(boxes), *drawn.shape)))
    leaders = _leaders(np.broadcast_to(np.array(label.anchor), (len(boxes), 2)), boxes)
    crossed = sum(
        (_count_inside(np.broadcast_to(block, (len(boxes), 4)), leaders) > 0 for block in blocks),
        start=np.zeros(len(boxes)),
    )
    cost = away + step * (_COVER_COST * covered + _CROSS_COST * crossed)
    left, bottom, right, top = boxes[int(np.argmin(cost))].tolist()
    return left, bottom, right, top


def _leaders(anchors: NDArray[np.float64], boxes: NDArray[np.float64]) -> NDArray[np.float64]:
    """(boxes, samples, 2): points on the line from each anchor to the nearest point of its box."""
    ends = np.clip(anchors, boxes[:, :2], boxes[:, 2:])
    along = np.linspace(0.0, 1.0, _LEADER_SAMPLES)[None, :, None]
    return np.asarray(anchors[:, None, :] * (1.0 - along) + ends[:, None, :] * along)


def _count_inside(boxes: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """How many of each box's points (boxes, n, 2) lie in it."""
    low, high = boxes[:, None, :2], boxes[:, None, 2:]
    return np.asarray(((points >= low) & (points <= high)).all(axis=2).sum(axis=1), dtype=np.float64)
