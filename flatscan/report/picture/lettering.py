"""Text on the picture: measured and broken to a width in inches, never read as a formula."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from flatscan.report.words.plain_text import clean

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.font_manager import FontProperties

_POINTS_PER_INCH = 72.0
#: Line distance in font sizes.
LINE = 1.35
#: The drawn text may come out this much wider than measured (hinting).
_SPARE = 1.04


@cache
def font(size_pt: float, *, bold: bool = False) -> FontProperties:
    """The font that comes with matplotlib, so that the picture is the same everywhere."""
    from matplotlib.font_manager import FontProperties

    return FontProperties(family="DejaVu Sans", size=size_pt, weight="bold" if bold else "normal")


def printable(text: str) -> str:
    """The text with every sign the font lacks shown as a replacement sign."""
    return "".join(c if ord(c) in _signs() else "\ufffd" for c in clean(text))


@cache
def width_in(text: str, size_pt: float, *, bold: bool = False) -> float:
    """Width of one line in inches."""
    from matplotlib.textpath import text_to_path

    wide, _, _ = text_to_path.get_text_width_height_descent(text, font(size_pt, bold=bold), False)
    return _SPARE * float(wide) / _POINTS_PER_INCH


def line_in(size_pt: float) -> float:
    """Distance between lines in inches."""
    return LINE * size_pt / _POINTS_PER_INCH


def wrap(text: str, room_in: float, size_pt: float, *, bold: bool = False) -> list[str]:
    """Break at spaces, and within a word only where it alone is too long."""
    lines: list[str] = []
    used = room_in
    space = width_in("n n", size_pt, bold=bold) - width_in("nn", size_pt, bold=bold)
    for word in printable(text).split():
        for piece in _pieces(word, room_in, size_pt, bold=bold):
            wide = width_in(piece, size_pt, bold=bold)
            if lines and used + space + wide <= room_in:
                lines[-1] += f" {piece}"
                used += space + wide
            else:
                lines.append(piece)
                used = wide
    return lines


def _pieces(word: str, room_in: float, size_pt: float, *, bold: bool) -> Iterator[str]:
    while width_in(word, size_pt, bold=bold) > room_in and len(word) > 1:
        cut = max(1, int(len(word) * room_in / width_in(word, size_pt, bold=bold)))
        while cut > 1 and width_in(word[:cut], size_pt, bold=bold) > room_in:
            cut -= 1
        yield word[:cut]
        word = word[cut:]
    yield word


@cache
def _signs() -> frozenset[int]:
    from matplotlib.font_manager import findfont, get_font

    return frozenset(get_font(findfont(font(10.0))).get_charmap())
