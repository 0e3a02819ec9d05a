"""The published JSON Schemas are those of the records, and are schemas by the standard's own book."""

import json

import jsonschema
import pytest
from typer.testing import CliRunner

from flatscan.cli.main import app
from flatscan.cli.schema import NAMES
from flatscan.report.result.schema_files import SCHEMAS, generated, published


@pytest.mark.parametrize("name", SCHEMAS)
def test_the_published_schema_is_that_of_the_records(name: str) -> None:
    assert published(name) == generated(name), "run: python -m flatscan.report.result.schema_files"


@pytest.mark.parametrize("name", SCHEMAS)
def test_it_is_a_schema_and_asks_for_its_version(name: str) -> None:
    schema = json.loads(published(name))
    jsonschema.Draft202012Validator.check_schema(schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema).validate({})


def test_the_command_names_every_schema_and_prints_it() -> None:
    assert set(NAMES) == set(SCHEMAS)
    for name in SCHEMAS:
        printed = CliRunner().invoke(app, ["schema", name])
        assert json.loads(printed.stdout) == json.loads(generated(name))
