"""Where letters and numbers stand on a drawing, so that none hides another. Everything in paper mm."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

Place = tuple[float, float]
#: Directions and distances that are tried, the nearest first.
_TURNS = np.arange(16) * math.pi / 8.0
_FAR_MM = (2.3, 3.6, 5.2, 7.5)
#: A label further from its point than this is joined to it by a thin line.
LEADER_FROM_MM = 3.0
#: What speaks against a place, each in mm² of a label hidden.
_HIDES_SHAPE, _PER_MM, _OFF_THE_DRAWING = 1.6, 0.35, 1000.0
#: A label on another is worse than one on a line.
_HIDES_LABEL = 4.0
#: Width of a sign over its height, with what is kept free beside it.
_SIGN_WIDTH = 0.62


def label_size(text: str, height_mm: float) -> Place:
    """Width and height that a text takes."""
    return len(text) * _SIGN_WIDTH * height_mm + 0.5, height_mm


@dataclass(slots=True)
class LabelPlaces:
    """The boxes (left, top, right, bottom) taken so far on a drawing, and where the next label goes.

    ``off_shapes``: shapely geometries that labels rather keep off, such as the lines and areas drawn.
    """

    width: float
    height: float
    off_shapes: tuple[Any, ...] = ()
    boxes: list[NDArray[np.float64]] = field(default_factory=list)

    def keep_off(self, at: Place, size: Place) -> None:
        """A mark is drawn there."""
        self.boxes.append(_boxes(np.array([at]), size)[0])

    def centre(self, at: Place, size: Place, fars: Sequence[float] = _FAR_MM, *, on: bool = False) -> Place:
        """The middle of the label for the point ``at``; ``on``: the point itself will do, and is tried first."""
        far = np.repeat(np.asarray(fars, dtype=np.float64), len(_TURNS))
        turn = np.tile(_TURNS, len(fars))
        # A wide label stands further off at its sides than above.
        aside = far + 0.3 * size[0] * np.abs(np.cos(turn))
        tried = np.column_stack([at[0] + aside * np.cos(turn), at[1] + far * np.sin(turn)])
        if on:
            tried, far = np.concatenate([[at], tried]), np.concatenate([[0.0], far])
        boxes = _boxes(tried, size)
        cost = _PER_MM * far + _HIDES_LABEL * self._hidden_mm2(boxes) + _OFF_THE_DRAWING * ~self._inside(boxes)
        return self._take(int(np.argmin(cost + _HIDES_SHAPE * self._on_shapes(boxes))), tried, boxes)

    def free(self, places: NDArray[np.float64], size: Place) -> Place | None:
        """The first of (k, 2) ``places`` where a label hides no other and lies in the drawing; None: nowhere."""
        boxes = _boxes(places, size)
        good = self._inside(boxes) & (self._hidden_mm2(boxes) == 0.0)
        return self._take(int(np.argmax(good)), places, boxes) if good.any() else None

    def _take(self, index: int, places: NDArray[np.float64], boxes: NDArray[np.float64]) -> Place:
        self.boxes.append(boxes[index])
        x, y = places[index]
        return round(float(x), 3), round(float(y), 3)

    def _inside(self, boxes: NDArray[np.float64]) -> NDArray[np.bool_]:
        off = (boxes[:, :2] < 0.0).any(axis=1) | (boxes[:, 2] > self.width) | (boxes[:, 3] > self.height)
        return np.asarray(~off, dtype=bool)

    def _hidden_mm2(self, boxes: NDArray[np.float64]) -> NDArray[np.float64]:
        """What of the labels before each box would hide."""
        if not self.boxes:
            return np.zeros(len(boxes))
        taken = np.array(self.boxes)
        low = np.maximum(boxes[:, None, :2], taken[None, :, :2])
        high = np.minimum(boxes[:, None, 2:], taken[None, :, 2:])
        return np.asarray(np.maximum(high - low, 0.0).prod(axis=2).sum(axis=1), dtype=np.float64)

    def _on_shapes(self, boxes: NDArray[np.float64]) -> NDArray[np.int64]:
        """How many of the shapes each box lies on."""
        import shapely

        drawn = shapely.box(*boxes.T)
        hits = [shapely.intersects(shape, drawn).astype(np.int64) for shape in self.off_shapes]
        return np.asarray(sum(hits, np.zeros(len(boxes), dtype=np.int64)))


def _boxes(places: NDArray[np.float64], size: Place) -> NDArray[np.float64]:
    """(k, 4) left, top, right, bottom."""
    half = np.asarray(size) / 2.0
    return np.concatenate([places - half, places + half], axis=1)
