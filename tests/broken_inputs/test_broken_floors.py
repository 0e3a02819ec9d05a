"""Captures that hold no floor that can be judged: one sentence with what, where and what to do."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.errors import EXIT_BAD_INPUT, InputError
from flatscan.settings import SurfaceSettings
from flatscan.sources.scan import Scan
from flatscan.surface import find_surface

RNG = np.random.default_rng(1)


def _floor(width, depth, per_m2, seed=0, sigma=0.5):
    rng = np.random.default_rng(seed)
    n = int(width * depth * per_m2 / 1e6)
    return np.column_stack([rng.uniform(0, width, n), rng.uniform(0, depth, n), rng.normal(0, sigma, n)])


def _wall(width, height, per_m2):
    return _floor(width, height, per_m2)[:, [0, 2, 1]]


def _find(points, settings=None, up=(0, 0, 1.0), kind="cloud", **more):
    up = None if up is None else np.asarray(up, float)
    scan = Scan(kind, np.asarray(points, np.float32), np.zeros(3), up, up is not None, (), **more)
    return find_surface(scan, settings or SurfaceSettings(), seed_rng=np.random.default_rng(0))


@pytest.mark.parametrize(
    ("points", "says"),
    [
        (np.empty((0, 3)), "holds 0 points"),
        (np.eye(3) * 1000.0, "holds 3 points"),
        (np.full((5000, 3), np.nan), "5000 of 5000 points are not numbers"),
        (np.vstack([_floor(3000, 2000, 500), [[np.inf, 0, 0]]]), "1 of 3001 points"),
        (np.linspace((0, 0, 0), (5000, 3000, 20), 2000), "on one line"),
        (np.zeros((2000, 3)), "on one line"),
        (_wall(4000, 2500, 500), "no floor in view"),
        (RNG.uniform(0, 4000, (20_000, 3)), "apart"),
        (_floor(450, 440, 20_000), "0.25 m²"),
        (_floor(6000, 5000, 60), "apart"),
    ],
    ids=["none", "three", "nan", "one inf", "line", "one place", "wall", "fog", "0.2 m²", "sparse"],
)
def test_refused_with_what_where_and_advice(points, says):
    with pytest.raises(InputError) as caught:
        _find(points)
    text = str(caught.value)
    assert says in text
    assert caught.value.advice[0].isupper() or caught.value.advice[0].isdigit() or caught.value.advice.startswith("The")
    assert text.endswith(".")
    assert "\n" not in text
    assert EXIT_BAD_INPUT == 2


def test_a_ceiling_seen_from_below_is_no_floor():
    ceiling = _floor(4000, 3000, 2000) + np.array([0, 0, 2500])
    with pytest.raises(InputError, match="no floor in view"):
        _find(ceiling, viewpoints_mm=np.array([[2000.0, 1500.0, 1500.0]]))


def test_floor_seen_in_crumbs():
    """A rim and a few patches of a room of 12 m²: 3 m² are seen."""
    points = _floor(4000, 3000, 4000)
    x, y = points[:, 0], points[:, 1]
    rim = (np.minimum(x, 4000 - x) < 150) | (np.minimum(y, 3000 - y) < 150)
    with pytest.raises(InputError, match="was seen") as caught:
        _find(points[rim])
    assert "30 %" in caught.value.advice
    # The same is accepted by one who asks for it, with a caveat.
    surface = _find(points[rim], SurfaceSettings(least_seen_share=0.1))
    assert "partly_seen" in {c.name for c in surface.caveats}


def test_the_least_floor_is_accepted():
    surface = _find(_floor(620, 610, 20_000))
    assert 0.25 < surface.area_m2 < 0.62 * 0.61


def test_coarse_sensor_is_a_caveat_with_a_figure_not_an_error():
    surface = _find(_floor(3400, 1900, 6000, sigma=12.0), SurfaceSettings(cell_mm=20.0))
    found = {c.name: c.text for c in surface.caveats}
    assert "too_coarse" in found
    assert "mm" in found["too_coarse"]


def test_wrong_up_without_gravity_is_searched_for():
    """A file whose stated up axis is not up: found all the same, and told."""
    points = np.vstack([_floor(4000, 3000, 2000), _floor(4000, 2500, 800)[:, [0, 2, 1]] + (0, 3000, 0)])
    turned = points @ np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))[0]
    scan = Scan("cloud", turned.astype(np.float32), np.zeros(3), np.array([0, 0, 1.0]), False, ())
    try:
        surface = find_surface(scan, SurfaceSettings(), seed_rng=np.random.default_rng(0))
    except InputError as error:
        pytest.fail(str(error))
    assert "up_inferred" in {c.name for c in surface.caveats}
