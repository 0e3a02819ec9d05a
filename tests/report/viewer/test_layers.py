"""A layer comes back as it went in, but for half a step."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from flatscan.report.viewer.layer import pack


def _oracle() -> ModuleType:
    path = Path(__file__).parents[2] / "oracles" / "laid_edges.py"
    spec = importlib.util.spec_from_file_location("laid_edges", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


unpack = _oracle().unpack
GRIDS = hnp.arrays(
    np.float32,
    hnp.array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=13),
    elements=st.one_of(st.just(float("nan")), st.floats(-150.0, 150.0, width=32), st.floats(-0.25, 0.25, width=32)),
)


@given(GRIDS, st.sampled_from([0.0001, 0.002, 0.004, 0.02, 1.0]))
@settings(max_examples=300, deadline=None)
def test_any_grid_comes_back_within_half_a_step(values: np.ndarray, scale: float) -> None:
    layer = pack(values, name="height", title="Height", cell_mm=5.0, scale=scale).as_dict()
    back = unpack(layer)
    assert back.shape == values.shape
    assert (np.isnan(back) == np.isnan(values)).all()
    seen = np.isfinite(values)
    assert np.abs(back - values)[seen].max(initial=0.0) <= scale / 2 * (1 + 1e-6) + 1e-9
    assert layer["nodata"] == 2 ** layer["bits"] - 1


@pytest.mark.parametrize(("span", "bits"), [(253.0, 8), (254.0, 16), (65533.0, 16), (65534.0, 32), (1e9, 32)])
def test_so_many_bits_as_the_range_asks_for(span: float, bits: int) -> None:
    values = np.array([[-7.0, np.nan], [span - 7.0, 0.0]])
    layer = pack(values, name="height", title="", cell_mm=1.0, scale=1.0)
    assert layer.bits == bits
    np.testing.assert_array_equal(unpack(layer.as_dict()), values)


def test_what_does_not_fit_is_a_mistake_of_ours() -> None:
    with pytest.raises(ValueError, match="does not fit"):
        pack(np.array([[0.0, 1e12]]), name="height", title="", cell_mm=1.0, scale=1.0)


def test_a_smooth_floor_takes_little() -> None:
    """Differences along a smooth row are small numbers: the high bytes are all alike and pack to almost nothing."""
    y, x = np.indices((300, 400)) * 5.0
    floor = 3.0 * np.sin(x / 900.0) * np.cos(y / 700.0)
    layer = pack(floor, name="height", title="", cell_mm=5.0, scale=0.002)
    assert layer.bits == 16
    assert len(layer.data) < 0.5 * floor.size
