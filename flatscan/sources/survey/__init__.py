"""What a person writes down about a room beside its capture: the survey file (TOML)."""

from flatscan.sources.survey.read_survey import read_survey, survey_from
from flatscan.sources.survey.survey import Door, Survey, Zone, ZoneKind

__all__ = ["Door", "Survey", "Zone", "ZoneKind", "read_survey", "survey_from"]
