"""What a person found on site and the room as a tape found it, as the page draws them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flatscan.report.marking.data import name_of
from flatscan.report.viewer.marked import line

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from flatscan.measures.measurement import Point
    from flatscan.report.report import Report
    from flatscan.sources.survey.survey import Survey

#: Longer texts stand in the facts below the map.
_MOST_TEXT = 90


def on_site_of(report: Report) -> list[dict[str, Any]]:
    """Every fact with a place: ``kind``; ``name``, short; ``words``, in full; ``line``, one place or more."""
    found = [] if report.survey is None else list(_of_survey(report.survey))
    found += _of_readings(report)
    return [
        {"kind": kind, "name": name_of(name, most=24), "words": name_of(words, most=_MOST_TEXT), "line": line(places)}
        for kind, name, words, places in found
        if places
    ]


def tape_outline(report: Report) -> list[list[float]]:
    """Corners of the room as a tape found it, floor-frame mm, the first one repeated; empty where none did."""
    outline = None if report.survey is None else report.survey.site.outline_mm
    return [] if outline is None else line([*outline.tolist(), outline[0].tolist()])


_Mark = tuple[str, str, str, "Sequence[Point]"]


def _of_survey(survey: Survey) -> Iterator[_Mark]:
    site = survey.site
    tapped = site.sound.tapped
    for word, places in (("hollow", tapped.hollow_at_mm), ("loose", tapped.loose_at_mm)) if tapped else ():
        for at in places:
            yield word, word, f"sounds {word}", (at,)
    for number, crack in enumerate(site.sound.cracks, 1):
        name = crack.name or f"crack {number}"
        yield "crack", name, name, crack.line_mm
    for number, joint in enumerate(survey.movement_joints_mm, 1):
        yield "movement_joint", f"movement joint {number}", f"movement joint {number}", joint
    for number, door in enumerate(survey.doors, 1):
        name = door.name or f"door {number}"
        yield "door", name, name, door.line_mm
    for number, one in enumerate(site.moisture, 1):
        if one.at_mm is not None:
            yield "moisture", f"moisture {number}", f"moisture reading {number}", (one.at_mm,)
    for number, note in enumerate(site.notes, 1):
        if note.at_mm is not None:
            yield "note", f"note {number}", f"note {number}: {note.text}", (note.at_mm,)
    for number, photo in enumerate(site.photos, 1):
        if photo.at_mm is not None:
            told = f"photo {number}: {photo.caption}" if photo.caption else f"photo {number}"
            yield "photo", f"photo {number}", told, (photo.at_mm,)


def _of_readings(report: Report) -> Iterator[_Mark]:
    """What was tapped and seen as the readings were taken."""
    if report.field is None:
        return
    for tap in report.field.soundings:
        if tap.sounds != "sound":
            yield tap.sounds, tap.sounds, f"sounds {tap.sounds}", (tap.at,)
    for number, crack in enumerate(report.field.cracks, 1):
        name = f"crack {crack.number or number}"
        yield "crack", name, name, (crack.start, crack.end)
