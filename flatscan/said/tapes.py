"""Places: distances that a person finds with a tape, in words, in tables and on drawings."""

from __future__ import annotations

from flatscan.said.parts import in_parts
from flatscan.said.system import imperial
from flatscan.units import MM_PER

_MM_PER_M = MM_PER["m"]
_IN_PER_FT = 12
#: Tape measures used for places are read to this part of an inch, a marking-out tape to the next one, and lines of
#: equal thickness on a drawing lie the third one apart.
_PLACE_PARTS, _MARKING_PARTS, _DRAWN_PARTS = 2, 8, 16
_LONG_IN = 24.0


def tape(length_mm: float, *, fine: bool = False) -> str:
    """A distance to be found with a tape, to the centimetre or to half an inch; ``fine``: an eighth, to mark out by.

    >>> tape(2104.0), tape(-0.2)
    ('2.10 m', '0.00 m')
    >>> from flatscan.said import speaking
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
        return f"{in_parts(parts, per_inch)} in"
    inches = f" {in_parts(rest, per_inch)} in" if rest else ""
    return f"{sign}{feet} ft{inches}"


def tapes(*lengths_mm: float, between: str = ", ") -> str:
    """Several of them, metres named once.

    >>> tapes(2170.0, 2480.0), tapes(800.0, 1900.0, between=" to ")
    ('2.17, 2.48 m', '0.80 to 1.90 m')
    >>> from flatscan.said import speaking
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
    >>> from flatscan.said import speaking
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
    >>> from flatscan.said import speaking
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
    inches = in_parts(rest, per_inch)
    if not feet:
        return f'{sign}{inches}"'
    nought = "0 " if 0 < rest < per_inch else ""
    return f"{sign}{feet}' {nought}{inches}\""


def drawn_step_mm() -> float:
    """How far apart lines of equal thickness lie on a drawing: 1 mm, or 1/16 inch."""
    return MM_PER["in"] / _DRAWN_PARTS if imperial() else 1.0


def drawn_level(level_mm: float) -> str:
    """What is written on such a line, without its unit.

    >>> drawn_level(3.0)
    '3'
    >>> from flatscan.said import speaking
    >>> with speaking("imperial"):
    ...     drawn_level(3.175)
    '1/8'
    """
    return in_parts(round(level_mm / MM_PER["in"] * _DRAWN_PARTS), _DRAWN_PARTS) if imperial() else f"{level_mm:g}"


def _hundredths(length_mm: float) -> str:
    return f"{round(length_mm / _MM_PER_M, 2) + 0.0:.2f}"
