"""Which system people read now, and what its units are called and worth."""

from __future__ import annotations

from contextlib import contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING

from flatscan.units import MM_PER, UnitSystem

if TYPE_CHECKING:
    from collections.abc import Iterator

_SYSTEM: ContextVar[UnitSystem] = ContextVar("unit system", default="metric")

_MM_PER_M = MM_PER["m"]
#: Exact by definition: a US gallon is 231 cubic inches, a pound 0.45359237 kg.
L_PER_GALLON = 231.0 * MM_PER["in"] ** 3 / 1e6
KG_PER_LB = 0.45359237
M2_PER_FT2 = (MM_PER["ft"] / _MM_PER_M) ** 2
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
