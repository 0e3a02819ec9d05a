"""Tables of a TOML file that a person wrote, read key by key, with plain words for what cannot be used."""

from __future__ import annotations

import difflib
import math
import re
import tomllib
import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from flatscan.errors import InputError
from flatscan.sources.guard import library_errors
from flatscan.sources.survey.toml_advice import advice_for

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

#: A file written by hand is far smaller.
_MOST_BYTES = 1_000_000
_MOST_LETTERS = 80
#: More sections of one kind than a person writes.
_MOST_TABLES = 500
_SHOWN_LETTERS = 40
#: A key of this many parts with dots between them: no file needs it, and the parser takes their number squared.
_PART = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
_DEEP_KEY = re.compile(rf"(?<![\w-]){_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{40}}")
_NO_SUCH = {bool: "a yes or no", str: "a text", list: "a list", dict: "a table"}


@dataclass(frozen=True, slots=True)
class Range:
    """What a number may be: from ``least`` (itself only where ``open_below`` is False) to ``most``, and in words."""

    least: float
    most: float
    words: str
    open_below: bool = False

    def holds(self, value: float) -> bool:
        """NaN is never held."""
        return (self.least < value if self.open_below else self.least <= value) and value <= self.most


@dataclass(frozen=True, slots=True)
class Section:
    """One table of a file. ``label`` is how messages call it; "" for the file's top level."""

    file: str
    label: str
    values: Mapping[str, Any]

    def refuse(self, what: str, advice: str) -> InputError:
        """The error to raise: file, section, what is wrong, what to do."""
        return InputError(self.file, f"{self.label}: {what}" if self.label else what, advice)

    def check_keys(self, known: Iterable[str]) -> None:
        """Refuse a key that is not known; the nearest known one is named."""
        names = list(known)
        for key in self.values:
            if key not in names:
                near = difflib.get_close_matches(key.lower(), names, n=1)
                advice = f"Did you mean {near[0]}?" if near else f"Known here: {', '.join(names)}"
                raise self.refuse(f"unknown key {shown(key)}", advice)

    def number(self, key: str, allowed: Range) -> float | None:
        """A number within its range; None where the key is not there."""
        if key not in self.values:
            return None
        value = finite(self.values[key])
        if value is None:
            raise self.refuse(
                f"{key} is {kind_of(self.values[key])}, not a number",
                f"Give {allowed.words}, without quotes and with a point for decimals",
            )
        if not allowed.holds(value):
            raise self.refuse(f"{key} must be {allowed.words}, not {value:g}", f"Correct {key}")
        return value

    def text(self, key: str, *, most: int = _MOST_LETTERS) -> str | None:
        """A text on one line that is not empty, of ``most`` letters; None where the key is not there."""
        if key not in self.values:
            return None
        return plain_text(self, key, self.values[key], most=most)

    def table(self, key: str) -> Section | None:
        """The table ``[key]``; None where it is not there."""
        value = self.values.get(key)
        if value is None:
            return None
        if not isinstance(value, dict):
            raise self.refuse(
                f"{key} is {self._instead(value)}, not a section", f"Write one line [{key}] above its keys"
            )
        return Section(self.file, f"[{key}]", value)

    def tables(self, key: str) -> tuple[Section, ...]:
        """Every table ``[[key]]``, numbered from 1 in the labels; empty where there is none."""
        value = self.values.get(key, [])
        if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
            raise self.refuse(
                f"{key} is {self._instead(value)}, not a list of sections",
                f"Write a line [[{key}]], with two brackets on each side, above the keys of each",
            )
        if len(value) > _MOST_TABLES:
            raise self.refuse(f"there are {len(value)} sections [[{key}]]", f"Give {_MOST_TABLES} at most")
        return tuple(Section(self.file, f"[[{key}]] {k}{_called(one)}", one) for k, one in enumerate(value, start=1))

    @staticmethod
    def _instead(value: object) -> str:
        if isinstance(value, dict):
            return "one section with single brackets"
        return (
            "several sections" if isinstance(value, list) and value and isinstance(value[0], dict) else kind_of(value)
        )


