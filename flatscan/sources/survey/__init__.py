"""What a person writes down about a room beside its capture: the survey file (TOML)."""

from flatscan.sources.survey.beside import survey_beside
from flatscan.sources.survey.missing import Entry, entries, missing
from flatscan.sources.survey.read_survey import read_survey, survey_from
from flatscan.sources.survey.survey import Door, Survey, Zone, ZoneKind

__all__ = [
    "Door",
    "Entry",
    "Survey",
    "Zone",
    "ZoneKind",
    "entries",
    "missing",
    "read_survey",
    "survey_beside",
    "survey_from",
]
