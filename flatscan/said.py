"""Lengths, areas, volumes and weights as people read them: metric, or imperial where that was asked for.

Inside the package all lengths are mm. Which system people read is a choice of the whole run, like a language: it is
held for the time of a ``with speaking(...)`` block and only the functions here and ``Quantity.text`` look at it.

The rules in imperial: what was measured or planned is told in decimal inches with one decimal more than in mm (an inch
is 25.4 mm). What a document states (a limit, a layer, a straightedge, a bag) is told in the same decimal inches, so
that the two can be compared, with the document's own figure beside it: ``0.118 in [3 mm]``, ``0.188 in [3/16 in]``.
The square brackets are those of drawings with two units. Places are told in feet and inches.
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
#: Tape measures used for places are read to this part of an inch, a marking-out tape to the next one; limits are told
#: as fractions of the finest where they are exactly that.
_PLACE_PARTS, _MARKING_PARTS, _FINE_PARTS = 2, 8, 32
_EXACT_IN = 1e-6
#: Exact by definition: a US gallon is 231 cubic inches, a pound 0.45359237 kg.
L_PER_GALLON = 231.0 * MM_PER["in"] ** 3 / 1e6
KG_PER_LB = 0.45359237
M2_PER_FT2 = (MM_PER["ft"] / _MM_PER_M) ** 2
#: Below this an area is told to two decimals.
_SMALL_M2 = 10.0
_SMALL_FT2 = 100.0
_LONG_IN = 24.0
#: What people read for a unit inside: its name, how many go into one of ours, and how many decimals more it needs.
_IMPERIAL: dict[str, tuple[str, float, int]] = {
    "mm": ("in", MM_PER["in"], 1),
    "mm/m": ("in/ft", MM_PER["in"] / MM_PER["ft"] * _MM_PER_M, 2),
    "m": ("ft", MM_PER["ft"] / _MM_PER_M, 0),
    "m²": ("ft²", M2_PER_FT2, 0),
    "l": ("US gal", L_PER_GALLON, 0),
    "litres": ("US gal", L_PER_GALLON, 0),
    "kg": ("lb", KG_PER_LB, 0),
}


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


def unit(name: str) -> str:
    """What people read for a unit inside (mm, mm/m, m, m², l, litres, kg), as a table's heading names it.

    >>> with speaking("imperial"):
    ...     unit("mm"), unit("m²"), unit("l")
    ('in', 'ft²', 'US gal')
    """
    return _IMPERIAL[name][0] if imperial() and name in _IMPERIAL else name


def in_unit(value: float, name: str) -> float:
    """The value in the unit that ``unit(name)`` names."""
    return value / _IMPERIAL[name][1] if imperial() and name in _IMPERIAL else value


def extra_decimals(name: str) -> int:
    """How many decimals more than in ``name`` the unit that people read needs."""
    return _IMPERIAL[name][2] if imperial() and name in _IMPERIAL else 0


def number(value: float, name: str, places: int) -> str:
    """A value without its unit, for a table whose heading names ``unit(name)``; ``places`` as in ``name``.

    >>> number(4.12, "mm", 1)
    '4.1'
    >>> with speaking("imperial"):
    ...     number(4.12, "mm", 1)
    '0.16'
    """
    return f"{in_unit(value, name) + 0.0:.{places + extra_decimals(name)}f}"


def length(length_mm: float) -> str:
    """A limit, a layer or a thickness, as a document states it.

    >>> length(5.0), length(4.7625), length(0.5)
    ('5 mm', '4.76 mm', '0.5 mm')
    >>> with speaking("imperial"):
    ...     length(4.7625), length(3.0), length(6.35)
    ('0.188 in [3/16 in]', '0.118 in [3 mm]', '0.25 in [1/4 in]')
    """
    stated = f"{round(length_mm, 2):g} mm"
    if not imperial():
        return stated
    told = f"{round(length_mm / MM_PER['in'], 3):g} in"
    own = _fraction(length_mm) or stated
    return told if own == told else f"{told} [{own}]"


def thickness(length_mm: float, places: int = 1) -> str:
    """What was measured or planned and is told without its uncertainty; ``places`` are those of mm.

    >>> thickness(4.12), thickness(30.0, 0)
    ('4.1 mm', '30 mm')
    >>> with speaking("imperial"):
    ...     thickness(4.12), thickness(30.0, 0), thickness(2.99, 2)
    ('0.16 in', '1.2 in', '0.118 in')
    """
    return f"{number(length_mm, 'mm', places)} {unit('mm')}"


def about(length_mm: float, figures: int = 2) -> str:
    """A size of which only the first figures matter: a scatter, a pixel.

    >>> about(0.313), about(12.0)
    ('0.31 mm', '12 mm')
    >>> with speaking("imperial"):
    ...     about(0.313)
    '0.012 in'
    """
    return f"{in_unit(length_mm, 'mm'):.{figures}g} {unit('mm')}"


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


def edge(length_mm: float) -> str:
    """A straightedge to be taken in hand, or the span a document states: named as it is sold.

    >>> edge(2000.0)
    '2 m'
    >>> with speaking("imperial"):
    ...     edge(3048.0), edge(2000.0)
    ('10 ft', '6.56 ft [2 m]')
    """
    whole = math.isclose(length_mm / MM_PER["in"], round(length_mm / MM_PER["in"]), abs_tol=_EXACT_IN)
    return reach(length_mm) if not imperial() or whole else f"{reach(length_mm)} [{_metres(length_mm)}]"


def cell(cell_mm: float) -> str:
    """Distance of grid cells or of hand readings.

    >>> cell(10.0), cell(1000.0)
    ('10 mm', '1 m')
    >>> with speaking("imperial"):
    ...     cell(10.0), cell(1000.0)
    ('0.39 in', '3.28 ft')
    """
    if cell_mm >= _MM_PER_M / 4.0:
        return reach(cell_mm)
    return f"{cell_mm / MM_PER['in']:.2g} in" if imperial() else f"{round(cell_mm, 1):g} mm"


def tape(length_mm: float, *, fine: bool = False) -> str:
    """A distance to be found with a tape, to the centimetre or to half an inch; ``fine``: an eighth, to mark out by.

    >>> tape(2104.0), tape(-0.2)
    ('2.10 m', '0.00 m')
    >>> with speaking("imperial"):
    ...     tape(2104.0), tape(300.0), tape(2104.0, fine=True)
    ('6 ft 11 in', '12 in', '6 ft 10 7/8 in')
    """
    if not imperial():
        return f"{_hundredths(length_mm)} m"
    per_inch = _MARKING_PARTS if fine else _PLACE_PARTS
    parts = round(length_mm / MM_PER["in"] * per_inch)
    sign, parts = ("-", -parts) if parts < 0 else ("", parts)
    feet, rest = divmod(parts, _IN_PER_FT * per_inch)
    if parts < _LONG_IN * per_inch and not sign:  # up to two feet a tape is read in inches
        return f"{_parts(parts, per_inch)} in"
    inches = f" {_parts(rest, per_inch)} in" if rest else ""
    return f"{sign}{feet} ft{inches}"


def tapes(*lengths_mm: float, between: str = ", ") -> str:
    """Several of them, metres named once.

    >>> tapes(2170.0, 2480.0), tapes(800.0, 1900.0, between=" to ")
    ('2.17, 2.48 m', '0.80 to 1.90 m')
    >>> with speaking("imperial"):
    ...     tapes(800.0, 1900.0, between=" to ")
    '2 ft 7 1/2 in to 6 ft 3 in'
    """
    if imperial():
        return between.join(tape(one) for one in lengths_mm)
    return f"{between.join(_hundredths(one) for one in lengths_mm)} m"


def pair(at: tuple[float, float]) -> str:
    """A place in brackets, its unit told beside the list (``tape_unit``) in metric and within it in imperial.

    >>> pair((2170.0, 2480.0))
    '(2.17, 2.48)'
    >>> with speaking("imperial"):
    ...     pair((2170.0, 2480.0))
    '(7 ft 1 1/2 in, 8 ft 1 1/2 in)'
    """
    return f"({', '.join(tape(v) if imperial() else _hundredths(v) for v in at)})"


def tape_unit() -> str:
    """What the figures of ``pair`` are.

    >>> tape_unit()
    'metres'
    """
    return "feet and inches" if imperial() else "metres"


def marks(length_mm: float, *, fine: bool = True) -> str:
    """A distance in a table or on a drawing, short: metres without their unit, or feet and inches.

    To the centimetre, or to an eighth of an inch to mark out by, to half an inch where not ``fine``.

    >>> marks(2104.0)
    '2.10'
    >>> with speaking("imperial"):
    ...     print(marks(2104.0), "|", marks(200.0), "|", marks(609.6), "|", marks(615.95))
    6' 10 7/8" | 7 7/8" | 2' 0" | 2' 0 1/4"
    """
    if not imperial():
        return _hundredths(length_mm)
    per_inch = _MARKING_PARTS if fine else _PLACE_PARTS
    parts = round(length_mm / MM_PER["in"] * per_inch)
    sign, parts = ("-", -parts) if parts < 0 else ("", parts)
    feet, rest = divmod(parts, _IN_PER_FT * per_inch)
    inches = _parts(rest, per_inch)
    if not feet:
        return f'{sign}{inches}"'
    nought = "0 " if 0 < rest < per_inch else ""
    return f"{sign}{feet}' {nought}{inches}\""


def run(length_mm: float) -> str:
    """A length of joint or of wall.

    >>> run(61_240.0), run(40.0), run(0.0)
    ('61.2 m', 'less than 0.1 m', '0 m')
    >>> with speaking("imperial"):
    ...     run(61_240.0), run(10.0)
    ('200.9 ft', 'less than 0.1 ft')
    """
    told, name = in_unit(length_mm / _MM_PER_M, "m"), unit("m")
    if told == 0.0:
        return f"0 {name}"
    return f"less than 0.1 {name}" if told < 0.05 else f"{told:.1f} {name}"  # noqa: PLR2004 - rounds to none


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


def volume(volume_l: float, places: int = 1) -> str:
    """A volume without its uncertainty.

    >>> volume(1.26), volume(0.04, 2)
    ('1.3 litres', '0.04 litres')
    >>> with speaking("imperial"):
    ...     volume(1.26)
    '0.33 US gal'
    """
    more = 1 if imperial() and in_unit(volume_l, "l") < 10.0 else 0  # noqa: PLR2004 - a gallon is near four litres
    return f"{in_unit(volume_l, 'l'):.{places + more}f} {unit('litres')}"


def mass(mass_kg: float, places: int = 1) -> str:
    """A mass of primer, or of what a volume weighs.

    >>> mass(0.14)
    '0.1 kg'
    >>> with speaking("imperial"):
    ...     mass(0.14)
    '0.3 lb'
    """
    return f"{number(mass_kg, 'kg', places)} {unit('kg')}"


def bag(bag_kg: float) -> str:
    """What a bag weighs, in kg first since it is sold so.

    >>> bag(25.0)
    '25 kg'
    >>> with speaking("imperial"):
    ...     bag(25.0)
    '25 kg (55 lb)'
    """
    return f"{bag_kg:g} kg ({bag_kg / KG_PER_LB:.0f} lb)" if imperial() else f"{bag_kg:g} kg"


def temperature(celsius: float) -> str:
    """A temperature.

    >>> temperature(18.0)
    '18 °C'
    >>> with speaking("imperial"):
    ...     temperature(18.0)
    '64 °F'
    """
    return f"{celsius * 9.0 / 5.0 + 32.0:.0f} °F" if imperial() else f"{celsius:g} °C"


def fall(mm_per_m: float, places: int = 1) -> str:
    """How steep a floor or a tile is, mm in a metre or inches in a foot.

    >>> fall(11.54)
    '11.5 mm/m'
    >>> with speaking("imperial"):
    ...     fall(11.54)
    '0.138 in/ft'
    """
    return f"{number(mm_per_m, 'mm/m', places)} {unit('mm/m')}"


def drawn_step_mm() -> float:
    """How far apart lines of equal thickness lie on a drawing: 1 mm, or 1/16 inch."""
    return MM_PER["in"] / 16.0 if imperial() else 1.0


def drawn_level(level_mm: float) -> str:
    """What is written on such a line, without its unit.

    >>> drawn_level(3.0)
    '3'
    >>> with speaking("imperial"):
    ...     drawn_level(3.175)
    '1/8'
    """
    return _parts(round(level_mm / MM_PER["in"] * 16.0), 16) if imperial() else f"{level_mm:g}"


def _hundredths(length_mm: float) -> str:
    return f"{round(length_mm / _MM_PER_M, 2) + 0.0:.2f}"


def _metres(length_mm: float) -> str:
    return f"{round(length_mm / _MM_PER_M, 3):g} m"


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
