"""Values of a section that are neither a number nor a short text: counts, yes or no, days, longer texts, mm."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, TypeVar

from flatscan.sources.survey.section import Range, kind_of, plain_text

if TYPE_CHECKING:
    from flatscan.sources.survey.section import Section

DateT = TypeVar("DateT", bound=dt.date)

#: Nobody writes down a visit of another century; whoever does has mistyped the year.
_YEARS = (2000, 2100)
_MOST_TEXTS = 20
_MOST_NOTE_LETTERS, _MOST_NOTE_LINES = 4000, 100
#: Thinner than any layer: whoever writes 0.008 means metres.
_THINNEST_MM = 0.1


def millimetres(section: Section, key: str, allowed: Range) -> float | None:
    """A thickness, a height or a depth in mm; None where the key is not there."""
    value = section.number(key, allowed)
    if value is not None and 0.0 < value < _THINNEST_MM:
        raise section.refuse(f"{key} is {value:g} mm, thinner than any layer", "Give millimetres, not metres")
    return value


def whole(section: Section, key: str, allowed: Range) -> int | None:
    """A whole number within its range; None where the key is not there."""
    value = section.number(key, allowed)
    if value is None:
        return None
    if not value.is_integer():
        raise section.refuse(f"{key} must be a whole number, not {value:g}", f"Correct {key}")
    return int(value)


def yes_no(section: Section, key: str) -> bool | None:
    """True or false, or "yes" or "no" in words; None where the key is not there, which is *not recorded*."""
    if key not in section.values:
        return None
    value = section.values[key]
    if isinstance(value, bool):
        return value
    if isinstance(value, str) and value.strip().lower() in ("yes", "no"):
        return value.strip().lower() == "yes"
    raise section.refuse(
        f"{key} is {kind_of(value)}, not a yes or no", f"Write {key} = true or {key} = false, or leave it out"
    )


def day(section: Section, key: str) -> dt.date | None:
    """A date; None where the key is not there."""
    if key not in section.values:
        return None
    value = section.values[key]
    if isinstance(value, dt.datetime) or not isinstance(value, dt.date):
        what = f"{key} is {_when(value)}, not a date"
        raise section.refuse(what, f"Write year, month and day without quotes: {key} = 2026-05-03")
    return _in_range(section, key, value)


def moment(section: Section, key: str) -> dt.datetime | None:
    """A date with its time of day, as a clock in the room shows it: an offset from UTC is left out."""
    if key not in section.values:
        return None
    value = section.values[key]
    if not isinstance(value, dt.datetime):
        what = f"{key} is {_when(value)}, not a date with a time"
        raise section.refuse(what, f"Write both without quotes: {key} = 2026-05-03 08:30:00")
    return _in_range(section, key, value.replace(tzinfo=None))


def texts(section: Section, key: str) -> tuple[str, ...]:
    """A list of short texts; one text alone need not stand in a list. Empty where the key is not there."""
    value = section.values.get(key, [])
    if isinstance(value, str):
        return (plain_text(section, key, value),)
    if not isinstance(value, list):
        raise section.refuse(f"{key} is {kind_of(value)}, not a list of texts", f'Write {key} = ["...", "..."]')
    if len(value) > _MOST_TEXTS:
        raise section.refuse(f"{key} has {len(value)} entries", f"Give {_MOST_TEXTS} at most")
    return tuple(plain_text(section, f"entry {k} of {key}", one) for k, one in enumerate(value, start=1))


def long_text(section: Section, key: str) -> str | None:
    """A text of several lines, blank lines at its ends left out; None where the key is not there."""
    if key not in section.values:
        return None
    value = section.values[key]
    if not isinstance(value, str):
        raise section.refuse(f"{key} is {kind_of(value)}, not a text", f'Put it in quotes: {key} = """..."""')
    lines = value.strip().split("\n")
    if len(value) > _MOST_NOTE_LETTERS:
        raise section.refuse(f"{key} is {len(value)} letters long", f"Use {_MOST_NOTE_LETTERS} at most")
    if len(lines) > _MOST_NOTE_LINES:
        raise section.refuse(f"{key} has {len(lines)} lines", f"Use {_MOST_NOTE_LINES} at most")
    kept = [plain_text(section, key, line, most=_MOST_NOTE_LETTERS) if line.strip() else "" for line in lines]
    if not any(kept):
        raise section.refuse(f"{key} is empty", "Write a few plain words, or leave the line out")
    return "\n".join(kept)


def _when(value: object) -> str:
    if isinstance(value, dt.datetime):
        return "a date with a time"
    if isinstance(value, dt.date):
        return "a date alone"
    return "a time alone" if isinstance(value, dt.time) else kind_of(value)


def _in_range(section: Section, key: str, value: DateT) -> DateT:
    if not _YEARS[0] <= value.year <= _YEARS[1]:
        what = f"{key} is in the year {value.year}, not from {_YEARS[0]} to {_YEARS[1]}"
        raise section.refuse(what, "Check the year")
    return value
