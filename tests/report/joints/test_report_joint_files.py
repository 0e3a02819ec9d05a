"""Joints in result.json, joints.csv and stations.csv."""

from __future__ import annotations

import csv
import doctest
import io
import json
import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any, get_args

import jsonschema
import msgspec
import pytest

from flatscan.measures.joints.joints import Joints, Refusal
from flatscan.quantity import Quantity
from flatscan.report.report import Report
from flatscan.report.result.result import Result, json_of, result_of, result_schema
from flatscan.report.tables.joints import joints_csv, stations_csv
from flatscan.report.words import joint_wording
from flatscan.report.words.joint_words import judged_joints, size_of


@pytest.fixture(scope="module")
def written(tiled: Report) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(json_of(result_of(tiled)))
    return loaded


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def joints_of(report: Report) -> Joints:
    assert report.measurement.joints is not None
    return report.measurement.joints


def test_the_result_obeys_its_schema_and_reads_back(tiled: Report, written: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator(result_schema()).validate(written)
    result = result_of(tiled)
    assert msgspec.json.decode(json_of(result), type=Result) == result


@pytest.mark.parametrize(
    "spoil",
    [
        lambda r: r["joints"][0].pop("id"),
        lambda r: r["joints"][0].update(line=[[0.0, 0.0]]),
        lambda r: r["joints"][0]["verdicts"].update(lip="nearly"),
        lambda r: r["joints"][0]["stations"][0]["refused"][0].update(why="bored"),
        lambda r: r["tiles"].update(bond="basket"),
        lambda r: r["hand_readings"][0].pop("conflict"),
    ],
)
def test_the_schema_refuses_spoilt_joints(written: dict[str, Any], spoil: Callable[[dict[str, Any]], object]) -> None:
    spoilt = json.loads(json.dumps(written))
    spoil(spoilt)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(result_schema()).validate(spoilt)


def test_a_file_of_before_joints_is_still_a_result(report: Report) -> None:
    old = json.loads(json_of(result_of(report)))
    for name in ("tiles", "hand_readings", "joint_tally"):
        old.pop(name, None)
    jsonschema.Draft202012Validator(result_schema()).validate(old)
    assert msgspec.json.decode(json.dumps(old), type=Result).joints == []


def test_every_station_is_written_with_its_sign_and_its_reasons(tiled: Report, written: dict[str, Any]) -> None:
    joints = joints_of(tiled).joints
    assert [one["id"] for one in written["joints"]] == [joint.id for joint in joints]
    lips = []
    for record, joint in zip(written["joints"], joints, strict=True):
        assert len(record["stations"]) == len(joint.stations)
        for told, station in zip(record["stations"], joint.stations, strict=True):
            assert [(r["figure"], r["why"]) for r in told["refused"]] == list(station.refused)
            assert (told["lip"] is None) == (station.lip is None)
            if station.lip is not None:
                lips.append((told["lip"]["value"], station.lip.value))
                assert told["lip"]["value"] == pytest.approx(station.lip.value, abs=station.lip.u / 200)
                assert told["wall_width"]["value"] < told["width"]["value"]
    assert min(told for told, _ in lips) < -1.0 < 1.0 < max(told for told, _ in lips)


def test_values_of_stations_stand_on_one_line(tiled: Report) -> None:
    text = json_of(result_of(tiled)).decode()
    stations = sum(len(joint.stations) for joint in joints_of(tiled).joints)
    # 2000 stations stay under a megabyte and a half.
    assert len(text[text.index('"joints": [') : text.index('"findings": [')]) / stations < 700
    assert re.search(r'"width": \{"value": [\d.]+, "u": [\d.]+, "unit": "mm"\}', text)


def test_the_worst_station_of_a_joint_is_the_one_most_likely_over(tiled: Report) -> None:
    for one in judged_joints(tiled):
        for kind, worst in one.worst.items():
            values = [q for station in one.joint.stations if (q := size_of(station, kind)) is not None]
            if worst.value is None:
                assert not values
                assert worst.verdict == "not_seen"
                continue
            assert worst.limit_mm is not None
            # Independent of the module: distance from the limit in standard uncertainties, larger is worse. Chances
            # that differ by less than half a per cent may be swapped: 0.005 is at most 0.3 u near the limit.
            far = [(q.value - worst.limit_mm) / q.u for q in values]
            mine = (worst.value.value - worst.limit_mm) / worst.value.u
            assert mine >= min(max(far), 2.5) - 0.3 or mine < -2.2


def test_a_sure_small_excess_is_worse_than_a_large_value_hardly_known(tile: Callable[..., Report]) -> None:
    base = joints_of(tile())
    joint = base.joints[40]
    first, second, *_ = joint.stations
    vague = replace(first, lip=Quantity(1.5, 1.5, "mm"))
    sure = replace(second, lip=Quantity(-1.3, 0.05, "mm"))
    spoilt = replace(base, joints=(replace(joint, stations=(vague, sure)),))
    (one,) = judged_joints(tile(spoilt))
    assert one.worst["lip"].station == sure
    assert one.worst["lip"].verdict == "over"
    assert one.worst["lip"].value == Quantity(1.3, 0.05, "mm")


def test_without_a_limit_there_is_no_verdict(tile: Callable[..., Report]) -> None:
    report = tile(limits=())
    assert {worst.verdict for one in judged_joints(report) for worst in one.worst.values()} == {None}
    assert {row["lip_verdict"] for row in rows(joints_csv(report))} == {"no limit"}


# Tables


def test_joints_come_back_worst_first(tiled: Report) -> None:
    read = rows(joints_csv(tiled))
    joints = {joint.id: joint for joint in joints_of(tiled).joints}
    assert sorted(row["joint"] for row in read) == sorted(joints)
    assert "over" in (read[0]["lip_verdict"], read[0]["width_verdict"], read[0]["depth_verdict"])
    for row in read:
        joint = joints[row["joint"]]
        assert float(row["x2_mm"]) == pytest.approx(joint.line[-1][0], abs=0.05)
        assert float(row["length_m"]) == pytest.approx(joint.length_mm / 1000, abs=0.0005)
        if row["lip_mm"]:
            station = next(s for s in joint.stations if round(s.at[0], 1) == float(row["lip_x_mm"])
                           and round(s.at[1], 1) == float(row["lip_y_mm"]))  # fmt: skip
            assert station.lip is not None
            assert float(row["lip_mm"]) == pytest.approx(station.lip.value, abs=0.0005)


def test_the_low_side_is_the_one_across_the_joint_that_the_sign_says(tiled: Report) -> None:
    # Left of a way upwards is left on the map; left of a way to the right is up. Positive: left is high.
    opposite = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}
    tried = set()
    for row in rows(joints_csv(tiled)):
        if not row["lip_mm"]:
            continue
        up = row["x1_mm"] == row["x2_mm"]
        left = "left" if up else "top"
        low = opposite[left] if float(row["lip_mm"]) > 0 else left
        assert row["lip_where"].endswith(f"lower side: {low}")
        tried.add(low)
    assert tried == set(opposite)