def _called(values: Mapping[str, Any]) -> str:
    name = values.get("name", values.get("file"))
    return f" ('{shown(name)}')" if isinstance(name, str) else ""


def plain_text(section: Section, name: str, value: object, *, most: int = _MOST_LETTERS) -> str:
    """A text on one line, without control signs and without signs that turn the way of writing.

    Spaces of other widths, as word processors put them in, become plain ones.
    """
    if not isinstance(value, str):
        raise section.refuse(f"{name} is {kind_of(value)}, not a text", f'Put it in quotes: {name} = "..."')
    text = "".join(" " if unicodedata.category(sign) == "Zs" else sign for sign in value.strip())
    if not text or not text.isprintable():
        what = f"{name} is empty or holds signs that cannot be printed"
        raise section.refuse(what, "Write a few plain words")
    if len(text) > most:
        raise section.refuse(f"{name} is {len(text)} letters long", f"Use {most} at most")
    return text


def read_toml(path: Path, what: str) -> tuple[Section, bytes]:
    """A TOML file as its top section, and its bytes; ``what`` it is called in messages, such as "survey file".

    Raises
    ------
    InputError
        for a file that is not there, too large, not text, or not TOML
    """
    data = file_bytes(path, what)
    return toml_section(path.name, data, what), data


def file_bytes(path: Path, what: str) -> bytes:
    """A file as a person writes one; raises InputError for all else. A pipe or a device would be read without end."""
    name = path.name
    with library_errors(path, "it cannot be looked at"):
        is_file, is_folder, exists = path.is_file(), path.is_dir(), path.exists()
        size = path.stat().st_size if is_file else 0
    if not is_file:
        kind = "a folder" if is_folder else "a pipe or a device"
        what_is_wrong = f"it is {kind}, not a {what}" if exists else f"there is no such {what}"
        raise InputError(name, what_is_wrong, "Check the path")
    if size > _MOST_BYTES:
        raise InputError(name, f"it is {size / 1e6:.1f} MB large, too large for a {what}", "Give the file you wrote")
    with library_errors(path, "it cannot be read"):
        return path.read_bytes()


def toml_section(name: str, data: bytes, what: str) -> Section:
    """The top section of a TOML file's bytes; raises InputError for what is not text, or not TOML."""
    if b"\0" in data:
        raise InputError(name, f"it is not text, so it cannot be a {what}", "Write it with a plain text editor")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(name, "it is not text in UTF-8", "Save it as UTF-8 in a plain text editor") from error
    if _DEEP_KEY.search(text):
        raise InputError(
            name, "not a readable TOML file (a key of very many parts)", "Write one `key = value` on a line"
        )
    text = text.replace("\r\n", "\n")
    try:
        return Section(name, "", tomllib.loads(text))
    except (ValueError, RecursionError) as error:
        words = str(error) if isinstance(error, tomllib.TOMLDecodeError) else "a number or list is too long"
        raise InputError(name, f"not a readable TOML file ({words})", advice_for(words, text)) from error


def finite(value: object) -> float | None:
    """The number, NaN and infinities too; None for all that is not one, and for what no float can hold."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    try:
        return float(value)
    except OverflowError:
        return math.inf


def kind_of(value: object) -> str:
    """What was given instead, in words."""
    if isinstance(value, str):
        return f'the text "{shown(value)}"'
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return f"the number {value:g}" if abs(value) < 1e300 else "a number without end"  # noqa: PLR2004
    return _NO_SUCH.get(type(value), "a date or time")


def shown(text: str) -> str:
    """A text from the file, cut short and safe to print."""
    plain = "".join(sign if sign.isprintable() else "?" for sign in text)
    return plain if len(plain) <= _SHOWN_LETTERS else f"{plain[:_SHOWN_LETTERS]}..."
