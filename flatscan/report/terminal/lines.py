"""Lines for a terminal: wrapped to its width, in its letters and, where asked, in colour."""

from __future__ import annotations

import os
import re
import shutil
import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING, TextIO

from flatscan.report.words import plain_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from flatscan.judgement.verdict import VerdictWord

BOLD, PLAIN = "\x1b[1m", "\x1b[0m"
#: Terminal colours that stay apart for colour-blind eyes; the word and the shape say the same.
VERDICT_INK: dict[VerdictWord, str] = {
    "over": "\x1b[33m",
    "not_decided": "\x1b[35m",
    "within": "\x1b[36m",
    "not_seen": "\x1b[2m",
}
#: Columns where no terminal tells its own, and the least and the most that are used of one that does.
_USUAL_WIDTH, _LEAST_WIDTH, _MOST_WIDTH = 80, 60, 100
#: A value, its uncertainty and its unit stay on one line.
_PLUS_MINUS = re.compile(r" ± (\S+) ")
_UNIT = re.compile(r"(?<=\d) (?=(?:mm|m|m²|kg|litres|in|ft|ft²|lb|US gal|%)(?:\W|$))")
_STAR, _BETWEEN = "* ", "  "


def wants_colour(stream: TextIO) -> bool:
    """Colour only for a person at a terminal who has not asked for none (NO_COLOR)."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def wants_ascii(stream: TextIO) -> bool:
    """Whether the stream cannot show the signs that the summary uses."""
    try:
        "±²▲◆●○−".encode(stream.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return True
    return False


def width_of(stream: TextIO) -> int:
    """Columns of the terminal, within what reads well; of a file or a pipe those that COLUMNS names, else the usual."""
    if not stream.isatty() and not os.environ.get("COLUMNS", "").isdecimal():
        return _USUAL_WIDTH
    return min(max(shutil.get_terminal_size((_USUAL_WIDTH, 24)).columns, _LEAST_WIDTH), _MOST_WIDTH)


@dataclass(frozen=True, slots=True)
class Column:
    """Cells below each other under a heading of one or more lines. ``left``: words, else figures."""

    heading: Sequence[str]
    cells: Sequence[str]
    left: bool = False


class Page:
    """Lines collected, wrapped and, where asked, coloured."""

    def __init__(self, width: int, *, colour: bool, ascii_text: bool) -> None:
        self._width, self._colour, self._ascii = width, colour, ascii_text
        self._lines: list[str] = []

    def headline(self, text: str) -> None:
        """The answer, in bold."""
        self._lines += [self.ink(line, BOLD) for line in self.wrap(text, "", "")]

    def add(self, lines: Iterable[str]) -> None:
        """Lines that are wrapped already."""
        self._lines += lines

    def section(self, title: str, items: Iterable[str], *, numbered: bool = False) -> None:
        """A title and its items; nothing where there is no item."""
        items = list(items)
        if items:
            self.title(title)
            self.items(items, numbered=numbered)

    def items(self, items: Iterable[str], *, numbered: bool = False) -> None:
        """Items beneath what is there."""
        for number, item in enumerate(items, 1):
            mark = f"{number}. " if numbered else "- "
            self._lines += self.wrap(item, f"  {mark}", "  " + " " * len(mark))

    def table(self, columns: Sequence[Column], marked: Sequence[bool]) -> bool:
        """Columns side by side, the rows ``marked`` with a star and in bold; False, and nothing, where too wide."""
        shown = [Column([self._said(h) for h in c.heading], [self._said(v) for v in c.cells], c.left) for c in columns]
        widths = [max(len(text) for text in (*column.heading, *column.cells)) for column in shown]
        if len(_STAR) + sum(widths) + len(_BETWEEN) * (len(widths) - 1) > self._width:
            return False

        def line(texts: Iterable[str], star: str) -> str:
            cells = [
                text.ljust(wide) if column.left else text.rjust(wide)
                for text, wide, column in zip(texts, widths, shown, strict=True)
            ]
            return (star + _BETWEEN.join(cells)).rstrip()

        space = " " * len(_STAR)
        self._lines += [line(texts, space) for texts in zip(*(column.heading for column in shown), strict=True)]
        for texts, mark in zip(zip(*(column.cells for column in shown), strict=True), marked, strict=True):
            self._lines.append(self.ink(line(texts, _STAR if mark else space), BOLD if mark else PLAIN))
        return True

    def lines(self) -> list[str]:
        """All lines so far."""
        return list(self._lines)

    def text(self) -> str:
        """All of it."""
        return "\n".join(self._lines)

    def title(self, title: str) -> None:
        """A title with an empty line above it."""
        self._lines += ["", *(self.ink(line, BOLD) for line in self.wrap(title, "", ""))]

    def wrap(self, text: str, first: str, other: str) -> list[str]:
        """Broken at spaces to the width; a value stays with its ± and its unit."""
        said = _PLUS_MINUS.sub("\u00a0±\u00a0\\1\u00a0", plain_text.clean(text))
        said = _UNIT.sub("\u00a0", said)
        said = plain_text.ascii_only(said).replace(" +/- ", "\u00a0+/-\u00a0") if self._ascii else said
        lines = textwrap.wrap(said, self._width, initial_indent=first, subsequent_indent=other, break_on_hyphens=False)
        return [line.replace("\u00a0", " ") for line in lines] or [first.rstrip()]

    def ink(self, line: str, ink: str) -> str:
        """The line in that colour, where there are colours."""
        return f"{ink}{line}{PLAIN}" if self._colour and ink != PLAIN else line

    def _said(self, text: str) -> str:
        said = plain_text.clean(text)
        return plain_text.ascii_only(said) if self._ascii else said
