"""Noise that the best estimate still holds, and what it does to one placing of the edge.

Where a floor is sharp (lips, rims of bays) smoothing must leave the measured heights alone, and the worst place
is then picked among many alike for the noise it happens to hold. Simulated captures of that estimate take such a
place for floor. The doubt is that of the reading as the edge lies, from the estimate's own error.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.noise.draws import posterior_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.chords import Contacts
    from flatscan.surface.noise.denoise import Posterior
    from flatscan.surface.surface import Surface


@dataclass(frozen=True, slots=True, eq=False)
class LeftNoise:
    """``sigma_mm`` (rows, cols) float32: standard deviation of the estimate's error in a cell; NaN is not seen."""

    sigma_mm: NDArray[np.float32]

    @classmethod
    def of(cls, surface: Surface, known: Posterior | None = None) -> LeftNoise:
        """Posterior variance of the Wiener filter, gain · noise, and the whole noise where heights were kept.

        An error that mixes the filtered with the share k of the measured one has the variance
        ``(1 - k²)·filtered + k²·noise``, since a filter's error and its input's have the former as covariance.
        ``known``: from ``posterior_of``, where it was worked out already.
        """
        known = posterior_of(surface) if known is None else known
        filtered = float(np.mean(known.gain * known.noise_mm2))
        share2 = np.square(known.kept_raw)
        variance = (1.0 - share2) * filtered + share2 * float(np.mean(known.noise_mm2))
        sigma = known.relative * np.sqrt(variance)
        return cls(np.where(surface.seen, sigma, np.nan).astype(np.float32))

    def beneath(self, cell: tuple[int, int], contacts: Contacts | None) -> float:
        """Standard uncertainty of the gap at a cell beneath an edge on those contacts; they err on their own."""
        if contacts is None:
            return 0.0
        (r1, c1), (r2, c2) = contacts.first, contacts.second
        length = np.hypot(r2 - r1, c2 - c1)
        share = float(np.clip(np.hypot(cell[0] - r1, cell[1] - c1) / length, 0.0, 1.0))
        variance = np.square([self.sigma_mm[cell], self.sigma_mm[r1, c1], self.sigma_mm[r2, c2]], dtype=np.float64)
        return float(np.sqrt(variance @ np.array([1.0, (1.0 - share) ** 2, share**2])))
