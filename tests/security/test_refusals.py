"""Texts that a file may not hold: one sentence, exit code 2, nothing written, and nothing of their signs in it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from .hostile import CONTROLS, NAME, limits_text, product_text, toml, write_cloud
from .running import refused, snapshot

#: One key for texts of each section of a survey file, and what the section needs besides.
KEYS = {
    "place": "[place]\nname = {}",
    "address": "[place]\naddress = {}",
    "firm": "[visit]\nfirm = {}",
    "instruments": "[visit]\ninstruments = [{}]",
    "covering": "[covering]\nname = {}",
    "limits": "[covering]\nlimits = [{}]",
    "kind": "[covering]\nkind = {}",
    "moisture": '[[moisture]]\nmethod = "carbide"\nvalue = 2\nlimit = 2\nlimit_source = {}',
    "contamination": "[sound]\ncontamination = [{}]",
    "crack": "[[crack]]\nline = [[0, 0], [1, 0]]\nname = {}",
    "old": "[old_covering]\nadhesive = {}",
    "door": "[[door]]\nline = [[0, 0], [1, 0]]\nname = {}",
    "zone": '[[zone]]\nkind = "no fill"\ncorners = [[0, 0], [1, 0], [1, 1]]\nname = {}',
    "caption": '[[photo]]\nfile = "a.jpg"\ncaption = {}',
    "photo": "[[photo]]\nfile = {}",
    "unknown key": "[place]\n{} = 1",
    "unknown section": "[{}]",
}


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty place to work in, so that whatever is written shows."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("key", KEYS)
def test_a_survey_text_with_controls_is_refused(here: Path, key: str) -> None:
    """Escapes in a survey file: the refusal itself is printed on a terminal and must not carry them there."""
    path = here / "survey.toml"
    for text in CONTROLS if key in ("place", "caption") else CONTROLS[:4]:
        path.write_text(KEYS[key].format(toml(f"a{text}b")), encoding="utf-8")
        before = snapshot(here)
        said = refused("survey", "check", path)
        assert "survey.toml" in said
        assert snapshot(here) == before


def test_a_note_of_many_lines_holds_no_other_sign(here: Path) -> None:
    """Long texts may have lines; all other signs are refused there too."""
    path = here / "survey.toml"
    for text in CONTROLS:
        if text != "two\nlines":
            path.write_text(f"[visit]\nnotes = {toml(f'a{text}b')}", encoding="utf-8")
            refused("survey", "check", path)


@pytest.mark.parametrize(
    "raw",
    [
        b'name = "\x1b[2J"',
        b'name = "\x9b"',
        b"\x1b]0;x\x07 = 1",
        b'"\x7f" = 1',
        b"a = \xed\xa0\x80",
        b'name = "\\ud800"',
    ],
)
def test_raw_signs_in_toml_are_refused_cleanly(here: Path, raw: bytes) -> None:
    """A parser's own message may repeat what it met."""
    path = here / "survey.toml"
    path.write_bytes(b"[place]\n" + raw)
    refused("survey", "check", path)
    refused("limits", path)


@pytest.mark.parametrize("key", ["name", "source", "currency"])
def test_a_product_text_with_controls_is_refused(here: Path, key: str) -> None:
    """A product file is passed around like a price list; its name stands in every table."""
    write_cloud(here / "cloud.csv")
    for text in CONTROLS if key == "name" else CONTROLS[:4]:
        lines = [
            f"{key} = {toml(f'a{text}b')}" if line.startswith(f"{key} =") else line
            for line in product_text().split("\n")
        ]
        (here / "product.toml").write_text("\n".join(lines), encoding="utf-8")
        said = refused("check", "cloud.csv", "--product", "product.toml", "--out", "result")
        assert f"{key} is empty or holds signs that cannot be printed" in said
    assert not (here / "result").exists()


@pytest.mark.parametrize(
    "key", ["id", "title", "document", "table", "year", "reference", "note", "conflict", "applies_to"]
)
def test_a_limit_text_with_controls_is_refused(here: Path, key: str) -> None:
    """Limit sets are downloaded; `flatscan limits FILE` prints their texts."""
    for text in CONTROLS if key == "title" else CONTROLS[:4]:
        lines = [
            f"{key} = {toml(f'a{text}b')}" if line.startswith(f"{key} =") else line
            for line in limits_text().split("\n")
        ]
        (here / "mine.toml").write_text("\n".join(lines), encoding="utf-8")
        refused("limits", "mine.toml")


def test_unknown_keys_of_limits_are_shown_safely(here: Path) -> None:
    """A key is text of somebody's too."""
    for text in CONTROLS:
        (here / "mine.toml").write_text(f"{limits_text()}\n{toml(text)} = 1\n", encoding="utf-8")
        refused("limits", "mine.toml")
        (here / "mine.toml").write_text(f"{limits_text()}\nedge_mm2 = {toml(text)}\n", encoding="utf-8")
        refused("limits", "mine.toml")


@pytest.mark.parametrize("command", ["check", "level", "limits", "survey check", "compare", "product", "camera", "out"])
def test_a_missing_file_with_a_hostile_name_is_named_safely(here: Path, command: str) -> None:
    """A name pasted from a message repaints the terminal when the program repeats it."""
    name = f"{NAME}.toml"
    words = {
        "compare": ["compare", name, name],
        "product": ["check", "x.csv", "--product", name],
        "camera": ["check", "x.csv", "--camera", name],
        "out": ["check", "x.csv", "--out", f"{NAME}/{NAME}"],
    }.get(command, [*command.split(), name])
    refused(*words)


@pytest.mark.parametrize("name", ["--foo.csv", "-", "-x.csv", "a b.csv", "ü ✓.csv", "line\nbreak.csv"])
def test_names_like_options_and_odd_names(here: Path, name: str) -> None:
    """A file called --force must not turn into the option."""
    (here / name).write_text("no table at all", encoding="utf-8")
    refused("check", "--", name)
    said = refused("check", "--out", "result", "--", name)
    assert "no such option" not in said.lower()
    assert sorted(path.name for path in here.iterdir()) == [name]


@pytest.mark.skipif(os.name == "nt", reason="names are bytes on other systems only")
def test_a_name_that_is_no_text_is_refused_or_read(here: Path) -> None:
    """Bytes that are no UTF-8 become signs that cannot be printed: printing them raises where nobody expects it."""
    name = os.fsdecode(b"\xff\xfe.csv")
    (here / name).write_text("no table at all", encoding="utf-8")
    refused("check", name)
    refused("survey", "check", name)
