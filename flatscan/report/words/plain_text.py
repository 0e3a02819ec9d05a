"""Text that cannot do anything but be read: control signs replaced, plain ASCII where a terminal needs it."""

from __future__ import annotations

import unicodedata

_ASCII = {
    "±": "+/-", "²": "2", "³": "3", "·": "*", "×": "x", "–": "-", "—": "-", "−": "-", "…": "...", "≤": "<=", "≥": ">=",
    "≈": "~", "°": " deg", "‘": "'", "’": "'", "“": '"', "”": '"', "▲": "[!]", "◆": "[?]", "●": "[=]", "○": "[ ]",
    "→": "->", "µ": "u", "ß": "ss", "\u00a0": " ", "\u202f": " ",
}  # fmt: skip


def clean(text: str) -> str:
    """Text with signs that control, end a line or change direction replaced: a name cannot repaint a terminal."""
    if text.isprintable():  # none of these categories is: most texts need no second look
        return text
    return "".join("\ufffd" if unicodedata.category(c) in {"Cc", "Cf", "Cs", "Zl", "Zp"} else c for c in text)


def ascii_only(text: str) -> str:
    """The same text for a terminal that shows ASCII only.

    >>> ascii_only("5.2 ± 0.6 mm, 3 m²")
    '5.2 +/- 0.6 mm, 3 m2'
    """
    return "".join(_ASCII.get(c) or _plain(c) for c in text)


def _plain(sign: str) -> str:
    """The letter without its accent, or a question mark."""
    if sign.isascii():
        return sign
    return "".join(c for c in unicodedata.normalize("NFKD", sign) if c.isascii()) or "?"


def printable_lines(text: str) -> str:
    """A whole file's text with its line breaks kept and every other control sign replaced."""
    return "\n".join(clean(line) for line in text.split("\n"))
