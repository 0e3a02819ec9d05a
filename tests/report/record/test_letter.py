"""The notice of concern: when there is one, and that it says no more than findings and readiness do."""

from __future__ import annotations

import re
from dataclasses import replace
from types import SimpleNamespace

import pytest
import typst

from flatscan.judgement.readiness.readiness import ConditionName, ConditionWord, Readiness
from flatscan.judgement.verdict import Answer, AnswerCode, VerdictWord
from flatscan.quantity import Quantity
from flatscan.report.record import concern_letter_pdf
from flatscan.report.report import Report
from flatscan.report.words import story
from flatscan.said import speaking

Tools = SimpleNamespace
Words = dict[ConditionName, ConditionWord]
ALL_MET: Words = {}


def judged(report: Report, code: AnswerCode, readiness: Readiness | None, *, kept: bool = True) -> Report:
    """``kept``: a survey was kept. Only findings that go with the answer are left."""
    word: VerdictWord = {"lay_as_is": "within", "not_decided": "not_decided"}.get(code, "over")  # type: ignore[assignment]
    findings = tuple(replace(f, verdict=word) for f in report.verdict.findings if f.value is not None)
    verdict = replace(
        report.verdict, answer=Answer(code, "the answer", ("a reason",)), findings=findings, readiness=readiness
    )
    return replace(report, verdict=verdict, survey=report.survey if kept else None)


def letter(report: Report, tools: Tools) -> str | None:
    pdf = concern_letter_pdf(report, result_sha256=tools.sha, paper="a4")
    return None if pdf is None else tools.words_of(pdf)


@pytest.mark.parametrize("code", ["fill_joints_and_lips", "level_areas", "level_all", "not_decided"])
@pytest.mark.parametrize("kept", [True, False])
def test_a_floor_that_is_not_fit_has_one(surveyed: Report, tools: Tools, code: AnswerCode, kept: bool) -> None:
    said = letter(judged(surveyed, code, tools.ready() if kept else None, kept=kept), tools)
    assert said is not None
    assert "DRAFT" in said


@pytest.mark.parametrize(
    ("words", "kept", "exists"),
    [
        (ALL_MET, True, False),
        ({"dry": "not_met"}, True, True),
        ({"dry": "open"}, True, True),
        ({"dry": "not_recorded"}, True, True),
        ({"old_covering": "not_recorded"}, True, True),
        ({"climate": "not_met"}, True, True),
        # what nobody needs to know before laying, and what the findings tell
        ({"acclimatised": "not_recorded"}, True, False),
        ({"movement_joints": "not_needed", "heating": "not_needed"}, True, False),
        ({"lips": "not_recorded", "joints": "not_recorded"}, True, False),
        # nobody kept a survey: the record says so, a letter need not
        ({"dry": "not_recorded", "sound": "not_recorded"}, False, False),
        ({"dry": "not_met"}, False, True),
    ],
)
def test_a_floor_to_lay_over_has_one_only_for_a_condition(
    surveyed: Report, tools: Tools, words: Words, kept: bool, exists: bool
) -> None:
    assert (letter(judged(surveyed, "lay_as_is", tools.ready(words), kept=kept), tools) is not None) is exists


def test_a_floor_to_lay_over_without_readiness_has_none(surveyed: Report, tools: Tools) -> None:
    assert letter(judged(surveyed, "lay_as_is", None, kept=False), tools) is None


def test_it_holds_what_such_letters_hold_in_order(surveyed: Report, tools: Tools) -> None:
    report = judged(surveyed, "level_areas", tools.ready({"dry": "not_met", "sound": "open"}))
    said = letter(report, tools)
    assert said is not None
    worst = report.verdict.findings[0]
    assert worst.value is not None
    parts = (
        "DRAFT", "Not part of the letter", "local law", "Invented Floors", "Invented Client", "Notice of concern",
        "Object: Invented house", "On 4 March 2025",
        "What was found", worst.value.text(), f"over the limit by {worst.value.value - worst.limit_mm:.1f}",
        "What else is not in order", "Dry.", "Recorded of dry", "Asked: asked of dry",
        "What is open or not recorded", "Sound: could not be decided", "What may follow if work starts anyway",
        "Moisture shut in", "What we propose", "Please decide", "in writing", "we do not start work on this floor",
        "Attachments", tools.sha,
    )  # fmt: skip
    at = 0
    for part in parts:
        found = said.find(part, at)
        assert found >= 0, f"{part!r} is missing after {said[max(0, at - 60) : at]!r}"
        at = found


