"""F-numbers along lines that a person laid out."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from flatscan.measures.f_numbers import measure_f_numbers
from flatscan.measures.lines import given_lines
from flatscan.surface.surface import Surface

LINE = ((300.0, 400.0), (4500.0, 1200.0))


def test_readings_lie_300_mm_apart_from_the_first_end_on(surface_of: Callable[..., Surface]) -> None:
    (line,), missed = given_lines(surface_of(np.zeros((40, 100)), cell_mm=50.0), [LINE])
    assert missed == []
    places = np.column_stack([line.col + 0.5, line.row + 0.5]) * 50.0
    assert places[0] == pytest.approx(LINE[0], abs=1e-9)
    np.testing.assert_allclose(np.hypot(*np.diff(places, axis=0).T), 300.0, rtol=1e-12)
    # √(4200² + 800²) = 4275.5 mm holds 14 steps.
    assert len(places) == 15


def test_a_line_over_a_hole_or_beyond_the_floor_is_named_and_left_out(surface_of: Callable[..., Surface]) -> None:
    floor = np.zeros((40, 100))
    floor[20:26, 50] = np.nan
    surface = surface_of(floor, cell_mm=50.0)
    across, beyond, sound = ((200.0, 1100.0), (4000.0, 1100.0)), ((200.0, 200.0), (5600.0, 200.0)), LINE
    lines, missed = given_lines(surface, [across, beyond, sound])
    assert len(lines) == 1
    assert missed == [1, 2]


def test_a_sine_along_the_given_line_has_its_closed_form_ff(surface_of: Callable[..., Surface]) -> None:
    """O-1d's form for a 300 mm step: q = 4 A sin²(pi h/λ) in size, S_q = that over √2; FF = 112.5/(3 S_q)."""
    x = (np.arange(1200) + 0.5) * 10.0
    amplitude, wave = 2.0, 2400.0
    floor = np.tile(amplitude * np.sin(2 * np.pi * x / wave), (30, 1))
    surface = surface_of(floor, cell_mm=10.0)
    # 36 steps of 300 mm: four and a half waves, so the mean curvature is near zero but for the ends' share.
    lines, _ = given_lines(surface, [((600.0, 150.0), (600.0 + 300.0 * 33, 150.0))])
    found = measure_f_numbers(surface, rng=np.random.default_rng(0), given=lines)
    assert found is not None
    assert found.ff is not None
    s_q = 4 * amplitude * np.sin(np.pi * 300.0 / wave) ** 2 / np.sqrt(2)
    # 32 curvatures are four whole waves: mean 0; S with n - 1 is √(32/31) times the rms; reading between cells
    # of 10 mm loses at most (2 pi/λ · 5)² / 2 = 0.009 % of the amplitude, the smoothing less than 1 %.
    assert found.ff.value == pytest.approx(112.5 / (3 * s_q * np.sqrt(32 / 31)), rel=0.01)
