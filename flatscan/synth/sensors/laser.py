"""A terrestrial laser scanner on a tripod: range noise along correlated scan lines, and how stations are joined."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from flatscan.synth.rays import FLOOR, Hits, cast

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.synth.scene import Scene

#: Neighbouring rays whose normals agree to this cosine are on one surface without an edge.
_SAME_WAY = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class LaserScanner:
    """One kind of scanner.

    Attributes
    ----------
    constant_mm, by_intensity_mm, exponent : range noise σ = √(constant² + (by_intensity · I^exponent)²), the
        form of Schmitz et al. 2019 (Sensors 19:1466), with I = albedo · cos θ / (range / 10 m)²
    correlation_points : filter sigma along a scan line (noise of neighbours is not independent: Kermarrec
        et al. 2021; 1 to 1.5 points of filter correlate over 2 to 4 points)
    azimuth_step_rad, elevation_step_rad : angular steps
    lowest_rad : the tripod hides what lies steeper below the instrument than this
    highest_rad : end of the scan above the horizon
    spot_mm : diameter of the beam on a square target; the range is the mean over it
    join_mm, join_tilt_rad : standard deviation, each way, of a station's shift and tilt after registration
    albedo : of the floor
    """

    name: str
    constant_mm: float = 0.3
    by_intensity_mm: float = 0.15
    exponent: float = -0.5
    correlation_points: float = 1.2
    azimuth_step_rad: float = np.deg2rad(0.2)
    elevation_step_rad: float = np.deg2rad(0.2)
    lowest_rad: float = np.deg2rad(65.0)
    highest_rad: float = np.deg2rad(20.0)
    spot_mm: float = 4.0
    join_mm: float = 0.5
    join_tilt_rad: float = 0.00005
    albedo: float = 0.4


#: Range noise 0.2 to 0.5 mm (phase) and 1 to 2 mm (compact) within 10 m, registration 1 to 2 mm: data-sheet
#: class values, from memory. A survey with spheres joins better than the compact's cloud matching.
SURVEY_LASER = LaserScanner(name="survey laser")
COMPACT_LASER = LaserScanner(
    name="compact laser", constant_mm=1.2, by_intensity_mm=0.6, join_mm=1.5, join_tilt_rad=0.0002, spot_mm=6.0
)


class LaserPoints(NamedTuple):
    """One station: position (n, 3) mm in the room frame as registered, intensity (n,) 0 to 1, surface (n,)."""

    point_mm: NDArray[np.float64]
    intensity: NDArray[np.float64]
    surface: NDArray[np.int16]


def scan_station(
    scanner: LaserScanner, scene: Scene, at_mm: tuple[float, float, float], rng: np.random.Generator
) -> LaserPoints:
    """Scan the scene from a tripod head; scan lines run from the floor up, one after the other round the head."""
    azimuth = np.arange(0.0, 2.0 * np.pi, scanner.azimuth_step_rad) + rng.uniform(0.0, scanner.azimuth_step_rad)
    elevation = np.arange(-scanner.lowest_rad, scanner.highest_rad, scanner.elevation_step_rad)
    ray = _directions(azimuth, elevation)
    hits = cast(scene, np.array(at_mm), ray)
    hit = np.isfinite(hits.distance)
    distance = np.where(hit, hits.distance, 1000.0)
    shape = (len(azimuth), len(elevation))
    if scanner.spot_mm > 0:
        rough = np.flatnonzero(hit & ~_on_one_plane(scene, hits, shape))
        distance[rough] = _over_spot(scanner, scene, np.array(at_mm), ray[rough], distance[rough])
    intensity = scanner.albedo * hits.cos_incidence(ray) / (distance / 10_000.0) ** 2
    sigma = range_sigma_mm(scanner, intensity)
    noisy = distance + sigma * line_noise(shape, scanner.correlation_points, rng).ravel()
    point = np.array(at_mm) + noisy[:, None] * ray
    point = _joined(scanner, point, np.array(at_mm), rng)
    shown = np.clip(np.sqrt(intensity) / 3.0, 0.0, 1.0)
    return LaserPoints(point[hit], shown[hit], hits.surface[hit])


def range_sigma_mm(scanner: LaserScanner, intensity: NDArray[np.float64]) -> NDArray[np.float64]:
    """Range noise by returned intensity: a constant and a power law, added in squares."""
    by_intensity = scanner.by_intensity_mm * np.maximum(intensity, 1e-4) ** scanner.exponent
    return np.asarray(np.hypot(scanner.constant_mm, by_intensity), dtype=np.float64)


def line_noise(shape: tuple[int, int], sigma_points: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Unit noise (lines, points), Gaussian-filtered along each line: correlation exp(−k²/4σ²) at k points."""
    from scipy.ndimage import gaussian_filter1d

    white = rng.standard_normal(shape)
    if sigma_points <= 0:
        return white
    impulse = np.zeros(2 * int(np.ceil(5 * sigma_points)) + 1)
    impulse[len(impulse) // 2] = 1.0
    kernel = gaussian_filter1d(impulse, sigma_points, mode="wrap")
    smooth = gaussian_filter1d(white, sigma_points, axis=1, mode="wrap")
    return np.asarray(smooth / np.sqrt(np.sum(kernel**2)), dtype=np.float64)


def _directions(azimuth: NDArray[np.float64], elevation: NDArray[np.float64]) -> NDArray[np.float64]:
    az, el = np.meshgrid(azimuth, elevation, indexing="ij")
    return np.stack([np.cos(el) * np.cos(az), np.cos(el) * np.sin(az), np.sin(el)], axis=-1).reshape(-1, 3)


def _on_one_plane(scene: Scene, hits: Hits, shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Rays (n,) whose neighbours in the scan all meet the same smooth thing: the mean over the spot is its middle.

    Holds while nothing is thinner than the step between rays.
    """
    surface, normal = hits.surface.reshape(shape), hits.normal.reshape(*shape, 3)
    alike = np.ones(shape, dtype=bool)
    for step in ((0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (1, -1), (-1, 1), (-1, -1)):
        beside = np.roll(surface, step, axis=(0, 1)), np.roll(normal, step, axis=(0, 1))
        alike &= (beside[0] == surface) & (np.einsum("ijk,ijk->ij", beside[1], normal) > _SAME_WAY)
    if scene.floor.tiles is not None:
        alike &= surface != FLOOR
    return alike.ravel()


def _over_spot(
    scanner: LaserScanner,
    scene: Scene,
    at_mm: NDArray[np.float64],
    ray: NDArray[np.float64],
    distance: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Mean range over the middle and four places on the beam's ring: edges become mixed points."""
    across = np.cross(ray, np.array([0.0, 0.0, 1.0]))
    across /= np.linalg.norm(across, axis=1)[:, None]
    up = np.cross(across, ray)
    # A ring at r/√2 has the second moment of an even disc.
    offset = scanner.spot_mm / 2.0 / np.sqrt(2.0)
    total, count = distance.copy(), np.ones(len(ray))
    for side in (across, -across, up, -up):
        hits = cast(scene, at_mm + offset * side, ray)
        met = np.isfinite(hits.distance)
        total[met] += hits.distance[met]
        count[met] += 1.0
    return total / count


def _joined(
    scanner: LaserScanner, point_mm: NDArray[np.float64], at_mm: NDArray[np.float64], rng: np.random.Generator
) -> NDArray[np.float64]:
    """The station as the registration placed it: a small shift and turn about its head."""
    turn = scanner.join_tilt_rad * rng.standard_normal(3)
    away = point_mm - at_mm
    moved = point_mm + np.cross(np.broadcast_to(turn, away.shape), away)
    return np.asarray(moved + scanner.join_mm * rng.standard_normal(3), dtype=np.float64)
