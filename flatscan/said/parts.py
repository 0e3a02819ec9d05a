"""Inches with their fraction, as a tape shows them."""

from __future__ import annotations

from fractions import Fraction


def in_parts(parts: int, per_inch: int) -> str:
    """So many parts of an inch, without the unit.

    >>> in_parts(19, 8), in_parts(3, 32), in_parts(16, 8)
    ('2 3/8', '3/32', '2')
    """
    whole, rest = divmod(parts, per_inch)
    if not rest:
        return str(whole)
    return f"{whole} {Fraction(rest, per_inch)}" if whole else str(Fraction(rest, per_inch))
