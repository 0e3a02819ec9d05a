"""The key: what each line, outline and hatch means, and the colour bar."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan import said
from flatscan.report.picture.floor import HOLE, INK, SOFT_INK
from flatscan.report.picture.lettering import font, line_in, width_in
from flatscan.report.picture.marks import AREA_INK, GRIND_INK, LINE_OF
from flatscan.report.words.wording import signed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.colors import ListedColormap
    from matplotlib.markers import MarkerStyle

    from flatscan.judgement.verdict import VerdictWord
    from flatscan.report.picture.sheet import Sheet

KEY_PT = 8.0
_SAMPLE_IN, _SPACE_IN, _BETWEEN_IN = 0.42, 0.08, 0.28
ROW_IN = line_in(KEY_PT) + 0.05
_EDGE_TEXT: dict[VerdictWord | None, str] = {
    "over": "straightedge as it lay: over the limit",
    "not_decided": "straightedge: not decided",
    "within": "straightedge: within the limit",
    None: "straightedge: no limit for this length",
}
_WORKED_OUT_TEXT: dict[VerdictWord | None, str] = {
    "over": "worst gap worked out: over the limit",
    "not_decided": "worst gap worked out: not decided",
    "within": "worst gap worked out: within the limit",
    None: "worst gap worked out: no limit for this length",
}
_BAR_W_IN, _BAR_MOST_IN, _BAR_TICKS = 0.17, 3.4, 4
Draw = Callable[["Axes", float, float], None]


@dataclass(frozen=True, slots=True)
class Entry:
    """A sample, drawn from its left end at a height, and its meaning."""

    text: str
    draw: Draw


def entries(
    verdicts: Sequence[VerdictWord | None],
    *,
    areas: bool,
    holes: bool,
    contour_mm: float | None,
    sure: bool = True,
    laid: Sequence[str] = (),
    numbered: bool = False,
    grinding: bool = False,
) -> list[Entry]:
    """Only what this picture shows. ``sure``: the areas are to be levelled. ``grinding``: some of them are ground.

    ``numbered``: bars that a person laid are drawn too, so an edge worked out must not be taken for one of them.
    """
    texts = _WORKED_OUT_TEXT if numbered else _EDGE_TEXT
    found = [Entry(text, _edge(word)) for word, text in texts.items() if word in verdicts]
    if verdicts:
        found.append(
            Entry(
                "where it would touch" if numbered else "where it touched",
                _dot("o", INK, "white"),
            )
        )
        where = f"gap {laid[0]}" if len(set(laid)) == 1 else "where the gap is"
        found.append(Entry(where, _dot("v", "white", INK)))
    if areas:
        found.append(
            Entry(
                "area to level" if sure else "area to level, should it be needed", line_sample(AREA_INK, 1.7, "solid")
            )
        )
    if grinding:
        found.append(Entry("area to grind", line_sample(GRIND_INK, 1.7, "dashed")))
    if holes:
        found.append(hatched_not_seen())
    if contour_mm is not None:
        found.append(
            Entry(f"contour every {round_length(contour_mm)}, dashed where low", line_sample(SOFT_INK, 0.6, "dashed"))
        )
    return found


def not_seen() -> Entry:
    """Plain grey: what no picture shows."""
    return Entry("not seen", line_sample(HOLE, 8.0, "solid"))


def hatched_not_seen() -> Entry:
    """What the map of the floor shows as not seen."""
    return Entry("not seen", _hatch)


def rows_of(found: Sequence[Entry], room_in: float) -> list[list[Entry]]:
    """Break the entries into rows of the paper's width."""
    rows: list[list[Entry]] = [[]]
    used = 0.0
    for entry in found:
        wide = _width(entry)
        if rows[-1] and used + wide > room_in:
            rows.append([])
            used = 0.0
        rows[-1].append(entry)
        used += wide
    return [row for row in rows if row]


def draw_key(axes: Axes, rows: Sequence[Sequence[Entry]], left: float, top: float) -> None:
    """Write the rows downwards from ``top``, inches."""
    for number, row in enumerate(rows):
        x, y = left, top - (number + 0.5) * ROW_IN
        for entry in row:
            entry.draw(axes, x, y)
            axes.text(x + _SAMPLE_IN + _SPACE_IN, y, entry.text, fontproperties=font(KEY_PT), color=INK, va="center")
            x += _width(entry)


