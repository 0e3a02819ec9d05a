"""The readings at single places alone, of a readings table such as the next-readings file, filled in by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.errors import InputError
from flatscan.sources.hand.read_field import read_field_readings

if TYPE_CHECKING:
    from pathlib import Path

    from flatscan.sources.hand.hand_reading import HandReading


def read_hand_readings(path: Path) -> tuple[HandReading, ...]:
    """Gaps found by searching, lips, joint widths and depths; rows without a value are left out.

    A value has a decimal point or comma or is a fraction of an inch; ``<0.05`` means between 0 and that. ``u`` may
    say one standard uncertainty; left empty, it follows from what the instrument resolves and its reader
    (``instruments.hand_u_mm``).

    Raises
    ------
    InputError
        naming row and column, for what is not understood, and where no row has such a value
    """
    spots = read_field_readings(path).spots
    if not spots:
        raise InputError(path, "holds no gap, lip, joint width or joint depth", "Give it as a capture of its own")
    return spots
