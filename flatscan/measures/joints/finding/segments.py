"""Straight lines out of evidence: crests linked along the strips, fitted, and trimmed to where they are seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.joints.finding.strips import Strips

#: Standard deviations at which a line starts, and at which it goes on.
START_Z = 6.0
GO_ON_Z = 3.0
#: A crest stands out among its neighbours across this far, mm.
_CREST_MM = 6.0
#: Shorter lines are not looked at, mm.
_SHORTEST_MM = 30.0
#: A line is cut where its crests leave it by more than this, mm and pixels, whichever is more.
_BEND_MM = 1.5
_BEND_PX = 1.0


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line in strips: from ``start`` to ``end``, each (u, v) in mm, and the median evidence on it."""

    start: tuple[float, float]
    end: tuple[float, float]
    z: float


def lines_in(strips: Strips, z: NDArray[np.float32]) -> list[Line]:
    """Lines along the strips where evidence of either sign stands out."""
    from scipy.ndimage import label, maximum_filter1d

    size = np.abs(z)
    reach = max(1, round(_CREST_MM / 2.0 / strips.pixel_mm))
    crest = (size > GO_ON_Z) & (size >= maximum_filter1d(size, 2 * reach + 1, axis=0))
    if not crest.any():
        return []
    labels, _ = label(crest, np.ones((3, 3)))
    row, col = np.nonzero(crest)
    of = labels[row, col]
    order = np.lexsort((col, of))
    row, col, of = row[order], col[order], of[order]
    strength = size[row, col]
    high = row + _subpixel(size, row, col)
    lines: list[Line] = []
    starts = np.flatnonzero(np.diff(of, prepend=-1))
    for first, last in zip(starts, np.append(starts[1:], len(of)), strict=True):
        part = slice(first, last)
        if strength[part].max() < START_Z or (col[part].max() - col[part].min() + 1) * strips.cell_mm < _SHORTEST_MM:
            continue
        lines.extend(_straight(strips, col[part], high[part], strength[part]))
    return lines


def _subpixel(size: NDArray[np.float32], row: NDArray[np.int64], col: NDArray[np.int64]) -> NDArray[np.float64]:
    """Where the crest lies between rows: middle of the evidence within a pixel either side."""
    rows = size.shape[0]
    below, here, above = (size[np.clip(row + k, 0, rows - 1), col].astype(np.float64) for k in (-1, 0, 1))
    bend = below - 2.0 * here + above
    shift = np.divide(0.5 * (below - above), bend, out=np.zeros_like(here), where=bend < 0)
    return np.clip(shift, -0.5, 0.5)


def _straight(
    strips: Strips, col: NDArray[np.int64], high: NDArray[np.float64], strength: NDArray[np.float32]
) -> list[Line]:
    """Cut a chain of crests into straight parts; columns ascend."""
    u, v = (
        (np.asarray(k, dtype=np.float64) + 0.5) * size for k, size in ((col, strips.cell_mm), (high, strips.pixel_mm))
    )
    least = int(_SHORTEST_MM / strips.cell_mm)
    bend = max(_BEND_MM, _BEND_PX * strips.pixel_mm)
    todo, lines = [np.arange(len(u))], list[Line]()
    while todo:
        index = todo.pop()
        if len(index) < least or (np.ptp(u[index]) + strips.cell_mm) < _SHORTEST_MM:
            continue
        slope, level, inside = robust_line(u[index], v[index], strength[index], bend)
        if not inside.all():
            kept = index[inside]
            worst = _worst_run(u[index], ~inside)
            if worst is not None:
                cut = worst
                todo.extend([index[u[index] <= cut], index[u[index] > cut]])
                if min(len(todo[-1]), len(todo[-2])) > 0:
                    continue
                del todo[-2:]
            index = kept
        if len(index) < least or strength[index].max() < START_Z:
            continue
        ends = u[index].min() - strips.cell_mm / 2, u[index].max() + strips.cell_mm / 2
        lines.append(
            Line(
                (float(ends[0]), float(level + slope * ends[0])),
                (float(ends[1]), float(level + slope * ends[1])),
                float(np.median(strength[index])),
            )
        )
    return lines


def robust_line(
    u: NDArray[np.float64], v: NDArray[np.float64], weight: NDArray[np.float32], bend_mm: float
) -> tuple[float, float, NDArray[np.bool_]]:
    """Slope, level and who lies within ``bend_mm``: least squares with Cauchy weights, eight rounds."""
    w = weight.astype(np.float64)
    slope, level = 0.0, float(np.median(v))
    for _ in range(8):
        off = v - level - slope * u
        k = w / (1.0 + (off / (0.5 * bend_mm)) ** 2)
        mean_u, mean_v = np.average(u, weights=k), np.average(v, weights=k)
        spread = np.sum(k * (u - mean_u) ** 2)
        slope = float(np.sum(k * (u - mean_u) * (v - mean_v)) / spread) if spread > 0 else 0.0
        level = float(mean_v - slope * mean_u)
    return slope, level, np.abs(v - level - slope * u) <= bend_mm


def _worst_run(u: NDArray[np.float64], off: NDArray[np.bool_]) -> float | None:
    """Where to cut: the inner end of the longest run of crests off the line; None when they are strays."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], off.astype(np.int8), [0]])))
    runs = edges.reshape(-1, 2)
    longest = runs[np.argmax(runs[:, 1] - runs[:, 0])]
    if longest[1] - longest[0] < 3:  # noqa: PLR2004 - cells
        return None
    if longest[0] == 0:
        return float(u[longest[1] - 1])
    return float(u[longest[0] - 1]) if longest[1] == len(u) else float(u[(longest[0] + longest[1]) // 2])
