"""Joints and lips on the map: verdicts by line, shape and colour together, readable by hundreds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.report.picture.floor import INK, SOFT_INK
from flatscan.report.picture.key import Entry, line_sample, mark_sample
from flatscan.report.picture.marks import Label
from flatscan.report.words import joint_wording
from flatscan.report.words.joint_words import labelled, lips_shown, marked, word_rank

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.markers import MarkerStyle

    from flatscan.judgement.verdict import VerdictWord
    from flatscan.report.picture.marks import Drawn
    from flatscan.report.picture.sheet import Sheet
    from flatscan.report.words.joint_words import JudgedJoint, Worst

#: As on the page; dark enough on every height colour with a white edge around.
OPEN_INK, CALM_INK = "#6a3d8a", "#8a8a8a"


@dataclass(frozen=True, slots=True)
class JointStyle:
    """How joints of one verdict are drawn: widths in points, ``edge`` of it white on either side together."""

    width: float
    dash: str | tuple[int, tuple[float, ...]]
    ink: str
    edge: float
    layer: float
    said: str


#: By the word for width and depth together; None: no limit names either.
STYLE_OF: dict[VerdictWord | None, JointStyle] = {
    "over": JointStyle(2.4, "solid", INK, 1.6, 7.6, "joint over in width or depth, ▲ at the worst places"),
    "not_decided": JointStyle(1.3, (0, (3.2, 1.6)), OPEN_INK, 1.2, 6.6, "joint not decided"),
    "within": JointStyle(0.5, "solid", CALM_INK, 0.8, 3.4, "joint within, where measured"),
    "not_seen": JointStyle(0.9, (0, (1.0, 2.4)), SOFT_INK, 0.0, 3.5, "joint, neither width nor depth measured"),
    None: JointStyle(0.5, "solid", CALM_INK, 0.8, 3.4, "joint, no limit for its width or depth"),
}
Styles = Mapping["VerdictWord | None", JointStyle]
#: Slimmer, and calm joints without an edge: the joint itself is to be seen.
PHOTO_STYLE_OF: Styles = {
    word: replace(style, ink="#2f9fd8", edge=0.0) if style.ink == CALM_INK else replace(style, width=0.6 * style.width)
    for word, style in STYLE_OF.items()
}
LIP_TEXT = {"over": "lip over: arrow down to the lower tile", "not_decided": "lip not decided"}
_MARK_PT, _LIP_PT, _LIP_OPEN_PT = 6.0, 16.0, 12.0
_MARK_LAYER = 8.0
#: Covering a mark is this much worse than covering a point of a line.
_MARKS_WEIGH = 3
#: A bar along the joint on the high side, an arrow across it down to the low side (which is to the right).
_STEP = (
    (-0.12, -0.50), (0.10, -0.50), (0.10, -0.10), (0.38, -0.10), (0.38, -0.32), (0.84, 0.0), (0.38, 0.32),
    (0.38, 0.10), (0.10, 0.10), (0.10, 0.50), (-0.12, 0.50),
)  # fmt: skip


def draw_joints(axes: Axes, judged: Sequence[JudgedJoint], sheet: Sheet, *, styles: Styles = STYLE_OF) -> Drawn:
    """Every joint by its verdict, a mark at each worst place that is over, and a step at each lip to show.

    Labels of the worst few, and points in inches that labels should not cover.
    """
    for word, style in styles.items():
        _draw_lines(axes, [one for one in judged if one.line_word == word], style, sheet)
    places = [one.station.at for one in marked(judged) if one.station is not None]
    marks = sheet.on_paper(np.array(places).reshape(-1, 2))
    axes.plot(
        marks[:, 0], marks[:, 1], "^", color=INK, markeredgecolor="white", markersize=_MARK_PT, mew=0.8,
        linestyle="none", zorder=_MARK_LAYER,
    )  # fmt: skip
    lips = [_draw_lip(axes, lip, sheet) for lip in lips_shown(judged)]
    drawn = np.concatenate([marks, np.array(lips).reshape(-1, 2)])
    return [_label(worst, sheet) for worst in labelled(judged)], np.repeat(drawn, _MARKS_WEIGH, axis=0)


def joint_entries(judged: Sequence[JudgedJoint], styles: Styles = STYLE_OF) -> list[Entry]:
    """The key of what ``draw_joints`` draws of these joints."""
    words = {one.line_word for one in judged}
    found = [Entry(style.said, line_sample(style.ink, style.width, style.dash)) for word, style in styles.items()
             if word in words]  # fmt: skip
    lips = {lip.word for lip in lips_shown(judged)}
    found += [
        Entry(text, mark_sample(step_mark(-np.pi / 2.0), **_lip_paint(word)))
        for word, text in LIP_TEXT.items()
        if word in lips
    ]
    return found


def step_mark(low_rad: float) -> MarkerStyle:
    """The sign of a lip whose lower side lies in this direction."""
    from matplotlib.markers import MarkerStyle
    from matplotlib.path import Path
    from matplotlib.transforms import Affine2D

    return MarkerStyle(Path([*_STEP, _STEP[0]], closed=True), transform=Affine2D().rotate(low_rad))


def _draw_lines(axes: Axes, judged: Sequence[JudgedJoint], style: JointStyle, sheet: Sheet) -> None:
    from matplotlib.collections import LineCollection
    from matplotlib.patheffects import withStroke

    if not judged:
        return
    halo = [withStroke(linewidth=style.width + style.edge, foreground="white")] if style.edge else None
    lines = LineCollection(
        [sheet.on_paper(one.joint.line) for one in judged],
        colors=style.ink,
        linewidths=style.width,
        linestyles=style.dash,
        path_effects=halo,
        capstyle="butt",
        zorder=style.layer,
        label=style.said,
    )
    axes.add_collection(lines, autolim=False)


def _lip_paint(word: VerdictWord | None) -> dict[str, Any]:
    if word == "over":
        return {"markersize": _LIP_PT, "markerfacecolor": INK, "markeredgecolor": "white", "markeredgewidth": 0.7}
    return {"markersize": _LIP_OPEN_PT, "markerfacecolor": "white", "markeredgecolor": OPEN_INK, "markeredgewidth": 0.9}


def _draw_lip(axes: Axes, lip: Worst, sheet: Sheet) -> tuple[float, float]:
    if lip.station is None:
        raise ValueError("a lip that is shown has been measured")
    x, y = sheet.on_paper(lip.station.at).tolist()
    mark = step_mark(joint_wording.low_side_rad(lip.station, lip.joint))
    layer = _MARK_LAYER + 0.5 - 0.2 * word_rank(lip.word)
    axes.plot([x], [y], marker=mark, linestyle="none", zorder=layer, **_lip_paint(lip.word))
    return x, y


def _label(worst: Worst, sheet: Sheet) -> Label:
    if worst.station is None or worst.value is None:
        raise ValueError("a place with a label has been measured")
    x, y = sheet.on_paper(worst.station.at).tolist()
    said = f"{worst.joint.id}  {joint_wording.value(worst.what, worst.value)}"
    return Label(said, (x, y), bold=worst.word == "over")
