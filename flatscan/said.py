"""Lengths, areas, volumes and weights as people read them: metric, or imperial where that was asked for.

Inside the package all lengths are mm. Which system people read is a choice of the whole run, like a language: it is
held for the time of a ``with speaking(...)`` block and only the functions here and ``Quantity.text`` look at it.
"""

from __future__ import annotations

import math
from contextlib import contextmanager
from contextvars import ContextVar
from fractions import Fraction
from typing import TYPE_CHECKING

from flatscan.units import MM_PER, UnitSystem

if TYPE_CHECKING:
    from collections.abc import Iterator

_SYSTEM: ContextVar[UnitSystem] = ContextVar("unit system", default="metric")

_MM_PER_M = MM_PER["m"]
_IN_PER_FT = 12
#: Tape measures used for places are read to this part of an inch; limits are told to the finer one where they are
#: exactly that.
_PLACE_PARTS, _FINE_PARTS = 2, 32
_EXACT_IN = 1e-6
#: Exact by definition: a US gallon is 231 cubic inches, a pound 0.45359237 kg.
L_PER_GALLON = 231.0 * MM_PER["in"] ** 3 / 1e6
KG_PER_LB = 0.45359237
M2_PER_FT2 = (MM_PER["ft"] / _MM_PER_M) ** 2
#: Below this an area is told to two decimals.
_SMALL_M2 = 10.0
_SMALL_FT2 = 100.0


@contextmanager
def speaking(system: UnitSystem) -> Iterator[None]:
    """All texts made within the block are in ``system``."""
    token = _SYSTEM.set(system)
    try:
        yield
    finally:
        _SYSTEM.reset(token)


def imperial() -> bool:
    """Whether people read inches and feet now."""
    return _SYSTEM.get() == "imperial"


def length(length_mm: float) -> str:
    """A limit, a layer or a thickness, as a document states it.

    >>> length(5.0), length(4.7625), length(0.5)
    ('5 mm', '4.76 mm', '0.5 mm')
    >>> with speaking("imperial"):
    ...     length(4.7625), length(3.0)
    ('3/16 in', '0.12 in')
    """
    if not imperial():
        return f"{round(length_mm, 2):g} mm"
    return _fraction(length_mm) or f"{length_mm / MM_PER['in']:.2f} in"


def reach(length_mm: float) -> str:
    """A straightedge, a span or a side of a room.

    >>> reach(2000.0), reach(200.0), reach(305.0)
    ('2 m', '0.2 m', '0.305 m')
    >>> with speaking("imperial"):
    ...     reach(3048.0), reach(2000.0), reach(200.0)
    ('10 ft', '6.56 ft', '7.9 in')
    """
    if not imperial():
        return f"{round(length_mm / _MM_PER_M, 3):g} m"
    if length_mm < MM_PER["ft"]:
        return _fraction(length_mm) or f"{length_mm / MM_PER['in']:.1f} in"
    return f"{round(length_mm / MM_PER['ft'], 2):g} ft"


def tape(length_mm: float) -> str:
    """A distance to be found with a tape, to the centimetre or to half an inch.

    >>> tape(2104.0), tape(-0.2)
    ('2.10 m', '0.00 m')
    >>> with speaking("imperial"):
    ...     tape(2104.0), tape(300.0)
    ('6 ft 11 in', '12 in')
    """
    if not imperial():
        return f"{round(length_mm / _MM_PER_M, 2) + 0.0:.2f} m"
    halves = round(length_mm / MM_PER["in"] * _PLACE_PARTS)
    sign, halves = ("-", -halves) if halves < 0 else ("", halves)
    feet, rest = divmod(halves, _IN_PER_FT * _PLACE_PARTS)
    if feet <= 1 and not sign:  # up to two feet a tape is read in inches
        return f"{_parts(halves, _PLACE_PARTS)} in"
    inches = f" {_parts(rest, _PLACE_PARTS)} in" if rest else ""
    return f"{sign}{feet} ft{inches}"


def area(area_m2: float) -> str:
    """Square metres or square feet with as many figures as a person uses.

    >>> area(0.643), area(43.52)
    ('0.64 m²', '43.5 m²')
    >>> with speaking("imperial"):
    ...     area(0.643), area(43.52)
    ('6.9 ft²', '468 ft²')
    """
    if not imperial():
        return f"{area_m2:.2f} m²" if area_m2 < _SMALL_M2 else f"{area_m2:.1f} m²"
    feet = area_m2 / M2_PER_FT2
    return f"{feet:.1f} ft²" if feet < _SMALL_FT2 else f"{feet:.0f} ft²"


def temperature(celsius: float) -> str:
    """A temperature.

    >>> temperature(18.0)
    '18 °C'
    >>> with speaking("imperial"):
    ...     temperature(18.0)
    '64 °F'
    """
    return f"{celsius * 9.0 / 5.0 + 32.0:.0f} °F" if imperial() else f"{celsius:g} °C"


def _fraction(length_mm: float) -> str:
    """The length where it is a whole number of 1/32 inch; "" where it is not."""
    parts = length_mm / MM_PER["in"] * _FINE_PARTS
    if not math.isclose(parts, round(parts), abs_tol=_EXACT_IN * _FINE_PARTS):
        return ""
    return f"{_parts(round(parts), _FINE_PARTS)} in"


def _parts(parts: int, per_inch: int) -> str:
    whole, rest = divmod(parts, per_inch)
    if not rest:
        return str(whole)
    return f"{whole} {Fraction(rest, per_inch)}" if whole else str(Fraction(rest, per_inch))
