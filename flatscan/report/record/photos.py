"""Photographs of the survey in the record: caption, place, and pictures small enough to send."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flatscan.report.record.front import site_of
from flatscan.report.record.pictures import fitted
from flatscan.report.words import places

if TYPE_CHECKING:
    from flatscan.report.report import Report

#: All photographs together, and the longest side of one: 86 mm on paper at 300 dots per inch.
_ALL_BYTES, _MOST_PIXELS = 1_500_000, 1000


def photo_pages(report: Report) -> tuple[list[dict[str, Any]], dict[str, bytes]]:
    """What is said of each photograph, and the pictures by their file names."""
    photos = site_of(report).photos
    each = _ALL_BYTES // max(1, len(photos))
    pictures = {
        _name(number): fitted(photo.jpeg, most_pixels=_MOST_PIXELS, most_bytes=each)
        for number, photo in enumerate(photos, 1)
    }
    told = [
        {
            "file": _name(number),
            "number": str(number),
            "caption": photo.caption,
            "place": "" if photo.at_mm is None else places.point(photo.at_mm),
            "name": photo.file.path.name,
            "alt": f"Photograph {number}: {photo.caption or 'no caption was recorded'}",
        }
        for number, photo in enumerate(photos, 1)
    ]
    return told, pictures


def _name(number: int) -> str:
    return f"photo{number}.jpg"
