"""The large shapes of a floor, as exact functions of position: tilt, waves, and single bays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Tilt:
    """A constant slope: ``fall_mm_per_m`` downhill towards ``direction_rad`` (anticlockwise from x)."""

    fall_mm_per_m: float = 0.0
    direction_rad: float = 0.0

    def height_mm(self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Height of the slope, zero at the origin."""
        run_mm = x_mm * np.cos(self.direction_rad) + y_mm * np.sin(self.direction_rad)
        return np.asarray(-self.fall_mm_per_m / 1000.0 * run_mm, dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Waves:
    """A sum of cosines: height = Σ amplitude · cos(kx x + ky y + phase).

    All arrays (n,) float64; ``kx``, ``ky`` in radians per mm, ``amplitude_mm`` in mm. Many cosines of
    random direction and phase approach a Gaussian random field whose spectrum is theirs (the spectral
    representation; Shinozuka & Deodatis 1991, Appl. Mech. Rev. 44:191, from memory).
    """

    amplitude_mm: NDArray[np.float64]
    kx: NDArray[np.float64]
    ky: NDArray[np.float64]
    phase: NDArray[np.float64]

    def height_mm(self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Height at each position; broadcasts."""
        total = np.zeros(np.broadcast(x_mm, y_mm).shape)
        for amplitude, kx, ky, phase in zip(self.amplitude_mm, self.kx, self.ky, self.phase, strict=True):
            total += amplitude * np.cos(kx * x_mm + ky * y_mm + phase)
        return total

    def scaled(self, factor: float) -> Waves:
        """The same waves, ``factor`` times as high."""
        return Waves(self.amplitude_mm * factor, self.kx, self.ky, self.phase)


NO_WAVES = Waves(*(np.zeros(0) for _ in range(4)))


@dataclass(frozen=True, slots=True)
class Bay:
    """One dip (``depth_mm`` > 0) or hump (< 0) of known depth on an ellipse that ends exactly at its rim.

    ``profile`` "cosine" meets the floor smoothly, depth · (1 + cos πr)/2; "dish" is the parabola
    depth · (1 − r²), whose gap under a straightedge of length L ≤ 2R along a diameter is exactly
    depth · (L/2R)². r is the distance from the centre as a share of the radius.
    """

    centre_mm: tuple[float, float]
    radius_mm: tuple[float, float]
    depth_mm: float
    profile: Literal["cosine", "dish"] = "cosine"
    turn_rad: float = 0.0

    def height_mm(self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Height at each position: −depth at the centre, 0 beyond the rim."""
        dx, dy = x_mm - self.centre_mm[0], y_mm - self.centre_mm[1]
        cos, sin = np.cos(self.turn_rad), np.sin(self.turn_rad)
        along, across = (cos * dx + sin * dy) / self.radius_mm[0], (cos * dy - sin * dx) / self.radius_mm[1]
        r2 = np.minimum(along**2 + across**2, 1.0)
        if self.profile == "dish":
            return np.asarray(-self.depth_mm * (1.0 - r2), dtype=np.float64)
        return np.asarray(-self.depth_mm * 0.5 * (1.0 + np.cos(np.pi * np.sqrt(r2))), dtype=np.float64)


def draw_waves(rng: np.random.Generator, *, wavelength_mm: float, spread: float = 1.6, components: int = 16) -> Waves:
    """Waves of wavelengths log-uniform within a factor ``spread`` of ``wavelength_mm``; ensemble rms 1 mm."""
    if components < 1 or spread < 1:
        raise ValueError("components and spread must be at least 1")
    wavelengths = wavelength_mm * spread ** rng.uniform(-1.0, 1.0, components)
    # Directions are spread evenly and jittered, so that few cosines still look alike in all directions.
    directions = (np.arange(components) + rng.uniform(0.0, 1.0, components)) * np.pi / components
    k = 2.0 * np.pi / wavelengths
    amplitude = np.full(components, np.sqrt(2.0 / components))
    phase = rng.uniform(0.0, 2.0 * np.pi, components)
    return Waves(amplitude, k * np.cos(directions), k * np.sin(directions), phase)
