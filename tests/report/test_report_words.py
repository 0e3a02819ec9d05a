"""Wording and cautions."""

from __future__ import annotations

import doctest
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatscan.judgement import load_limits
from flatscan.levelling.plan import MethodName
from flatscan.report.report import Report
from flatscan.report.tables import tables
from flatscan.report.words import wording
from flatscan.report.words.cautions import cautions_for
from flatscan.report.words.story import next_steps


@pytest.mark.parametrize("module", [wording, tables])
def test_the_examples_in_the_docstrings_hold(module: object) -> None:
    failed, tried = doctest.testmod(module)  # type: ignore[arg-type]
    assert tried > 0
    assert failed == 0


@given(st.floats(0.0, 1.0))
def test_a_chance_leans_the_way_it_says_and_is_never_certain(p_over: float) -> None:
    said = wording.chance(p_over)
    assert " 0 %" not in f" {said}"
    assert "100 %" not in said
    if p_over >= 0.95:
        assert "likely over" in said or "certainly over" in said
    if p_over < 0.05:
        assert "likely within" in said or "certainly within" in said


def named(report: Report) -> list[str]:
    return [caution.name for caution in cautions_for(report)]


def test_filling_calls_for_asbestos_heating_and_slips_but_not_for_dust(report: Report) -> None:
    assert named(report) == ["asbestos", "heated_floor", "dense_surface", "moisture", "slips", "limits"]


def test_only_grinding_that_is_planned_calls_for_dust(report: Report) -> None:
    name: MethodName = "grind_and_patch"
    methods = (*report.plan.methods, replace(report.plan.methods[0], name=name, ground_l=0.7))
    beside = replace(report.plan, methods=methods, chosen="patch")
    assert "silica" not in named(replace(report, plan=beside))
    assert named(replace(report, plan=replace(beside, chosen=name)))[:2] == ["asbestos", "silica"]


def test_taking_down_lips_is_grinding(report: Report) -> None:
    answer = replace(report.verdict.answer, code="fill_joints_and_lips")
    plan = replace(report.plan, methods=(), areas=())
    spoken = replace(report, verdict=replace(report.verdict, answer=answer), plan=plan)
    assert named(spoken) == ["asbestos", "silica", "heated_floor", "limits"]


def test_a_floor_to_leave_alone_calls_for_no_work_cautions(report: Report) -> None:
    answer = replace(report.verdict.answer, code="lay_as_is")
    plan = replace(report.plan, methods=(), areas=())
    assert named(replace(report, verdict=replace(report.verdict, answer=answer), plan=plan)) == ["limits"]


@pytest.mark.parametrize("code", ["lay_as_is", "fill_joints_and_lips", "level_areas", "level_all", "not_decided"])
def test_no_answer_forgets_dryness_soundness_and_cracks(report: Report, code: str) -> None:
    answer = replace(report.verdict.answer, code=code)
    steps = next_steps(replace(report, verdict=replace(report.verdict, answer=answer)))
    first = next(step for step in steps if step.startswith("Before "))
    assert all(word in first for word in ("dry", "sound", "cracks"))
    # What compound would hide is looked at before it goes on, the rest on the day of laying.
    works = [n for n, step in enumerate(steps) if step.startswith(("Mark", "Level", "Fill"))]
    assert all(steps.index(first) < n for n in works)
    assert steps[-1].startswith("Before laying, check room climate, acclimatising, floor heating and movement joints")


def test_an_undecided_floor_without_readings_is_told_to_capture_again(report: Report) -> None:
    answer = replace(report.verdict.answer, code="not_decided")
    verdict = replace(report.verdict, answer=answer, next_readings=())
    assert "Capture again" in next_steps(replace(report, verdict=verdict))[1]


def test_floor_that_was_not_seen_is_one_step_with_every_place(report: Report) -> None:
    (first,) = report.verdict.next_readings
    places = [(8320.0, 3380.0), (1980.0, 5670.0), (3170.0, 4530.0)]
    unseen = [replace(first, at=at, what="floor not seen, somewhere: clear it") for at in places]
    verdict = replace(report.verdict, next_readings=(first, *unseen))
    steps = next_steps(replace(report, verdict=verdict))
    told = [step for step in steps if "not seen" in step]
    assert len(told) == 1
    assert "(8.32, 3.38), (1.98, 5.67), (3.17, 4.53) m from the left and the bottom wall" in told[0]
    assert sum(step.startswith("Read by hand") for step in steps) == 1


def test_a_lip_limit_that_grows_with_the_tile_says_so() -> None:
    """ZDB leaflet of October 2005: (length + width) / 1000 + 1.0 mm."""
    rule = load_limits(["zdb-lip"])[0].limits[0]
    assert wording.limit(rule) == "lip 1 mm and 0.001 of the tile's length and width"
