"""The page's sections on readiness and on what was recorded on site, as words and pictures for the template."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flatscan.report.page.moving import spot
from flatscan.report.record.pictures import fitted
from flatscan.report.record.site_words import Facts, not_recorded, site_facts
from flatscan.report.words import places
from flatscan.report.words.field_words import by_hand
from flatscan.report.words.readiness_words import readiness_rows, readiness_summary
from flatscan.said import area, cell

if TYPE_CHECKING:
    from flatscan.report.report import Report
    from flatscan.sources.survey.site import Photo, Site

#: All photographs together, so that the page stays easy to send, and the longest side of one.
_ALL_BYTES, _MOST_PIXELS = 900_000, 900
#: A room by tape that differs by more than this share from the captured one is told.
_ROOM_SHARE, _MM2_PER_M2 = 0.02, 1e6


def site_page(report: Report) -> dict[str, Any]:
    """What the sections say; a section without words is not shown."""
    site = None if report.survey is None else report.survey.site
    return {
        "ready": readiness_summary(report.verdict.readiness),
        "conditions": readiness_rows(report.verdict),
        "facts": [] if site is None else [*_room(site, report), *(group for group in site_facts(site) if group.rows)],
        "not_recorded": [] if site is None else not_recorded(site),
        "photos": _photos(report),
    }


def _room(site: Site, report: Report) -> list[Facts]:
    """The room's size by tape beside the captured one, where they differ so much that somebody should ask why."""
    from shapely import Polygon

    if site.outline_mm is None:
        return []
    taped_m2, captured_m2 = Polygon(site.outline_mm).area / _MM2_PER_M2, report.surface.area_m2
    if abs(captured_m2 - taped_m2) <= _ROOM_SHARE * taped_m2:
        return []
    told = f"room by tape {area(taped_m2)}, {'read' if by_hand(report.surface) else 'captured'} {area(captured_m2)}"
    strip_mm = report.surface.strip_mm
    if strip_mm > 0.0:
        told += f", without a strip of {cell(strip_mm)} along the walls"
    return [Facts("Room", (("Size", told),))]


def _photos(report: Report) -> list[dict[str, Any]]:
    return [
        {
            "number": number,
            "picture": f"site{number}",
            "alt": f"Photograph {number}: {photo.caption or 'no caption was recorded'}",
            "caption": photo.caption,
            "place": "" if photo.at_mm is None else places.point(photo.at_mm),
            "spot": spot(photo.at_mm, f"photo {number}"),
        }
        for number, photo in enumerate(_of_survey(report), 1)
    ]


def site_pictures(report: Report) -> dict[str, bytes]:
    """The survey's photographs by the names that ``site_page`` gives them, small enough to send."""
    photos = _of_survey(report)
    each = _ALL_BYTES // max(1, len(photos))
    return {
        f"site{number}": fitted(photo.jpeg, most_pixels=_MOST_PIXELS, most_bytes=each)
        for number, photo in enumerate(photos, 1)
    }


def _of_survey(report: Report) -> tuple[Photo, ...]:
    return () if report.survey is None else report.survey.site.photos
