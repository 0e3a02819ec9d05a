"""The colours of a gap as a share of its limit, their key, and a scale bar.

Within the limit pale to deep blue, over it orange to brown: ColorBrewer's Blues and YlOrBr (Harrower and Brewer 2003,
both listed there as colour-blind safe), with a jump at the limit that no eye misses.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flatscan import said
from flatscan.constants import MM_PER_M
from flatscan.report.picture import key
from flatscan.report.picture.floor import INK, TICK_PT
from flatscan.report.picture.lettering import font
from flatscan.report.picture.marks import AREA_INK, GRIND_INK, grinds
from flatscan.units import MM_PER

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colors import BoundaryNorm, ListedColormap

    from flatscan.levelling.plan import LevellingPlan
    from flatscan.report.picture.sheet import Sheet

CONTOUR_INK = "#1c1c1c"
#: (share from which on, colour, what the key says). A gap at its limit is within: the heights' float32 may round it up
#: by 1e-4 mm, which is less than this much of any limit.
_AT_LIMIT = 1.0 + 5e-4
_STEPS = (
    (0.0, "#f3f7fb", "up to half the limit"),
    (0.5, "#c6dbef", "up to three quarters"),
    (0.75, "#7fb2d6", "up to the limit"),
    (_AT_LIMIT, "#fe9929", "over, up to half as much again"),
    (1.5, "#cc4c02", "up to twice the limit"),
    (2.0, "#7a2603", "more than twice"),
)
_MOST_SHARE = 1e9
#: Round lengths of the scale bar, mm, and the most of the room's width that it takes.
_BARS_IN_MM = tuple(feet * MM_PER["ft"] for feet in (20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.25, 1.0 / 12.0))
_BARS_MM, _BAR_SHARE = (5000.0, 2000.0, 1000.0, 500.0, 200.0, 100.0, 50.0, 20.0, 10.0), 0.35


def share_colours() -> tuple[ListedColormap, BoundaryNorm]:
    """A colour for each step of the share; unseen places stay clear."""
    from matplotlib.colors import BoundaryNorm, ListedColormap

    colours = ListedColormap([colour for _, colour, _ in _STEPS], name="shares")
    return colours, BoundaryNorm([*(least for least, _, _ in _STEPS), _MOST_SHARE], len(_STEPS))


def entries(plan: LevellingPlan, contour_mm: float | None, *, holes: bool) -> list[key.Entry]:
    """Only what this picture shows."""
    found = [key.Entry(text, _patch(colour)) for _, colour, text in _STEPS]
    if any(not grinds(area) for area in plan.areas):
        found.append(key.Entry("area to fill", key.line_sample(AREA_INK, 1.7, "solid")))
    if any(grinds(area) for area in plan.areas):
        found.append(key.Entry("area to grind", key.line_sample(GRIND_INK, 1.7, "dashed")))
    if contour_mm is not None:
        found.append(key.Entry(f"thickness of the fill, a line every {key.round_length(contour_mm)}", _line()))
    if holes:
        found.append(key.hatched_not_seen())
    return found


def draw_scale_bar(axes: Axes, sheet: Sheet) -> None:
    """A bar of a round length beneath the room's right end."""
    left, bottom, right, _ = sheet.room_box
    most = max((right - left) * _BAR_SHARE, 0.3)
    bars = _BARS_IN_MM if said.imperial() else _BARS_MM
    length_mm = next((bar for bar in bars if bar * sheet.inch_per_mm <= most), bars[-1])
    wide = length_mm * sheet.inch_per_mm
    y = bottom - 0.36
    style: dict[str, Any] = {"color": INK, "linewidth": 1.4, "solid_capstyle": "butt", "zorder": 6}
    axes.plot([right - wide, right], [y, y], **style)
    for x in (right - wide, right):
        axes.plot([x, x], [y - 0.03, y + 0.03], **style)
    metric = f"{length_mm / MM_PER_M:g} m" if length_mm >= MM_PER_M else f"{length_mm:g} mm"
    text = said.reach(length_mm) if said.imperial() else metric
    axes.text(right - wide / 2.0, y - 0.05, text, fontproperties=font(TICK_PT), color=INK, ha="center", va="top")


def _line() -> key.Draw:
    return key.line_sample(CONTOUR_INK, 0.6, "solid")


def _patch(colour: str) -> key.Draw:
    def draw(axes: Axes, x: float, y: float) -> None:
        from matplotlib.patches import Rectangle

        axes.add_patch(Rectangle((x + 0.1, y - 0.065), 0.26, 0.13, facecolor=colour, edgecolor=INK, linewidth=0.5))

    return draw
