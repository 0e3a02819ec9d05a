"""Between walls or between the ends of the faces: the figure that holds both."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.measures.joints.widths.edge_definition import TILE_EDGE_MM, between_walls_and_tops


def test_an_unknown_edge_has_the_moments_of_its_two_uniform_steps():
    """Draw r, then delta between 0 and 2 r. 400,000 draws: the mean scatters by 0.0009, the deviation by 0.0006."""
    rng = np.random.default_rng(1)
    delta = rng.uniform(0.0, 2.0 * rng.uniform(*TILE_EDGE_MM, 400_000))
    width, u, parts = between_walls_and_tops(3.0, 0.1, tile_edge_mm=None)
    assert width - 3.0 == pytest.approx(delta.mean(), abs=0.004)
    assert parts["edge_definition"] == pytest.approx(delta.std(), abs=0.003)
    assert (width - 3.0, parts["edge_definition"]) == pytest.approx((0.75, np.sqrt(0.2775)))
    assert u == pytest.approx(np.hypot(parts["wall"], parts["edge_definition"]))


@pytest.mark.parametrize("edge_mm", [0.3, 0.8, 2.0])
def test_a_known_edge_leaves_the_definition_alone_in_doubt(edge_mm: float):
    """Uniform between 0 and 2 r: mean r, deviation 2 r/√12 (JCGM 100, 4.3.7)."""
    width, _, parts = between_walls_and_tops(5.0, 0.0, tile_edge_mm=edge_mm)
    assert width == pytest.approx(5.0 + edge_mm)
    assert parts["edge_definition"] == pytest.approx(2.0 * edge_mm / np.sqrt(12.0))


def test_square_edges_change_nothing():
    assert between_walls_and_tops(5.0, 0.2, tile_edge_mm=0.0) == (5.0, 0.2, {"wall": 0.2, "edge_definition": 0.0})


def test_no_edge_is_negative():
    with pytest.raises(ValueError, match="tile_edge_mm"):
        between_walls_and_tops(5.0, 0.2, tile_edge_mm=-0.1)
