"""The summary in a terminal."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path

import pytest

from flatscan.quantity import Quantity
from flatscan.report.report import Report
from flatscan.report.terminal.full import full_text as summary
from flatscan.report.terminal.lines import wants_ascii, wants_colour
from flatscan.report.words.caption import capture_line
from flatscan.report.words.plain_text import ascii_only
from flatscan.sources.scan import InputFile


@pytest.mark.parametrize("width", [40, 60, 80])
@pytest.mark.parametrize("ascii_text", [False, True])
def test_no_line_is_wider_than_the_terminal(report: Report, width: int, ascii_text: bool) -> None:
    said = summary(report, colour=False, width=width, ascii_text=ascii_text, files=[Path("out/result.json")])
    assert max(len(line) for line in said.splitlines()) <= width


def test_hostile_text_is_neither_wider_nor_an_escape(hostile: Report) -> None:
    said = summary(hostile, colour=False, files=[Path("a" * 200) / "result.json"])
    assert "\x1b" not in said
    assert max(len(line) for line in said.splitlines()) <= 80


def test_without_colour_there_is_no_escape_and_with_it_only_escapes_are_added(report: Report) -> None:
    plain, coloured = summary(report, colour=False), summary(report, colour=True)
    assert "\x1b" not in plain
    assert "\x1b[1m" in coloured
    assert re.sub(r"\x1b\[\d*m", "", coloured) == plain


def test_the_answer_is_the_first_line_and_the_reasons_follow(report: Report) -> None:
    lines = summary(report, colour=False).splitlines()
    assert lines[0] == report.verdict.answer.text
    assert lines[2] == "Why"


def test_sections_come_in_the_order_a_person_asks(report: Report) -> None:
    said = summary(report, colour=False, files=[Path("out/result.json")])
    titles = ["Why", "Worst places", "What to do next", "What levelling takes", "Take care", "Written"]
    places = [said.index(f"\n{title}") for title in titles]
    assert places == sorted(places)


def test_a_person_sees_no_name_of_a_variable_and_no_line_twice(report: Report) -> None:
    said = summary(report, colour=False, files=[Path("out/result.json")])
    words = said[: said.index("\nWritten")]
    assert not re.findall(r"\w+_\w+", words)
    long = [line.strip() for line in words.splitlines() if len(line) > 60]
    assert len(long) == len(set(long))


def test_an_uncertainty_as_large_as_the_value_is_told_as_a_range(report: Report) -> None:
    (first, *others) = report.measurement.gaps
    vague = replace(first, gap=Quantity(2.1, 3.0, "mm"))
    finding = replace(report.verdict.findings[0], value=vague.gap)
    said = summary(
        replace(
            report,
            measurement=replace(report.measurement, gaps=(vague, *others)),
            verdict=replace(report.verdict, findings=(finding, *report.verdict.findings[1:])),
        ),
        colour=False,
    )
    assert "2.1 mm (0 to 8.1) under 2 m" in said
    assert "2.1 ± 6.0" not in said


def test_ascii_text_is_ascii(report: Report) -> None:
    said = summary(report, colour=False, ascii_text=True)
    assert said.isascii()
    assert "5.1 +/- 0.4 mm under 2 m" in said
    assert "?" not in said.replace("[?]", "")


def test_a_value_keeps_its_uncertainty_on_its_line(report: Report) -> None:
    for width in range(50, 90):
        for line in summary(report, colour=False, width=width).splitlines():
            assert not line.rstrip().endswith("±")
            assert not line.lstrip().startswith("±")


def test_letters_beyond_ascii_become_a_sign_or_a_plain_letter() -> None:
    assert ascii_only("Küche") == "Kuche"
    assert ascii_only("厨房") == "??"
    assert ascii_only("Küche 厨") == "Kuche ?"


def test_a_pipe_gets_no_colour_and_an_old_encoding_gets_ascii() -> None:
    pipe = io.TextIOWrapper(io.BytesIO(), encoding="utf-8")
    assert not wants_colour(pipe)
    assert not wants_ascii(pipe)
    assert wants_ascii(io.TextIOWrapper(io.BytesIO(), encoding="cp1252"))
    assert wants_ascii(io.TextIOWrapper(io.BytesIO(), encoding="ascii"))


def test_every_reading_is_told_and_no_other_file_is_named_for_them(report: Report) -> None:
    (reading,) = report.verdict.next_readings
    many = tuple(replace(reading, what=f"floor {n}: lay the edge across it", at=(100.0 * n, 0.0)) for n in range(12))
    said = " ".join(summary(replace(report, verdict=replace(report.verdict, next_readings=many)), colour=False).split())
    assert all(f"floor {n}: lay" in said for n in range(12))
    assert "listed in" not in said


def test_a_reading_that_names_its_place_is_not_told_it_twice(report: Report) -> None:
    (reading,) = report.verdict.next_readings
    named = replace(reading, what="floor not seen, 2.58 m from the left wall: lay the edge across it")
    said = summary(replace(report, verdict=replace(report.verdict, next_readings=(named,))), colour=False)
    assert " ".join(said.split()).count("2.58 m from the left wall") == 2  # once as gap C, once here


def test_the_sheet_of_hand_readings_is_not_counted_as_capture(report: Report) -> None:
    sheet = InputFile(Path("next_readings.csv"), "0a" * 32, "readings")
    assert capture_line(replace(report, inputs=(*report.inputs, sheet))) == capture_line(report)
