"""What was laid, read, tapped and seen by hand, drawn where it was: thin, numbered, beneath the worst gaps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.report.picture.floor import INK
from flatscan.report.picture.key import Entry, line_sample, mark_sample
from flatscan.report.picture.lettering import font, line_in, printable, width_in
from flatscan.report.picture.numbers import place_numbers
from flatscan.report.words.judged_placements import judged_placements

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from flatscan.measures.measurement import Point
    from flatscan.report.picture.key import Draw
    from flatscan.report.picture.labels import Box
    from flatscan.report.picture.sheet import Sheet
    from flatscan.report.report import Report
    from flatscan.report.words.judged_placements import JudgedPlacement

    Dash = str | tuple[int, tuple[float, ...]]

NUMBER_PT, SIGN_PT = 6.0, 7.0
#: (width in points, dash) of a placement's line.
_CALM: tuple[float, Dash] = (0.8, "solid")
_OVER: tuple[float, Dash] = (2.0, "solid")
_APART: tuple[float, Dash] = (1.6, (0, (1.0, 1.2)))
_STEP: tuple[float, Dash] = (1.2, (0, (6.0, 2.0, 1.0, 2.0)))
_LINE_LAYER, _NUMBER_LAYER, _SIGN_LAYER = 6.3, 12.0, 12.4
#: Where along a bar its number may stand, the best first.
_ALONG = (0.06, 0.94, 0.2, 0.8, 0.3, 0.7, 0.4, 0.6, 0.12, 0.88, 0.5)
_SAMPLES = 40
#: Staff readings nearer to each other on the paper than this, half of them, get no numbers.
_LEAST_APART_IN = 0.36
_DOT_PT = 3.6
_END_IN = 0.035
_ZIG_IN, _ZAG_IN = 0.07, 0.035
#: Covering a number is this much worse than covering a point of a line.
_NUMBERS_WEIGH = 5


def draw_field(axes: Axes, report: Report, sheet: Sheet, *, avoid: NDArray[np.float64]) -> NDArray[np.float64]:
    """Draw everything; points in inches that labels should not cover.

    ``avoid`` (n, 2): points of what is drawn already, which numbers should not cover either.
    """
    field = report.field
    if field is None:
        return np.empty((0, 2))
    bars = [sheet.on_paper((p.start, p.end)) for p in field.placements]
    dots = sheet.on_paper(np.array([r.at for r in field.levels]).reshape(-1, 2))
    signs = [(s.sounds[0].upper(), sheet.on_paper(s.at)) for s in field.soundings if s.sounds != "sound"]
    for ends, (width, dash) in zip(bars, _styles(report), strict=True):
        _line(axes, ends, width, dash)
        _draw_ends(axes, ends)
    for step in field.steps:
        _line(axes, sheet.on_paper((step.start, step.end)), *_STEP)
    for crack in field.cracks:
        draw_crack(axes, crack.start, crack.end, sheet)
    axes.plot(dots[:, 0], dots[:, 1], "o", color=INK, markeredgecolor="white", markersize=_DOT_PT, mew=0.6,
              linestyle="none", zorder=_LINE_LAYER + 0.2)  # fmt: skip
    boxes = [_sign(axes, letter, float(x), float(y)) for letter, (x, y) in signs]
    samples = [ends[0] + np.linspace(0.0, 1.0, _SAMPLES)[:, None] * (ends[1] - ends[0]) for ends in bars]
    boxes += _draw_numbers(axes, report, bars, samples, dots, boxes, avoid)
    centres = np.array([((b[0] + b[2]) / 2.0, (b[1] + b[3]) / 2.0) for b in boxes]).reshape(-1, 2)
    # Thin lines may be crossed by a label's plate, numbers should not be hidden.
    return np.concatenate([*[s[::6] for s in samples], dots, np.repeat(centres, _NUMBERS_WEIGH, axis=0)])


def field_entries(report: Report, sheet: Sheet | None = None) -> list[Entry]:
    """The key of what ``draw_field`` draws of this report."""
    field = report.field
    if field is None:
        return []
    styles = _styles(report)
    found = [
        Entry(text, line_sample(INK, *style))
        for style, text in (
            (_CALM, "straightedge reading, with its number"),
            (_OVER, "straightedge reading over by itself"),
            (_APART, "straightedge reading that the surface contradicts"),
        )
        if style in styles
    ]
    if field.levels:
        bare = sheet is not None and not _numbered(sheet.on_paper(np.array([r.at for r in field.levels])))
        said = "staff reading (numbers in readings.csv)" if bare else "staff reading, with its number"
        found.append(Entry(said, mark_sample("o", color=INK, markeredgecolor="white", markersize=_DOT_PT)))
    heard = {s.sounds for s in field.soundings}
    found += [sound_entry(word) for word in ("hollow", "loose") if word in heard]
    if field.cracks:
        found.append(crack_entry())
    if field.steps:
        found.append(Entry("the floor may jump here", line_sample(INK, *_STEP)))
    return found


def sound_entry(word: str) -> Entry:
    """The key of a tap: ``hollow`` or ``loose``."""
    return Entry(f"sounds {word}", _letter(word[0].upper()))


def crack_entry() -> Entry:
    """The key of a crack."""
    return Entry("crack", _zigzag_sample)


def _styles(report: Report) -> list[tuple[float, Dash]]:
    """One for each placement of the field, in its order."""
    judged = {(one.figure.row, one.figure.number): one for one in judged_placements(report)}
    placements = () if report.field is None else report.field.placements
    return [_style(judged.get((p.row, p.number))) for p in placements]


def _style(one: JudgedPlacement | None) -> tuple[float, Dash]:
    if one is not None and one.conflict:
        return _APART
    return _OVER if one is not None and one.verdict == "over" else _CALM


def _draw_numbers(
    axes: Axes,
    report: Report,
    bars: Sequence[NDArray[np.float64]],
    samples: Sequence[NDArray[np.float64]],
    dots: NDArray[np.float64],
    taken: Sequence[Box],
    avoid: NDArray[np.float64],
) -> list[Box]:
    """Numbers of bars on their lines, of staff readings beside their dots; the boxes they take."""
    field = report.field
    if field is None:
        return []
    texts, choices = [], []
    for placement, ends in zip(field.placements, bars, strict=True):
        texts.append(printable(placement.number))
        choices.append(np.array([ends[0] + t * (ends[1] - ends[0]) for t in _ALONG]))
    if _numbered(dots):
        for level, dot in zip(field.levels, dots, strict=True):
            text = printable(level.number)
            away = np.array([width_in(text, NUMBER_PT) / 2.0 + 0.06, line_in(NUMBER_PT) / 2.0 + 0.03])
            sides = np.array([(1, 1), (1, -1), (-1, 1), (-1, -1), (1, 0), (-1, 0), (0, 1), (0, -1)], dtype=np.float64)
            texts.append(text)
            choices.append(dot + sides * away)
    sizes = [(width_in(text, NUMBER_PT) + 0.03, line_in(NUMBER_PT) - 0.01) for text in texts]
    own = [*samples, *[np.empty((0, 2))] * (len(texts) - len(samples))]
    boxes = place_numbers(sizes, choices, own, blocked=taken, drawn=np.concatenate([*samples, dots, avoid]))
    drawn = []
    for text, box in zip(texts, boxes, strict=True):
        if text and box is not None:
            _plate(axes, text, box, NUMBER_PT, edge="none")
            drawn.append(box)
    return drawn


def _numbered(dots: NDArray[np.float64]) -> bool:
    """Whether dots on the paper (n, 2), inches, lie far enough apart to carry numbers."""
    if len(dots) < 2:  # noqa: PLR2004 - one has no neighbour
        return True
    apart = np.hypot(*(dots[:, None] - dots[None]).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    return bool(np.median(apart.min(axis=1)) >= _LEAST_APART_IN)


def _line(axes: Axes, ends: NDArray[np.float64], width: float, dash: Dash) -> None:
    from matplotlib.patheffects import withStroke

    halo = [withStroke(linewidth=width + 1.0, foreground="white", alpha=0.8)]
    style: dict[str, Any] = {"linestyle": dash, "solid_capstyle": "butt", "dash_capstyle": "butt"}
    axes.plot(ends[:, 0], ends[:, 1], color=INK, linewidth=width, path_effects=halo, zorder=_LINE_LAYER, **style)


def _draw_ends(axes: Axes, ends: NDArray[np.float64]) -> None:
    """A short stroke across either end: bars that lie end to end can be told apart."""
    along = ends[1] - ends[0]
    square = _END_IN * np.array([-along[1], along[0]]) / float(np.hypot(*along))
    for end in ends:
        x, y = np.stack([end - square, end + square]).T
        axes.plot(x, y, color=INK, linewidth=_CALM[0], zorder=_LINE_LAYER)


def draw_sound(axes: Axes, word: str, at: Point, sheet: Sheet) -> Box:
    """A tap that is not sound, by its letter; the box it takes, inches."""
    x, y = sheet.on_paper(at)
    return _sign(axes, word[0].upper(), float(x), float(y))


def draw_crack(axes: Axes, start: Point, end: Point, sheet: Sheet) -> NDArray[np.float64]:
    """One straight piece of a crack; (n, 2) points in inches that labels should not cover."""
    from matplotlib.patheffects import withStroke

    path = _zigzag(*sheet.on_paper((start, end)))
    halo = [withStroke(linewidth=2.6, foreground="white")]
    axes.plot(path[:, 0], path[:, 1], color=INK, linewidth=1.1, path_effects=halo, zorder=_SIGN_LAYER - 0.2)
    return path


def _zigzag(start: NDArray[np.float64], end: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 2): a line that swings to either side between its ends."""
    length = float(np.hypot(*(end - start)))
    if length == 0.0:
        return np.array([start, end])
    count = max(2, round(length / _ZIG_IN))
    t = np.linspace(0.0, 1.0, count + 1)
    swing = _ZAG_IN * np.where(np.arange(count + 1) % 2 == 0, 1.0, -1.0)
    swing[[0, -1]] = 0.0
    square = np.array([start[1] - end[1], end[0] - start[0]]) / length
    return np.asarray(start + t[:, None] * (end - start) + swing[:, None] * square)


