"""A depth camera as a chain of errors: what it sees of true depth, with the correlated parts that matter.

d = Q[ offset + (1 + scale) · G_edge(true) + bow + leak + F + C + W ], then outliers and dropouts, where W is
white noise per frame, C a correlated field per frame, F a correlated field that belongs to the unit, bow a
radial error and Q the quantisation. The form and the phone's figures are an assumption anchored on one
study of a held and a walked phone (Teo & Yang 2023, Dev. Built Environ. 100169: < 1 mm off its plane when
still, about 1 cm when moving), not a published model.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from flatscan.synth.sensors.fields import blur_off_plane, clusters, correlated_field

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Noise grows three-fold between these angles of incidence ("x 2-4 above 60 degrees", an assumption).
_STEEP_RAD = (np.deg2rad(55.0), np.deg2rad(70.0))
_STEEP_FACTOR = 3.0
#: Specular reflections read too far by this much (an assumption).
_OUTLIER_MM = (20.0, 200.0)
_CLUSTER_PX = 2.0
#: Least depth; nearer is no data.
_NEAR_MM = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthSensor:
    """One kind of depth camera. Noise in mm is stated at 1 m and grows with depth to the power ``power``.

    Attributes
    ----------
    white_mm, correlated_mm : standard deviation of W and C at 1 m
    correlation_px : filter sigma of C and F (correlation exp(−d²/4σ²))
    still_correlation : correlation of C from frame to frame while the camera is held still
    fixed_share : size of F as a share of C
    bow_mm : radial error at the corners at 1 m
    offset_mm, scale : constant and proportional error of the unit
    blur_px : sigma of the smoothing across edges
    leak_share, leak_mm : share of the image where the photo's tones leak into depth, and by how much
    lost_share : share of pixels lost or sent astray in clusters
    step_mm : quantisation; 0 none
    half_float : depth stored as a 16-bit float in metres
    """

    name: str
    white_mm: float
    correlated_mm: float
    correlation_px: float
    power: float = 1.0
    still_correlation: float = 0.0
    fixed_share: float = 0.0
    bow_mm: float = 0.0
    offset_mm: float = 0.0
    scale: float = 0.0
    blur_px: float = 0.0
    leak_share: float = 0.0
    leak_mm: float = 0.0
    lost_share: float = 0.0
    step_mm: float = 0.0
    half_float: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class DepthUnit:
    """One device off the line: the errors that stay with it. ``fixed``: (rows, cols), unit standard deviation."""

    sensor: DepthSensor
    fixed: NDArray[np.float64]
    bow_mm: float
    offset_mm: float
    scale: float


class DepthReading(NamedTuple):
    """One frame: depth (rows, cols) mm, 0 no data; confidence (rows, cols) uint8, 2 good to 0 poor; the field C."""

    depth_mm: NDArray[np.float64]
    confidence: NDArray[np.uint8]
    field: NDArray[np.float64]


def draw_unit(sensor: DepthSensor, shape: tuple[int, int], rng: np.random.Generator) -> DepthUnit:
    """Draw a device: signs and sizes of its constant errors, normal with the sensor's figures as 1 sigma."""
    return DepthUnit(
        sensor,
        correlated_field(shape, sensor.correlation_px, rng),
        *(float(size * rng.standard_normal()) for size in (sensor.bow_mm, sensor.offset_mm, sensor.scale)),
    )


def read_depth(
    unit: DepthUnit,
    true_mm: NDArray[np.float64],
    cos_incidence: NDArray[np.float64],
    rng: np.random.Generator,
    *,
    tone: NDArray[np.float64] | None = None,
    before: NDArray[np.float64] | None = None,
) -> DepthReading:
    """One frame as the device would record it.

    Parameters
    ----------
    true_mm : (rows, cols) true z depth in mm, inf where nothing is met
    cos_incidence : (rows, cols) cosine of the angle between ray and surface normal
    tone : (rows, cols) brightness 0 to 1 of the photo at the depth pixels, for tones that leak into depth
    before : the previous frame's field, when the camera has not moved (less than about 2 cm or 2°)
    """
    sensor = unit.sensor
    shape = true_mm.shape
    seen = np.isfinite(true_mm)
    z_m = np.where(seen, true_mm, 1000.0) / 1000.0
    field = correlated_field(shape, sensor.correlation_px, rng)
    if before is not None:
        rho = sensor.still_correlation
        field = rho * before + np.sqrt(1.0 - rho**2) * field
    angle = np.arccos(np.clip(cos_incidence, 0.0, 1.0))
    steep = np.clip((angle - _STEEP_RAD[0]) / (_STEEP_RAD[1] - _STEEP_RAD[0]), 0.0, 1.0)
    growth = z_m**sensor.power * (1.0 + (_STEEP_FACTOR - 1.0) * steep)
    noise = sensor.white_mm * rng.standard_normal(shape)
    noise += sensor.correlated_mm * (field + sensor.fixed_share * unit.fixed)
    # Smoothing acts on 1/z: there every plane is linear in the pixels, so smoothing alone cannot bend a floor.
    smooth = 1.0 / blur_off_plane(1.0 / z_m, sensor.blur_px, seen)
    depth = unit.offset_mm + (1.0 + unit.scale) * 1000.0 * smooth + unit.bow_mm * _radial(shape) * z_m + growth * noise
    if tone is not None and sensor.leak_mm > 0:
        depth += _leak(sensor, tone, rng)
    lost = clusters(shape, sensor.lost_share / 2.0, _CLUSTER_PX, rng)
    astray = clusters(shape, sensor.lost_share / 2.0, _CLUSTER_PX, rng)
    depth = np.where(astray, depth + rng.uniform(*_OUTLIER_MM), depth)
    confidence = np.full(shape, 2, dtype=np.uint8)
    confidence[steep > 0] = 1
    # The device knows of its trouble only some of the time.
    confidence[(astray | lost) & (rng.random(shape) < rng.uniform(0.5, 0.9))] = 0
    depth = np.where(seen & ~lost & (depth > _NEAR_MM), depth, 0.0)
    confidence[depth == 0] = 0
    return DepthReading(_quantise(sensor, depth), confidence, field)


def _radial(shape: tuple[int, int]) -> NDArray[np.float64]:
    """Squared distance from the image centre, 1 at the corners."""
    rows, cols = (np.arange(n) - (n - 1) / 2.0 for n in shape)
    r2 = rows[:, None] ** 2 + cols[None, :] ** 2
    return np.asarray(r2 / r2.max(), dtype=np.float64)


def _leak(sensor: DepthSensor, tone: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.float64]:
    """False relief along strong tone steps: the tone less its surroundings, on a share of the image."""
    from scipy.ndimage import gaussian_filter

    local = tone - gaussian_filter(tone, 2.0 * sensor.correlation_px)
    where = clusters(tone.shape, sensor.leak_share, sensor.correlation_px, rng)
    contrast = np.clip(local / 0.25, -1.0, 1.0)
    return np.asarray(sensor.leak_mm * contrast * where, dtype=np.float64)


def _quantise(sensor: DepthSensor, depth_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    if sensor.half_float:
        return (depth_mm / 1000.0).astype(np.float16).astype(np.float64) * 1000.0
    if sensor.step_mm > 0:
        return np.asarray(np.rint(depth_mm / sensor.step_mm) * sensor.step_mm, dtype=np.float64)
    return depth_mm
