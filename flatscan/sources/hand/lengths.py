"""A length as people write it on site, decimal comma or fraction of an inch, becomes millimetres, exactly.

Understood: ``3.5``, ``3,5``, ``3,5 mm``, ``5/32``, ``1 1/4 in``, ``1-1/4"``, ``1½"``, ``5' 3 1/2"``, ``5 ft 3 in``.
A unit in the text overrules the one that is handed in; without either the length is refused, never guessed.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction

from flatscan.sources.levels.levels_words import unit_named
from flatscan.units import MM_PER

#: What one unit is called in advice.
UNIT_NAMES = {"mm": "millimetres", "cm": "centimetres", "m": "metres", "in": "inches", "ft": "feet"}
_PER: dict[str, Fraction] = {unit: Fraction(str(per)) for unit, per in MM_PER.items()}
_MARKS = str.maketrans({"’": "'", "‘": "'", "′": "'", "´": "'", "”": '"', "“": '"', "″": '"', "⁄": "/", "∕": "/",
                        "−": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " "})  # fmt: skip
_DECIMAL = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)"
_FRACTION = r"(?:(?:\d+[ -]\s*)?\d+\s*/\s*\d+)"
_NUMBER = rf"(?:{_FRACTION}|{_DECIMAL})"
_ONE = re.compile(rf"([+-]?)\s*({_NUMBER})\s*([a-zµ]+\.?|['\"])?")
_FEET_INCHES = re.compile(
    rf"([+-]?)\s*({_NUMBER})\s*(?:ft\.?|foot|feet|')\s*-?\s*({_NUMBER})\s*(?:in\.?|inch|inches|\")?"
)
_MIXED = re.compile(r"(?:(\d+)[ -]\s*)?(\d+)\s*/\s*(\d+)")
#: 1,250 mm may be one and a quarter or one thousand two hundred and fifty.
_THOUSANDS = re.compile(r"[1-9]\d{0,2},\d{3}")
#: Characters in any length that a person reads off.
_LONGEST = 40
_SIGNS = {"'": "ft", '"': "in"}


@dataclass(frozen=True, slots=True)
class Length:
    """``mm``; ``step_mm``: the step it was written in; ``fraction``: it was written as a fraction of a unit."""

    mm: float
    step_mm: float
    fraction: bool = False


class LengthError(ValueError):
    """Why a text is no length: ``what`` is wrong and what the person should do."""

    def __init__(self, what: str, advice: str) -> None:
        super().__init__(what)
        self.what, self.advice = what, advice


class UnitMissingError(LengthError):
    """A number whose unit is stated nowhere."""


def parse_length(text: str, unit: str | None) -> Length:
    """Millimetres of a written length; ``unit`` serves where the text states none.

    The arithmetic is exact, so the result is the float nearest to what was written.

    Raises
    ------
    LengthError
        for what is not understood, two numbers, and a number whose unit nothing states

    >>> parse_length("3/16 in", None).mm, parse_length("3,5", "mm").mm, parse_length("5 ft 3 in", "m").mm
    (4.7625, 3.5, 1600.2)
    """
    plain = _plain(text)
    if len(plain) > _LONGEST:
        raise LengthError(f"{text[:_LONGEST]!r}… is not a number", "Write a plain number")
    both = _FEET_INCHES.fullmatch(plain)
    if both:
        sign, feet, inches = both.groups()
        value = _number(feet, text) * _PER["ft"] + _number(inches, text) * _PER["in"]
        return _length(sign, value, _step(inches) * _PER["in"], inches)
    one = _ONE.fullmatch(plain)
    if one is None:
        raise _not_understood(text, plain, unit)
    sign, number, said = one.groups()
    named = _SIGNS.get(said) or unit_named(said) if said else None
    if said and named is None:
        raise LengthError(f"{text!r} is not in a unit of length", f"Use one of {', '.join(MM_PER)}")
    if named is None and unit is None:
        raise UnitMissingError(f"nothing states the unit of {text!r}", f"Write it behind the number, like {number} mm")
    if named is None and "/" in number and unit not in {"in", "ft"}:
        raise LengthError(f"{text!r} is a fraction where {unit} is the unit", f"Write its unit: {number} in")
    used = named or unit or ""
    if used == "mm" and _THOUSANDS.fullmatch(number):
        raise LengthError(
            f"{text!r} may mean {number.replace(',', '.')} or {number.replace(',', '')} mm",
            "Write it with a point, or without a thousands mark",
        )
    return _length(sign, _number(number, text) * _PER[used], _step(number) * _PER[used], number)


def _plain(text: str) -> str:
    """``text`` in plain characters, lower case: fractions spelt out, primes and quotes as ' and "."""
    spelt = []
    for character in text:
        if unicodedata.decomposition(character).startswith("<fraction>"):
            spelt.append(" " + unicodedata.normalize("NFKC", character))
        else:
            spelt.append(character)
    plain = "".join(spelt).translate(_MARKS).replace("''", '"')
    return " ".join(plain.lower().split())


def _number(text: str, whole_text: str) -> Fraction:
    mixed = _MIXED.fullmatch(text)
    if mixed is None:
        return Fraction(text.replace(",", "."))
    whole, over, under = mixed.groups()
    if int(under) == 0 or (whole is not None and int(over) >= int(under)):
        raise LengthError(f"{whole_text!r} is not a number", "Write the fraction again, such as 1 3/16 in")
    return int(whole or 0) + Fraction(int(over), int(under))


def _step(number: str) -> Fraction:
    """The step a number is written in: 1/16 of ``3/16``, 0.1 of ``2.5``."""
    if "/" in number:
        return Fraction(1, int(number.rpartition("/")[2]))
    return Fraction(1, 10 ** len(number.replace(",", ".").partition(".")[2]))


def _length(sign: str, value: Fraction, step: Fraction, number: str) -> Length:
    return Length(float(-value if sign == "-" else value), float(step), "/" in number)


def _not_understood(text: str, plain: str, unit: str | None) -> LengthError:
    found = re.findall(_NUMBER, plain)
    if len(found) > 1 and not re.search(r"\d[.,]\d+[.,]", plain):
        return LengthError(f"{text!r} holds two numbers", "Write one, or a row for each")
    return LengthError(
        f"{text!r} is not a number", f"Write a plain number of {UNIT_NAMES.get(unit or '', 'some unit')}"
    )
