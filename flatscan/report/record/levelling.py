"""The levelling plan in the record: the ways side by side, the chosen one, its areas and where their corners lie."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flatscan import said
from flatscan.report.marking.data import marking_data
from flatscan.report.marking.rows import corner_tables
from flatscan.report.page.levelling import levelling_page
from flatscan.report.words import field_words

if TYPE_CHECKING:
    from flatscan.report.marking.data import MarkingData
    from flatscan.report.report import Report

#: Corners of more areas than this are for the marking-out sheet alone.
_MOST_AREAS = 6
#: The page's picture and lists, which the record has in its own way, and what of an area is told.
_PAGE_ONLY = ("after", "corners")
_OF_AREA = ("number", "action", "size", "volume", "least", "mean", "most", "place")


def levelling_pages(report: Report) -> dict[str, Any]:
    """As the page tells it, with the corners of the areas as the marking-out sheet has them."""
    verdict, by_hand = report.verdict, field_words.by_hand(report.surface)
    told = levelling_page(report.plan, verdict.answer.code, by_hand=by_hand, findings=verdict.findings)
    data = marking_data(report.plan, report.surface, survey=report.survey, doors_mm=report.settings.place.doors_mm)
    return {name: part for name, part in told.items() if name not in _PAGE_ONLY} | {
        "areas": [{name: area[name] for name in _OF_AREA} for area in told["areas"]],
        "anything": any(told[part] for part in ("ways", "areas", "refused", "nothing", "recommended")),
        "corners": _corners(data),
        # Feet and inches carry their own marks.
        "tape_unit": "" if said.imperial() else ", m",
        "sheet": "" if data.nothing else _sheet(data),
    }


def _corners(data: MarkingData) -> list[dict[str, Any]]:
    areas = data.areas if len(data.areas) <= _MOST_AREAS else ()
    return [table for area in areas for table in corner_tables(area)]


def _sheet(data: MarkingData) -> str:
    more = "" if len(data.areas) <= _MOST_AREAS else f", which has the corners of all {len(data.areas)} areas"
    return f"Drawings true to scale are on the last pages, the marking-out sheet (marking_out.pdf){more}."
