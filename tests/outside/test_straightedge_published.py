"""The straightedge gap against published examples and closed forms of outside origin."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flatscan.measures.chords import contacts_at, gap_field


def one_line(z: np.ndarray, cell_mm: float, edge_mm: float) -> np.ndarray:
    return gap_field(z[None, :], np.ones((1, len(z)), bool), cell_mm=cell_mm, edge_mm=edge_mm, directions=1).gap_mm[0]


def test_three_point_example() -> None:
    """German three-point example (din18202.de, read on a stored page): offsets 50, 62, 30 mm below a string -> 22 mm.

    Offsets are measured down from a parallel line, so the floor's height is their negative.
    """
    assert one_line(-np.array([50.0, 62.0, 30.0]), 1000.0, 2000.0)[1] == pytest.approx(22.0, abs=1e-5)


def test_dish_of_100_m_radius() -> None:
    """Sagitta R - sqrt(R² - (L/2)²) = 5.000125 mm for R = 100 m, L = 2 m; the parabola's L²/8R = 5.000 mm."""
    radius, cell = 100_000.0, 10.0
    x = (np.arange(401) - 200) * cell
    z = radius - np.sqrt(radius**2 - x**2)
    gap = one_line(z, cell, 2000.0)
    # float32 map: 5 mm ± 2.4e-7.
    assert gap[200] == pytest.approx(radius - math.sqrt(radius**2 - 1000.0**2), abs=1e-6)
    assert gap[200] == pytest.approx(5.000125, abs=2e-6)
    # Moving along the dish tilts the edge but leaves chord and sagitta alike to 1 in 10⁴ (slope 1 %).
    np.testing.assert_allclose(gap[100:301], 5.0, atol=1e-3)


def test_dish_in_every_direction() -> None:
    """The same bowl on a grid: oblique edges read the nearest cell, so less than a cell's height step is lost.

    At 1 m from the middle the bowl rises 10 mm/m: half a cell of 20 mm moves an end by at most 0.1 mm, and the
    window rounds the chord down by at most one spacing (28 mm of 2000: 2.8 % of 5 mm = 0.14 mm).
    """
    y, x = (np.indices((121, 121)) - 60) * 20.0
    z = (x**2 + y**2) / 2.0 / 100_000.0
    field = gap_field(z, np.ones(z.shape, bool), cell_mm=20.0, edge_mm=2000.0, directions=36)
    assert field.gap_mm[60, 60] == pytest.approx(5.0, abs=0.25)
    assert field.gap_mm[60, 60] >= 5.0 - 1e-5


@pytest.mark.parametrize("tilt", [0.0, 0.02])
def test_bar_on_two_high_points_ignores_overhang(tilt: float) -> None:
    """Reading rule of DIN 18202 as restated (TABLES: D3, D7): between the contacts only, the bar not levelled."""
    x = np.arange(21) * 100.0
    z = np.zeros(21)
    z[[5, 15]] = 4.0
    z += tilt * x
    gap = one_line(z, 100.0, 2000.0)
    assert gap[10] == pytest.approx(4.0, abs=1e-5)
    rest = contacts_at(
        z[None, :], np.ones((1, 21), bool), row=0, col=10, direction=0, cell_mm=100.0, edge_mm=2000.0, directions=1
    )
    assert rest is not None
    assert (rest.first, rest.second, rest.span_mm) == ((0, 5), (0, 15), pytest.approx(1000.0))
