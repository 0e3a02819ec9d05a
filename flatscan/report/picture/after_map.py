"""The floor before and after levelling, side by side: the largest gap at each place as a share of its limit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.report.picture import after_key, floor, key, marks
from flatscan.report.picture.lettering import font, line_in, wrap
from flatscan.report.picture.png import png_of
from flatscan.report.picture.sheet import EDGE_IN, Sheet, room_of
from flatscan.report.words import levelling_words
from flatscan.units import MM_PER

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from flatscan.levelling.plan import LevellingPlan
    from flatscan.report.picture.labels import Box
    from flatscan.surface.surface import Surface

#: Dots per inch; the next where the one before makes too large a file.
_DPI = (170, 140, 110)
MOST_BYTES = 1_500_000
_MOST_PIXELS, _CONTOUR_PIXELS = 900, 400
#: A room drawn this much wider than deep has its two maps one above the other.
_WIDE = 1.7
#: Largest drawn room (width, height), beside each other and above each other.
_BESIDE_IN, _ABOVE_IN = (4.6, 5.2), (8.6, 3.4)
_MOST_INCH_PER_MM = 0.004
#: Space around the room for the tape measures (left, bottom, right, top).
_AROUND_IN = (0.72, 0.62, 0.25, 0.15)
_TITLE_PT, _MAP_TITLE_PT, _CAPTION_PT = 12.0, 9.0, 7.5
_TITLE = "The floor before and after the work: largest gap under the straightedge, as a share of its limit"
_BEFORE = "Before: the floor as it is"
_CAPTION = (
    "At each place the worst of all edges and directions. Both maps are on the best estimate of the floor; "
    "measure again when the work is done."
)
#: Contours of the fill: a round step that draws no more lines than anyone can count.
_STEPS_MM, _MOST_CONTOURS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0), 15
_STEPS_IN = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0)


@dataclass(frozen=True, slots=True)
class _Paper:
    """Two sheets of the same room on one paper, and its size in inches."""

    before: Sheet
    after: Sheet
    width: float
    height: float


def after_png(
    surface: Surface, before_share: NDArray[np.float32], after_share: NDArray[np.float32], plan: LevellingPlan
) -> bytes:
    """The picture as PNG, under 1.5 MB; the same bytes for the same plan.

    ``before_share``, ``after_share``: (rows, cols) float32, largest gap over its limit, 1 at the limit; NaN not seen.
    """
    figure = draw_after(surface, before_share, after_share, plan)
    return png_of(figure, _DPI, MOST_BYTES)


def planned_png(surface: Surface, plan: LevellingPlan) -> bytes:
    """The picture of the chosen way; empty where nothing was chosen or the floor was not measured before and after."""
    chosen = levelling_words.chosen_of(plan)
    if chosen is None or chosen.proof is None or plan.before is None:
        return b""
    return after_png(surface, plan.before.share, chosen.proof.share, plan)


def draw_after(
    surface: Surface, before_share: NDArray[np.float32], after_share: NDArray[np.float32], plan: LevellingPlan
) -> Figure:
    """The picture as a matplotlib figure of its own; no global state is touched."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    step_mm = contour_step_mm(plan.fill_mm)
    room = room_of(surface)
    draft = _paper(room, above_in=0.0, below_in=0.0)
    wide = draft.width - 2 * EDGE_IN
    title = wrap(_TITLE, wide, _TITLE_PT, bold=True)
    small = wrap(_CAPTION, wide, _CAPTION_PT)
    rows = key.rows_of(after_key.entries(plan, step_mm, holes=bool((surface.inside & ~surface.seen).any())), wide)
    below = len(rows) * key.ROW_IN + 0.1 + len(small) * line_in(_CAPTION_PT)
    paper = _paper(room, above_in=len(title) * line_in(_TITLE_PT) + 0.05, below_in=below)

    figure = Figure(figsize=(paper.width, paper.height), dpi=_DPI[0], facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    floor.write_lines(axes, title, paper.height - EDGE_IN, _TITLE_PT, bold=True)
    _draw_map(axes, surface, before_share, paper.before, _BEFORE)
    blocked = _draw_map(axes, surface, after_share, paper.after, _after_title(plan))
    _draw_contours(axes, surface, plan.fill_mm, paper.after, step_mm)
    labels, drawn = marks.draw_areas(axes, plan.areas, paper.after, volumes=False)
    labels += marks.draw_walls(axes, plan.areas, paper.after)
    marks.draw_labels(axes, labels, paper.after, blocked=blocked, drawn=drawn)
    under = EDGE_IN + below
    key.draw_key(axes, rows, EDGE_IN, under)
    floor.write_lines(axes, small, under - len(rows) * key.ROW_IN - 0.1, _CAPTION_PT)
    axes.set(xlim=(0.0, paper.width), ylim=(0.0, paper.height), aspect="auto")
    return figure


def block_max(values: NDArray[np.float32], step: int) -> NDArray[np.float32]:
    """Largest of square blocks of ``step`` cells, so that no bad place vanishes; NaN only where a whole block is.

    Cells left over at the far sides make smaller blocks.
    """
    if step == 1:
        return values
    rows, cols = (-(-n // step) for n in values.shape)
    padded = np.full((rows * step, cols * step), -np.inf, dtype=np.float32)
    padded[: values.shape[0], : values.shape[1]] = np.where(np.isfinite(values), values, -np.inf)
    most = padded.reshape(rows, step, cols, step).max(axis=(1, 3))
    return np.where(np.isfinite(most), most, np.nan).astype(np.float32)


def contour_step_mm(fill_mm: NDArray[np.float32]) -> float | None:
    """1 mm or 0.05 in, or more where that would be too many lines; None where the fill has none."""
    most = float(np.nanmax(fill_mm, initial=0.0))
    steps = tuple(step * MM_PER["in"] for step in _STEPS_IN) if said.imperial() else _STEPS_MM
    if most <= steps[0]:
        return None
    return next((step for step in steps if most / step <= _MOST_CONTOURS), steps[-1])


def _after_title(plan: LevellingPlan) -> str:
    return "After, as planned" if plan.chosen is None else f"After, as planned: {levelling_words.NAME[plan.chosen]}"


def _draw_map(axes: Axes, surface: Surface, share: NDArray[np.float32], sheet: Sheet, title: str) -> list[Box]:
    step = floor.block_step(share.shape, _MOST_PIXELS)
    shown = block_max(share, step)
    extent = floor.extent(surface, sheet, shown.shape, step)
    colours, bounds = after_key.share_colours()
    axes.imshow(shown, origin="lower", extent=extent, cmap=colours, norm=bounds, interpolation="nearest", zorder=1)
    floor.draw_holes(axes, surface, sheet)
    floor.draw_outline(axes, surface, sheet)
    blocked = floor.draw_grid(axes, surface, sheet)
    floor.draw_corner(axes, sheet)
    left, _, _, top = sheet.map_box
    axes.text(left, top + 0.06, title, fontproperties=font(_MAP_TITLE_PT, bold=True), color=floor.INK, va="bottom")
    after_key.draw_scale_bar(axes, sheet)
    return blocked


def _draw_contours(
    axes: Axes, surface: Surface, fill_mm: NDArray[np.float32], sheet: Sheet, step_mm: float | None
) -> None:
    if step_mm is None or min(fill_mm.shape) < 2:  # noqa: PLR2004 - a contour needs two lines of cells
        return
    step = floor.block_step(fill_mm.shape, _CONTOUR_PIXELS)
    shown = floor.block_mean(fill_mm, step)
    left, right, bottom, top = floor.extent(surface, sheet, shown.shape, step)
    x = left + (np.arange(shown.shape[1]) + 0.5) * (right - left) / shown.shape[1]
    y = bottom + (np.arange(shown.shape[0]) + 0.5) * (top - bottom) / shown.shape[0]
    most = float(np.nanmax(shown, initial=0.0))
    levels = np.arange(step_mm, most, step_mm)
    if len(levels):
        held = np.ma.masked_invalid(shown)
        axes.contour(x, y, held, levels=levels, colors=after_key.CONTOUR_INK, linewidths=0.6, zorder=6)


def _paper(room_mm: Box, *, above_in: float, below_in: float) -> _Paper:
    wide, deep = room_mm[2] - room_mm[0], room_mm[3] - room_mm[1]
    beside = wide < _WIDE * deep
    most = _BESIDE_IN if beside else _ABOVE_IN
    scale = min(most[0] / wide, most[1] / deep, _MOST_INCH_PER_MM)
    left, bottom, right, top = _AROUND_IN
    head = line_in(_MAP_TITLE_PT) + 0.08
    # A narrow room still has to carry its title.
    spare = max(0.0, 3.4 - (wide * scale + left + right)) / 2.0
    map_w, map_h = wide * scale + left + right + 2 * spare, deep * scale + bottom + top
    foot = EDGE_IN + below_in
    width = 2 * EDGE_IN + map_w * (2 if beside else 1)
    height = foot + (map_h + head) * (1 if beside else 2) + above_in + EDGE_IN
    base = foot if beside else foot + map_h + head
    first = Sheet(
        width=width,
        height=height,
        map_box=(EDGE_IN, base, EDGE_IN + map_w, base + map_h),
        room_mm=room_mm,
        inch_per_mm=scale,
        room_left=EDGE_IN + left + spare,
        room_bottom=base + bottom,
    )
    across, down = (map_w, 0.0) if beside else (0.0, map_h + head)
    box = first.map_box
    second = replace(
        first,
        map_box=(box[0] + across, box[1] - down, box[2] + across, box[3] - down),
        room_left=first.room_left + across,
        room_bottom=first.room_bottom - down,
    )
    return _Paper(first, second, width, height)
