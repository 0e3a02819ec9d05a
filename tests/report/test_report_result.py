"""``result.json``: the public contract, checked with an independent validator."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import jsonschema
import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatscan.quantity import Quantity
from flatscan.report.report import Report
from flatscan.report.result.result import Result, json_of, result_of, result_schema, rounding


@pytest.fixture(scope="module")
def written(report: Report) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(json_of(result_of(report)))
    return loaded


def test_the_schema_is_a_valid_schema_and_the_result_obeys_it(written: dict[str, Any]) -> None:
    schema = result_schema()
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(written)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda r: r.pop("answer"),
        lambda r: r.pop("schema"),
        lambda r: r.update(schema="flatscan-result/2"),
        lambda r: r["answer"].update(code="fine"),
        lambda r: r["findings"][0].update(verdict="nearly"),
        lambda r: r["findings"][0].update(p_over=1.2),
        lambda r: r["gaps"][0]["gap"].pop("u"),
        lambda r: r["gaps"][0]["gap"].update(u=-0.1),
        lambda r: r["gaps"][0].update(at=[1.0]),
        lambda r: r["inputs"][0].update(sha256="xyz"),
    ],
)
def test_the_schema_refuses_a_spoilt_result(written: dict[str, Any], spoil: Callable[[dict[str, Any]], object]) -> None:
    spoilt = json.loads(json.dumps(written))
    spoil(spoilt)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(result_schema()).validate(spoilt)


def test_the_promised_names_are_there(written: dict[str, Any]) -> None:
    assert written["schema"] == "flatscan-result/1"
    assert set(written["answer"]) == {"code", "text", "reasons"}
    assert {"area_m2", "seen_share", "cell_mm", "height_sigma_mm", "slope", "plane"} <= set(written["surface"])
    assert set(written["surface"]["plane"]) == {"normal", "offset_mm"}
    assert set(written["flatness"]) == {"FLTt", "FLTp", "FLTv", "FLTq", "FLTt_minimum_zone"}
    assert {"edge_mm", "gap", "raw_mm", "noise_floor_mm", "at", "contacts"} <= set(written["gaps"][0])
    finding = {"what", "limit_id", "limit_mm", "value", "p_over", "verdict", "at", "where"}
    assert finding <= set(written["findings"][0])
    method = {"name", "volume_l", "mass_kg", "bags", "cost", "area_m2", "mean_mm", "max_mm", "interval"}
    assert method <= set(written["levelling"]["methods"][0])
    area = {"polygon", "area_m2", "volume_l", "mean_mm", "max_mm", "action"}
    assert area <= set(written["levelling"]["areas"][0])
    assert written["joints"] == []
    assert written["settings"]["seed"] == 20_260_101


def test_what_is_written_reads_back_as_the_same_records(report: Report) -> None:
    result = result_of(report)
    assert msgspec.json.decode(json_of(result), type=Result) == result


def test_the_same_run_gives_the_same_bytes(report: Report) -> None:
    assert json_of(result_of(report)) == json_of(result_of(report))


def test_narrow_lines_change_no_value(report: Report) -> None:
    plain = msgspec.json.decode(msgspec.json.encode(result_of(report)))
    assert msgspec.json.decode(json_of(result_of(report))) == plain


def test_a_text_that_looks_like_an_array_is_left_alone(report: Report) -> None:
    answer = replace(report.verdict.answer, text="[ 1,\n  2 ]")
    text = json.loads(json_of(result_of(replace(report, verdict=replace(report.verdict, answer=answer)))))
    assert text["answer"]["text"] == "[ 1,\n  2 ]"


def test_the_plane_is_the_one_that_heights_are_measured_from(report: Report) -> None:
    plane = result_of(report).surface.plane
    # The fixture's floor frame is the scan's, shifted by (-1200, -800, 1310): z_floor = z_scan + 1310.
    assert plane.normal == (0.0, 0.0, 1.0)
    assert plane.offset_mm == -1310.0


@given(
    st.floats(-1e4, 1e4, allow_nan=False),
    st.floats(1e-3, 100.0, allow_nan=False),
)
def test_rounding_loses_a_negligible_part_of_the_uncertainty(value: float, u: float) -> None:
    # Three figures of u: the last place is at most u/100, so rounding moves value and u by at most u/200
    # (plus float spacing at 1e4, 2e-12).
    q = rounding.quantity(Quantity(value, u, "mm"))
    assert abs(q.value - value) <= u / 200 + 1e-9
    assert q.u is not None
    assert abs(q.u - u) <= u / 200 + 1e-9


def test_an_unknown_uncertainty_is_null_and_never_a_number() -> None:
    assert rounding.quantity(Quantity(3.0, math.inf, "mm")).u is None


def test_an_exact_value_keeps_its_figures() -> None:
    assert rounding.quantity(Quantity(3.123456, 0.0, "mm")).value == 3.123456


def test_minus_nothing_is_nothing() -> None:
    assert str(rounding.number(-0.01, 1)) == "0.0"


def test_nan_is_refused_where_a_number_is_promised(report: Report) -> None:
    # msgspec would write NaN as null without a word.
    spot = replace(report.measurement.gaps[0], raw_mm=math.nan)
    spoilt = replace(report, measurement=replace(report.measurement, gaps=(spot,)))
    with pytest.raises(ValueError, match="finite"):
        result_of(spoilt)


def test_a_noise_floor_that_was_not_simulated_is_null(report: Report) -> None:
    spot = replace(report.measurement.gaps[0], noise_floor_mm=math.nan)
    result = result_of(replace(report, measurement=replace(report.measurement, gaps=(spot,))))
    assert result.gaps[0].noise_floor_mm is None


def test_a_caveat_raised_by_two_stages_is_told_once(report: Report) -> None:
    names = [c.name for c in result_of(report).caveats]
    assert names == ["partly_seen", "directions_sampled"]
