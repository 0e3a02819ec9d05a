"""The floor on paper: heights, contours, holes, outline, grid and the corner where the tape starts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan import said
from flatscan.constants import MM_PER_M
from flatscan.report.picture.colours import contour_step_mm
from flatscan.report.picture.lettering import font, line_in, width_in
from flatscan.report.picture.sheet import EDGE_IN, grid_lines_mm

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.colors import ListedColormap
    from matplotlib.patches import PathPatch
    from numpy.typing import NDArray

    from flatscan.report.picture.labels import Box
    from flatscan.report.picture.sheet import Sheet
    from flatscan.surface.surface import Surface

#: More cells than this along a side cannot be seen on the paper.
MOST_PIXELS = 1600
_CONTOUR_PIXELS = 400
INK, SOFT_INK, HOLE = "#1c1c1c", "#5a5a5a", "#d2d2d2"
TICK_PT, WORD_PT = 7.5, 8.0
_WORD_AWAY_IN = 0.27


def block_step(shape: tuple[int, ...], most: int) -> int:
    """Cells along a block's side so that no side of the picture has more than ``most`` blocks."""
    return max(1, -(-max(shape) // most))


def block_mean(values: NDArray[np.float32], step: int) -> NDArray[np.float32]:
    """Mean of square blocks of ``step`` cells; NaN only where a whole block is NaN.

    Cells left over at the far sides make smaller blocks.
    """
    if step == 1:
        return values
    rows, cols = (-(-n // step) for n in values.shape)
    padded = np.full((rows * step, cols * step), np.nan, dtype=np.float64)
    padded[: values.shape[0], : values.shape[1]] = values
    blocks = padded.reshape(rows, step, cols, step)
    known = np.isfinite(blocks)
    count = known.sum(axis=(1, 3))
    total = np.where(known, blocks, 0.0).sum(axis=(1, 3))
    return np.where(count > 0, total / np.maximum(count, 1), np.nan).astype(np.float32)


def draw_heights(axes: Axes, surface: Surface, sheet: Sheet, colours: ListedColormap, scale: float) -> None:
    """The measured heights as colours, and thin contours of the best estimate: dashed below zero."""
    step = block_step(surface.height_mm.shape, MOST_PIXELS)
    shown = block_mean(surface.height_mm, step)
    axes.imshow(
        shown,
        origin="lower",
        extent=extent(surface, sheet, shown.shape, step),
        cmap=colours,
        vmin=-scale,
        vmax=scale,
        interpolation="nearest",
        zorder=1,
    )
    step = block_step(surface.estimate_mm.shape, _CONTOUR_PIXELS)
    smooth = block_mean(surface.estimate_mm, step)
    if min(smooth.shape) < 2 or not np.isfinite(smooth).any():  # noqa: PLR2004 - a contour needs two lines of cells
        return
    apart_mm = contour_step_mm(scale)
    levels = np.arange(apart_mm, scale, apart_mm)
    left, right, bottom, top = extent(surface, sheet, smooth.shape, step)
    x = left + (np.arange(smooth.shape[1]) + 0.5) * (right - left) / smooth.shape[1]
    y = bottom + (np.arange(smooth.shape[0]) + 0.5) * (top - bottom) / smooth.shape[0]
    held = np.ma.masked_invalid(smooth)
    for sign, style in ((1.0, "solid"), (-1.0, "dashed")):
        wanted = np.sort(sign * levels)
        wanted = wanted[(wanted > np.nanmin(smooth)) & (wanted < np.nanmax(smooth))]
        if len(wanted):
            axes.contour(x, y, held, levels=wanted, colors=SOFT_INK, linewidths=0.5, linestyles=style, zorder=2)


def draw_holes(axes: Axes, surface: Surface, sheet: Sheet) -> bool:
    """Grey and hatched where the floor was not seen; whether there is any."""
    unseen = surface.inside & ~surface.seen
    if not unseen.any():
        return False
    step = block_step(unseen.shape, MOST_PIXELS)
    shown = block_mean(unseen.astype(np.float32), step) > 0.5  # noqa: PLR2004 - most of the block
    padded = np.pad(shown, 1).astype(np.float64)
    left, right, bottom, top = extent(surface, sheet, shown.shape, step)
    cell_w, cell_h = (right - left) / shown.shape[1], (top - bottom) / shown.shape[0]
    x = left + (np.arange(padded.shape[1]) - 0.5) * cell_w
    y = bottom + (np.arange(padded.shape[0]) - 0.5) * cell_h
    if shown.any():
        hatched = axes.contourf(x, y, padded, levels=[0.5, 1.5], colors=[HOLE], hatches=["//////"], zorder=3)
        hatched.set_edgecolor(SOFT_INK)
        hatched.set_linewidth(0.0)
    return True


def draw_outline(axes: Axes, surface: Surface, sheet: Sheet) -> None:
    """The walls, from the outline where there is one, else round the cells of the floor."""
    for ring in surface.outline:
        closed = sheet.on_paper(np.concatenate([ring, ring[:1]]))
        axes.plot(closed[:, 0], closed[:, 1], color=INK, linewidth=2.0, solid_joinstyle="miter", zorder=5)
    if not surface.outline:
        left, bottom, right, top = sheet.room_box
        x, y = [left, right, right, left, left], [bottom, bottom, top, top, bottom]
        axes.plot(x, y, color=SOFT_INK, linewidth=1.0, zorder=5)


def draw_grid(axes: Axes, surface: Surface, sheet: Sheet) -> list[Box]:
    """Grid lines in metres or feet from corner 0, and words for both tapes; the boxes that labels must leave free."""
    left, bottom, right, top = sheet.room_box
    step, every = sheet.grid_mm, sheet.labelled_every
    walls = walls_patch(axes, surface, sheet)
    for axis, (low, high) in enumerate(zip(sheet.room_mm[:2], sheet.room_mm[2:], strict=True)):
        for value in grid_lines_mm(low, high, step):
            index = round(value / step)
            at = float(sheet.on_paper((value, value))[axis])
            heavy = 0.7 if index % every == 0 else 0.35
            xs, ys = ([at, at], [bottom, top]) if axis == 0 else ([left, right], [at, at])
            (drawn,) = axes.plot(xs, ys, color="#404040", alpha=0.45, linewidth=heavy, zorder=4)
            if walls is not None:
                drawn.set_clip_path(walls)
            if index % every == 0 and index != 0:
                x, y = (at, bottom - 0.08) if axis == 0 else (left - 0.08, at)
                ha, va = ("center", "top") if axis == 0 else ("right", "center")
                text = f"{round(said.in_unit(value / MM_PER_M, 'm'), 3):g}"
                axes.text(x, y, text, fontproperties=font(TICK_PT), color=INK, ha=ha, va=va, zorder=6)
    low, beside = bottom - _WORD_AWAY_IN, left - _WORD_AWAY_IN
    tape = "feet" if said.imperial() else "metres"
    along, out = f"x: {tape} from the left wall", f"y: {tape} from\nthe bottom wall"
    axes.text((left + right) / 2, low, along, fontproperties=font(WORD_PT), color=INK, ha="center", va="top", zorder=6)
    axes.text(beside, (bottom + top) / 2, out, fontproperties=font(WORD_PT), color=INK, ha="right", va="center",
              rotation=90, multialignment="center", zorder=6)  # fmt: skip
    half_along, half_out = width_in(along, WORD_PT) / 2, width_in("the bottom wall", WORD_PT) / 2
    middle_x, middle_y, line = (left + right) / 2, (bottom + top) / 2, line_in(WORD_PT)
    return [
        (left - 0.3, bottom - _WORD_AWAY_IN, right + 0.1, bottom - 0.02),
        (middle_x - half_along, low - line, middle_x + half_along, low),
        (left - _WORD_AWAY_IN, bottom - 0.1, left - 0.02, top + 0.1),
        (beside - 2 * line, middle_y - half_out, beside, middle_y + half_out),
    ]


def draw_corner(axes: Axes, sheet: Sheet) -> None:
    """The corner that both tapes start from."""
    x, y = sheet.on_paper((0.0, 0.0))
    axes.plot([x], [y], marker="o", markersize=13, color=INK, zorder=8)
    white: dict[str, Any] = {"color": "white", "ha": "center", "va": "center_baseline"}
    axes.text(x, y, "0", fontproperties=font(8.5, bold=True), zorder=9, **white)


def write_lines(axes: Axes, lines: Sequence[str], top: float, size_pt: float, *, bold: bool = False) -> float:
    """Write lines downwards from ``top``; the height beneath them."""
    for line in lines:
        axes.text(EDGE_IN, top, line, fontproperties=font(size_pt, bold=bold), color=INK, va="top", parse_math=False)
        top -= line_in(size_pt)
    return top


def walls_patch(axes: Axes, surface: Surface, sheet: Sheet) -> PathPatch | None:
    """The outline as an invisible shape, to keep what is drawn inside the room; None where there is no outline."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    if not surface.outline:
        return None
    rings = [Path(sheet.on_paper(np.concatenate([ring, ring[:1]])), closed=True) for ring in surface.outline]
    return PathPatch(Path.make_compound_path(*rings), transform=axes.transData, visible=False)


def extent(surface: Surface, sheet: Sheet, shape: tuple[int, ...], step: int) -> tuple[float, float, float, float]:
    """Left, right, bottom, top in inches of a picture of blocks, the last of which may hang over the grid."""
    x0, y0 = surface.origin_mm
    side = step * surface.cell_mm
    (left, bottom), (right, top) = sheet.on_paper([(x0, y0), (x0 + shape[1] * side, y0 + shape[0] * side)]).tolist()
    return left, right, bottom, top
