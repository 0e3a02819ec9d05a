"""The record's first page: what the answer is, where, for whom, why, and what comes next."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flatscan.report.record.site_words import date_text
from flatscan.report.words import places, story
from flatscan.sources.survey.site import NO_SITE

if TYPE_CHECKING:
    from flatscan.report.report import Report
    from flatscan.sources.survey.site import Site, Visit

_MOST_REASONS = 3
_MOST_STEPS = 4


def site_of(report: Report) -> Site:
    """What was recorded on site; nothing where no survey file was given."""
    return NO_SITE if report.survey is None else report.survey.site


def head_fields(visit: Visit) -> list[tuple[str, str]]:
    """Name and value of what names the job; an empty value is a line to write on."""
    place = ", ".join(part for part in (visit.place, visit.address) if part)
    return [
        ("Place", place),
        ("Room", visit.room),
        ("Date", date_text(visit.date)),
        ("Reference", visit.reference),
        ("Measured by", visit.measured_by),
        ("Firm", visit.firm),
        ("Client", visit.client),
    ]


def front_page(report: Report) -> dict[str, Any]:
    """All words of the first page."""
    answer = report.verdict.answer
    steps = story.next_steps(report)
    work = [step for step in steps if not step.startswith(story.READ_BY_HAND)]
    readings = len(steps) - len(work)
    return {
        "answer": answer.text,
        "fields": head_fields(site_of(report).visit),
        "reasons": list(answer.reasons[:_MOST_REASONS]),
        "all_reasons": list(answer.reasons) if len(answer.reasons) > _MOST_REASONS else [],
        "brief": work[:_MOST_STEPS],
        "more_brief": len(work) > _MOST_STEPS or readings > 0,
        "steps": steps,
        "frame": places.FRAME_TEXT,
    }
