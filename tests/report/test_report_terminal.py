"""One screen in a terminal."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from flatscan.report.terminal.full import full_text
from flatscan.report.terminal.lines import width_of
from flatscan.report.terminal.screen import OPEN_FIRST, SHORT_CAUTION, caution_lines, file_line, summary
from flatscan.report.words import cautions, story

if TYPE_CHECKING:
    from flatscan.report.report import Report

FILES = [Path("out") / name for name in ("result.json", "heatmap.png", "report.html", "gaps.csv", "marking_out.pdf")]
EVERY_CAUTION = tuple(one for one in vars(cautions).values() if isinstance(one, cautions.Caution))


@pytest.mark.parametrize("width", [60, 80, 100, 200])
@pytest.mark.parametrize("ascii_text", [False, True])
def test_no_line_is_wider_than_the_terminal(report: Report, width: int, ascii_text: bool) -> None:
    said = summary(report, colour=False, width=width, ascii_text=ascii_text, files=FILES)
    assert max(len(line) for line in said.splitlines()) <= width
    assert not ascii_text or said.isascii()


def test_it_is_one_screen_and_the_full_text_is_longer(report: Report) -> None:
    lines = summary(report, colour=False, files=FILES).splitlines()
    assert len(lines) <= 45
    assert len(full_text(report, colour=False, files=FILES).splitlines()) > len(lines) + 15


def test_the_answer_is_first_and_the_files_are_last(report: Report) -> None:
    lines = summary(report, colour=False, files=FILES).splitlines()
    assert lines[0] == report.verdict.answer.text
    assert lines[1:3] == ["", "Why"]
    assert lines[-1] == "In out: report.html, marking_out.pdf and 3 more files"


def test_sections_come_in_the_order_a_person_asks(report: Report) -> None:
    said = summary(report, colour=False, files=FILES)
    places = [said.index(f"\n{t}") for t in ("Why", "Worst places", "What to do next", "Take care", "In out: ")]
    assert places == sorted(places)


def test_nothing_is_said_twice(report: Report) -> None:
    lines = [line.strip() for line in summary(report, colour=False, files=FILES).splitlines() if len(line) > 40]
    assert len(lines) == len(set(lines))


def test_a_file_that_was_not_written_is_not_named(report: Report) -> None:
    said = summary(report, colour=False)
    assert "report.html" not in said
    assert "Nothing was written. --out FOLDER writes" in said
    assert "report.pdf" in OPEN_FIRST
    assert "report.pdf" not in summary(report, colour=False, files=FILES)


def test_at_most_three_reasons_are_told_and_the_others_counted(report: Report) -> None:
    reasons = tuple(f"Reason {n}" for n in range(7))
    many = replace(report, verdict=replace(report.verdict, answer=replace(report.verdict.answer, reasons=reasons)))
    said = summary(many, colour=False, files=FILES)
    assert [f"Reason {n}" in said for n in range(7)] == [True] * 3 + [False] * 4
    assert "4 more reasons in report.html" in said
    assert "4 more reasons with --full" in summary(many, colour=False)
    assert all(reason in full_text(many, colour=False) for reason in reasons)


def test_where_a_sheet_lists_the_readings_no_reading_is_told_by_itself(
    report: Report, monkeypatch: pytest.MonkeyPatch
) -> None:
    readings = [f"{story.READ_BY_HAND}lip of joint J{n}. With: gauges, to 0.1 mm" for n in range(4)]
    monkeypatch.setattr(story, "next_steps", lambda _: ["Fill", "Read what next_readings.csv lists", *readings, "Last"])
    said = summary(report, colour=False)
    assert "lip of joint" not in said
    assert "3. Last" in said
    monkeypatch.setattr(story, "next_steps", lambda _: ["Fill", *readings, "Last"])
    said = summary(report, colour=False)
    assert said.count("lip of joint") == 1
    assert "gauges" not in said


@pytest.mark.parametrize(("steps", "told"), [(6, 6), (7, 5), (10, 5)])
def test_at_most_six_steps_are_told_in_order_and_the_others_counted(
    report: Report, monkeypatch: pytest.MonkeyPatch, steps: int, told: int
) -> None:
    monkeypatch.setattr(story, "next_steps", lambda _: [f"Step {n}" for n in range(1, steps + 1)])
    said = summary(report, colour=False, files=FILES)
    assert re.findall(r"(\d)\. Step (\d)", said) == [(str(n), str(n)) for n in range(1, told + 1)]
    assert (f"6. {steps - told} more steps after these, in report.html" in said) is (steps > told)


def test_each_worst_place_has_its_word_its_limit_and_its_place_once(report: Report) -> None:
    said = summary(report, colour=False, width=100, files=FILES)
    rows = [line for line in said.splitlines() if re.match(r"  \w+ +[▲◆●○] ", line)]
    assert 1 <= len(rows) <= 5
    assert all(
        re.search(r"(over|not decided|within|not seen): .*limit \d.*, at \d+\.\d\d, \d+\.\d\d m$", r) for r in rows
    )


def test_short_cautions_take_a_line_and_dust_brings_silica_and_asbestos_in_full() -> None:
    silica, asbestos = cautions.SILICA, cautions.ASBESTOS
    named = {one.name: one for one in EVERY_CAUTION}
    assert set(SHORT_CAUTION) <= set(named)
    assert caution_lines([asbestos]) == [f"Asbestos: {SHORT_CAUTION['asbestos']}"]
    assert caution_lines([silica, asbestos]) == [f"Dust: {silica.text}", f"Asbestos: {asbestos.text}"]
    # What a laboratory found is never shortened.
    assert caution_lines([cautions.ASBESTOS_FOUND]) == [f"Asbestos found: {cautions.ASBESTOS_FOUND.text}"]
    # A line each at 80 columns, with its mark.
    assert all(len(line) <= 76 for line in caution_lines([named[name] for name in SHORT_CAUTION]))


def test_hostile_text_is_neither_wider_nor_an_escape(hostile: Report) -> None:
    said = summary(hostile, colour=False, files=[Path("a" * 200) / "result.json"])
    assert "\x1b" not in said
    assert max(len(line) for line in said.splitlines()) <= 80


def test_without_colour_there_is_no_escape_and_with_it_only_escapes_are_added(report: Report) -> None:
    plain, coloured = summary(report, colour=False), summary(report, colour=True)
    assert "\x1b" not in plain
    assert "\x1b[1m" in coloured
    assert re.sub(r"\x1b\[\d*m", "", coloured) == plain


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("columns", "width"), [("40", 60), ("72", 72), ("100", 100), ("200", 100)])
def test_the_width_is_the_terminals_within_bounds_and_80_in_a_pipe(
    monkeypatch: pytest.MonkeyPatch, columns: str, width: int
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    assert width_of(_Terminal()) == width
    assert width_of(io.StringIO()) == width  # who sets COLUMNS for a pipe means it
    monkeypatch.delenv("COLUMNS")
    assert width_of(io.StringIO()) == 80


def test_a_heading_longer_than_the_terminal_is_wrapped_and_not_cut(report: Report) -> None:
    said = summary(report, colour=False, width=60)
    assert "(from the left wall, from the bottom wall of the map)" in " ".join(said.split())
    assert max(len(line) for line in said.splitlines()) <= 60


def test_the_notice_of_concern_is_among_the_files_to_open() -> None:
    written = [Path("out") / name for name in ("result.json", "report.html", "report.pdf", "notice_of_concern.pdf")]
    assert "report.pdf, notice_of_concern.pdf and 1 more file" in file_line(written)
