"""Lengths: one unit inside (millimetres), the others only here."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal, get_args

LengthUnit = Literal["mm", "cm", "m", "in", "ft"]
UnitSystem = Literal["metric", "imperial"]

#: Exact by definition (international inch, 1959).
MM_PER: dict[str, float] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
LENGTH_UNITS: tuple[str, ...] = get_args(LengthUnit)
UNIT_SYSTEMS: tuple[UnitSystem, ...] = get_args(UnitSystem)

_INCH_DENOMINATOR = 32


def mm_per(unit: str) -> float:
    """Millimetres in one ``unit``; raises ValueError naming the units it knows."""
    try:
        return MM_PER[unit]
    except KeyError:
        raise ValueError(f"unknown length unit {unit!r}; known: {', '.join(LENGTH_UNITS)}") from None


def inches_as_text(length_mm: float) -> str:
    """Nearest 1/32 inch as a tape shows it.

    >>> inches_as_text(4.7625)
    '3/16 in'
    >>> inches_as_text(3050.0)
    '120 3/32 in'
    """
    whole_parts = round(abs(length_mm) / MM_PER["in"] * _INCH_DENOMINATOR)
    sign = "-" if length_mm < 0 and whole_parts else ""
    whole, rest = divmod(whole_parts, _INCH_DENOMINATOR)
    part = str(Fraction(rest, _INCH_DENOMINATOR)) if rest else ""
    text = " ".join(p for p in (str(whole) if whole or not part else "", part) if p)
    return f"{sign}{text} in"
