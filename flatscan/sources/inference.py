"""What the file leaves unsaid about its unit, inferred from the size of rooms, and said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.caveats import Caveat, caveat
from flatscan.constants import MM_PER_M
from flatscan.errors import InputError, SettingsError
from flatscan.units import LENGTH_UNITS, mm_per

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from flatscan.settings import ReadSettings

#: A capture of a floor is between a tile's width and a large hall across. A room of 0.5 to 100 m
#: taken 1000 times too small or too large falls outside, which is what the limits are for.
LEAST_ACROSS_MM = 100.0
MOST_ACROSS_MM = 500_000.0
#: What a person would call a room or a hall: used to say which other unit would fit.
_LEAST_ROOM_MM, _MOST_ROOM_MM = 1_000.0, 100_000.0
#: Metres up to this many units across, millimetres above: a hall of 150 m or a patch of 150 mm,
#: both rare, lie at the border.
_METRES_UP_TO = 150.0
_EXTENT_SAMPLE = 200_000
#: Units this near to each other, relatively, are one.
_SAME_UNIT = 1e-5
#: Share of points at each end left out of the extents: flying points must not decide a unit.
_TAIL = 0.002


@dataclass(frozen=True, slots=True)
class FileUnit:
    """A length unit with who said so (``"the file's CRS"``); ``said_by`` None: inferred.

    ``heights_mm``: millimetres per unit of z where the file measures heights in another unit, else None.
    """

    name: str
    mm: float
    said_by: str | None
    heights_mm: float | None = None


def extents(points: NDArray[np.floating[Any]]) -> NDArray[np.float64]:
    """Size of the cloud along each axis without its outermost points.

    Parameters
    ----------
    points : (n, 3), any unit, n >= 1

    Returns
    -------
    (3,) float64, same unit: the span between the 0.2 % and 99.8 % quantiles
    """
    sample = points[:: max(1, len(points) // _EXTENT_SAMPLE)]
    low, high = np.quantile(sample, (_TAIL, 1.0 - _TAIL), axis=0)
    return np.asarray(high - low, dtype=np.float64)


def stated_unit(settings: ReadSettings, by_format: FileUnit | None) -> FileUnit | None:
    """The unit the person stated, else the one the format states, else None."""
    if settings.unit is None:
        return by_format
    if settings.unit not in LENGTH_UNITS:
        raise SettingsError("--unit", f"{settings.unit!r} is not a unit", f"Use one of {', '.join(LENGTH_UNITS)}")
    return FileUnit(settings.unit, mm_per(settings.unit), "--unit")


def overruled(unit: FileUnit, by_format: FileUnit | None) -> Caveat | None:
    """The doubt to raise when a unit stated by the person is not the file's; None when they agree.

    International and US survey feet differ by 2 ppm, a thousandth of a millimetre in half a metre: they agree.
    """
    if by_format is None or unit is by_format:
        return None
    by_file = (by_format.mm, by_format.mm if by_format.heights_mm is None else by_format.heights_mm)
    if all(abs(mm - unit.mm) <= _SAME_UNIT * unit.mm for mm in by_file):
        return None
    said = f"{by_format.name} ({by_format.said_by})"
    return caveat("unit_overruled", said=said, taken=unit.name, option="--unit")


def infer_unit(
    path: Path, across: float, size_text: str, usual: tuple[str, ...] = ("m", "mm")
) -> tuple[FileUnit, Caveat]:
    """Metres or millimetres, whichever makes the capture the size of a room.

    Parameters
    ----------
    path : named in the error
    across : largest extent, file units
    size_text : the extents as text, file units
    usual : the units that writers of the format use without saying so
    """
    for name in usual:
        across_mm = across * mm_per(name)
        most = _METRES_UP_TO if name == "m" and len(usual) > 1 else np.inf
        if across <= most and LEAST_ACROSS_MM <= across_mm <= MOST_ACROSS_MM:
            others = _also_possible(name, across)
            reason = f"the capture measures {size_text} units, which is the size of a room in {name}{others}"
            return FileUnit(name, mm_per(name), None), caveat("unit_inferred", unit=name, reason=reason)
    raise InputError(
        path,
        f"the capture measures {size_text} units, which is not the size of a floor in {' or in '.join(usual)}",
        "State the unit with --unit, or check that this is the capture of a room",
    )


def _also_possible(chosen: str, across: float) -> str:
    """Say which other unit would also make a believable room."""
    other = {"m": "ft", "mm": "cm"}[chosen]
    across_mm = across * mm_per(other)
    if not _LEAST_ROOM_MM <= across_mm <= _MOST_ROOM_MM:
        return ""
    return f" (in {other} it would be {_length(across_mm)} across)"


def check_across(where: Path | str, extents_mm: NDArray[np.float64], unit: FileUnit) -> None:
    """Refuse a capture whose size cannot be a floor's: the unit is off by a thousand or so."""
    across_mm = float(extents_mm.max())
    if LEAST_ACROSS_MM <= across_mm <= MOST_ACROSS_MM:
        return
    in_unit = {name: across_mm / unit.mm * mm_per(name) for name in LENGTH_UNITS}
    fits = next((name for name in LENGTH_UNITS if _LEAST_ROOM_MM <= in_unit[name] <= _MOST_ROOM_MM), None)
    maybe = f"; with unit {fits} it would be {_length(in_unit[fits])}" if fits else ""
    raise InputError(
        where,
        f"with unit {unit.name} ({unit.said_by}) the capture is {_length(across_mm)} across{maybe}",
        "State the right unit with --unit, or cut the capture down to the room",
    )


def _length(mm: float) -> str:
    return f"{mm / MM_PER_M:,.4g} m" if mm >= MM_PER_M else f"{mm:.2g} mm"


def size_text(sizes: NDArray[np.float64]) -> str:
    """``5.2 × 4.1 × 2.5``."""
    return " × ".join(f"{s:,.0f}" if s >= 100.0 else f"{s:.3g}" for s in sizes)  # noqa: PLR2004 - three figures
