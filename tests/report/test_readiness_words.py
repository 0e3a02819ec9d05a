"""Readiness on paper: rows, the line for all, cautions by the survey, asbestos before every other step."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import jsonschema
import msgspec
import numpy as np
import pytest

from flatscan.judgement.readiness.judging import readiness_of
from flatscan.judgement.soundness import Soundness
from flatscan.judgement.verdict import Finding
from flatscan.quantity import Quantity
from flatscan.report.report import Report
from flatscan.report.result.result import json_of, result_of, result_schema
from flatscan.report.words import plain_text
from flatscan.report.words.cautions import cautions_for, cautions_of
from flatscan.report.words.readiness_steps import asbestos_step
from flatscan.report.words.readiness_words import CONDITION_SHAPE, CONDITION_TEXT, readiness_rows, readiness_summary
from flatscan.report.words.story import next_steps
from flatscan.sources.scan import InputFile
from flatscan.sources.survey.site import NO_SITE, Heating, Moisture, OldCovering, SeenCrack, Site, Sound, Tapped
from flatscan.sources.survey.survey import Survey, Zone

FILE = InputFile(Path("survey.toml"), "0b" * 32, "survey")


def surveyed(report: Report, site: Site = NO_SITE, **parts: object) -> Report:
    """The same run with a survey file, its readiness judged anew."""
    survey = Survey(FILE, site=site, **parts)  # type: ignore[arg-type]
    readiness = readiness_of(
        report.verdict.findings,
        report.limits,
        Soundness.of(report.field, survey),
        survey,
        unseen_share=0.0,
        most_unseen_share=0.05,
        confidence=0.95,
    )
    return replace(report, survey=survey, verdict=replace(report.verdict, readiness=readiness))


def site(**parts: object) -> Site:
    return replace(NO_SITE, **parts)  # type: ignore[arg-type]


def old(asbestos: str | None) -> Site:
    return site(old=OldCovering(kind="resilient_tile", asbestos=asbestos))  # type: ignore[arg-type]


def grinding(report: Report) -> Report:
    """The plan grinds the high places."""
    ground = replace(report.plan.methods[0], name="grind_and_patch", ground_l=0.7)
    return replace(report, plan=replace(report.plan, methods=(ground,), chosen="grind_and_patch"))


def names(report: Report) -> list[str]:
    return [caution.name for caution in cautions_for(report)]


# Rows


def test_a_row_for_each_condition_with_word_shape_source_and_mark(report: Report) -> None:
    wet = site(moisture=(Moisture("carbide", 2.6, base="cement_screed", beneath_tiles=True),))
    rows = readiness_rows(surveyed(report, wet).verdict)
    assert len(rows) == 12
    dry = next(row for row in rows if row.name == "dry")
    assert (dry.title, dry.word, dry.shape, dry.told) == ("Dry", "not_met", "▲", "not in order")
    assert dry.recorded == "carbide test 2.6 CM-%, in cement screed, ± not stated"
    assert dry.asked == "at most 1.8 CM-%, the strictest that may hold (the mildest: 2.0)"
    assert dry.asked_from == "German trade values for screeds before they are covered (read)"
    assert dry.advice.startswith("Do not close the floor off")
    cracks = next(row for row in rows if row.name == "crack_free")
    assert cracks.asked_from == "common practice, no source"


def test_a_verdict_that_was_not_asked_has_no_rows(report: Report) -> None:
    bare = replace(report.verdict, readiness=None)
    assert readiness_rows(bare) == ()
    assert readiness_summary(None) == ""


def test_one_line_counts_what_is_in_the_way_first(report: Report) -> None:
    told = surveyed(report, site(old=OldCovering(asbestos="found"), heating=Heating("none")))
    line = readiness_summary(told.verdict.readiness)
    assert line.startswith("Not shown to be ready: ")
    assert line.endswith("1 not needed here")
    assert line.index("not in order") < line.index("not recorded")
    assert sum(int(part.split()[0]) for part in line.partition(": ")[2].split(", ")) == 12


def test_every_shape_has_a_plain_sign_of_its_own() -> None:
    assert len({plain_text.ascii_only(shape) for shape in CONDITION_SHAPE.values()}) == len(CONDITION_TEXT)
    assert "?" not in {plain_text.ascii_only(shape) for shape in CONDITION_SHAPE.values()}


def test_result_holds_every_condition_and_fits_its_schema(report: Report) -> None:
    told = surveyed(report, old("none_found"))
    written = msgspec.json.decode(json_of(result_of(told)))
    jsonschema.Draft202012Validator(result_schema()).validate(written)
    assert written["readiness"]["ready"] is False
    by_name = {c["name"]: c for c in written["readiness"]["conditions"]}
    assert by_name["old_covering"]["word"] == "met"
    assert by_name["dry"] == {
        "name": "dry",
        "title": "Dry",
        "word": "not_recorded",
        "recorded": "",
        "asked": "each reading within the limit of its method and base",
        "source": "",
        "mark": "",
        "advice": by_name["dry"]["advice"],
    }


# Asbestos first


@pytest.mark.parametrize("asbestos", [None, "not_tested"])
@pytest.mark.parametrize("what", ["grinding", "lifting", "hollow", "drilling", "zone", "lips"])
def test_nothing_is_disturbed_before_the_test(report: Report, asbestos: str | None, what: str) -> None:
    """HSE asbestos essentials A23: do not break; only a laboratory's sample tells."""
    parts: dict[str, object] = {}
    where = old(asbestos)
    run = report
    if what == "grinding":
        run = grinding(report)
    elif what == "lifting":
        run = replace(report, plan=replace(report.plan, chosen="lift_tiles"))
    elif what == "lips":
        answer = replace(report.verdict.answer, code="fill_joints_and_lips")
        run = replace(report, verdict=replace(report.verdict, answer=answer))
    elif what == "hollow":
        where = replace(where, sound=Sound(tapped=Tapped(30, 1, 0)))
    elif what == "drilling":
        where = replace(where, moisture=(Moisture("carbide", 1.0, base="cement_screed", beneath_tiles=False),))
    else:
        parts = {"zones": (Zone("remove_tiles", "loose ones", tiles_at_mm=((500.0, 500.0),), value_mm=12.0),)}
    told = surveyed(run, where, **parts)
    assert next_steps(told)[0].startswith("Asbestos first: have a laboratory test a sample")
    assert names(told)[0] == "asbestos"
    # With no survey file at all it is as unknown.
    if what in ("grinding", "lifting", "lips"):
        assert next_steps(run)[0].startswith("Asbestos first: ")