def draw_bar(axes: Axes, sheet: Sheet, colours: ListedColormap, scale: float, *, clipped: tuple[bool, bool]) -> None:
    """Colour bar right of the map, ``low`` at its foot and ``high`` at its head."""
    _, bottom, right, top = sheet.map_box
    _, room_bottom, _, room_top = sheet.room_box
    tall = min(_BAR_MOST_IN, max(room_top - room_bottom, 2.0))
    foot = min(max((room_bottom + room_top) / 2.0 - tall / 2.0, bottom + 0.3), top - tall - 0.3)
    x = right + 0.32
    shades = np.linspace(-1.0, 1.0, 255)[:, None]
    extent = (x, x + _BAR_W_IN, foot, foot + tall)
    axes.imshow(shades, origin="lower", extent=extent, cmap=colours, vmin=-1.0, vmax=1.0, aspect="auto", zorder=3)
    frame_x, frame_y = [x, x + _BAR_W_IN, x + _BAR_W_IN, x, x], [foot, foot, foot + tall, foot + tall, foot]
    axes.plot(frame_x, frame_y, color=INK, linewidth=0.8, zorder=4)
    shown = said.in_unit(scale, "mm")
    places = 0 if scale >= _BAR_TICKS and scale % 2 == 0 else 1 if scale * 10 % 2 == 0 else 2
    if said.imperial():
        places = next((p for p in (1, 2) if math.isclose(half := shown / 2.0, round(half, p), rel_tol=1e-6)), 3)
    for value in np.linspace(-scale, scale, 2 * _BAR_TICKS // 2 + 1):
        y = foot + tall * (value + scale) / (2.0 * scale)
        axes.plot([x + _BAR_W_IN, x + _BAR_W_IN + 0.05], [y, y], color=INK, linewidth=0.8, zorder=4)
        told = signed(said.in_unit(float(value), "mm"), places)
        if (value == scale and clipped[1]) or (value == -scale and clipped[0]):
            told = f"{'≥' if value > 0 else '≤'} {told}"
        axes.text(x + _BAR_W_IN + 0.09, y, told, fontproperties=font(KEY_PT), color=INK, va="center")
    bold = font(KEY_PT, bold=True)
    axes.text(x, foot + tall + 0.09, f"high, {said.unit('mm')}", fontproperties=bold, color=INK, va="bottom")
    axes.text(x, foot - 0.09, f"low, {said.unit('mm')}", fontproperties=bold, color=INK, va="top")


def round_length(length_mm: float) -> str:
    """A step that is round in the reader's unit."""
    return f"{round(said.in_unit(length_mm, 'mm'), 4):g} {said.unit('mm')}"


def _width(entry: Entry) -> float:
    return _SAMPLE_IN + _SPACE_IN + width_in(entry.text, KEY_PT) + _BETWEEN_IN


def _edge(word: VerdictWord | None) -> Draw:
    width, dash = LINE_OF[word]
    return line_sample(INK, width, dash)


def line_sample(ink: str, width: float, dash: str | tuple[int, tuple[float, ...]]) -> Draw:
    """A piece of such a line."""

    def draw(axes: Axes, x: float, y: float) -> None:
        axes.plot([x, x + _SAMPLE_IN], [y, y], color=ink, linewidth=width, linestyle=dash, solid_capstyle="butt")

    return draw


def mark_sample(marker: str | MarkerStyle, **paint: Any) -> Draw:
    """One such mark; ``paint`` as matplotlib names it."""

    def draw(axes: Axes, x: float, y: float) -> None:
        axes.plot([x + _SAMPLE_IN / 2.0], [y], marker=marker, linestyle="none", **paint)

    return draw


def _dot(marker: str, face: str, edge: str) -> Draw:
    return mark_sample(marker, color=face, markeredgecolor=edge, markersize=5.5, markeredgewidth=1.4)


def _hatch(axes: Axes, x: float, y: float) -> None:
    from matplotlib.patches import Rectangle

    size = 0.13
    axes.add_patch(
        Rectangle(
            (x, y - size / 2), _SAMPLE_IN, size, facecolor=HOLE, edgecolor=SOFT_INK, hatch="//////", linewidth=0.6
        )
    )
