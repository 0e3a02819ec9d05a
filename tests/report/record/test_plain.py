"""Texts of people are shown as they are, whatever they hold, and never run."""

from __future__ import annotations

import unicodedata
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatscan.report.record import concern_letter_pdf
from flatscan.report.record.plain import line, plain
from flatscan.report.report import Report
from flatscan.sources.scan import InputFile
from flatscan.sources.survey.site import Note, OldCovering, Visit

Tools = SimpleNamespace
MARKUP = (
    '#import "x.typ": *', "#panic(1)", "$x^2 + 1/0$", "*bold*", "_it_", "\\", "\\u{41}", "@label", "<label>",
    "= heading", "- item", "// gone", "/* gone */", "`raw`", "https://a.invalid/b", "#sys.inputs", "~", "---", "'q'",
    '"q"', "[c]", "{1 + 1}", "]}#", "%PDF",
)  # fmt: skip


def noted(report: Report, texts: list[str]) -> Report:
    assert report.survey is not None
    site = replace(report.survey.site, notes=tuple(Note(text) for text in texts))
    return replace(report, survey=replace(report.survey, site=site))


def test_markup_is_text(surveyed: Report, tools: Tools) -> None:
    said = tools.words_of(tools.draw(noted(surveyed, list(MARKUP))))
    notes = said.split("Notes 1 ")[1]
    for number, text in enumerate(MARKUP, 1):
        shown = text.replace("~", "~")
        assert shown in notes, f"{number}: {text}"


HOSTILE = (
    "w" * 200, "word " * 200, "مرحبا بالعالم", "שלום עולם", "😀" * 9, "床の記録", "e\u0301" * 80, "\u202egnp.exe",
    "\x00\x1b[31m\r\nx", "\ud800", "   ",
)  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_and_long_texts_stay_on_the_paper(surveyed: Report, tools: Tools, text: str) -> None:
    assert surveyed.survey is not None
    visit = Visit(*[text] * 5, None, text, text, (text, text), text)
    site = replace(surveyed.survey.site, visit=visit, notes=(Note(text),), old=OldCovering("other", text, None, text))
    report = replace(
        surveyed,
        survey=replace(surveyed.survey, site=site),
        inputs=(InputFile(Path("/home/somebody") / "x.laz", "5f" * 32, text),),
        verdict=replace(
            surveyed.verdict,
            answer=replace(surveyed.verdict.answer, text=text or "x", reasons=(text,)),
            findings=(replace(surveyed.verdict.findings[0], where=text, what=text),),
        ),
    )
    for pdf in (tools.draw(report), concern_letter_pdf(report, result_sha256=tools.sha, paper="letter")):
        assert pdf is not None
        for page in pypdfium2.PdfDocument(pdf):
            drawn = page.render(scale=1.0, grayscale=True).to_numpy().squeeze()
            # The margins are 17 mm, 48 dots of 1/72 inch: nothing is printed in the outer 30 of them.
            assert drawn[:, :30].min() == 255
            assert drawn[:, -30:].min() == 255
            assert drawn[:, 60:-60].min() < 100


@settings(max_examples=60)
@given(st.text(max_size=120))
def test_a_line_is_one_line_that_can_be_broken(text: str) -> None:
    said = line(text)
    assert not any(unicodedata.category(c) in {"Cc", "Cs", "Zl", "Zp"} for c in said)
    assert not any(unicodedata.category(c) == "Cf" and c != "\u200b" for c in said)
    assert max((len(part) for word in said.split() for part in word.split("\u200b")), default=0) <= 33
    # Nothing is lost or added but blanks, breaks and signs that cannot be seen.
    assert [c for c in said if _shown(c)] == [c for c in text if _shown(c)]


def _shown(sign: str) -> bool:
    """A sign that is more than a blank, a break or a mark for what cannot be seen."""
    return not sign.isspace() and sign != "\ufffd" and unicodedata.category(sign) not in {"Cc", "Cf", "Cs"}


def test_a_hash_is_never_broken_and_figures_keep_their_units() -> None:
    assert line("0a" * 32) == "0a" * 32
    assert line("6.7 ± 2.6 mm under 2 m") == "6.7 ±\u00a02.6\u00a0mm under 2\u00a0m"
    assert line("0.118 in [3 mm]") == "0.118\u00a0in [3\u00a0mm]"
    assert line("2 more places") == "2 more places"
    assert plain([{"a": ("b\nc", 1.5, None, True)}]) == [{"a": ["b c", 1.5, None, True]}]
