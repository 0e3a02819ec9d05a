"""What a survey file says of places, drawn where it is: taps, cracks, zones with a rule of their own, the room."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.report.picture.field import crack_entry, draw_crack, draw_sound, sound_entry
from flatscan.report.picture.floor import SOFT_INK
from flatscan.report.picture.key import Entry, line_sample
from flatscan.report.picture.marks import Label
from flatscan.sources.survey.kinds import ZONE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from flatscan.measures.measurement import Point
    from flatscan.report.picture.labels import Box
    from flatscan.report.picture.sheet import Sheet
    from flatscan.report.report import Report
    from flatscan.sources.survey.survey import Survey, Zone

_ZONE_INK = "#6b4400"
_ZONE_DASH, _ROOM_DASH = (0, (7.0, 1.6, 1.4, 1.6)), (0, (5.0, 3.0))
_ZONE_PT, _ROOM_PT = 1.4, 1.3
_ZONE_LAYER, _ROOM_LAYER = 6.5, 5.5
#: A tap this near to one of the readings table is the same tap, mm.
_SAME_MM = 100.0


def draw_survey(axes: Axes, report: Report, sheet: Sheet) -> tuple[list[Label], NDArray[np.float64], list[Box]]:
    """Draw all; labels of zones, (n, 2) points that labels should not cover, boxes that they must not (inches)."""
    survey, labels, drawn = report.survey, [], [np.empty((0, 2))]
    if survey is None:
        return [], drawn[0], []
    outline = survey.site.outline_mm
    if outline is not None:
        line = sheet.on_paper(np.concatenate([outline, outline[:1]]))
        axes.plot(line[:, 0], line[:, 1], color=SOFT_INK, linewidth=_ROOM_PT, linestyle=_ROOM_DASH, zorder=_ROOM_LAYER)
    for zone in survey.zones:
        label, on_zone = _draw_zone(axes, zone, sheet)
        labels.append(label)
        drawn.append(on_zone)
    for crack in survey.site.sound.cracks:
        drawn += [draw_crack(axes, *ends, sheet) for ends in itertools.pairwise(crack.line_mm)]
    signs = [draw_sound(axes, word, at, sheet) for word, at in _taps(report, survey)]
    return labels, np.concatenate(drawn), signs


def survey_entries(report: Report) -> list[Entry]:
    """The key of what ``draw_survey`` draws of this report."""
    survey = report.survey
    if survey is None:
        return []
    heard = {word for word, _ in _taps(report, survey)}
    found = [sound_entry(word) for word in ("hollow", "loose") if word in heard]
    found += [crack_entry()] if any(len(crack.line_mm) > 1 for crack in survey.site.sound.cracks) else []
    found += (
        [Entry("zone with a rule of its own", line_sample(_ZONE_INK, _ZONE_PT, _ZONE_DASH))] if survey.zones else []
    )
    if survey.site.outline_mm is not None:
        found.append(Entry("the room as measured by tape", line_sample(SOFT_INK, _ROOM_PT, _ROOM_DASH)))
    return found


def _taps(report: Report, survey: Survey) -> Iterator[tuple[str, Point]]:
    """Every bad tap with its place, without those that the readings table has too."""
    tapped = survey.site.sound.tapped
    if tapped is None:
        return
    known = () if report.field is None else report.field.soundings
    for word, places in (("hollow", tapped.hollow_at_mm), ("loose", tapped.loose_at_mm)):
        for at in places:
            if all(s.sounds != word or math.dist(s.at, at) > _SAME_MM for s in known):
                yield word, at


def _draw_zone(axes: Axes, zone: Zone, sheet: Sheet) -> tuple[Label, NDArray[np.float64]]:
    """Outline, or a ring round each of its tiles' places, and a label with its name and rule."""
    text = f"{zone.name}: {ZONE[zone.kind][0]}"
    if zone.polygon_mm is None:
        places = sheet.on_paper(np.array(zone.tiles_at_mm).reshape(-1, 2))
        axes.plot(places[:, 0], places[:, 1], "s", markersize=9.0, markerfacecolor="none", markeredgecolor=_ZONE_INK,
                  linestyle="none", zorder=_ZONE_LAYER)  # fmt: skip
        line = places
    else:
        line = sheet.on_paper(np.concatenate([zone.polygon_mm, zone.polygon_mm[:1]]))
        axes.plot(line[:, 0], line[:, 1], color=_ZONE_INK, linewidth=_ZONE_PT, linestyle=_ZONE_DASH, zorder=_ZONE_LAYER)
    x, y = line[int(np.argmax(line[:, 1]))].tolist()
    return Label(text, (x, y), ink=_ZONE_INK), line
