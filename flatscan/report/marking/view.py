"""A part of the floor on paper: floor mm to paper mm, and what of a line can be seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

#: Finer than a pen: what a line may move by on paper, mm.
_PEN_MM = 0.06

Points = list[tuple[float, float]]


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """Floor from ``low`` to ``high`` (x, y) mm at 1:``scale``; paper mm from the upper left, y downwards."""

    scale: float
    low: NDArray[np.float64]
    high: NDArray[np.float64]

    @property
    def width(self) -> float:
        """Paper mm."""
        return float(self.high[0] - self.low[0]) / self.scale

    @property
    def height(self) -> float:
        """Paper mm."""
        return float(self.high[1] - self.low[1]) / self.scale

    def on_paper(self, points: NDArray[np.float64] | Sequence[Sequence[float]]) -> NDArray[np.float64]:
        """(k, 2) paper mm of (k, 2) floor mm."""
        floor = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        return np.column_stack([floor[:, 0] - self.low[0], self.high[1] - floor[:, 1]]) / self.scale

    def at(self, point: Sequence[float]) -> tuple[float, float]:
        """Paper mm of one place."""
        x, y = self.on_paper([point])[0]
        return round(float(x), 3), round(float(y), 3)

    def shows(self, point: Sequence[float]) -> bool:
        """The place lies in the drawing."""
        return bool(np.all(np.asarray(point) >= self.low) and np.all(np.asarray(point) <= self.high))

    def lines(self, lines: Iterable[NDArray[np.float64]]) -> list[Points]:
        """What of lines lies in the drawing, as thick pens draw them."""
        import shapely

        frame = shapely.box(0.0, 0.0, self.width, self.height)
        found: list[Points] = []
        for line in lines:
            seen = shapely.LineString(self.on_paper(line)).simplify(_PEN_MM).intersection(frame)
            found += [rounded(np.asarray(part.coords)) for part in _parts(seen) if part.length > 0.0]
        return found

    def shapes(self, rings: Sequence[NDArray[np.float64]]) -> list[list[Points]]:
        """What of an area lies in the drawing: the rings of each part."""
        import shapely

        frame = shapely.box(0.0, 0.0, self.width, self.height)
        whole = shapely.Polygon(self.on_paper(rings[0]), [self.on_paper(ring) for ring in rings[1:]])
        seen = shapely.make_valid(whole.simplify(_PEN_MM)).intersection(frame)
        return [
            [rounded(np.asarray(ring.coords)) for ring in (part.exterior, *part.interiors)]
            for part in _parts(seen)
            if isinstance(part, shapely.Polygon) and part.area > 0.0
        ]


def rounded(points: NDArray[np.float64]) -> Points:
    """Pairs to a thousandth of a mm, for the template."""
    return [(round(float(x), 3), round(float(y), 3)) for x, y in points]


def _parts(shape: Any) -> list[Any]:
    """The single lines or polygons of a shapely geometry."""
    return list(shape.geoms) if hasattr(shape, "geoms") else [] if shape.is_empty else [shape]
