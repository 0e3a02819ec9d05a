"""Lengths as the sheet shows them: centimetre and millimetre, or feet, inches and parts of an inch."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from flatscan.units import MM_PER

if TYPE_CHECKING:
    from flatscan.units import UnitSystem

#: Parts of an inch that a place is given to.
_INCH_PARTS = 8


def place(length_mm: float, units: UnitSystem) -> str:
    """A distance from a wall: metres to the centimetre, or feet and inches to 1/8.

    >>> place(1234.4, "metric"), place(1828.8, "imperial"), place(88.9, "imperial")
    ('1.23', "6'", '3 1/2"')
    """
    if units == "metric":
        return f"{round(length_mm / MM_PER['m'], 2) + 0.0:.2f}"
    eighths = round(abs(length_mm) / MM_PER["in"] * _INCH_PARTS)
    feet, rest = divmod(eighths, 12 * _INCH_PARTS)
    sign = "-" if length_mm < 0.0 and eighths else ""
    inches = f'{_mixed(Fraction(rest, _INCH_PARTS))}"'
    return sign + (f"{feet}'" + (f" {inches}" if rest else "") if feet else inches)


def side(length_mm: float, units: UnitSystem) -> str:
    """A wall or a bar: as ``place``, with its unit.

    >>> side(5000.0, "metric"), side(1828.8, "imperial")
    ('5.00 m', "6'")
    """
    return f"{place(length_mm, units)} m" if units == "metric" else place(length_mm, units)


def station(at_mm: float, units: UnitSystem, *, parts: int = _INCH_PARTS) -> str:
    """A distance along the bar with its unit, as the table's column is called.

    >>> station(250.0, "metric"), station(228.6, "imperial"), station(1333.3, "metric")
    ('0.25 m', '9 in', '1.333 m')
    """
    if units == "imperial":
        return f"{_mixed(Fraction(round(at_mm / MM_PER['in'] * parts), parts))} in"
    metres = f"{at_mm / MM_PER['m']:.3f}"
    return f"{metres.removesuffix('0')} m"


def small(length_mm: float, units: UnitSystem) -> str:
    """A height or its uncertainty: ``0.42 mm``, or thousandths of an inch.

    >>> small(0.423, "metric"), small(0.423, "imperial")
    ('0.4 mm', '0.017 in')
    """
    if units == "imperial":
        return f"{length_mm / MM_PER['in']:.3f} in"
    return f"{length_mm:.2f} mm" if length_mm < 0.1 else f"{length_mm:.1f} mm"  # noqa: PLR2004 - two figures at most


def _mixed(inches: Fraction) -> str:
    whole, part = divmod(inches, 1)
    return " ".join(text for text in (str(whole) if whole or not part else "", str(part) if part else "") if text)
