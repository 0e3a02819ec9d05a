"""What a reader stumbled over: two figures for one thing, and the sentence that says why they differ."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from flatscan.errors import LimitSetError
from flatscan.judgement.verdict import Finding
from flatscan.levelling.plan import GapAfter, LevellingPlan, Proof
from flatscan.quantity import Quantity
from flatscan.report.picture.heatmap import draw_heatmap
from flatscan.report.record.binding_words import binding_facts
from flatscan.report.record.held_against import findings_table
from flatscan.report.report import Report
from flatscan.report.words import levelling_words
from flatscan.report.words.areas_words import areas_line
from flatscan.report.words.proof_words import proof_line, worst_found
from flatscan.report.words.room_words import room_line
from flatscan.report.words.told_findings import LIPS_AMONG_OTHERS, decision_rule
from flatscan.said import temperature
from flatscan.settings import LevelSettings, Settings
from flatscan.sources.scan import InputFile
from flatscan.sources.survey.site import NO_SITE, Sound, Tapped
from flatscan.sources.survey.survey import Door, Survey, Zone
from flatscan.workflow import check

SHARE = np.zeros((1, 1), dtype=np.float32)


def taking(plan: LevellingPlan, whole_l: float, drawn_l: float, missed_l: float) -> LevellingPlan:
    """The plan with so many litres in all, in its areas, and for what was missed."""
    chosen = plan.chosen or plan.methods[0].name
    methods = tuple(
        replace(one, volume_p_l=(0.6 * whole_l, whole_l, 1.5 * whole_l)) if one.name == chosen else one
        for one in plan.methods
    )
    areas = (replace(plan.areas[0], action="fill", volume_l=Quantity(drawn_l, 0.1, "l")),)
    missed = Quantity(missed_l, 0.1, "l")
    return replace(plan, chosen=chosen, methods=methods, areas=areas, scattered_l=missed, joint_work=None)


def test_areas_that_take_less_than_the_whole_say_what_the_rest_is_for(plan: LevellingPlan) -> None:
    said = areas_line(taking(plan, 33.0, 14.8, 18.2), by_hand=True)
    assert said.startswith("The areas drawn take 14.8 litres on the floor as best known; the rest of the 33 litres")
    assert "dips that the readings may have missed" in said
    assert "tiles" not in said
    holes = areas_line(taking(plan, 5.2, 1.2, 0.0), by_hand=False)
    assert holes.endswith("for the holes of tiles that come out")
    assert areas_line(taking(plan, 10.0, 9.1, 0.9), by_hand=True) == ""


@pytest.mark.parametrize(("found_mm", "smoother"), [(10.1, True), (8.1, False), (7.4, False)])
def test_the_gap_before_says_why_it_is_smaller_than_the_one_that_was_found(found_mm: float, smoother: bool) -> None:
    finding = Finding("gap", "x/gap", 4.76, Quantity(found_mm, 1.0, "mm"), 1.0, "over", (0.0, 0.0), "", edge_mm=3048.0)
    before, after = (Proof((GapAfter(3048.0, 4.76, mm, (0.0, 0.0)),), 0, 0, SHARE) for mm in (7.72, 4.7))
    said = proof_line(after, before, worst_found([finding]))
    assert ("on the best estimate of the floor, which is smoother than the floor may be" in said) is smoother
    assert ("noise not taken off" in said) is not smoother


def test_the_holes_of_tiles_are_told_beside_the_thickest_place(plan: LevellingPlan) -> None:
    method = replace(plan.methods[0], max_mm=4.1, holes_mm=14.0)
    assert levelling_words.thickest(method) == "4.1 mm, 14.0 mm in the holes of tiles"
    assert levelling_words.thickest(replace(method, holes_mm=0.0)) == "4.1 mm"


def test_a_lip_not_decided_is_said_to_be_weighed_and_no_gap_is(report: Report) -> None:
    lip = Finding("lip", "x/lip", 1.0, Quantity(4.7, 1.4, "mm"), 0.62, "not_decided", (0.0, 0.0), "J54", joint="J54")
    gap = replace(lip, what="gap", limit_id="x/gap", joint=None)
    with_lip, with_gap = (replace(report, verdict=replace(report.verdict, findings=(one,))) for one in (lip, gap))
    assert "weighed against the other lips" in findings_table(with_lip)["rows"][0]["guard"]
    assert LIPS_AMONG_OTHERS in decision_rule(with_lip)
    assert findings_table(with_gap)["rows"][0]["guard"].endswith("not kept")
    assert "lip" not in decision_rule(with_gap) + findings_table(with_gap)["margin"]


@pytest.fixture
def bound(report: Report) -> Report:
    """The floor with a survey of doors, zones, taps and a room larger than the floor."""
    square = np.array([[100.0, 100.0], [400.0, 100.0], [400.0, 900.0], [100.0, 900.0]])
    tapped = Tapped(9, 1, 1, ((700.0, 700.0),), ((900.0, 600.0),))
    room = np.array([[0.0, 0.0], [9000.0, 0.0], [9000.0, 9000.0], [0.0, 9000.0]])
    survey = Survey(
        InputFile(Path("survey.toml"), "0a" * 32, "survey"),
        zones=(Zone("no_grind", "pipe", square), Zone("fixed_height", "threshold", square, value_mm=0.0)),
        doors=(Door("hall door", ((0.0, 0.0), (900.0, 0.0)), 3.0),),
        remove_hollow_mm=14.0,
        site=replace(NO_SITE, sound=Sound(tapped), outline_mm=room),
    )
    return replace(report, survey=survey)


def test_what_binds_the_levelling_is_in_the_record_with_its_place(bound: Report) -> None:
    rows = dict(binding_facts(bound.survey).rows)
    assert rows["hall door"].startswith("from 0.00 m from the left wall")
    assert rows["hall door"].endswith("the floor may rise by 3 mm at most")
    assert rows["pipe"].startswith("no grinding; 0.10 to 0.40 m from the left wall")
    assert "as high as the old one" in rows["threshold"]
    assert rows["Hollow and loose tiles"] == "come out; each leaves a hole 14 mm deep"
    assert binding_facts(None).rows == ()


def test_the_taped_room_says_of_how_much_nothing_is_said(bound: Report, report: Report) -> None:
    seen_m2 = float(bound.surface.seen.sum()) * bound.surface.cell_mm**2 / 1e6
    assert room_line(bound).startswith(f"The room measured by tape is 81.0 m²; {81.0 - seen_m2:.1f} m² of it was not")
    assert room_line(report) == ""


def test_the_map_shows_what_the_survey_says_with_its_key(bound: Report, report: Report) -> None:
    drawn = {text.get_text() for text in draw_heatmap(bound).axes[0].texts}
    wanted = {
        "H", "L", "sounds hollow", "sounds loose", "zone with a rule of its own", "the room as measured by tape",
        "pipe: no grinding",
    }  # fmt: skip
    assert wanted <= drawn
    assert not wanted & {text.get_text() for text in draw_heatmap(report).axes[0].texts}


def test_a_limit_set_that_nobody_knows_is_a_mistake_of_the_survey_that_names_it(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_text('[covering]\nlimits = ["over-old-tile"]\n', encoding="utf-8")
    with pytest.raises(LimitSetError, match=r"^site\.toml: \[covering\]: limits names over-old-tile: .*over-old-tiles"):
        check(tmp_path / "none.laz", settings=Settings(level=LevelSettings(survey_file=str(path))))


def test_half_a_degree_apart_reads_differently_in_fahrenheit() -> None:
    from flatscan.said import speaking

    with speaking("imperial"):
        assert (temperature(17.5), temperature(18.0)) == ("63.5 °F", "64.4 °F")  # 9/5 and 32
