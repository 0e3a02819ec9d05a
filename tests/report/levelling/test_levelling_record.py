"""The plan in ``result.json`` and in ``levelling.json``, checked with an independent validator."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import jsonschema
import msgspec
import numpy as np
import pytest

from flatscan.levelling.plan import GapAfter, LevellingPlan, Method, Product
from flatscan.report.report import Report
from flatscan.report.result.levelling import levelling_record
from flatscan.report.result.levelling_file import LevellingFile, levelling_file, levelling_json, levelling_schema
from flatscan.report.result.levelling_records import MethodRecord, ProductRecord
from flatscan.report.result.result import Result, json_of, result_of, result_schema
from flatscan.report.words.cautions import cautions_of
from flatscan.settings import LevelSettings

SHA = "ab" * 32


@pytest.fixture(scope="module")
def written(planned: Report) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(json_of(result_of(planned)))
    return loaded


def file_of(plan: LevellingPlan) -> bytes:
    return levelling_json(
        plan,
        from_sha256=SHA,
        answer="level_areas",
        settings=LevelSettings(margin_mm=0.5, product_file="product.toml"),
        cautions=cautions_of(plan, "level_areas", ()),
    )


def test_the_result_with_a_whole_plan_obeys_its_schema_and_reads_back(written: dict[str, Any], planned: Report) -> None:
    jsonschema.Draft202012Validator.check_schema(result_schema())
    jsonschema.Draft202012Validator(result_schema()).validate(written)
    result = result_of(planned)
    assert msgspec.json.decode(json_of(result), type=Result) == result


@pytest.mark.parametrize(
    "spoil",
    [
        lambda p: p["methods"][0]["cost"].pop("parts"),
        lambda p: p["methods"][0].update(cost=12.0),
        lambda p: p["methods"][0].update(bound=1.2),
        lambda p: p["methods"][0].update(buy=-1),
        lambda p: p["methods"][0]["proof"].pop("passes"),
        lambda p: p["joints_to_fill"][0].update(word="maybe"),
        lambda p: p["areas"][0]["marking"].pop("walls"),
        lambda p: p.update(chosen="magic"),
    ],
)
def test_the_schema_refuses_a_spoilt_plan(written: dict[str, Any], spoil: Callable[[dict[str, Any]], object]) -> None:
    spoilt = json.loads(json.dumps(written))
    spoil(spoilt["levelling"])
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(result_schema()).validate(spoilt)


def test_a_plan_from_before_these_fields_is_still_one(written: dict[str, Any]) -> None:
    # Fields may be added within a version, so what was written without them must be read.
    old = json.loads(json.dumps(written))
    first = {"name", "volume_l", "mass_kg", "bags", "area_m2", "mean_mm", "max_mm", "interval"}
    old["levelling"] = {
        "methods": [{k: m[k] for k in first} | {"cost": None} for m in old["levelling"]["methods"]],
        "areas": [
            {k: a[k] for k in ("number", "polygon", "area_m2", "volume_l", "mean_mm", "max_mm", "action")}
            for a in old["levelling"]["areas"]
        ],
        "product": {
            k: old["levelling"]["product"][k]
            for k in ("name", "kg_per_m2_mm", "bag_kg", "least_layer_mm", "greatest_layer_mm", "waste_share", "source")
        },
        "targets": old["levelling"]["targets"],
    }
    jsonschema.Draft202012Validator(result_schema()).validate(old)
    assert msgspec.json.decode(json.dumps(old), type=Result).levelling.chosen is None


def test_no_field_of_a_method_or_a_product_is_left_out() -> None:
    # Two are told as one object: the 95 % ranges of litres and bags.
    told = set(MethodRecord.__struct_fields__) - {"interval", "possible"}
    assert told == {f.name for f in dataclasses.fields(Method)} - {"volume_interval_l", "bags_interval"}
    assert set(ProductRecord.__struct_fields__) == {f.name for f in dataclasses.fields(Product)}


def test_every_way_is_told_with_its_figures(written: dict[str, Any], plan: LevellingPlan) -> None:
    told = written["levelling"]
    assert [m["name"] for m in told["methods"]] == [m.name for m in plan.methods]
    assert [m["possible"] for m in told["methods"]] == [True, True, False, True, False, True]
    for record, method in zip(told["methods"], plan.methods, strict=True):
        assert record["why_not"] == method.why_not
        assert list(record["volume_p_l"].values()) == pytest.approx(method.volume_p_l, abs=0.005)
        assert method.cost is not None
        assert sum(part["value"] for part in record["cost"]["parts"]) == pytest.approx(record["cost"]["value"])
        assert record["buy"] - record["keep_sealed"] == method.bags
    assert told["chosen"] == "patch"
    assert told["recommendation"] == list(plan.recommendation)


def test_without_prices_no_cost_is_told(report: Report, build_plan: Callable[..., LevellingPlan]) -> None:
    record = levelling_record(build_plan(report.surface, priced=False))
    assert all(method.cost is None for method in record.methods)
    assert record.product.bag_price is None


def test_an_areas_corners_are_as_far_from_the_walls_as_its_outline_says(written: dict[str, Any]) -> None:
    # Wall 1 is the line y = 0 and wall 6 the line x = 0, so the distances are y and x.
    for area in written["levelling"]["areas"]:
        marking = area["marking"]
        assert [wall["number"] for wall in marking["walls"]] == [1, 6]
        for ring, from_walls in zip(marking["polygon"], marking["from_mm"], strict=True):
            assert np.allclose(np.array(ring)[:-1, ::-1], from_walls, atol=0.11)


def test_a_bound_is_rounded_down_and_a_proof_keeps_what_it_found(plan: LevellingPlan) -> None:
    first = plan.methods[0]
    assert first.proof is not None
    proof = replace(first.proof, gaps=(GapAfter(2000.0, 3.0, 3.0004, (1.0, 2.0)),))
    (record, *_) = levelling_record(replace(plan, methods=(replace(first, bound=0.91237, proof=proof),))).methods
    assert record.bound == 0.9123
    assert record.proof is not None
    assert not record.proof.passes


def test_a_number_that_is_none_is_refused(plan: LevellingPlan) -> None:
    spoilt = replace(plan, methods=(replace(plan.methods[0], ground_m2=math.nan),))
    with pytest.raises(ValueError, match="finite"):
        levelling_record(spoilt)


def test_a_plan_made_anew_has_a_file_with_its_own_schema(plan: LevellingPlan) -> None:
    loaded = json.loads(file_of(plan))
    schema = levelling_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(loaded)
    assert loaded["schema"] == "flatscan-levelling/1"
    assert loaded["from"] == SHA
    assert loaded["settings"]["margin_mm"] == 0.5
    assert [caveat["name"] for caveat in loaded["caveats"]] == ["unseen_not_filled"]
    assert loaded["cautions"][-1]["name"] == "limits"
    for name in ("schema", "from", "levelling"):
        spoilt = {key: value for key, value in loaded.items() if key != name}
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.Draft202012Validator(schema).validate(spoilt)


def test_the_file_says_of_the_plan_what_the_result_says(written: dict[str, Any], plan: LevellingPlan) -> None:
    assert json.loads(file_of(plan))["levelling"] == written["levelling"]


def test_the_file_reads_back_and_is_the_same_each_time(plan: LevellingPlan) -> None:
    record = levelling_file(plan, from_sha256=SHA, answer="level_areas", settings=LevelSettings(), cautions=())
    text = levelling_json(plan, from_sha256=SHA, answer="level_areas", settings=LevelSettings(), cautions=())
    assert msgspec.json.decode(text, type=LevellingFile) == record
    assert file_of(plan) == file_of(plan)
    assert text.endswith(b"\n")
