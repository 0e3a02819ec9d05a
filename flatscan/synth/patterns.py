"""Ways to lay rectangles: the cells of a pattern over an area, repairs cut into them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

from flatscan.synth.rectangles import X0, X1, Y0, Y1

if TYPE_CHECKING:
    from numpy.typing import NDArray

Pattern = Literal["stack", "half", "third", "running", "herringbone", "boards", "mixed"]
PATTERNS: tuple[Pattern, ...] = ("stack", "half", "third", "running", "herringbone", "boards", "mixed")
_SHIFT = {"stack": 0.0, "half": 0.5, "third": 1.0 / 3.0}
#: The first tile at the low corner is cut to this share.
_CUT = 0.6
#: Boards are between these shares of the length asked for, their ends at least this far from the last row's.
_BOARD_LENGTHS = (0.55, 1.45)
_BOARD_APART = 0.15
#: Sizes of mixed formats in modules, and how often each is tried first.
_MIXED = ((2, 2), (2, 1), (1, 2), (1, 1))
_MIXED_WEIGHT = (0.35, 0.2, 0.2, 0.25)

Box = tuple[float, float, float, float]


def cells_of(
    pattern: Pattern, box_mm: Box, pitch_mm: tuple[float, float], shift: float, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Cells (n, 4) x0, y0, x1, y1 that cover ``box_mm``.

    Parameters
    ----------
    pattern : "running" takes ``shift``; "herringbone" makes the long side a whole number of short ones; of "boards"
        ``pitch_mm`` is (mean length, width); of "mixed" it is the module
    """
    if pattern == "herringbone":
        return _herringbone(box_mm, pitch_mm)
    if pattern == "boards":
        return _boards(box_mm, pitch_mm, rng)
    if pattern == "mixed":
        return _mixed(box_mm, pitch_mm, rng)
    return _rows(box_mm, pitch_mm, _SHIFT.get(pattern, shift))


def _rows(box: Box, pitch: tuple[float, float], shift: float) -> NDArray[np.float64]:
    x0, y0 = box[X0] - (1.0 - _CUT) * pitch[0], box[Y0] - (1.0 - _CUT) * pitch[1]
    cells = []
    for row in range(int(np.ceil((box[Y1] - y0) / pitch[1]))):
        first = x0 - (1.0 - (row * shift) % 1.0) * pitch[0]
        for col in range(int(np.ceil((box[X1] - first) / pitch[0]))):
            x, y = first + col * pitch[0], y0 + row * pitch[1]
            cells.append((x, y, x + pitch[0], y + pitch[1]))
    return _touching(np.array(cells), box)


def _herringbone(box: Box, pitch: tuple[float, float]) -> NDArray[np.float64]:
    """Zigzags of one lying and one standing rectangle; each column of a zigzag is full over two lengths.

    Zigzag i: lying [i, i + k] × [i, i + 1], standing [i, i + 1] × [i + 1, i + 1 + k], in short sides, where k is the
    long side. Column i of it holds the lying ones i − k + 1 to i, then the standing one: 2 k without a gap, so that
    zigzags 2 k apart cover the plane.
    """
    short = min(pitch)
    k = max(2, round(max(pitch) / short))
    x0, y0 = box[X0] - _CUT * short, box[Y0] - _CUT * short
    across = int(np.ceil((box[X1] - x0) / short)) + k
    up = int(np.ceil((box[Y1] - y0) / short)) + k
    cells = []
    for i in range(-k, across):
        lowest = -((i + 2 * k) // (2 * k)) - 1
        for zigzag in range(lowest, lowest + (up + across + 4 * k) // (2 * k) + 2):
            y = i + 2 * k * zigzag
            cells += [(i, y, i + k, y + 1), (i, y + 1, i + 1, y + 1 + k)]
    return _touching(np.array(cells) * short + np.array([x0, y0, x0, y0]), box)


def _boards(box: Box, pitch: tuple[float, float], rng: np.random.Generator) -> NDArray[np.float64]:
    cells: list[Box] = []
    last = np.zeros(0)
    apart = _BOARD_APART * pitch[0]
    for y in np.arange(box[Y0] - (1.0 - _CUT) * pitch[1], box[Y1], pitch[1]):
        x, ends = box[X0] - rng.uniform(0.1, 0.9) * pitch[0], []
        while x < box[X1]:
            tries = x + pitch[0] * rng.uniform(*_BOARD_LENGTHS, 8)
            free = [end for end in tries if len(last) == 0 or np.abs(last - end).min() > apart]
            end = float(free[0] if free else tries[0])
            cells.append((x, float(y), end, float(y) + pitch[1]))
            ends.append(end)
            x = end
        last = np.array(ends)
    return _touching(np.array(cells), box)


def _mixed(box: Box, module: tuple[float, float], rng: np.random.Generator) -> NDArray[np.float64]:
    """Rectangles of one and two modules, put down by chance on the modules' grid."""
    x0, y0 = box[X0] - (1.0 - _CUT) * module[0], box[Y0] - (1.0 - _CUT) * module[1]
    cols, rows = int(np.ceil((box[X1] - x0) / module[0])) + 1, int(np.ceil((box[Y1] - y0) / module[1])) + 1
    taken = np.zeros((rows, cols), dtype=bool)
    cells = []
    for row, col in np.ndindex(rows, cols):
        if taken[row, col]:
            continue
        order = rng.choice(len(_MIXED), size=len(_MIXED), replace=False, p=_MIXED_WEIGHT)
        for wide, high in [*(_MIXED[one] for one in order), (1, 1)]:
            spot = taken[row : row + high, col : col + wide]
            if spot.shape == (high, wide) and not spot.any():
                spot[:] = True
                x, y = x0 + col * module[0], y0 + row * module[1]
                cells.append((x, y, x + wide * module[0], y + high * module[1]))
                break
    return _touching(np.array(cells), box)


def _touching(cells: NDArray[np.float64], box: Box) -> NDArray[np.float64]:
    keep = (cells[:, X1] > box[X0]) & (cells[:, X0] < box[X1]) & (cells[:, Y1] > box[Y0]) & (cells[:, Y0] < box[Y1])
    return cells[keep]


def snapped(cells: NDArray[np.float64], box: Box) -> Box:
    """The box with each side moved to the nearest side of a cell."""
    x, y = cells[:, (X0, X1)].ravel(), cells[:, (Y0, Y1)].ravel()
    x0, y0, x1, y1 = (
        float(sides[np.argmin(np.abs(sides - value))]) for sides, value in zip((x, y, x, y), box, strict=True)
    )
    if not (x0 < x1 and y0 < y1):
        raise ValueError("a repair must be about as large as a tile")
    return x0, y0, x1, y1


def without(cells: NDArray[np.float64], box: Box) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """What is left of the cells outside the box, as rectangles, and the cell that each was part of."""
    left, of = list[Box](), list[int]()
    for index, (x0, y0, x1, y1) in enumerate(cells.tolist()):
        # What of the cell lies in the box.
        a, b, c, d = max(x0, box[X0]), max(y0, box[Y0]), min(x1, box[X1]), min(y1, box[Y1])
        if a >= c or b >= d:
            parts = [(x0, y0, x1, y1)]
        else:
            parts = [(x0, y0, a, y1), (c, y0, x1, y1), (a, y0, c, b), (a, d, c, y1)]
        for part in parts:
            if part[X1] - part[X0] > 1e-6 and part[Y1] - part[Y0] > 1e-6:  # noqa: PLR2004 - rounding
                left.append(part)
                of.append(index)
    return np.array(left), np.array(of)