def _zigzag_sample(axes: Axes, x: float, y: float) -> None:
    path = _zigzag(np.array([x, y]), np.array([x + 0.42, y]))
    axes.plot(path[:, 0], path[:, 1], color=INK, linewidth=1.1)


def _letter(letter: str) -> Draw:
    def draw(axes: Axes, x: float, y: float) -> None:
        _sign(axes, letter, x + 0.21, y)

    return draw


def _sign(axes: Axes, letter: str, x: float, y: float) -> Box:
    """A letter in a small square; the box it takes."""
    half = line_in(SIGN_PT) / 2.0
    box = (x - half, y - half, x + half, y + half)
    _plate(axes, letter, box, SIGN_PT, edge=INK, bold=True)
    return box


def _plate(axes: Axes, text: str, box: Box, size_pt: float, *, edge: str, bold: bool = False) -> None:
    from matplotlib.patches import Rectangle

    left, bottom, right, top = box
    layer = _SIGN_LAYER if bold else _NUMBER_LAYER
    axes.add_patch(
        Rectangle((left, bottom), right - left, top - bottom, facecolor="white", alpha=0.85, edgecolor=edge,
                  linewidth=0.7, zorder=layer)
    )  # fmt: skip
    axes.text(
        (left + right) / 2.0, (bottom + top) / 2.0, text, fontproperties=font(size_pt, bold=bold),
        color=INK, ha="center", va="center_baseline", parse_math=False, zorder=layer + 0.1,
    )  # fmt: skip
