"""``difference.png``: after minus before on the map after, with what certainly changed, the areas, what is open."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan import said
from flatscan.levelling.plan import Area
from flatscan.report.comparison import words
from flatscan.report.comparison.layout import Paper, paper_for
from flatscan.report.picture import floor, key, marks
from flatscan.report.picture.colours import height_colours, scale_mm
from flatscan.report.picture.lettering import font, line_in, wrap
from flatscan.report.picture.png import png_of
from flatscan.report.picture.sheet import EDGE_IN, Sheet, room_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from flatscan.report.comparison.run import ComparisonRun

_DPI, MOST_BYTES = (170, 140, 110), 2_000_000
_TITLE_PT, _SUBTITLE_PT, _CAPTION_PT, _SMALL_PT = 13.0, 8.5, 7.5, 9.0
_AFTER_IN, _AFTER_TITLE_IN = 0.1, 0.05
_CHANGED_INK = "#1c1c1c"
_MARK = {"over": "^", "not_decided": "D"}
#: Beyond so many only the worst carry a number.
_MOST_NUMBERED = 12


def difference_png(run: ComparisonRun) -> bytes:
    """The picture as PNG, under 2 MB; the same bytes for the same run."""
    return png_of(draw_difference(run), _DPI, MOST_BYTES)


def draw_difference(run: ComparisonRun) -> Figure:
    """The picture as a matplotlib figure of its own; no global state is touched."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    room = room_of(run.after.surface)
    wide = paper_for(room, above_in=0.0, below_in=0.0).difference.width - 2 * EDGE_IN
    title = wrap(words.headline(run), wide, _TITLE_PT, bold=True)
    subtitle = wrap(_subtitle(run), wide, _SUBTITLE_PT)
    rows = key.rows_of(_entries(run), wide)
    small = [piece for line in _captions(run) for piece in wrap(line, wide, _CAPTION_PT)]
    above = len(title) * line_in(_TITLE_PT) + _AFTER_TITLE_IN + len(subtitle) * line_in(_SUBTITLE_PT)
    below = len(rows) * key.ROW_IN + 2 * _AFTER_IN + len(small) * line_in(_CAPTION_PT)
    paper = paper_for(room, above_in=above, below_in=below)
    sheet = paper.difference

    figure = Figure(figsize=(sheet.width, sheet.height), dpi=_DPI[0], facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    top = floor.write_lines(axes, title, sheet.height - EDGE_IN, _TITLE_PT, bold=True) - _AFTER_TITLE_IN
    floor.write_lines(axes, subtitle, top, _SUBTITLE_PT)
    _draw_difference(axes, run, sheet)
    under = sheet.map_box[1]
    key.draw_key(axes, rows, EDGE_IN, under)
    floor.write_lines(axes, small, under - len(rows) * key.ROW_IN - _AFTER_IN, _CAPTION_PT)
    _draw_small(axes, run, paper)
    axes.set(xlim=(0.0, sheet.width), ylim=(0.0, sheet.height), aspect="auto")
    return figure


def _subtitle(run: ComparisonRun) -> str:
    if run.found.datum.kind == "shape_only":
        return (
            "The floor after minus the floor before, the best plane taken off: red stands higher than the rest of the "
            "change, blue lower. The rise as a whole is not known."
        )
    return "The floor after minus the floor before: red is higher now, blue is lower."


def _captions(run: ComparisonRun) -> list[str]:
    return [f"{line}." for line in (*words.change_lines(run)[-1:], *words.how_lines(run))]


def _entries(run: ComparisonRun) -> list[key.Entry]:
    found = run.found
    entries = []
    if found.difference.changed.any():
        entries.append(key.Entry("certainly changed", key.line_sample(_CHANGED_INK, 1.3, "dotted")))
    if any(not area.planned.grinds for area in found.areas):
        entries.append(key.Entry("area planned to fill", key.line_sample(marks.AREA_INK, 1.7, "solid")))
    if any(area.planned.grinds for area in found.areas):
        entries.append(key.Entry("area planned to grind", key.line_sample(marks.GRIND_INK, 1.7, "dashed")))
    for word, text in (("over", "still over, numbered as listed"), ("not_decided", "not decided")):
        if any(spot.verdict == word for spot in found.open_spots):
            sample = key.mark_sample(_MARK[word], color="white", markeredgecolor=floor.INK, markersize=7.0)
            entries.append(key.Entry(text, sample))
    entries.append(key.Entry("not seen in both", key.line_sample(floor.HOLE, 8.0, "solid")))
    return entries


def _draw_difference(axes: Axes, run: ComparisonRun, sheet: Sheet) -> None:
    difference, surface = run.found.difference, run.after.surface
    both = np.isfinite(difference.d_mm)
    scale = scale_mm(difference.d_mm, float(np.median(difference.u_mm[both])))
    colours = height_colours()
    _picture(axes, run, difference.d_mm, sheet, scale)
    _changed(axes, run, sheet)
    floor.draw_outline(axes, surface, sheet)
    blocked = floor.draw_grid(axes, surface, sheet)
    floor.draw_corner(axes, sheet)
    areas = [_as_area(run, number) for number in range(len(run.found.areas))]
    labels, drawn = marks.draw_areas(axes, areas, sheet, volumes=False)
    spot_labels, on_spots = _spots(axes, run, sheet)
    marks.draw_labels(axes, [*spot_labels, *labels], sheet, blocked=blocked, drawn=np.concatenate([drawn, on_spots]))
    clipped = (bool((difference.d_mm < -scale).any()), bool((difference.d_mm > scale).any()))
    key.draw_bar(axes, sheet, colours, scale, clipped=clipped)


def _as_area(run: ComparisonRun, number: int) -> Area:
    area = run.found.areas[number]
    plan = area.planned
    action = "grind" if plan.grinds else "fill"
    return Area(plan.number, area.rings, plan.area_m2, plan.volume_l, plan.mean_mm, plan.max_mm, action)


def _picture(axes: Axes, run: ComparisonRun, values: NDArray[np.float32], sheet: Sheet, scale: float) -> None:
    """A grid's values as colours, grey within the walls where there is none."""
    grid = run.found.difference.grid
    x0, y0 = grid.origin_mm
    rows, cols = grid.shape
    (left, bottom), (right, top) = sheet.on_paper(
        [(x0, y0), (x0 + cols * grid.cell_mm, y0 + rows * grid.cell_mm)]
    ).tolist()
    style: dict[str, Any] = {"origin": "lower", "extent": (left, right, bottom, top), "interpolation": "nearest"}
    walls = floor.walls_patch(axes, run.after.surface, sheet)
    from matplotlib.colors import ListedColormap

    hole = np.where(np.isfinite(values), np.nan, 0.0)
    grey = axes.imshow(hole, cmap=ListedColormap([floor.HOLE]), zorder=0.8, **style)
    shown = axes.imshow(values, cmap=height_colours(), vmin=-scale, vmax=scale, zorder=1, **style)
    if walls is not None:
        grey.set_clip_path(walls)
        shown.set_clip_path(walls)


def _changed(axes: Axes, run: ComparisonRun, sheet: Sheet) -> None:
    difference = run.found.difference
    if not difference.changed.any():
        return
    grid = difference.grid
    padded = np.pad(difference.changed, 1).astype(np.float64)
    places = [
        origin + (np.arange(count) - 0.5) * grid.cell_mm
        for origin, count in zip(grid.origin_mm, padded.shape[::-1], strict=True)
    ]
    low = sheet.on_paper((places[0][0], places[1][0]))
    step = grid.cell_mm * sheet.inch_per_mm
    x, y = (low[axis] + np.arange(padded.shape[1 - axis]) * step for axis in (0, 1))
    axes.contour(x, y, padded, levels=[0.5], colors=[_CHANGED_INK], linewidths=1.3, linestyles="dotted", zorder=6)


def _spots(axes: Axes, run: ComparisonRun, sheet: Sheet) -> marks.Drawn:
    labels, drawn = [], [np.empty((0, 2))]
    for number, spot in enumerate(run.found.open_spots, 1):
        x, y = sheet.on_paper(spot.at).tolist()
        axes.plot([x], [y], _MARK.get(spot.verdict, "o"), color="white", markeredgecolor=floor.INK, markersize=7.0,
                  markeredgewidth=1.3, zorder=12)  # fmt: skip
        drawn.append(np.array([[x, y]] * 4))
        if number <= _MOST_NUMBERED:
            text = f"{number}  {said.thickness(spot.value.value)}"
            labels.append(marks.Label(text, (x, y), bold=spot.verdict == "over"))
    return labels, np.concatenate(drawn)


def _draw_small(axes: Axes, run: ComparisonRun, paper: Paper) -> None:
    difference, surface = run.found.difference, run.after.surface
    every = np.concatenate([difference.before_mm.ravel(), difference.after_mm.ravel()])
    scale = scale_mm(every, float(np.nanmedian(difference.u_mm)))
    for sheet, values, title in (
        (paper.before, difference.before_mm, "Before: heights"),
        (paper.after, difference.after_mm, "After: heights"),
    ):
        _picture(axes, run, values, sheet, scale)
        floor.draw_outline(axes, surface, sheet)
        floor.draw_grid(axes, surface, sheet)
        floor.draw_corner(axes, sheet)
        left, _, _, top = sheet.map_box
        axes.text(left, top + 0.05, title, fontproperties=font(_SMALL_PT, bold=True), color=floor.INK, va="bottom")
    clipped = (bool((every < -scale).any()), bool((every > scale).any()))
    key.draw_bar(axes, paper.after, height_colours(), scale, clipped=clipped)
