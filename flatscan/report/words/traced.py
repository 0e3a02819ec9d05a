"""Which readings stand behind a gap on the map: those nearest to its chord."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.measurement import GapSpot
    from flatscan.surface.readings.fit import ReadingsFit
    from flatscan.surface.surface import Surface

#: The smallest wave that readings show is this many of their spacings.
_SPACINGS_PER_WAVE = 3.0
_MOST_TOLD = 6


def from_readings(spot: GapSpot, surface: Surface) -> tuple[str, ...]:
    """Numbers of the readings within half their spacing of the chord, the nearest first; none without readings.

    The gap is worked out from all readings together; these are the ones that have most say in it. Half a spacing is as
    far as a place can be from the nearest of evenly spread rows; where none is so near, the nearest one is named.
    """
    fit = surface.fit
    if fit is None or len(fit.number) == 0:
        return ()
    away = _from_chord_mm(fit.at_mm, np.array(spot.contacts, dtype=np.float64))
    order = np.argsort(away, kind="stable").tolist()
    near = [i for i in order if away[i] <= spacing_mm(fit) / 2.0] or order[:1]
    return tuple(dict.fromkeys(name(fit, i) for i in near))


def spacing_mm(fit: ReadingsFit) -> float:
    """How far apart the readings lie."""
    return fit.smallest_wave_mm / _SPACINGS_PER_WAVE


def name(fit: ReadingsFit, index: int) -> str:
    """What a person calls a reading: its number on the sheet, or its row in the file."""
    return fit.number[index] or f"row {int(fit.row[index])}"


def told(numbers: tuple[str, ...]) -> str:
    """The first few.

    >>> told(("7", "12")), told(tuple("abcdefgh"))
    ('7, 12', 'a, b, c, d, e, f and 2 more')
    """
    more = f" and {len(numbers) - _MOST_TOLD} more" if len(numbers) > _MOST_TOLD else ""
    return f"{', '.join(numbers[:_MOST_TOLD])}{more}"


def _from_chord_mm(at_mm: NDArray[np.float64], chord_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """(m,) distances of points (m, 2) from the line between two contacts (2, 2), ends included."""
    start, along = chord_mm[0], chord_mm[1] - chord_mm[0]
    length2 = float(along @ along)
    t = np.clip((at_mm - start) @ along / length2, 0.0, 1.0) if length2 > 0.0 else np.zeros(len(at_mm))
    return np.asarray(np.hypot(*(at_mm - start - t[:, None] * along).T))
