"""Texts of people made safe to print: one line, no control signs, nothing so long that it leaves the paper."""

from __future__ import annotations

import re
from typing import Any

from flatscan.report.words.plain_text import clean

_BLANKS = re.compile(r"[\s\x1c-\x1f\x85\u2028\u2029]+")
_LONG_WORD = re.compile(r"\S{33,}")
_HASH = re.compile(r"[0-9a-f]{64}")
#: A word may be broken after this many letters, where it is longer than any word is.
_PIECE = 16
#: A figure is not torn from its ± or its unit.
_TOGETHER = re.compile(r"(?<=±) (?=\d)|(?<=\d) (?=(?:mm|m|in|ft|%|l|litres|kg|lb|h|°C|°F)(?:[²/\s,.;:)\]]|$))")
_BREAK_HERE = "\u200b"
_NO_BREAK = "\u00a0"


def plain(data: Any) -> Any:
    """The same tree of lists and dicts with every text as it may stand on paper.

    >>> plain({"name": ["two" + chr(10) + "lines", 3]})
    {'name': ['two lines', 3]}
    """
    if isinstance(data, str):
        return line(data)
    if isinstance(data, dict):
        return {key: plain(value) for key, value in data.items()}
    if isinstance(data, (list, tuple)):
        return [plain(value) for value in data]
    return data


def line(text: str) -> str:
    """One line without control or direction signs, breakable where a word is too long for a line; hashes stay whole."""
    spaced = _BLANKS.sub(lambda found: _NO_BREAK if set(found[0]) == {_NO_BREAK} else " ", text)
    return _LONG_WORD.sub(_breakable, _TOGETHER.sub(_NO_BREAK, clean(spaced)))


def _breakable(word: re.Match[str]) -> str:
    if _HASH.fullmatch(word[0]):
        return word[0]
    return _BREAK_HERE.join(word[0][k : k + _PIECE] for k in range(0, len(word[0]), _PIECE))