def test_a_floor_that_is_only_filled_is_not_stopped_but_warned(report: Report) -> None:
    told = surveyed(report, old("not_tested"))
    assert asbestos_step(told) == []
    assert names(told)[0] == "asbestos"


@pytest.mark.parametrize("ground", [True, False])
def test_where_asbestos_was_found_it_is_stop_and_no_step_disturbs_it(report: Report, ground: bool) -> None:
    hollow = replace(old("found"), sound=Sound(tapped=Tapped(30, 1, 0)))
    told = surveyed(grinding(report) if ground else report, hollow if ground else old("found"))
    first, *others = next_steps(told)
    assert first.startswith("Stop. The old floor holds asbestos: never grind")
    assert "licensed firm" in first
    assert "lift" in first
    assert not any(word in step.lower() for step in others for word in ("grind", "take out", "take the old tiles up"))
    assert ("Hollow tiles: leave the 1 tile that" in " ".join(others)) == ground
    assert names(told)[0] == "asbestos_found"
    assert not {"silica", "dense_surface", "moisture"} & set(names(told))


def test_where_asbestos_was_found_the_floor_is_only_filled_and_only_if_it_may_be_covered(report: Report) -> None:
    answer = replace(report.verdict.answer, code="level_areas")
    run = replace(report, verdict=replace(report.verdict, answer=answer), plan=replace(report.plan, chosen="patch"))
    work = [step for step in next_steps(surveyed(run, old("found"))) if "product whose data sheet" in step]
    assert len(work) == 1
    assert work[0].startswith("Only if the licensed firm lets the floor be covered: mark")


@pytest.mark.parametrize("kind", ["concrete", "screed", "timber"])
def test_a_bare_floor_is_not_told_of_tiles_and_of_old_glue_only_where_it_is_ground(report: Report, kind: str) -> None:
    where = site(old=OldCovering(kind=kind))  # type: ignore[arg-type]
    filled = surveyed(report, where)
    assert not {"asbestos", "dense_surface", "moisture"} & set(names(filled))
    assert "moisture_bare" in names(filled)
    assert not any("sbestos" in step for step in next_steps(filled))
    ground = surveyed(grinding(report), where)
    assert names(ground)[0] == "asbestos_glue"
    assert next_steps(ground)[0].startswith("Asbestos first: if old glue or paint is left on it")


def test_a_place_that_may_not_be_ground_is_named_though_the_floor_is_not_heated(report: Report) -> None:
    corners = np.array([[0.0, 0.0], [400.0, 0.0], [400.0, 400.0], [0.0, 400.0]])
    zone = Zone("no_grind", "heating pipe", polygon_mm=corners)
    told = surveyed(report, site(heating=Heating("none")), zones=(zone,))
    (caution,) = [c for c in cautions_for(told) if c.name == "no_grinding"]
    assert "'heating pipe'" in caution.text
    assert "no_grinding" not in names(surveyed(report, site(heating=Heating("none"))))


