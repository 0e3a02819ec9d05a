"""Limits, thicknesses, straightedges and cells: what is measured, planned or stated in a document."""

from __future__ import annotations

import math

from flatscan.said.parts import in_parts
from flatscan.said.system import imperial, in_unit, number, unit
from flatscan.units import MM_PER

_MM_PER_M = MM_PER["m"]
#: A length that a document states is told as fractions of this where it is exactly that.
_FINE_PARTS = 32
_EXACT_IN = 1e-6


def length(length_mm: float) -> str:
    """A limit, a layer or a thickness, as a document states it.

    >>> length(5.0), length(4.7625), length(0.5)
    ('5 mm', '4.76 mm', '0.5 mm')
    >>> from flatscan.said import speaking
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
    >>> from flatscan.said import speaking
    >>> with speaking("imperial"):
    ...     thickness(4.12), thickness(30.0, 0), thickness(2.99, 2)
    ('0.16 in', '1.2 in', '0.118 in')
    """
    return f"{number(length_mm, 'mm', places)} {unit('mm')}"


def about(length_mm: float, figures: int = 2) -> str:
    """A size of which only the first figures matter: a scatter, a pixel.

    >>> about(0.313), about(12.0)
    ('0.31 mm', '12 mm')
    >>> from flatscan.said import speaking
    >>> with speaking("imperial"):
    ...     about(0.313)
    '0.012 in'
    """
    return f"{in_unit(length_mm, 'mm'):.{figures}g} {unit('mm')}"


def reach(length_mm: float) -> str:
    """A straightedge, a span or a side of a room.

    >>> reach(2000.0), reach(200.0), reach(305.0)
    ('2 m', '0.2 m', '0.305 m')
    >>> from flatscan.said import speaking
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
    >>> from flatscan.said import speaking
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
    >>> from flatscan.said import speaking
    >>> with speaking("imperial"):
    ...     cell(10.0), cell(1000.0)
    ('0.39 in', '3.28 ft')
    """
    if cell_mm >= _MM_PER_M / 4.0:
        return reach(cell_mm)
    return f"{cell_mm / MM_PER['in']:.2g} in" if imperial() else f"{round(cell_mm, 1):g} mm"


def run(length_mm: float) -> str:
    """A length of joint or of wall.

    >>> run(61_240.0), run(40.0), run(0.0)
    ('61.2 m', 'less than 0.1 m', '0 m')
    >>> from flatscan.said import speaking
    >>> with speaking("imperial"):
    ...     run(61_240.0), run(10.0)
    ('200.9 ft', 'less than 0.1 ft')
    """
    told, name = in_unit(length_mm / _MM_PER_M, "m"), unit("m")
    if told == 0.0:
        return f"0 {name}"
    return f"less than 0.1 {name}" if told < 0.05 else f"{told:.1f} {name}"  # noqa: PLR2004 - rounds to none


def _metres(length_mm: float) -> str:
    return f"{round(length_mm / _MM_PER_M, 3):g} m"


def _fraction(length_mm: float) -> str:
    """The length where it is a whole number of 1/32 inch; "" where it is not."""
    parts = length_mm / MM_PER["in"] * _FINE_PARTS
    if not math.isclose(parts, round(parts), abs_tol=_EXACT_IN * _FINE_PARTS):
        return ""
    return f"{in_parts(round(parts), _FINE_PARTS)} in"
