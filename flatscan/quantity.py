"""A measured value that never travels without its standard uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass

from flatscan import said
from flatscan.constants import COVERAGE_K


@dataclass(frozen=True, slots=True)
class Quantity:
    """``value`` with one standard uncertainty ``u`` (k = 1), both in ``unit``.

    ``budget`` names the parts of ``u`` (source, standard uncertainty in ``unit``), JCGM 100 clause 5;
    it may be empty, and what it leaves out is not zero.
    """

    value: float
    u: float
    unit: str
    budget: tuple[tuple[str, float], ...] = ()

    def __post_init__(self) -> None:
        if not (self.u >= 0.0 and math.isfinite(self.value)):
            raise ValueError(f"a quantity needs a finite value and u >= 0, got {self.value}, {self.u}")

    @classmethod
    def from_budget(cls, value: float, unit: str, **parts: float) -> Quantity:
        """Combine independent parts by root sum of squares (JCGM 100, 5.1.2)."""
        return cls(value, math.sqrt(sum(p * p for p in parts.values())), unit, tuple(parts.items()))

    @property
    def expanded(self) -> float:
        """U = 2 u, what people are shown."""
        return COVERAGE_K * self.u

    def text(self) -> str:
        """``3.1 ± 0.8 mm``, in the reader's unit: rounded once, here, by the uncertainty (JCGM 100, 7.2.6).

        >>> Quantity(3.14, 0.42, "mm").text()
        '3.1 ± 0.8 mm'
        >>> with said.speaking("imperial"):
        ...     Quantity(3.14, 0.42, "mm").text()
        '0.12 ± 0.03 in'
        """
        value, expanded, unit, places = self._shown()
        return f"{value:.{places}f} ± {expanded:.{places}f} {unit}"

    def size_text(self) -> str:
        """As ``text``, for what cannot be negative: where U is the larger, its range takes the place of ±.

        >>> Quantity(2.6, 3.2, "mm").size_text(), Quantity(0.01, 2.0, "mm").size_text()
        ('2.6 mm (0 to 9.0)', '0 to 4.0 mm')
        """
        if self.value >= self.expanded or not math.isfinite(self.u):
            return self.text()
        value, expanded, unit, places = self._shown()
        most = f"{max(0.0, value) + expanded:.{places}f}"
        shown = f"{value:.{places}f}"
        return f"{shown} {unit} (0 to {most})" if float(shown) > 0.0 else f"0 to {most} {unit}"

    def _shown(self) -> tuple[float, float, str, int]:
        """Value, U, unit and decimals as the reader has them."""
        value, expanded = said.in_unit(self.value, self.unit), said.in_unit(self.expanded, self.unit)
        return value, expanded, said.unit(self.unit), decimals_shown(self.expanded, self.unit)


def decimals_for(expanded_u: float) -> int:
    """Decimals that show an expanded uncertainty with one or two figures, never more than 2.

    >>> decimals_for(0.8), decimals_for(0.03), decimals_for(12.0)
    (1, 2, 0)
    """
    if not math.isfinite(expanded_u) or expanded_u <= 0.0:
        return 2
    if expanded_u >= 10.0:  # noqa: PLR2004 - two figures before the point
        return 0
    return 1 if expanded_u >= 0.1 else 2  # noqa: PLR2004


#: (least U, decimals) of inches, which are large: U is told with one or two figures, never as nothing.
_OF_INCHES = ((1.0, 1), (0.01, 2), (0.001, 3), (0.0, 4))


def decimals_shown(expanded_u: float, unit: str) -> int:
    """Decimals in the unit that people read for an expanded uncertainty in ``unit``.

    >>> decimals_shown(0.8, "mm")
    1
    >>> with said.speaking("imperial"):
    ...     decimals_shown(0.8, "mm"), decimals_shown(0.1, "mm"), decimals_shown(40.0, "mm")
    (2, 3, 1)
    """
    shown = said.in_unit(expanded_u, unit)
    if not said.extra_decimals(unit):
        return decimals_for(shown)
    if not math.isfinite(shown) or shown <= 0.0:
        return _OF_INCHES[-2][1]
    return next(places for least, places in _OF_INCHES if shown >= least)


#: Nobody measures compound finer than to a hundredth of its unit.
_MOST_PLACES = 2


def spread(value: float, interval: tuple[float, float], unit: str) -> str:
    """A value with its 95 % range, rounded by the range. ``unit``: litres or kg, told in the reader's own.

    >>> spread(20.4, (0.0, 61.2), "kg"), spread(0.9, (0.71, 1.12), "litres")
    ('20 kg (0 to 61)', '0.9 litres (0.7 to 1.1)')
    >>> spread(0.91, (0.88, 0.94), "litres")
    '0.91 litres (0.88 to 0.94)'
    >>> with said.speaking("imperial"):
    ...     spread(0.9, (0.71, 1.12), "litres")
    '0.24 US gal (0.19 to 0.30)'
    """
    name = said.unit(unit)
    middle, low, high = (said.in_unit(v, unit) for v in (value, *interval))
    # A gallon is near four litres: what is less than a few of them is told to the hundredth.
    most = 2 if said.imperial() and high < 10.0 else 1  # noqa: PLR2004
    places = min(decimals_for((high - low) / 2.0), most)
    # A range whose ends round to the same figure takes one more, if that tells them apart: it is known, so it is told.
    same = [f"{low:.{n}f}" == f"{high:.{n}f}" for n in (places, places + 1)]
    if places < _MOST_PLACES and same == [True, False]:
        places += 1
    told = [f"{max(0.0, v):.{places}f}" for v in (middle, low, high)]
    told = ["0" if float(v) == 0.0 else v for v in told]
    if told[1] == told[2]:
        return f"{told[0]} {name}"
    return f"0 to {told[2]} {name}" if told[0] == "0" else f"{told[0]} {name} ({told[1]} to {told[2]})"
