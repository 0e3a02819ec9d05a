"""The survey record: what can be read in it, on which paper, and what must not be in it."""

from __future__ import annotations

import io
import re
import socket
import tempfile
from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pypdf
import pypdfium2
import pytest
import typst
from PIL import Image

from flatscan.report.record import record_pdf
from flatscan.report.record.held_against import findings_table, margin
from flatscan.report.report import Report
from flatscan.report.result.result import result_of
from flatscan.said import speaking

Drawn = Callable[[str], bytes]
Tools = SimpleNamespace


def test_the_parts_come_in_their_order(drawn: Drawn, tools: Tools) -> None:
    said = tools.words_of(drawn("a4"))
    parts = (
        "Level 2 areas", "Invented Client", "Why", "Readiness.", "What to do next, in brief",
        "Take care before any work", "Asbestos.", "Held against the limits", "Levelling plan",
        "What was recorded on site", "black glue", "Photographs", "The floor from straight above",
        "How it was measured", "What the ± is made of", "Doubts, and what to do", "Where the limits come from",
        "What this record does not say", "Signatures", "For the record", "Made with", "Settings that differ",
    )  # fmt: skip
    at = 0
    for part in parts:
        found = said.find(part, at)
        assert found >= 0, f"{part!r} is missing after {said[max(0, at - 60) : at]!r}"
        at = found


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_paper_and_foot_of_each_page(drawn: Drawn, paper: str, size_mm: tuple[float, float], tools: Tools) -> None:
    pages = tools.reader_of(drawn(paper)).pages
    for number, page in enumerate(pages, 1):
        # PDF measures in points of 1/72 inch; ISO 216 rounds to the millimetre.
        assert [float(v) * 25.4 / 72.0 for v in page.mediabox[2:]] == pytest.approx(size_mm, abs=0.1)
        said = " ".join(page.extract_text().split())
        assert f"Page {number} of {len(pages)}" in said
        assert tools.sha[:12] in said


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_font_is_in_the_file(drawn: Drawn, paper: str, tools: Tools) -> None:
    found = list(_fonts(tools.reader_of(drawn(paper))))
    assert found
    for font in found:
        held = font["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
        described = held["/FontDescriptor"]
        assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(described), font["/BaseFont"]
        assert "/ToUnicode" in font, "text could not be selected"


def test_hashes_of_every_file_and_of_the_result_are_whole(surveyed: Report, drawn: Drawn, tools: Tools) -> None:
    said = tools.words_of(drawn("a4"))
    for file in surveyed.inputs:
        assert file.sha256 in said
        assert file.path.name in said
    assert tools.sha in said


def test_nothing_tells_of_the_machine(drawn: Drawn, tools: Tools) -> None:
    reader = tools.reader_of(drawn("a4"))
    # Everything in the file: objects as text, and what is packed in them.
    held = [str(reader.metadata), tools.words_of(drawn("a4"))]
    for number in range(1, reader.trailer["/Size"]):
        one = reader.get_object(number)
        held.append(str(one))
        if isinstance(one, pypdf.generic.StreamObject) and one.get("/Subtype") != "/Image":
            held.append(one.get_data().decode("latin-1"))
    said = "\n".join(held)
    for secret in ("somebody", "/home", tempfile.gettempdir(), "Users", socket.gethostname()):
        assert secret not in said, secret
    assert "read.csv" in held[1]
    assert "survey.toml" in held[1]
    assert reader.metadata is not None
    assert not reader.metadata.author


def test_two_runs_agree_and_the_date_is_the_surveys(surveyed: Report, drawn: Drawn, tools: Tools) -> None:
    assert tools.draw(surveyed) == drawn("a4")
    metadata = tools.reader_of(drawn("a4")).metadata
    assert metadata is not None
    assert metadata.title == f"Floor survey record {tools.sha[:12]}"
    assert metadata.creation_date is not None
    assert metadata.creation_date.date().isoformat() == "2025-03-04"


def test_without_a_survey_there_is_no_date_but_there_are_lines_to_write_on(report: Report, tools: Tools) -> None:
    pdf = tools.draw(report)
    metadata = tools.reader_of(pdf).metadata
    assert metadata is not None
    assert metadata.creation_date is None
    said = tools.words_of(pdf)
    assert "Client" in said.split("Why")[0]
    assert "Not recorded: place, room, date, who measured, client" in said


def test_it_is_tagged_told_its_language_and_its_pictures_are_in_words(drawn: Drawn, tools: Tools) -> None:
    root = tools.reader_of(drawn("a4")).trailer["/Root"]
    assert root["/Lang"] == "en"
    assert root["/MarkInfo"]["/Marked"]
    told = set(_alternatives(root["/StructTreeRoot"]))
    assert any(text.startswith("Map of the floor's heights") for text in told)
    assert "Photograph 1: the door" in told
    assert len(told) == 4  # map, after, floor, photograph


def test_it_keeps_to_the_standard_of_readable_pdf(
    surveyed: Report, monkeypatch: pytest.MonkeyPatch, tools: Tools
) -> None:
    # typst refuses to write PDF/UA-1 (ISO 14289-1) where its own checks of it fail.
    plain_compile = typst.compile
    monkeypatch.setattr(typst, "compile", lambda *a, **k: plain_compile(*a, **k, pdf_standards=["ua-1"]))
    assert len(tools.reader_of(tools.draw(surveyed)).pages) > 3


def test_figures_are_those_of_the_result_file(surveyed: Report, drawn: Drawn, tools: Tools) -> None:
    said = tools.words_of(drawn("a4"))
    held = said.split("Held against the limits")[1].split("Levelling plan")[0]
    read = 0
    for finding in result_of(surveyed).findings:
        if finding.value is None or finding.value.u is None:
            assert finding.where in held
            continue
        value, expanded = finding.value.value, 2.0 * finding.value.u
        if value >= expanded:
            assert f"{value:.1f} ± {expanded:.1f} mm" in held
        spare = f"{finding.limit_mm - value:.1f} ± {expanded:.1f} mm".replace("-0.0", "0.0").replace("-", "−")
        assert spare in held
        assert finding.where in held
        read += 1
    assert read >= 3


def test_margin_and_guard_band_say_what_the_verdict_says(surveyed: Report) -> None:
    # The guard band of an upper limit at 95 % is 1.645 u (JCGM 106, normal): margins are held against it here.
    for finding, row in zip(surveyed.verdict.findings, findings_table(surveyed)["rows"], strict=True):
        spare = margin(finding)
        if spare is None:
            assert row["guard"] == ""
            continue
        assert spare.value == pytest.approx(finding.limit_mm - (finding.value.value if finding.value else 0.0))
        assert spare.u == (finding.value.u if finding.value else 0.0)
        said = {"within": "kept", "over": "over by more than it", "not_decided": "not kept"}[finding.verdict]
        assert row["guard"] == f"{1.645 * spare.u:.1f} mm: {said}"


def test_imperial_run_speaks_inches(surveyed: Report, tools: Tools) -> None:
    with speaking("imperial"):
        said = tools.words_of(tools.draw(surveyed))
    held = said.split("Held against the limits")[1].split("Levelling plan")[0]
    worst = surveyed.verdict.findings[0]
    assert worst.value is not None
    inches = worst.value.value / 25.4
    assert re.search(rf"{inches:.2f} ± 0\.\d+ in", held)
    assert not re.search(r"\d ± \d+\.\d mm", held)
    assert "66.2 °F" in said  # 19 °C
    assert "°C" not in said


def test_no_picture_no_survey_nothing_to_level(report: Report, tools: Tools) -> None:
    bare = replace(report, plan=replace(report.plan, methods=(), areas=()))
    pdf = record_pdf(bare, map_png=b"", after_png=b"", floor_jpg=b"", result_sha256=tools.sha, paper="a4")
    said = tools.words_of(pdf)
    assert "Levelling plan" not in said
    assert "The floor from straight above" not in said
    assert "Signatures" in said


def test_large_pictures_and_many_photographs_stay_below_5_mb(surveyed: Report, tools: Tools) -> None:
    rng = np.random.default_rng(3)
    noise = rng.integers(0, 255, (1000, 1100, 3)).astype(np.uint8)
    rough, photo = _image(noise, "PNG"), _image(noise, "JPEG")
    assert surveyed.survey is not None
    photos = tuple(
        replace(surveyed.survey.site.photos[0], jpeg=_image(np.roll(noise, k, axis=0), "JPEG")) for k in range(12)
    )
    assert 2 * len(rough) + sum(len(one.jpeg) for one in photos) > 10e6
    many = replace(surveyed, survey=replace(surveyed.survey, site=replace(surveyed.survey.site, photos=photos)))
    pdf = record_pdf(many, map_png=rough, after_png=rough, floor_jpg=photo, result_sha256=tools.sha, paper="a4")
    assert len(pdf) < 5e6
    assert sum(len(page.images) for page in tools.reader_of(pdf).pages) == 12 + 3


def test_a_table_over_pages_repeats_its_head(report: Report, tools: Tools) -> None:
    many = replace(report, inputs=tuple(replace(report.inputs[0], sha256=f"{k:064x}") for k in range(150)))
    pages = tools.reader_of(tools.draw(many)).pages
    listed = [page.extract_text() for page in pages if re.search(r"[0-9a-f]{64}", page.extract_text())]
    assert len(listed) >= 2
    assert all("SHA-256" in text for text in listed)


def _image(values: np.ndarray, form: str) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(values).save(buffer, form)
    return buffer.getvalue()


def _fonts(reader: pypdf.PdfReader) -> list[pypdf.generic.DictionaryObject]:
    fonts = {}
    for page in reader.pages:
        for name, font in page["/Resources"].get("/Font", {}).items():
            fonts[name, font.get_object().get("/BaseFont")] = font.get_object()
    return list(fonts.values())


def _alternatives(node: object) -> list[str]:
    """Every alternative text in the tree of tags."""
    found: list[str] = []
    stack = [node]
    while stack:
        one = stack.pop()
        if isinstance(one, pypdf.generic.IndirectObject):
            one = one.get_object()
        if isinstance(one, pypdf.generic.ArrayObject):
            stack += list(one)
        elif isinstance(one, pypdf.generic.DictionaryObject):
            found += [str(one["/Alt"])] if "/Alt" in one else []
            stack += [one["/K"]] if "/K" in one else []
    return found


_SHEET = """#set page(paper: "a4", margin: 10mm)
Marking-out sheet, one
#line(length: 100mm)
#pagebreak()
Marking-out sheet, two
#line(length: 50mm, angle: 90deg)
"""


def test_the_marking_out_sheet_comes_last_as_large_as_it_is_by_itself(surveyed: Report, tools: Tools) -> None:
    """Its bar is measured with a rule, so the pages must be the sheet's own, dot for dot (pypdfium2 draws both)."""
    sheet = typst.compile(_SHEET.encode(), format="pdf")
    alone, without = pypdfium2.PdfDocument(sheet), tools.reader_of(tools.draw(surveyed)).pages
    record = tools.draw(surveyed, marking_pdf=sheet)
    inside = pypdfium2.PdfDocument(record)
    assert len(inside) == len(without) + len(alone)
    assert "Marking-out sheet, one" in tools.reader_of(record).pages[-2].extract_text()
    for number in (1, 2):
        one, other = (document[len(document) - number].render(scale=2).to_numpy() for document in (inside, alone))
        # Edges may be smoothed otherwise, by no more than an eighth of a dot; a page in another size is dots away.
        assert np.abs(one.astype(float) - other.astype(float)).max() <= 32.0
