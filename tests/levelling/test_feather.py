"""The edge that runs out: its twin, and walls in its way."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.levelling.filling import feather
from flatscan.levelling.filling.feather import run_out


def test_twins_agree(monkeypatch: pytest.MonkeyPatch) -> None:
    if feather._kernel() is None:
        pytest.skip("numba is not installed")
    rng = np.random.default_rng(0)
    for _ in range(60):
        shape = tuple(rng.integers(1, 14, 2))
        z = rng.normal(0.0, 1.0, shape)
        z[rng.random(shape) < 0.1] = np.nan
        open_to = rng.random(shape) > 0.1
        core = np.where(rng.random(shape) < 0.2, rng.uniform(0.0, 4.0, shape), 0.0)
        step = rng.uniform(1.0, 3.0, shape)
        fast = run_out(z, core, step, open_to, 0.2)
        with monkeypatch.context() as patch:
            patch.setattr(feather, "_kernel", lambda: None)
            slow = run_out(z, core, step, open_to, 0.2)
        np.testing.assert_allclose(fast, slow, atol=1e-12)
        assert np.all((fast >= core) | np.isnan(z))


def test_an_edge_goes_round_a_wall() -> None:
    """A wall of three cells with a way round its end: distances as the edge walks them, none through the wall."""
    open_to = np.ones((4, 5), dtype=bool)
    open_to[:3, 2] = False
    core = np.zeros(open_to.shape)
    core[0, 1] = 5.0
    fill = run_out(np.zeros(core.shape), core, 5.0, open_to, 1.0)
    assert np.all(fill[:3, 2] == 0.0)
    # Two cells down, aslant to the wall's foot, aslant up behind it.
    np.testing.assert_allclose(fill[:, 1], [5.0, 4.0, 3.0, 2.0])
    aslant = np.sqrt(2.0)
    np.testing.assert_allclose(fill[3, 2], 3.0 - aslant)
    np.testing.assert_allclose(fill[2, 3], 3.0 - 2.0 * aslant)
    np.testing.assert_allclose(fill[3, 3], 2.0 - aslant)


def test_an_edge_stops_where_the_floor_stands_higher() -> None:
    """A step up of 1.5 mm beside 2 mm of fill: half a millimetre is left above it, and no more than that further on."""
    z = np.array([[0.0, 0.0, 1.5, 1.5, 0.0]])
    core = np.array([[2.0, 0.0, 0.0, 0.0, 0.0]])
    fill = run_out(z, core, 2.0, np.ones(z.shape, dtype=bool), 0.1)
    np.testing.assert_allclose(fill, [[2.0, 1.9, 0.4, 0.3, 0.2]])
