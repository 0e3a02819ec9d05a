"""``report.html``: one page that fetches nothing and runs only its own script."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from flatscan.report.page.moving import SCRIPTS, script, text_of
from flatscan.report.page.page import page_html
from flatscan.report.report import Report
from flatscan.said import area
from flatscan.sources.scan import InputFile
from flatscan.sources.survey.site import NO_SITE
from flatscan.sources.survey.survey import Survey

VOID = {"meta", "img", "br", "hr", "link", "input"}


class Reader(HTMLParser):
    """Tags, attributes and text; complains where tags do not close in order."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not {"style", "script"} & set(self.open):
            self.words.append(data)


def read(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    reader.close()
    assert reader.open == []
    return reader


@pytest.fixture(scope="module")
def page(report: Report) -> str:
    return page_html(report, b"\x89PNG picture")


def test_the_answer_is_the_heading_and_the_title(page: str, report: Report) -> None:
    reader = read(page)
    assert [tag for tag, _ in reader.tags].count("h1") == 1
    assert page.count(report.verdict.answer.text) >= 2
    assert ("html", {"lang": "en"}) in reader.tags


def test_it_fetches_nothing_and_has_no_script_but_its_own(page: str) -> None:
    reader = read(page)
    tags = {tag for tag, _ in reader.tags}
    assert not tags & {"link", "iframe", "object", "embed", "form", "base"}
    scripts = [attributes for tag, attributes in reader.tags if tag == "script"]
    data = "application/json"
    assert scripts == [{"type": data, "id": "floor-data"}, {"type": data, "id": "floor-looks"}, {}]
    for tag, attributes in reader.tags:
        assert not any(name.startswith("on") or name == "style" for name in attributes), (tag, attributes)
        for name in ("src", "href"):
            assert (attributes.get(name) or "data:").startswith("data:")
    assert not re.search(r"https?://|@import|url\(", page)


def test_the_policy_allows_this_style_this_script_and_pictures_only(page: str) -> None:
    policy = next(a["content"] for t, a in read(page).tags if t == "meta" and "http-equiv" in a)
    digests = []
    for element in ("style", "script"):
        found = re.search(rf"<{element}>(.*?)</{element}>", page, re.DOTALL)
        assert found is not None
        digests.append(base64.b64encode(hashlib.sha256(found[1].encode()).digest()).decode())
    expected = f"default-src 'none'; img-src data:; style-src 'sha256-{digests[0]}'; script-src 'sha256-{digests[1]}'; "
    assert policy == expected + "base-uri 'none'; form-action 'none'"


def test_the_page_carries_the_floor_and_each_place_its_button(page: str, report: Report) -> None:
    data = re.search(r'<script type="application/json" id="floor-data">(.*?)</script>', page, re.DOTALL)
    assert data is not None
    assert json.loads(data[1])["form"] == "flatscan-page/1"
    spots = [json.loads(a["data-spot"] or "") for t, a in read(page).tags if t == "button" and "data-spot" in a]
    worst = report.measurement.gaps[0]
    contacts = [list(c) for c in worst.contacts]
    assert {"at": list(worst.at), "label": "A", "contacts": contacts, "edge_mm": 2000.0} in spots


def test_steps_to_read_by_hand_know_their_place(report: Report) -> None:
    """A few stand as steps, many fold into one; each is found on the map."""
    first = report.verdict.next_readings[0]
    for count in (1, 5):
        many = tuple(replace(first, at=(300.0 + 400.0 * k, 700.0), what=f"gap {k}") for k in range(count))
        html = page_html(replace(report, verdict=replace(report.verdict, next_readings=many)), b"")
        spots = [json.loads(a["data-spot"] or "") for t, a in read(html).tags if t == "button" and "data-spot" in a]
        assert [one["at"] for one in spots if one["label"] == "read here"] == [list(one.at) for one in many]
        assert html.count("The 5 places") == (count == 5)


def test_an_unseen_place_is_not_called_a_gap(report: Report) -> None:
    unseen = replace(report.verdict.findings[0], verdict="not_seen", value=None, p_over=None, contacts=None)
    html = page_html(replace(report, verdict=replace(report.verdict, findings=(unseen,))), b"")
    spots = [json.loads(a["data-spot"] or "") for t, a in read(html).tags if t == "button" and "data-spot" in a]
    assert {one["label"] for one in spots if one["at"] == list(unseen.at or ())} >= {"not seen"}
    assert "gap" not in {one["label"] for one in spots}


@pytest.mark.parametrize(("wider", "told"), [(1.0, False), (1.015, False), (1.2, True)])
def test_a_room_by_tape_that_differs_is_told(wider: float, told: bool, report: Report) -> None:
    side = 1000.0 * report.surface.area_m2**0.5
    outline = np.array([[0.0, 0.0], [side * wider, 0.0], [side * wider, side], [0.0, side]])
    survey = Survey(InputFile(Path("survey.toml"), "0a" * 32, "toml"), site=replace(NO_SITE, outline_mm=outline))
    words = " ".join(read(page_html(replace(report, survey=survey), b"")).words)
    both = f"room by tape {area(report.surface.area_m2 * wider)}, captured {area(report.surface.area_m2)}"
    assert (both in words) == told


def test_every_named_script_is_there_and_is_small() -> None:
    folder = resources.files("flatscan.report.viewer")
    there = {entry.name for entry in folder.iterdir() if entry.name.endswith(".js")}
    assert there == set(SCRIPTS)
    assert all(len(text_of(name).splitlines()) <= 300 for name in SCRIPTS)
    assert "</script" not in script()


def test_the_picture_is_inside_and_has_words_for_those_who_cannot_see_it(page: str) -> None:
    picture = next(a for t, a in read(page).tags if t == "img")
    assert base64.b64decode((picture["src"] or "").split(",")[1]) == b"\x89PNG picture"
    assert "5.1 ± 0.4 mm under 2 m, over" in (picture["alt"] or "")


def test_each_verdict_is_a_word_and_a_shape(page: str) -> None:
    words = " ".join(" ".join(read(page).words).split())
    for said in ("▲ over", "◆ not decided", "● within", "○ not seen"):
        assert said in words


def test_the_page_tells_what_it_must(page: str, report: Report) -> None:
    words = " ".join(read(page).words)
    wanted = [
        report.inputs[0].sha256,
        "common practice, no source",
        "BS 8204-1, surface regularity SR1 (read)",
        "as likely over as within",
        "1.6 ± 0.4 litres",
        "seed",
        "20260101",
        "Unit taken as m",
        "numpy",
        "Local code, contract and product data sheet come before this report.",
        "may hold asbestos",
    ]
    for text in wanted:
        assert text in words, text


def test_hostile_texts_stay_texts(hostile: Report) -> None:
    html = page_html(hostile, b"")
    reader = read(html)
    assert [tag for tag, _ in reader.tags].count("script") == 3  # the page's own
    assert "<script>alert(1)</script>" in " ".join(reader.words)
    assert "\x1b" not in html
