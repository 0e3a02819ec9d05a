"""How lengths are written on site: plain metric numbers, or feet, inches and fractions."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from flatscan.constants import MM_PER_M
from flatscan.units import MM_PER

if TYPE_CHECKING:
    from collections.abc import Callable

    from flatscan.units import UnitSystem

_INCHES_PER_FOOT = 12
#: Finest fraction of an inch that is written; finer ones are thousandths (feeler and taper gauges).
_FRACTION = 64
_FRACTION_WITHIN_IN = 1e-4


@dataclass(frozen=True, slots=True)
class Notation:
    """``place_title``, ``value_title``: unit in the columns' titles. Each function takes mm and gives a cell."""

    place_title: str
    value_title: str
    place: Callable[[float], float | str]
    value: Callable[[float], float | str]
    station: Callable[[float], str]
    #: An instrument's figure, with its unit.
    stated: Callable[[float], str]


def feet_and_inches(length_mm: float) -> str:
    r"""To the nearest 1/8 inch, as a tape is called out.

    >>> feet_and_inches(1612.9), feet_and_inches(304.8), feet_and_inches(6.35)
    ('5\' 3 1/2"', '1\' 0"', '0\' 1/4"')
    """
    eighths = round(length_mm / MM_PER["in"] * 8)
    feet, rest = divmod(eighths, 8 * _INCHES_PER_FOOT)
    return f"{feet}' {_mixed(Fraction(rest, 8))}\""


def inches(length_mm: float) -> str:
    """As a fraction where it is one of 1/64 inch, else in thousandths.

    >>> inches(4.7625), inches(31.75), inches(0.0), inches(0.889), inches(0.00254)
    ('3/16', '1 1/4', '0', '0.035', '0.0001')
    """
    value = length_mm / MM_PER["in"]
    parts = round(value * _FRACTION)
    if abs(value - parts / _FRACTION) < _FRACTION_WITHIN_IN and (parts or value < 1e-6):  # noqa: PLR2004 - nothing
        return _mixed(Fraction(parts, _FRACTION))
    return f"{value:.4f}".rstrip("0")


def _mixed(value: Fraction) -> str:
    whole, part = divmod(value, 1)
    return " ".join(str(p) for p in (whole, part) if p) or "0"


def _mm(length_mm: float) -> float:
    return round(length_mm, 3)


METRIC = Notation(
    place_title="m",
    value_title="mm",
    place=lambda mm: round(mm / MM_PER_M, 4),
    value=_mm,
    station=lambda mm: f"{mm / MM_PER_M:.2f} m",
    stated=lambda mm: f"{_mm(mm):g} mm",
)
IMPERIAL = Notation(
    place_title="ft",
    value_title="in",
    place=feet_and_inches,
    value=inches,
    station=lambda mm: f"{mm / MM_PER['in']:g} in",
    stated=lambda mm: f"{inches(mm)} in",
)
NOTATIONS: dict[UnitSystem, Notation] = {"metric": METRIC, "imperial": IMPERIAL}
