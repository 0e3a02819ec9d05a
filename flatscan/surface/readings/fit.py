"""The record of how a surface meets the readings it was made from, and what they could not see."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class LongMode:
    """A bend of room size: how well the readings know it. ``amplitude`` is its rms over the floor, mm.

    ``seen``: the readings, not the assumed smoothness, decide it.
    """

    name: str
    sd_mm: float
    prior_sd_mm: float
    seen: bool
    #: What to read so that it would be seen; "" where it is.
    cure: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class ReadingsFit:
    """Readings beside the surface. All arrays have one entry per reading that had a say, in file order.

    ``row`` (m,) int64 line in the file; ``number`` as on the sheet; ``at_mm`` (m, 2) float64 floor mm; ``read_mm``,
    ``fitted_mm`` (m,) float64 what was read and what the surface makes of it; ``u_mm`` (m,) float64 standard
    uncertainty of the reading. ``smoothness``: the prior's strength with the greatest evidence.
    ``smallest_wave_mm``: shorter waves can slip between the readings. ``systematic_mm``: for a scan corrected by
    readings, standard uncertainty of its slow bends before and after.
    """

    row: NDArray[np.int64]
    number: tuple[str, ...]
    at_mm: NDArray[np.float64]
    read_mm: NDArray[np.float64]
    fitted_mm: NDArray[np.float64]
    u_mm: NDArray[np.float64]
    smoothness: float
    smallest_wave_mm: float
    modes: tuple[LongMode, ...] = ()
    systematic_mm: tuple[float, float] | None = None
