"""What to do about a line that TOML does not allow: the slips that people make who write one for the first time."""

from __future__ import annotations

import re

_USUAL = 'Write one `key = value` on a line, texts in "quotes", decimals with a point'
_WHERE = re.compile(r"\(at line (\d+),")
#: What the faulty line looks like, and what would be right; the first that fits.
_SLIPS: tuple[tuple[re.Pattern[str], str], ...] = (
    (re.compile(r"=\s*-?\d+,\d+\s*(?:#|$)"), "Write decimals with a point, such as 20.5"),
    (re.compile(r"=\s*\d{1,2}[./-]\d{1,2}[./-]\d{2,4}"), "Write dates as year-month-day, such as 2026-05-04"),
    (re.compile(r"=\s*(?:true|yes|on)\b", re.IGNORECASE), "For yes write true, in small letters and without quotes"),
    (re.compile(r"=\s*(?:false|no|off)\b", re.IGNORECASE), "For no write false, in small letters and without quotes"),
    (
        re.compile(r"=\s*-?\d[\d.]*\s*(?:[^\W\d]|[°%])"),
        "Write the number alone, without its unit: the key says which unit it is",
    ),
    (re.compile(r"=\s*(?:#|$)"), "Write a value behind the =, or a # before the line"),
    (re.compile(r'"[^"]*\\'), "Write / in place of \\ between folders"),
    (re.compile(r'=\s*"[^"]*$'), 'End the text with a second ", and a text of several lines with """ at both ends'),
    (re.compile(r"=\s*[^\W\d]"), 'Put texts in quotes: key = "..."'),
    (re.compile(r"^\s*\[[^\[]"), "Write each section once, with all of its keys below it"),
)


def advice_for(message: str, text: str) -> str:
    """What to do about the parser's ``message`` on the file's ``text``.

    >>> advice_for("Invalid value (at line 2, column 7)", "[heating]" + chr(10) + "off = True")
    'For yes write true, in small letters and without quotes'
    """
    where = _WHERE.search(message)
    lines = text.split("\n")
    number = int(where[1]) if where else 0
    if not 0 < number <= len(lines):
        return _USUAL
    line = lines[number - 1][:400]
    return next((advice for slip, advice in _SLIPS if slip.search(line)), _USUAL)
