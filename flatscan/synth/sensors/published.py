"""Published noise formulas of depth cameras, in mm; z is depth in mm, angle the incidence in radians.

They give the standard deviation of single readings only: none of them says how neighbouring pixels correlate.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Sigma = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]]


def _obliqueness(angle_rad: NDArray[np.float64]) -> NDArray[np.float64]:
    """θ² / (π/2 − θ)², the growth towards grazing used by both models below."""
    return np.asarray((angle_rad / (np.pi / 2.0 - angle_rad)) ** 2, dtype=np.float64)


def pattern_axial_mm(z_mm: NDArray[np.float64], angle_rad: NDArray[np.float64]) -> NDArray[np.float64]:
    """First-generation structured-light camera, along the ray.

    Nguyen, Izadi & Lovell 2012, "Modeling Kinect sensor noise for improved 3D reconstruction and tracking":
    σ = 0.0012 + 0.0019 (z − 0.4)² + 0.0001/√z · θ²/(π/2 − θ)² metres.
    """
    z = np.asarray(z_mm, dtype=np.float64) / 1000.0
    sigma_m = 0.0012 + 0.0019 * (z - 0.4) ** 2 + 0.0001 / np.sqrt(z) * _obliqueness(angle_rad)
    return np.asarray(1000.0 * sigma_m, dtype=np.float64)


def pattern_lateral_px(angle_rad: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same camera across the ray: σ = 0.8 + 0.035 θ/(π/2 − θ) pixels (same paper)."""
    angle = np.asarray(angle_rad, dtype=np.float64)
    return np.asarray(0.8 + 0.035 * angle / (np.pi / 2.0 - angle), dtype=np.float64)


def time_of_flight_axial_mm(z_mm: NDArray[np.float64], angle_rad: NDArray[np.float64]) -> NDArray[np.float64]:
    """Indirect time-of-flight camera.

    Fankhauser et al. 2015, "Kinect v2 for mobile robot navigation":
    σ = 1.5 − 0.5 z + 0.3 z² + 0.1 z^1.5 θ²/(π/2 − θ)² mm, z in metres (the angle term's form is from memory).
    """
    z = np.asarray(z_mm, dtype=np.float64) / 1000.0
    return np.asarray(1.5 - 0.5 * z + 0.3 * z**2 + 0.1 * z**1.5 * _obliqueness(angle_rad), dtype=np.float64)


def stereo_axial_mm(
    z_mm: NDArray[np.float64],
    *,
    disparity_px: float = 0.08,
    baseline_mm: float = 50.0,
    focal_px: float = 686.0,
) -> NDArray[np.float64]:
    """Active stereo, by theory: σ = z² · d / (f · B). The defaults are values seen in public code for a
    50 mm baseline at 1280 pixels across 86°; d = 0.05-0.08 px is good, 0.15 poor.
    """  # noqa: D205
    z = np.asarray(z_mm, dtype=np.float64)
    return np.asarray(z**2 * disparity_px / (focal_px * baseline_mm), dtype=np.float64)


def stereo_measured_mm(z_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Active stereo, as fitted to readings: σ = 0.0016 + 0.0007 z + 0.0039 z² metres.

    Coefficients seen in public code (attributed there to Ahn et al. 2019; from memory).
    """
    z = np.asarray(z_mm, dtype=np.float64) / 1000.0
    return np.asarray(1000.0 * (0.0016 + 0.0007 * z + 0.0039 * z**2), dtype=np.float64)


def read_by_formula(
    true_mm: NDArray[np.float64],
    angle_rad: NDArray[np.float64],
    rng: np.random.Generator,
    *,
    axial: Sigma,
    lateral_px: Callable[[NDArray[np.float64]], NDArray[np.float64]] | None = None,
) -> NDArray[np.float64]:
    """A depth frame with a formula's noise, white from pixel to pixel.

    Parameters
    ----------
    true_mm, angle_rad : (rows, cols) true depth, inf where nothing is met, and incidence
    axial : standard deviation in mm at (depth, angle)
    lateral_px : standard deviation, in pixels, of where each pixel looks; None: exactly where it should

    Returns
    -------
    (rows, cols) float64 depth in mm, 0 no data
    """
    place = np.indices(true_mm.shape).astype(np.float64)
    if lateral_px is not None:
        place += lateral_px(angle_rad) * rng.standard_normal(place.shape)
    last = np.array(true_mm.shape)[:, None, None] - 1
    rows, cols = np.clip(np.rint(place), 0, last).astype(np.int64)
    looked = true_mm[rows, cols]
    seen = np.isfinite(looked)
    z = np.where(seen, looked, 1000.0)
    # Grazing rays have no finite sigma in these formulas.
    angle = np.minimum(angle_rad[rows, cols], np.deg2rad(85.0))
    noisy = z + axial(z, angle) * rng.standard_normal(z.shape)
    return np.where(seen, np.maximum(noisy, 0.0), 0.0)