def test_stations_come_back_with_reasons_in_words(tiled: Report) -> None:
    read = rows(stations_csv(tiled))
    stations = [station for joint in joints_of(tiled).joints for station in joint.stations]
    assert len(read) == len(stations)
    for row, station in zip(read, stations, strict=True):
        assert (row["width_mm"] == "") == (station.width is None)
        assert (row["width_missing"] == "") == (station.width is not None)
        assert "_" not in row["width_missing"] + row["depth_missing"] + row["lip_missing"]


def test_no_cell_is_a_formula(tile: Callable[..., Report]) -> None:
    base = joints_of(tile())
    spoilt = replace(base, joints=(replace(base.joints[0], id='=cmd|"/c calc"!A0'), *base.joints[1:]))
    for table in (joints_csv, stations_csv):
        for row in csv.reader(io.StringIO(table(tile(spoilt)))):
            for cell in row:
                number = re.fullmatch(r"-?\d+(\.\d+)?(e-?\d+)?", cell)
                assert number or not cell.startswith(("=", "+", "-", "@", "\t", "\r"))


def test_without_joints_the_tables_are_headers_only(report: Report) -> None:
    assert rows(joints_csv(report)) == rows(stations_csv(report)) == []


# Words


def test_every_reason_has_words_and_says_what_to_do() -> None:
    assert set(joint_wording.REFUSAL_TEXT) == set(get_args(Refusal))
    said = [text for pair in joint_wording.REFUSAL_TEXT.values() for text in pair]
    assert all(text and "_" not in text and not text.endswith(".") for text in said)
    assert len({why for why, _ in joint_wording.REFUSAL_TEXT.values()}) == len(joint_wording.REFUSAL_TEXT)


def test_what_was_refused_adds_up_over_the_joints(tiled: Report) -> None:
    joints = joints_of(tiled).joints
    low = sum(s.stretch_mm for joint in joints for s in joint.stations if s.width is None)
    (line,) = [one for one in joint_wording.refused_lines(joints) if "shadow" in one]
    assert f"Width on {low / 1000:.1f} m" in line
    assert line.endswith("Take it again without sun or a lamp low above the floor")


def test_the_examples_in_the_docstrings_hold() -> None:
    failed, tried = doctest.testmod(joint_wording)
    assert tried > 5
    assert failed == 0