def test_where_none_was_found_one_short_line_stays(report: Report) -> None:
    told = surveyed(grinding(report), old("none_found"))
    assert names(told)[:2] == ["asbestos_none_found", "silica"]
    assert not any("sbestos" in step for step in next_steps(told))
    assert next_steps(told) == [s for s in next_steps(told) if "asbestos" not in s]


def test_found_asbestos_is_told_even_where_nothing_is_done(report: Report) -> None:
    answer = replace(report.verdict.answer, code="lay_as_is")
    bare = replace(
        report, verdict=replace(report.verdict, answer=answer), plan=replace(report.plan, methods=(), areas=())
    )
    assert names(surveyed(bare, old("found"))) == ["asbestos_found", "limits"]


def test_a_base_that_was_read_dry_is_not_to_be_read_again(report: Report) -> None:
    read = Moisture("carbide", 1.0, base="cement_screed", beneath_tiles=True)
    assert "moisture" in names(surveyed(report))
    assert "moisture" not in names(surveyed(report, site(moisture=(read,))))
    assert "moisture" in names(surveyed(report, site(moisture=(replace(read, beneath_tiles=False),))))


# Heating


@pytest.mark.parametrize(
    ("heating", "said"),
    [
        (Heating(), "If pipes or cables may lie"),
        (Heating("unknown"), "If pipes or cables may lie"),
        (Heating("none"), ""),
        (Heating("water"), "Water pipes lie in this floor. Find out how deep"),
        (Heating("electric", cover_mm=12.0), "Electric cables lie 12 mm deep as recorded. Make sure"),
        # Dutch parquet trade rules: 25 mm over pipes
        (Heating("water", cover_mm=20.0), "20 mm deep as recorded, less than the 25 mm asked over pipes: do not drill"),
        (Heating("water", cover_mm=25.0), "25 mm deep as recorded. Make sure"),
    ],
)
def test_a_heated_floor_is_told_by_what_is_known(report: Report, heating: Heating, said: str) -> None:
    texts = [c.text for c in cautions_for(surveyed(report, site(heating=heating))) if c.title == "Heated floor"]
    assert [said in text for text in texts] == [True] * bool(said)


def test_a_plan_made_anew_uses_the_survey_too(report: Report) -> None:
    survey = surveyed(report, replace(old("found"), heating=Heating("none"))).survey
    found = [c.name for c in cautions_of(report.plan, "level_areas", (), survey)]
    assert found[0] == "asbestos_found"
    assert "heated_floor" not in found
    hollow = surveyed(report, site(sound=Sound(tapped=Tapped(30, 1, 0)))).survey
    left = replace(report.plan, chosen=None, joint_work=None, areas=())
    assert [c.name for c in cautions_of(left, "lay_as_is", (), hollow)] == ["asbestos", "heated_floor", "limits"]


# Steps


def test_the_last_step_names_only_what_is_missing(report: Report) -> None:
    known = site(
        moisture=(Moisture("carbide", 1.0, base="cement_screed", beneath_tiles=True),),
        sound=Sound(tapped=Tapped(30, 0, 0), cracks_looked_for=True, clean=True),
    )
    last = next_steps(surveyed(report, known))[-1]
    assert last.startswith(
        "Before laying, check room climate, acclimatising, floor heating and movement joints and write"
    )
    first = next_steps(surveyed(report, known))[0]
    assert first.startswith("Before any work, have the old covering tested for asbestos (flatscan survey new makes")
    assert "dry" not in last


def test_what_is_not_in_order_is_a_step_before_the_work(report: Report) -> None:
    wrong = site(
        moisture=(Moisture("carbide", 2.6, base="cement_screed", beneath_tiles=True),),
        sound=Sound(tapped=Tapped(30, 6, 0), cracks=(SeenCrack(((0.0, 0.0), (900.0, 0.0)), moves=True),), clean=False),
        old=OldCovering(asbestos="none_found"),
    )
    steps = next_steps(surveyed(report, wrong))
    assert [step.partition(":")[0] for step in steps[:4]] == ["Hollow tiles", "Crack", "Moisture", "Cleaning"]
    assert "take the whole covering up" in steps[0]


def test_a_lip_that_was_read_by_hand_and_is_over_makes_dust(report: Report) -> None:
    bare = replace(report, plan=replace(report.plan, methods=(), areas=()))
    assert "silica" not in {caution.name for caution in cautions_for(bare)}
    lip = Finding("lip", "over-old-tiles/lip", 1.0, Quantity(2.0, 0.1, "mm"), 1.0, "over", (500.0, 500.0), "there")
    over = replace(bare, verdict=replace(bare.verdict, findings=(lip, *bare.verdict.findings)))
    assert [caution.name for caution in cautions_for(over)][:2] == ["asbestos", "silica"]
