"""The heat map: one picture that a stranger understands without the rest of the report."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.report.picture import floor, key, marks
from flatscan.report.picture.colours import contour_step_mm, height_colours, scale_mm
from flatscan.report.picture.field import draw_field, field_entries
from flatscan.report.picture.joints import draw_joints, joint_entries
from flatscan.report.picture.lettering import line_in, wrap
from flatscan.report.picture.png import png_of
from flatscan.report.picture.sheet import EDGE_IN, Sheet, room_of, sheet_for, text_width_in
from flatscan.report.picture.surveyed import draw_survey, survey_entries
from flatscan.report.words import caption, wording
from flatscan.report.words.drawn import shown_gaps
from flatscan.report.words.field_words import height_u_mm
from flatscan.report.words.joint_words import judged_joints, lips_left_out

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from flatscan.report.report import Report
    from flatscan.report.words.joint_words import JudgedJoint

#: Dots per inch; the next where the one before makes too large a file.
_DPI = (170, 140, 110)
MOST_BYTES = 2_000_000
_TITLE_PT, _SUBTITLE_PT, _CAPTION_PT = 13.0, 8.5, 7.5
_AFTER_IN, _AFTER_TITLE_IN = 0.1, 0.05


def draw_heatmap(report: Report) -> Figure:
    """The picture as a matplotlib figure of its own; no global state is touched."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    room = room_of(report.surface, None if report.survey is None else report.survey.site.outline_mm)
    wide = text_width_in(room)
    title = wrap(report.verdict.answer.text, wide, _TITLE_PT, bold=True)
    subtitle = wrap(caption.subtitle(), wide, _SUBTITLE_PT)
    scale = scale_mm(report.surface.estimate_mm, height_u_mm(report.surface))
    judged = judged_joints(report)
    draft = sheet_for(room, above_in=0.0, below_in=0.0)
    beside = {one.text: one for one in (*field_entries(report, draft), *survey_entries(report))}
    found = [*_entries(report, scale), *beside.values(), *joint_entries(judged)]
    key_rows = key.rows_of(found, wide)
    grid_mm = draft.grid_mm
    said = [*caption.caption_lines(report, grid_mm), lips_left_out(judged)]
    small = [piece for line in said for piece in wrap(line, wide, _CAPTION_PT)]
    above = len(title) * line_in(_TITLE_PT) + _AFTER_TITLE_IN + len(subtitle) * line_in(_SUBTITLE_PT)
    below = len(key_rows) * key.ROW_IN + _AFTER_IN + len(small) * line_in(_CAPTION_PT)
    sheet = sheet_for(room, above_in=above, below_in=below)

    figure = Figure(figsize=(sheet.width, sheet.height), dpi=_DPI[0], facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    top = floor.write_lines(axes, title, sheet.height - EDGE_IN, _TITLE_PT, bold=True) - _AFTER_TITLE_IN
    floor.write_lines(axes, subtitle, top, _SUBTITLE_PT)
    _draw_map(axes, report, judged, sheet, scale)
    under = sheet.map_box[1]
    key.draw_key(axes, key_rows, EDGE_IN, under)
    floor.write_lines(axes, small, under - len(key_rows) * key.ROW_IN - _AFTER_IN, _CAPTION_PT)
    # Pictures set the limits to themselves: the whole paper comes last.
    axes.set(xlim=(0.0, sheet.width), ylim=(0.0, sheet.height), aspect="auto")
    return figure


def heatmap_png(report: Report) -> bytes:
    """The picture as PNG, under 2 MB; the same bytes for the same report."""
    return png_of(draw_heatmap(report), _DPI, MOST_BYTES)


def _entries(report: Report, scale: float) -> list[key.Entry]:
    surface = report.surface
    return key.entries(
        [one.verdict for one in shown_gaps(report)],
        areas=any(not marks.grinds(area) for area in report.plan.areas),
        grinding=any(marks.grinds(area) for area in report.plan.areas),
        sure=report.verdict.answer.code in {"level_areas", "level_all"},
        laid=[wording.laid(one.spot.edge_mm, one.what) for one in shown_gaps(report)],
        numbered=bool(report.field is not None and report.field.placements),
        holes=bool((surface.inside & ~surface.seen).any()),
        contour_mm=contour_step_mm(scale),
    )


def _draw_map(axes: Axes, report: Report, judged: Sequence[JudgedJoint], sheet: Sheet, scale: float) -> None:
    surface, place = report.surface, report.settings.place
    colours = height_colours()
    floor.draw_heights(axes, surface, sheet, colours, scale)
    floor.draw_holes(axes, surface, sheet)
    floor.draw_outline(axes, surface, sheet)
    blocked = floor.draw_grid(axes, surface, sheet)
    floor.draw_corner(axes, sheet)
    joint_labels, on_joints = draw_joints(axes, judged, sheet)
    edge_labels, on_edges = marks.draw_edges(axes, shown_gaps(report), surface, sheet)
    area_labels, on_areas = marks.draw_areas(axes, report.plan.areas, sheet)
    on_field = draw_field(axes, report, sheet, avoid=np.concatenate([on_edges, on_joints]))
    zone_labels, on_survey, signs = draw_survey(axes, report, sheet)
    labels = [*edge_labels, *joint_labels, *area_labels, *zone_labels, *marks.draw_doors(axes, report.doors_mm, sheet)]
    labels += marks.extreme_labels(axes, surface, report.measurement.flatness, sheet)
    if place.north_deg is not None:
        marks.draw_north(axes, math.radians(place.north_deg), sheet)
    marks.draw_labels(
        axes,
        labels,
        sheet,
        blocked=[*blocked, *signs],
        drawn=np.concatenate([on_edges, on_joints, on_areas, on_field, on_survey]),
    )
    seen = surface.height_mm[surface.seen]
    clipped = (bool((seen < -scale).any()), bool((seen > scale).any()))
    key.draw_bar(axes, sheet, colours, scale, clipped=clipped)
