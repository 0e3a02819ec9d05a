"""What a person reads where: bars laid in rows and across, diagonals, set-ups of a level."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.synth.outline import inside

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.sources.hand.field_readings import Point, Rule, SoundsLike

#: Nothing is read nearer to a wall than this.
WALL_MM = 100.0
#: Rows and points lie at whole centimetres, or at another division where inches are used.
DIVISION_MM = 10.0


@dataclass(frozen=True, slots=True)
class Laying:
    """One laying of the bar (or, for ``line``, of a string), room mm."""

    start: Point
    end: Point
    rule: Rule = "resting"
    turned: bool = False


@dataclass(frozen=True, slots=True)
class SetUp:
    """One set-up of the level: points in the order read, and for each the line it belongs to ("" for none)."""

    name: str
    at: tuple[Point, ...]
    line: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """Everything to be read on one floor.

    Attributes
    ----------
    layings : bars read at stations ``station_mm`` apart, from end to end
    humps : bars balanced on a crest
    searches : bars whose deepest gap alone is written down
    set_ups : staff readings
    widest, highest : how many of the widest joints and of the highest lips are read
    soundings, cracks : what is told of them is told here: an invented floor has no inside
    steps : lines across which the floor jumps
    """

    layings: tuple[Laying, ...] = ()
    station_mm: float = 250.0
    humps: tuple[tuple[Point, Point], ...] = ()
    searches: tuple[Laying, ...] = ()
    set_ups: tuple[SetUp, ...] = ()
    widest: int = 0
    highest: int = 0
    soundings: tuple[tuple[Point, SoundsLike], ...] = ()
    cracks: tuple[tuple[Point, Point, float | None], ...] = ()
    steps: tuple[tuple[Point, Point], ...] = ()


def _spread(low: float, high: float, most_mm: float, division_mm: float) -> NDArray[np.float64]:
    """Positions from ``low`` to ``high``, evenly and about ``most_mm`` apart or less, at whole divisions."""
    count = max(2, int(np.ceil((high - low) / most_mm - 1e-9)) + 1)
    return np.unique(np.rint(np.linspace(low, high, count) / division_mm) * division_mm)


def _fits(outline_mm: NDArray[np.float64], start: Point, end: Point) -> bool:
    share = np.linspace(0.0, 1.0, 41)
    x, y = (start[axis] + share * (end[axis] - start[axis]) for axis in (0, 1))
    return bool(inside(outline_mm, x, y).all())


def crossed_rows(
    outline_mm: NDArray[np.float64],
    *,
    length_mm: float,
    spacing_mm: float,
    wall_mm: float = WALL_MM,
    division_mm: float = DIVISION_MM,
) -> tuple[Laying, ...]:
    """Bars end to end (or overlapping) in rows along x and along y, rows at most ``spacing_mm`` apart."""
    low, high = outline_mm.min(axis=0) + wall_mm, outline_mm.max(axis=0) - wall_mm
    layings = []
    for along in (0, 1):
        across = 1 - along
        for at in _spread(low[across], high[across], spacing_mm, division_mm):
            for first in _spread(low[along], high[along] - length_mm, length_mm, division_mm):
                start, end = np.empty(2), np.empty(2)
                start[across] = end[across] = at
                start[along], end[along] = first, first + length_mm
                layings.append(Laying(_point(start), _point(end)))
    return tuple(one for one in layings if _fits(outline_mm, one.start, one.end))


def diagonals(
    outline_mm: NDArray[np.float64],
    *,
    length_mm: float,
    wall_mm: float = 2.0 * WALL_MM,
    division_mm: float = DIVISION_MM,
) -> tuple[Laying, ...]:
    """Bars end to end (or overlapping) along both diagonals of the bounding box: these see twist, rows do not."""
    low, high = outline_mm.min(axis=0) + wall_mm, outline_mm.max(axis=0) - wall_mm
    layings: list[Laying] = []
    for first, last in (((low[0], low[1]), (high[0], high[1])), ((low[0], high[1]), (high[0], low[1]))):
        run = np.hypot(last[0] - first[0], last[1] - first[1])
        toward = np.subtract(last, first) / run
        layings.extend(
            Laying(_point(first + at * toward), _point(first + (at + length_mm) * toward))
            for at in _spread(0.0, max(run - length_mm, 0.0), length_mm, division_mm)
        )
    return tuple(one for one in layings if _fits(outline_mm, one.start, one.end))


def scattered(
    outline_mm: NDArray[np.float64], *, length_mm: float, count: int, rng: np.random.Generator
) -> tuple[Laying, ...]:
    """Bars laid anywhere in any direction."""
    low, high = outline_mm.min(axis=0) + WALL_MM, outline_mm.max(axis=0) - WALL_MM
    layings: list[Laying] = []
    while len(layings) < count:
        start, turn = rng.uniform(low, high), rng.uniform(0.0, 2.0 * np.pi)
        end = start + length_mm * np.array([np.cos(turn), np.sin(turn)])
        if np.all((end > low) & (end < high)) and _fits(outline_mm, _point(start), _point(end)):
            layings.append(Laying(_point(start), _point(end)))
    return tuple(layings)


def staff_grid(
    outline_mm: NDArray[np.float64],
    *,
    spacing_mm: float,
    name: str = "A",
    wall_mm: float = 2.0 * WALL_MM,
    division_mm: float = DIVISION_MM,
) -> SetUp:
    """One set-up over a grid, points at most ``spacing_mm`` apart, row by row."""
    low, high = outline_mm.min(axis=0) + wall_mm, outline_mm.max(axis=0) - wall_mm
    x, y = np.meshgrid(*(_spread(low[k], high[k], spacing_mm, division_mm) for k in (0, 1)))
    keep = inside(outline_mm, x, y)
    return SetUp(name, tuple(zip(x[keep].tolist(), y[keep].tolist(), strict=True)))


def _point(xy: NDArray[np.float64]) -> Point:
    """Rounded to 0.1 mm, so that what is written is where the bar lay."""
    return (round(float(xy[0]), 1), round(float(xy[1]), 1))
