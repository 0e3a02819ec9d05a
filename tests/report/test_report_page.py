"""``report.html``: one page that fetches and runs nothing."""

from __future__ import annotations

import base64
import hashlib
import re
from html.parser import HTMLParser

import pytest

from flatscan.report.page import page_html
from flatscan.report.report import Report

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
        if "style" not in self.open:
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


def test_it_runs_nothing_and_fetches_nothing(page: str) -> None:
    reader = read(page)
    tags = {tag for tag, _ in reader.tags}
    assert not tags & {"script", "link", "iframe", "object", "embed", "form", "base"}
    for tag, attributes in reader.tags:
        assert not any(name.startswith("on") or name == "style" for name in attributes), (tag, attributes)
        for name in ("src", "href"):
            assert (attributes.get(name) or "data:").startswith("data:")
    assert not re.search(r"https?://|@import|url\(", page)


def test_the_policy_allows_this_style_and_pictures_only(page: str) -> None:
    policy = next(a["content"] for t, a in read(page).tags if t == "meta" and "http-equiv" in a)
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL)
    assert style is not None
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    expected = "default-src 'none'; img-src data:; "
    expected += f"style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    assert policy == expected


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
    assert "script" not in {tag for tag, _ in reader.tags}
    assert "<script>alert(1)</script>" in " ".join(reader.words)
    assert "\x1b" not in html
