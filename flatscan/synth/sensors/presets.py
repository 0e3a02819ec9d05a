"""Depth cameras by class. Figures without a source here are assumptions; none describes one make of device."""

from __future__ import annotations

import numpy as np

from flatscan.synth.camera import Pinhole
from flatscan.synth.sensors.depth import DepthSensor

#: A phone's rear depth map: 256 × 192, 62° wide (from memory), 4.7 mm per pixel at 1 m.
PHONE_CAMERA = Pinhole(256, 192, 212.0)

#: "optimistic" is 1.1 mm rms at 1 m and so agrees with the still phone of Teo & Yang 2023 (mean distance to
#: the plane below 1 mm); "typical" is twice that on purpose (hand-held, dark or glossy tiles), "pessimistic"
#: four times. The single figures are an assumption.
PHONE: dict[str, DepthSensor] = {
    "optimistic": DepthSensor(
        name="phone, optimistic", white_mm=0.8, correlated_mm=0.8, correlation_px=8.0, still_correlation=0.5,
        fixed_share=0.1, bow_mm=1.0, offset_mm=3.0, scale=0.002, blur_px=4.0, leak_share=0.05, leak_mm=0.3,
        lost_share=0.001,
    ),
    "typical": DepthSensor(
        name="phone, typical", white_mm=1.5, correlated_mm=1.5, correlation_px=10.0, still_correlation=0.8,
        fixed_share=0.2, bow_mm=3.0, offset_mm=6.0, scale=0.005, blur_px=6.0, leak_share=0.15, leak_mm=0.8,
        lost_share=0.005, step_mm=1.0,
    ),
    "pessimistic": DepthSensor(
        name="phone, pessimistic", white_mm=3.0, correlated_mm=3.0, correlation_px=12.0, still_correlation=0.95,
        fixed_share=0.4, bow_mm=8.0, offset_mm=12.0, scale=0.01, blur_px=8.0, leak_share=0.3, leak_mm=2.0,
        lost_share=0.02, half_float=True,
    ),
}  # fmt: skip

#: Front structured light: 3.5 mm/m² · z² with 2-3 px correlation and 1.5 px blur (an assumption), halved by
#: variance between white and correlated noise; for 0.25 to 0.5 m.
STRUCTURED_LIGHT = DepthSensor(
    name="structured light", white_mm=3.5 / np.sqrt(2.0), correlated_mm=3.5 / np.sqrt(2.0), correlation_px=2.5,
    power=2.0, fixed_share=0.2, blur_px=1.5, step_mm=0.1,
)  # fmt: skip

#: Depth from a moving colour camera: 2 % of depth, correlated over 15-30 px (an assumption).
DEPTH_FROM_MOTION = DepthSensor(
    name="depth from motion", white_mm=5.0, correlated_mm=20.0, correlation_px=20.0, fixed_share=0.0, blur_px=6.0,
    lost_share=0.05, step_mm=1.0,
)  # fmt: skip
