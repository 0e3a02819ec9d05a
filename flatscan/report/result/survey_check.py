"""What ``flatscan survey check`` says: what a survey file records and what is missing, in words and for programs."""

from __future__ import annotations

import textwrap
from itertools import groupby
from typing import TYPE_CHECKING, Any

import msgspec

from flatscan.report.result.records import as_schema
from flatscan.report.result.survey import survey_record
from flatscan.report.result.survey_records import SURVEY_CHECK_ID, EntryRecord, SurveyCheck
from flatscan.report.words.plain_text import clean
from flatscan.sources.survey.missing import TITLES, entries

if TYPE_CHECKING:
    from collections.abc import Iterator

    from flatscan.sources.survey.missing import Entry
    from flatscan.sources.survey.survey import Survey

_COLUMNS, _NAME_COLUMNS = 80, 32
_BLANK = "what is not recorded is reported as not recorded, never as in order"


def survey_check_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of what ``flatscan survey check --json`` prints."""
    return as_schema(msgspec.json.schema(SurveyCheck), "SurveyCheck", SURVEY_CHECK_ID)


def check_of(survey: Survey) -> SurveyCheck:
    """The same as ``check_words``, for programs."""
    listed = entries(survey)
    return SurveyCheck(
        file=survey.file.path.name,
        sha256=survey.file.sha256,
        recorded=[_record(entry) for entry in listed if entry.told],
        missing=[_record(entry) for entry in listed if not entry.told],
        survey=survey_record(survey),
    )


def check_words(survey: Survey) -> str:
    """A line for each thing of a full record, group by group, 80 columns wide."""
    listed = entries(survey)
    there = sum(bool(entry.told) for entry in listed)
    lines = [f"{clean(survey.file.path.name)} can be read."]
    if there == 0:
        lines += _wrapped(f"Nothing is recorded yet. A full record has {len(listed)} things; {_BLANK}.", "")
    elif there < len(listed):
        lines += _wrapped(f"Recorded: {there} of the {len(listed)} things of a full record; {_BLANK}.", "")
    else:
        lines.append("Everything that a full record holds is there.")
    for group, of_group in groupby(listed, key=lambda entry: entry.group):
        lines += ["", TITLES[group]]
        for entry in of_group:
            lines += _row(entry)
    return "\n".join(lines)


def _row(entry: Entry) -> Iterator[str]:
    name = f"  {entry.name}"
    words = entry.told or f"not recorded ({entry.key})"
    if len(name) > _NAME_COLUMNS - 2:
        yield from _wrapped(name.strip(), "  ")
        name = ""
    rows = textwrap.wrap(words, _COLUMNS - _NAME_COLUMNS) or [""]
    yield f"{name:<{_NAME_COLUMNS}}{rows[0]}"
    for row in rows[1:]:
        yield f"{'':<{_NAME_COLUMNS}}{row}"


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, _COLUMNS, initial_indent=indent, subsequent_indent=indent)


def _record(entry: Entry) -> EntryRecord:
    return EntryRecord(group=entry.group, name=entry.name, told=entry.told, key=entry.key)
