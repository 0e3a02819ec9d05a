"""The page of the hostile job: an attacker who wrote the survey file must not run a script in the reader's browser."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from pathlib import Path

import pytest

import flatscan.report as report_package

from .hostile import FORBIDDEN, PAYLOADS, squeezed
from .looking import Parsed
from .running import Job


@pytest.fixture(scope="module")
def source(job: Job) -> str:
    return (job.result / "report.html").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def page(source: str) -> Parsed:
    return Parsed(source)


def hash_of(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def test_one_script_runs_and_it_is_ours(page: Parsed) -> None:
    """Injected script elements: a second one, or ours changed, would run as the report's author."""
    policy = next(a["content"] for tag, a in page.elements if tag == "meta" and "http-equiv" in a)
    runs = [text for kind, text in page.scripts if kind is None]
    assert len(runs) == 1
    assert f"script-src '{hash_of(runs[0])}'" in policy
    assert [kind for kind, _ in page.scripts if kind not in (None, "application/json")] == []
    for kind, text in page.scripts:
        if kind is not None:
            json.loads(text)
    assert len(page.styles) == 1
    assert f"style-src '{hash_of(page.styles[0])}'" in policy


def test_the_policy_comes_first_and_allows_nothing_else(page: Parsed) -> None:
    """A policy below injected markup comes too late for it; one with a source other than ours lets data leave."""
    assert [tag for tag, _ in page.elements[:3]] == ["html", "head", "meta"]
    assert page.elements[2][1] == {"charset": "utf-8"}
    tag, first = page.elements[3]
    assert (tag, first["http-equiv"]) == ("meta", "Content-Security-Policy")
    rules = dict(rule.strip().split(" ", 1) for rule in (first["content"] or "").split(";"))
    assert rules.pop("default-src") == "'none'"
    assert rules.pop("img-src") == "data:"
    assert rules.pop("base-uri") == rules.pop("form-action") == "'none'"
    for name in ("script-src", "style-src"):
        assert re.fullmatch(r"'sha256-[A-Za-z0-9+/=]{44}'", rules.pop(name))
    assert rules == {}


def test_no_attribute_acts_or_fetches(page: Parsed) -> None:
    """Handlers, addresses and styles in attributes: each is a way to run or to call home."""
    for tag, attributes in page.elements:
        for name, value in attributes.items():
            assert not name.startswith("on"), (tag, name)
            assert name not in {"srcset", "style", "srcdoc", "action", "formaction", "xlink:href", "ping", "autofocus"}
            if name in {"src", "href", "data", "poster"}:
                assert (value or "").startswith(("data:image/", "#")), (tag, name, (value or "")[:60])


def test_no_element_but_those_of_the_template(page: Parsed) -> None:
    """An element that no template of ours has came out of somebody's text."""
    folder = Path(report_package.__file__).parent
    ours = "".join(path.read_text(encoding="utf-8") for path in folder.rglob("*.html"))
    known = {name.lower() for name in re.findall(r"<([a-zA-Z][a-zA-Z0-9]*)", ours)} | {"span"}
    assert {tag for tag, _ in page.elements} <= known
    assert page.comments == []
    assert not {"iframe", "object", "embed", "base", "form", "link"} & {tag for tag, _ in page.elements}


def test_every_payload_is_read_as_text(page: Parsed) -> None:
    """Text that is lost or changed is a lie; text that acts is an attack: it must be there, word for word."""
    words = squeezed("".join(page.words))
    for text in PAYLOADS:
        assert squeezed(text) in words
    assert "49" not in re.findall(r"\{\{7\*7\}\}|49(?=\{% for)", "".join(page.words))


def test_no_sign_that_acts(source: str) -> None:
    """Signs that turn the way of reading or end a line make a page say what it does not."""
    assert sorted(FORBIDDEN & set(source)) == []
