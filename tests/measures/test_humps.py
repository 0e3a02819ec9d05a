"""The hump reading: closed forms and where it must be silent."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.measures.chords import gap_field
from flatscan.measures.humps import HumpLayout, hump_field


def test_ridge_of_a_roof() -> None:
    """A roof falling 2 mm per cell both ways: balanced over the ridge, ends 5 cells out hang 10 mm clear."""
    x = np.arange(21.0)
    z = np.tile(-2.0 * np.abs(x - 10.0), (9, 1))
    field = hump_field(z, np.ones(z.shape, bool), cell_mm=100.0, edge_mm=1000.0, directions=12)
    assert field.clearance_mm[4, 10] == pytest.approx(10.0)
    assert field.angles_rad[field.direction[4, 10]] == 0.0


def test_halved_reading_of_the_tipped_edge() -> None:
    """Press one end down on a bump and halve what the other shows: the same figure, by its own arithmetic.

    The edge through the crest (height c) and one end (a) stands at 2c - a over the other end (b): reading
    2c - a - b, halved c - (a + b)/2.
    """
    z = np.array([[1.0, 2.5, 4.0, 1.0, 0.0]])
    tipped = 2.0 * z[0, 2] - z[0, 0] - z[0, 4]
    field = hump_field(z, np.ones(z.shape, bool), cell_mm=500.0, edge_mm=2000.0)
    assert field.clearance_mm[0, 2] == pytest.approx(0.5 * tipped)


def test_hump_is_not_a_gap_and_a_dish_is_not_a_hump() -> None:
    y, x = (np.indices((21, 25)) - 10) * 100.0
    bump = -(x**2 + y**2) / 2e5
    inside = np.ones(bump.shape, bool)
    laid = {"cell_mm": 100.0, "edge_mm": 1000.0, "directions": 4}
    assert gap_field(bump, inside, **laid).gap_mm.max() < 1e-6
    # Sagitta L²/8R with R = 1e5 mm: 1.25 mm, along both axes.
    assert hump_field(bump, inside, **laid).clearance_mm[10, 10] == pytest.approx(1.25)
    assert hump_field(-bump, inside, **laid).clearance_mm.max() == 0.0


@pytest.mark.parametrize("directions", [4, 12])
def test_quarter_turn(directions: int) -> None:
    z = np.random.default_rng(3).normal(size=(7, 12))
    inside = np.ones(z.shape, bool)
    inside[5:, 9:] = False
    laid = {"cell_mm": 1.0, "edge_mm": 6.0, "directions": directions}
    straight = hump_field(np.where(inside, z, np.nan), inside, **laid).clearance_mm
    turned = hump_field(np.rot90(np.where(inside, z, np.nan)), np.rot90(inside), **laid).clearance_mm
    np.testing.assert_allclose(turned, np.rot90(straight), atol=1e-6)


def test_no_hump_across_a_wall_or_at_the_border() -> None:
    z = np.zeros((1, 21))
    z[0, 10] = 3.0
    inside = np.ones(z.shape, bool)
    assert hump_field(z, inside, cell_mm=1.0, edge_mm=10.0).clearance_mm[0, 10] == pytest.approx(3.0)
    inside[0, 12] = False
    z[0, 12] = np.nan
    assert hump_field(z, inside, cell_mm=1.0, edge_mm=10.0).clearance_mm[0, 10] == 0.0
    assert hump_field(z[:, 7:], inside[:, 7:], cell_mm=1.0, edge_mm=30.0).clearance_mm[0, 3] == 0.0


@pytest.mark.parametrize("shape", [(0, 3), (1, 1), (1, 7), (6, 1)])
def test_small_grids(shape: tuple[int, int]) -> None:
    field = hump_field(np.zeros(shape), np.ones(shape, bool), cell_mm=1.0, edge_mm=4.0)
    assert field.clearance_mm.shape == shape
    assert np.all(field.clearance_mm == 0.0)


def test_layout_shared_by_many_maps() -> None:
    """The worst clearance alone equals that of the whole field, walls and holes included."""
    rng = np.random.default_rng(4)
    inside = np.ones((17, 22), bool)
    inside[5:9, 10:13] = False
    layout = HumpLayout.of(inside, cell_mm=1.0, edge_mm=7.0)
    for _ in range(3):
        z = np.where(inside & (rng.random(inside.shape) > 0.1), rng.normal(size=inside.shape), np.nan)
        z = z.astype(np.float32)
        np.testing.assert_array_equal(layout.worst(z), hump_field(z, inside, cell_mm=1.0, edge_mm=7.0).clearance_mm)
