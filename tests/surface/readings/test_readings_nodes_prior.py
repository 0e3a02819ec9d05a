"""Cells, interpolation between them, and what each prior says of a field: closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatscan.sources.hand.field_readings import StepLine
from flatscan.surface.readings.factors import rank_of
from flatscan.surface.readings.floor_prior import _MM_PER_KAPPA, KINDS, SHORT_MM, _rows, likely_floors
from flatscan.surface.readings.nodes import MOST_NODES, crosses, lay_nodes
from flatscan.surface.readings.observations import observe
from flatscan.surface.readings.prior import bend_changes, slopes, thin_plate
from flatscan.synth.outline import l_shape, rectangle

WALL_TO_WALL = StepLine(1, (430.0, -10.0), (470.0, 710.0))


def test_cells_end_at_the_walls_where_they_can():
    nodes = lay_nodes(rectangle(5000.0, 4000.0))
    assert (nodes.spacing_mm, nodes.origin_mm, nodes.inside.shape) == (100.0, (0.0, 0.0), (40, 50))
    # 3.71 m and 5.30 m: no cell of 90 to 110 mm fits both; what is left over is no more than a fifth of a cell.
    nodes = lay_nodes(rectangle(5300.0, 3710.0))
    rows, cols = nodes.inside.shape
    assert max(abs(cols * nodes.spacing_mm - 5300.0), abs(rows * nodes.spacing_mm - 3710.0)) < 20.0
    assert 90.0 <= nodes.spacing_mm <= 110.0


def test_large_floors_have_larger_cells_and_small_ones_smaller():
    assert lay_nodes(rectangle(30_000.0, 20_000.0)).count == pytest.approx(MOST_NODES, rel=0.25)
    assert lay_nodes(rectangle(3000.0, 250.0)).inside.shape[0] >= 4
    assert lay_nodes(rectangle(1200.0, 700.0), cell_mm=100.0).inside.shape == (7, 12)


@settings(max_examples=40, deadline=None)
@given(
    st.tuples(*[st.floats(-5, 5)] * 3),
    st.floats(0, 1),
    st.floats(0, 1),
    st.sampled_from([rectangle(1300.0, 740.0), l_shape(1300.0, 900.0, 500.0, 320.0), rectangle(1300.0, 740.0) + 1e6]),
)
def test_a_plane_stays_a_plane_up_to_the_walls(plane, right, up, room):
    nodes = lay_nodes(room)
    at = room.min(axis=0) + np.array([[right, up]]) * np.ptp(room, axis=0)
    weights = nodes.weights(at)
    assert weights.sum() == pytest.approx(1.0, abs=1e-12)
    middle = room.mean(axis=0)
    height = plane[0] + (nodes.xy_mm - middle) / 1000.0 @ plane[1:]
    here = plane[0] + (at[0] - middle) / 1000.0 @ plane[1:]
    assert (weights @ height)[0] == pytest.approx(here, abs=1e-6)


def test_between_nodes_heights_are_bilinear_and_at_nodes_their_own(l_room):
    nodes = lay_nodes(l_room, cell_mm=100.0)
    height = np.random.default_rng(0).normal(size=nodes.count)
    np.testing.assert_allclose(nodes.weights(nodes.xy_mm) @ height, height, atol=1e-12)
    x, y = nodes.xy_mm.T
    twisted = x * y * 1e-4 + 0.3 * x
    at = np.array([[275.0, 341.0], [1099.0, 322.0], [733.0, 610.0]])
    np.testing.assert_allclose(nodes.weights(at) @ twisted, at.prod(axis=1) * 1e-4 + 0.3 * at[:, 0], atol=1e-9)


def test_a_place_beside_a_step_takes_its_own_side_only(l_room):
    nodes = lay_nodes(l_room, cell_mm=100.0)
    x, y = nodes.xy_mm.T
    beyond = x - 430.0 > (y + 10.0) * 40.0 / 720.0
    height = np.where(beyond, 5.0 + 0.01 * y, 0.02 * x)
    at = np.array([[420.0, 100.0], [448.0, 100.0], [455.0, 650.0], [475.0, 650.0]])
    truth = [8.4, 6.0, 9.1, 11.5]
    np.testing.assert_allclose(nodes.weights(at, (WALL_TO_WALL,)) @ height, truth, atol=1e-9)
    assert np.abs(nodes.weights(at) @ height - truth).max() > 0.5


def test_lines_that_cross():
    step = (StepLine(1, (0.0, 0.0), (10.0, 10.0)),)
    a = np.array([[0.0, 5.0], [0.0, 5.0], [20.0, 15.0], [3.0, 1.0]])
    b = np.array([[5.0, 0.0], [1.0, 9.0], [15.0, 20.0], [9.0, 2.0]])
    assert crosses(a, b, step).tolist() == [True, False, False, False]
    assert not crosses(a, b, ()).any()


@pytest.mark.parametrize(("steps", "free"), [((), 3), ((WALL_TO_WALL,), 6)])
def test_thin_plate_leaves_a_plane_free_for_each_piece_of_floor(l_room, steps, free):
    nodes = lay_nodes(l_room, cell_mm=100.0)
    plate = thin_plate(nodes, steps)
    assert rank_of(plate) == nodes.count - free == np.linalg.matrix_rank(plate.toarray())


def test_energies_of_polynomials_are_their_integrals():
    room = rectangle(1700.0, 900.0)
    nodes = lay_nodes(room, cell_mm=50.0)
    rows, cols = nodes.inside.shape
    x, y = (nodes.xy_mm - nodes.xy_mm.mean(axis=0)).T
    cell = 50.0**2
    # Differences of polynomials of their own degree are exact; each kind reaches over its own part of the cells.
    u = 3e-6 * x**2 - 2e-6 * x * y + 5e-6 * y**2
    along_x, along_y, twist = (cols - 2) * rows, (rows - 2) * cols, (rows - 1) * (cols - 1)
    energy = cell * (along_x * 6e-6**2 + along_y * 1e-5**2 + twist * 2 * 2e-6**2)
    assert np.sum((thin_plate(nodes) @ u) ** 2) == pytest.approx(energy, rel=1e-9)
    u = 0.002 * x - 0.003 * y
    energy = cell * ((cols - 1) * rows * 0.002**2 + (rows - 1) * cols * 0.003**2)
    assert np.sum((slopes(nodes) @ u) ** 2) == pytest.approx(energy, rel=1e-9)
    u = 1e-9 * x**3 + 2e-9 * x**2 * y - 3e-9 * x * y**2 - 1e-9 * y**3
    energy = cell * (
        (cols - 3) * rows * 6e-9**2
        + (rows - 3) * cols * 6e-9**2
        + (cols - 2) * (rows - 1) * 3 * 4e-9**2
        + (rows - 2) * (cols - 1) * 3 * 6e-9**2
    )
    assert np.sum((bend_changes(nodes) @ u) ** 2) == pytest.approx(energy, rel=1e-9)
    assert np.abs(bend_changes(nodes) @ (x * y + x**2)).max() < 1e-9


@pytest.mark.parametrize(("alpha", "range_mm"), KINDS)
def test_each_kind_of_floor_has_the_spectrum_and_the_size_it_says(alpha, range_mm):
    nodes = lay_nodes(rectangle(4000.0, 3000.0), cell_mm=50.0)
    rows = _rows(nodes, (), alpha, range_mm)
    # Energy of a standing wave of amplitude 1: mean square 1/4 times area times c² (1/ρ² + k²)^α; waves that meet the
    # walls squarely, so that what is cut off there is small. c from the variance beyond k₀, integrated numerically.
    k0 = 2 * np.pi / SHORT_MM
    k = k0 * np.exp(np.linspace(0.0, 14.0, 200_001))
    variance = np.trapezoid((range_mm**-2 + k**2) ** -alpha * k**2, np.log(k)) / (2 * np.pi)
    c2 = variance / _MM_PER_KAPPA**2
    for p, q in ((2, 2), (4, 2), (3, 5)):
        kx, ky = p * np.pi / 4000.0, q * np.pi / 3000.0
        x, y = nodes.xy_mm.T
        wave = np.cos(kx * x) * np.cos(ky * y)
        energy = 0.25 * 12e6 * c2 * (range_mm**-2 + kx**2 + ky**2) ** alpha
        # Rows at the walls are left out: one cell in 60 and one in 80 for each derivative.
        assert np.sum((rows @ wave) ** 2) == pytest.approx(energy, rel=0.09)
    assert pytest.approx(89.8, abs=0.1) == _MM_PER_KAPPA


def test_all_kinds_share_planes_and_bends_for_each_piece(l_room, hand):
    nodes = lay_nodes(l_room, cell_mm=100.0)
    observations = observe(hand.field(levels=hand.levels(hand.flat, [(100, 100), (900, 200)])), nodes)
    for steps, planes in (((), 3), ((WALL_TO_WALL,), 6)):
        more, priors = likely_floors(observations, nodes, steps)
        added = len(more.nuisance_sigma_mm) - len(observations.nuisance_sigma_mm)
        assert added == planes + 7
        x, y = nodes.xy_mm.T
        beyond = x - 430.0 > (y + 10.0) * 40.0 / 720.0
        height = np.where(beyond & bool(steps), 4.0 - 0.003 * y, 0.002 * x)
        for prior in priors:
            wide = prior.rows.toarray()
            trend = np.linalg.lstsq(wide[:, -added:], -wide[:, : nodes.count] @ height, rcond=None)[0]
            left = wide[:, : nodes.count] @ height + wide[:, -added:] @ trend
            assert np.abs(left).max() < 1e-9 * np.abs(wide[:, : nodes.count] @ height).max() + 1e-12
