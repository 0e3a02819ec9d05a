"""The survey in ``result.json``: all that was recorded, by the schema, photos by name only."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import jsonschema
import msgspec
import pytest

from flatscan.report.report import Report
from flatscan.report.result.result import Result, json_of, result_of, result_schema
from flatscan.report.result.survey import survey_record
from flatscan.report.result.survey_records import SurveyRecord
from flatscan.sources.survey import read_survey, survey_from
from flatscan.sources.survey import site as records

KITCHEN = Path(__file__).parents[2] / "sample_scans" / "old_tiled_kitchen" / "survey.toml"


@pytest.fixture(scope="module")
def kitchen() -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(msgspec.json.encode(survey_record(read_survey(KITCHEN))))
    return loaded


def test_without_a_survey_file_there_is_none(report: Report) -> None:
    assert report.survey is None
    assert result_of(report).survey is None


def test_it_obeys_the_schema_and_reads_back_the_same(report: Report) -> None:
    result = result_of(replace(report, survey=read_survey(KITCHEN)))
    written = json_of(result)
    jsonschema.Draft202012Validator(result_schema()).validate(json.loads(written))
    assert msgspec.json.decode(written, type=Result) == result


def test_it_says_what_the_file_says(kitchen: dict[str, Any]) -> None:
    assert kitchen["visit"]["date"] == "2026-05-04"
    assert kitchen["covering"]["acclimatised_since"] == "2026-05-03T17:00:00"
    assert kitchen["moisture"][0] == {
        "method": "carbide", "value": 1.6, "plus_minus": 0.2, "unit": "CM-%", "base": "cement_screed",
        "at": [1250.0, 1850.0], "depth_mm": 40.0, "beneath_tiles": True, "limit": None, "limit_source": "",
    }  # fmt: skip
    assert kitchen["sound"]["tapped"]["hollow_at"] == [[1250.0, 1850.0], [3070.0, 640.0]]
    assert kitchen["room_outline"] == [[0.0, 0.0], [3400.0, 0.0], [3400.0, 2600.0], [0.0, 2600.0]]
    assert [zone["kind"] for zone in kitchen["zones"]] == ["fixed_height", "no_grind"]
    assert kitchen["doors"][0]["line"] == [[1300.0, 0.0], [2200.0, 0.0]]


def test_what_was_not_recorded_is_null_or_empty_and_never_in_order(kitchen: dict[str, Any]) -> None:
    assert kitchen["covering"]["most_humidity_percent"] is None
    assert kitchen["sound"]["pull_off_n_per_mm2"] is None
    assert kitchen["sound"]["cracks"][0]["moves"] is None
    assert kitchen["old_covering"]["adhesive"] == ""
    empty = msgspec.to_builtins(survey_record(survey_from(Path("survey.toml"), b"")))

    def empty_or_none(value: object) -> bool:
        if isinstance(value, dict):
            return all(map(empty_or_none, value.values()))
        return value in (None, "", [], ())

    assert all(empty_or_none(part) for name, part in empty.items() if name not in ("file", "sha256"))


def test_a_photo_is_its_name_and_fingerprint_never_its_pixels(kitchen: dict[str, Any]) -> None:
    (photo,) = kitchen["photos"]
    assert set(photo) == {"file", "sha256", "caption", "at"}
    assert photo["file"] == "hollow_tile.jpg"
    assert len(json.dumps(kitchen)) < 8000


@pytest.mark.parametrize(
    ("source", "record"),
    [
        (records.Visit, "visit"), (records.Covering, "covering"), (records.Climate, "climate"),
        (records.Heating, "heating"), (records.OldCovering, "old_covering"), (records.Sound, "sound"),
    ],
)  # fmt: skip
def test_no_field_of_the_site_is_forgotten(source: type, record: str, kitchen: dict[str, Any]) -> None:
    assert [field.name for field in fields(source)] == list(kitchen[record])


def test_the_schema_refuses_a_spoilt_survey(kitchen: dict[str, Any]) -> None:
    body = msgspec.json.schema(SurveyRecord)
    jsonschema.Draft202012Validator(body).validate(kitchen)
    for spoil in (
        lambda s: s["old_covering"].update(asbestos="no"),
        lambda s: s["climate"].update(humidity_percent=140),
        lambda s: s["photos"][0].update(sha256="x"),
        lambda s: s.pop("visit"),
    ):
        spoilt = json.loads(json.dumps(kitchen))
        spoil(spoilt)
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.Draft202012Validator(body).validate(spoilt)
