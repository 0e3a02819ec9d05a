"""What is drawn on the floor: straightedges as they lay, areas to level, doors, north, and their labels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.report.picture.edge_line import edge_line
from flatscan.report.picture.floor import INK
from flatscan.report.picture.labels import Wanted, leader_end, place_labels
from flatscan.report.picture.lettering import font, line_in, printable, width_in
from flatscan.report.words import wording

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.patches import Rectangle
    from numpy.typing import NDArray

    from flatscan.judgement.verdict import VerdictWord
    from flatscan.levelling.plan import Area
    from flatscan.measures.measurement import Flatness, Point
    from flatscan.report.picture.labels import Box
    from flatscan.report.picture.sheet import Sheet
    from flatscan.report.words.drawn import Shown
    from flatscan.surface.surface import Surface

AREA_INK, GRIND_INK = "#0b5d3b", "#7b2d8b"
LABEL_PT = 8.0
#: (line width in points, dash pattern) by verdict; None: no limit names this edge.
LINE_OF: dict[VerdictWord | None, tuple[float, str | tuple[int, tuple[float, ...]]]] = {
    "over": (3.4, "solid"),
    "not_decided": (2.6, (0, (3.0, 1.6))),
    "within": (1.1, "solid"),
    "not_seen": (1.1, (0, (1.0, 1.5))),
    None: (1.1, (0, (1.0, 1.5))),
}
#: Beyond this many areas only their numbers are drawn.
MOST_AREA_TEXTS = 12
_LABEL_GAP_IN = 0.05
_PAD_IN = 0.04
_SAMPLES = 40
#: Covering a contact is this much worse than covering a point of a line.
_DOTS_WEIGH = 6
_DOT_IN = 0.06
#: An edge drawn this far into a wall still looks as if it lay on the floor.
_MOST_SLACK_MM = 20.0


@dataclass(frozen=True, slots=True)
class Label:
    """A text and the place it names, in inches."""

    text: str
    at: tuple[float, float]
    ink: str = INK
    bold: bool = False

    def wanted(self) -> Wanted:
        """Its size with a little space around."""
        wide = width_in(self.text, LABEL_PT, bold=self.bold) + 2 * _PAD_IN
        return Wanted(self.at, wide, line_in(LABEL_PT) + _PAD_IN)


#: Labels to place, and (n, 2) float64 points in inches that they should not cover.
Drawn = tuple[list[Label], "NDArray[np.float64]"]


def draw_edges(axes: Axes, shown: Sequence[Shown], surface: Surface, sheet: Sheet) -> Drawn:
    """Each edge as it lay, with its contacts and the place of the gap; labels, and points not to cover.

    The key names the edge's length where there is only one.
    """
    from matplotlib.patheffects import withStroke

    labels, drawn = [], [np.empty((0, 2))]
    one_edge = len({(one.spot.edge_mm, one.what) for one in shown}) == 1
    for one in reversed(shown):  # the worst lies on top
        spot = one.spot
        width, dash = LINE_OF[one.verdict]
        # Where the limit goes by the distance of the contacts, no length of the edge is meant.
        length_mm = 0.0 if one.what == "span_gap" else spot.edge_mm
        slack_mm = min(surface.cell_mm, _MOST_SLACK_MM)
        ends = sheet.on_paper(edge_line(spot.contacts, length_mm, surface.outline, slack_mm=slack_mm))
        halo = [withStroke(linewidth=width + 2.0, foreground="white")]
        style: dict[str, Any] = {"linestyle": dash, "solid_capstyle": "butt", "dash_capstyle": "butt"}
        axes.plot(ends[:, 0], ends[:, 1], color=INK, linewidth=width, path_effects=halo, zorder=10, **style)
        dots, at = sheet.on_paper(spot.contacts), sheet.on_paper(spot.at)
        size = 5.5 if one.verdict in {"over", "not_decided"} else 4.0
        axes.plot(dots[:, 0], dots[:, 1], "o", color=INK, markeredgecolor="white", markersize=size, zorder=11)
        axes.plot(*at, "v", color="white", markeredgecolor=INK, markersize=size + 0.5, zorder=13)
        along = np.linspace(0.0, 1.0, _SAMPLES)[:, None]
        drawn += [ends[0] + along * (ends[1] - ends[0]), np.repeat(dots, _DOTS_WEIGH, axis=0)]
        text = f"{one.letter}  {wording.gap(spot, one.what, edge=not one_edge)}"
        labels.append(Label(text, (float(at[0]), float(at[1])), bold=one.verdict == "over"))
    return labels[::-1], np.concatenate(drawn)


def grinds(area: Area) -> bool:
    """Floor is taken off there, not filled."""
    return "grind" in area.action.lower()


def draw_areas(axes: Axes, areas: Sequence[Area], sheet: Sheet, *, volumes: bool = True) -> Drawn:
    """Outline and number of each area; one to grind is dashed and of another colour. ``volumes``: with its litres."""
    from matplotlib.patheffects import withStroke

    halo = [withStroke(linewidth=3.4, foreground="white")]
    labels, drawn = [], [np.empty((0, 2))]
    for area in areas:
        ink, dash = (GRIND_INK, "dashed") if grinds(area) else (AREA_INK, "solid")
        for ring in area.rings:
            line = sheet.on_paper(np.concatenate([ring, ring[:1]]))
            axes.plot(line[:, 0], line[:, 1], color=ink, linewidth=1.7, linestyle=dash, path_effects=halo, zorder=7)
        outer = sheet.on_paper(area.rings[0])
        drawn.append(outer)
        text = f"area {area.number}"
        if grinds(area):
            text += ": grind"
        elif volumes and len(areas) <= MOST_AREA_TEXTS:
            text += f": {wording.litres(area.volume_l)}"
        # The highest point of the outline: the label then lies clear of the edges within.
        top = outer[np.argmax(outer[:, 1])]
        labels.append(Label(text, (float(top[0]), float(top[1])), ink=ink, bold=True))
    return labels, np.concatenate(drawn)


def draw_walls(axes: Axes, areas: Sequence[Area], sheet: Sheet) -> list[Label]:
    """The walls that areas are marked out from, as heavier lines, each with its number."""
    walls = {wall.number: wall for area in areas if area.marked is not None for wall in area.marked.walls}
    labels = []
    for number, wall in sorted(walls.items()):
        line = sheet.on_paper((wall.start, wall.end))
        axes.plot(line[:, 0], line[:, 1], color=INK, linewidth=3.2, solid_capstyle="butt", zorder=6)
        x, y = line.mean(axis=0).tolist()
        labels.append(Label(f"W{number}", (x, y), bold=True))
    return labels


def extreme_labels(axes: Axes, surface: Surface, flatness: Flatness, sheet: Sheet) -> list[Label]:
    """The highest and the lowest place, with the measured FLTp and FLTv."""
    estimate = surface.estimate_mm
    if not np.isfinite(estimate).any():
        return []
    found = (
        (np.nanargmax(estimate), wording.extreme(flatness.fltp, high=True)),
        (np.nanargmin(estimate), wording.extreme(flatness.fltv, high=False)),
    )
    labels = []
    for index, text in found:
        row, col = np.unravel_index(index, estimate.shape)
        x, y = sheet.on_paper(surface.xy_mm(float(row), float(col))).tolist()
        axes.plot([x], [y], "+", color=INK, markersize=8, markeredgewidth=1.4, zorder=9)
        labels.append(Label(text, (x, y)))
    return labels


def draw_doors(axes: Axes, doors: Sequence[tuple[Point, Point]], sheet: Sheet) -> list[Label]:
    """Each door as a gap in the wall."""
    labels = []
    for door in doors:
        line = sheet.on_paper(door)
        axes.plot(line[:, 0], line[:, 1], color="white", linewidth=4.5, zorder=6, solid_capstyle="butt")
        axes.plot(line[:, 0], line[:, 1], color=INK, linewidth=0.8, zorder=6)
        middle = line.mean(axis=0)
        labels.append(Label("door", (float(middle[0]), float(middle[1]))))
    return labels


def draw_north(axes: Axes, north_rad: float, sheet: Sheet) -> None:
    """An arrow beside the map, pointing north."""
    radius = 0.22
    _, _, right, top = sheet.map_box
    x, y = right + 0.55, top - 0.42
    step = radius * np.array([np.cos(north_rad), np.sin(north_rad)])
    arrow = {"arrowstyle": "-|>", "color": INK, "linewidth": 1.4, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", xy=(x + step[0], y + step[1]), xytext=(x - step[0], y - step[1]), arrowprops=arrow)
    tip = np.array([x, y]) + step * (radius + 0.11) / radius
    axes.text(tip[0], tip[1], "N", fontproperties=font(9.0, bold=True), color=INK, ha="center", va="center", zorder=9)


def draw_labels(
    axes: Axes, labels: Sequence[Label], sheet: Sheet, *, blocked: Sequence[Box], drawn: NDArray[np.float64]
) -> list[Box | None]:
    """Write each label near its place with a thin leader; one that fits nowhere is left out."""
    dots = [(x - _DOT_IN, y - _DOT_IN, x + _DOT_IN, y + _DOT_IN) for x, y in (label.at for label in labels)]
    corner = sheet.on_paper((0.0, 0.0))
    dots.append((corner[0] - 0.12, corner[1] - 0.12, corner[0] + 0.12, corner[1] + 0.12))
    boxes = place_labels(
        [label.wanted() for label in labels], sheet.map_box, blocked=[*blocked, *dots], drawn=drawn, gap=_LABEL_GAP_IN
    )
    for label, box in zip(labels, boxes, strict=True):
        if box is None:
            continue
        end = leader_end(label.at, box)
        axes.plot([label.at[0], end[0]], [label.at[1], end[1]], color=label.ink, linewidth=0.8, zorder=13)
        axes.text(
            (box[0] + box[2]) / 2.0,
            (box[1] + box[3]) / 2.0,
            printable(label.text),
            fontproperties=font(LABEL_PT, bold=label.bold),
            color=label.ink,
            ha="center",
            va="center_baseline",
            parse_math=False,
            zorder=15,
        )
        axes.add_patch(_plate(box, label.ink))
    return boxes


def _plate(box: Box, ink: str) -> Rectangle:
    from matplotlib.patches import Rectangle

    left, bottom, right, top = box
    return Rectangle(
        (left, bottom),
        right - left,
        top - bottom,
        facecolor="white",
        alpha=0.92,
        edgecolor=ink,
        linewidth=0.6,
        zorder=14,
    )