def test_what_is_not_decided_is_no_defect(surveyed: Report, tools: Tools) -> None:
    said = letter(judged(surveyed, "not_decided", tools.ready()), tools)
    assert said is not None
    assert "What could not be decided" in said
    assert "What was found" not in said
    assert "over the limit" not in said
    assert "▲" not in said
    assert "not called defects" in said
    assert not re.search(r"\bdefects?\b", said.replace("not called defects", ""))


def test_only_findings_over_are_told_as_found(surveyed: Report, tools: Tools) -> None:
    words: list[VerdictWord] = ["over", "not_decided", "within"]
    measured = [f for f in surveyed.verdict.findings if f.value is not None]
    findings = tuple(
        replace(f, verdict=word, value=Quantity(value, 0.2, "mm"), where=f"place {word}")
        for f, word, value in zip(measured, words, (7.7, 3.1, 1.1), strict=False)
    )
    said = letter(replace(surveyed, verdict=replace(surveyed.verdict, findings=findings)), tools)
    assert said is not None
    found, undecided = said.split("What was found")[1].split("What could not be decided")
    assert "place over" in found
    assert "7.7 ± 0.4 mm" in found
    assert "place not_decided" not in found
    assert "place not_decided" in undecided
    assert "place within" not in said


def test_names_that_nobody_recorded_are_lines_to_write_on(surveyed: Report, tools: Tools) -> None:
    said = letter(judged(surveyed, "level_areas", None, kept=False), tools)
    assert said is not None
    assert "Invented" not in said
    assert "Object:" in said
    assert "that is to carry the new floor was measured" in said


def test_where_asbestos_was_found_no_way_of_levelling_is_proposed(surveyed: Report, tools: Tools) -> None:
    plan = replace(surveyed.plan, chosen=surveyed.plan.methods[0].name)
    report = replace(judged(surveyed, "level_areas", tools.ready()), plan=plan)
    said = letter(report, tools)
    assert said is not None
    assert "We propose to level" in said
    assert report.survey is not None
    old = replace(report.survey.site.old, asbestos="found")
    found = replace(report, survey=replace(report.survey, site=replace(report.survey.site, old=old)))
    said = letter(found, tools)
    assert said is not None
    assert "We propose to" not in said
    assert "Best is" not in said
    assert "Stop." in said


def test_it_gives_no_orders_to_the_program(surveyed: Report, tools: Tools) -> None:
    report = judged(surveyed, "level_areas", tools.ready({"dry": "not_recorded"}))
    readings = tuple(replace(one, kind="gap") for one in report.verdict.next_readings)
    report = replace(report, verdict=replace(report.verdict, next_readings=readings))
    steps = " ".join(story.next_steps(report))
    assert "--readings" in steps
    assert "flatscan survey" in steps
    said = letter(report, tools)
    assert said is not None
    assert "--" not in said
    assert "flatscan" not in said
    assert "Read by hand at the places that the survey record names (1)" in said


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_paper_page_numbers_and_the_same_bytes(
    surveyed: Report, tools: Tools, paper: str, size_mm: tuple[float, float]
) -> None:
    one, other = (concern_letter_pdf(surveyed, result_sha256=tools.sha, paper=paper) for _ in range(2))  # type: ignore[arg-type]
    assert one is not None
    assert one == other
    pages = tools.reader_of(one).pages
    for number, page in enumerate(pages, 1):
        assert [float(v) * 25.4 / 72.0 for v in page.mediabox[2:]] == pytest.approx(size_mm, abs=0.1)
        assert f"Page {number} of {len(pages)}" in page.extract_text()
        assert "DRAFT" in page.extract_text()
    assert b"somebody" not in one


def test_imperial_letter_speaks_inches(surveyed: Report, tools: Tools) -> None:
    with speaking("imperial"):
        said = letter(surveyed, tools)
    assert said is not None
    worst = surveyed.verdict.findings[0]
    assert worst.value is not None
    assert re.search(rf"{worst.value.value / 25.4:.2f} ± 0\.\d+ in", said)
    assert not re.search(r"± \d+\.\d mm", said)


def test_it_keeps_to_the_standard_of_readable_pdf(
    surveyed: Report, tools: Tools, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain_compile = typst.compile
    monkeypatch.setattr(typst, "compile", lambda *a, **k: plain_compile(*a, **k, pdf_standards=["ua-1"]))
    assert letter(surveyed, tools) is not None
