"""What the best estimate still holds of the noise."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from flatscan.measures.chords import Contacts
from flatscan.measures.left_noise import LeftNoise
from flatscan.surface.surface import NoiseModel, Surface

SurfaceOf = Callable[..., Surface]


def test_independent_readings_add_as_the_chord_weighs_them() -> None:
    """Gap = share·second + (1 - share)·first - reading: at a quarter 1 + 9/16 + 1/16 of equal variances."""
    left = LeftNoise(np.full((3, 9), 0.2, np.float32))
    rest = Contacts((1, 0), (1, 8), 800.0, 1.0)
    assert left.beneath((1, 4), rest) == pytest.approx(0.2 * np.sqrt(1.5), rel=1e-6)
    assert left.beneath((1, 2), rest) == pytest.approx(0.2 * np.sqrt(1.0 + 10.0 / 16.0), rel=1e-6)
    assert left.beneath((1, 4), None) == 0.0


def test_it_is_the_size_of_the_estimates_error(surface_of: SurfaceOf) -> None:
    """Terraces 2 mm apart in 0.3 mm of white noise: rms of the estimate's error over 12 captures against sigma's.

    The filter's own account leaves out the shape it takes away at the rims, and counts energy cautiously: the
    two must agree within a third.
    """
    y, x = np.indices((42, 60))
    floor = 2.0 * ((x // 12) % 2) + 0.5 * np.sin(y / 6.0)
    rng = np.random.default_rng(8)
    noise = NoiseModel(0.3, 0.0, 100.0, 0.0, "invented")
    error, said = [], []
    for _ in range(12):
        surface = surface_of(floor, noise=noise, rng=rng)
        error.append(np.mean(np.square(surface.estimate_mm - floor)))
        said.append(np.mean(np.square(LeftNoise.of(surface).sigma_mm)))
    assert np.sqrt(np.mean(said)) == pytest.approx(np.sqrt(np.mean(error)), rel=1.0 / 3.0)


def test_nothing_is_left_where_there_is_none(surface_of: SurfaceOf) -> None:
    left = LeftNoise.of(surface_of(np.where(np.indices((7, 12))[0] == 2, np.nan, 1.0)))
    np.testing.assert_array_equal(np.isnan(left.sigma_mm), np.indices((7, 12))[0] == 2)
    assert np.nanmax(left.sigma_mm) == 0.0
