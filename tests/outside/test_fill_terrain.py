"""Low places of a real terrain, found and filled by other people's code, through our volumes and areas.

The `lidar` package (MIT) carries a 400 x 400 m terrain at 1 m (`dem.tif`) and its depressions as that package's
authors found them with a third code (`sink.tif`). scikit-image's reconstruction fills the depressions.
"""

from __future__ import annotations

import importlib.metadata
import logging
from dataclasses import replace

import numpy as np
import pytest

from flatscan.levelling.binding.bounds import free
from flatscan.levelling.filling.least_fill import EdgeRule
from flatscan.levelling.marking.areas import areas_of, fill_labels, volumes_by_area
from flatscan.levelling.pouring.flood import flood
from flatscan.levelling.product import load_product
from flatscan.levelling.quantities import volume_l
from flatscan.surface.surface import NoiseModel, Surface

CELL_MM = 1000.0


def packaged(name: str) -> np.ndarray:
    import tifffile

    logging.getLogger("tifffile").setLevel(logging.CRITICAL)  # its no-data tag does not fit float32
    (entry,) = (f for f in importlib.metadata.files("lidar") or () if f.name == name)
    return np.asarray(tifffile.imread(entry.locate()), dtype=np.float64)


def poured_l(height_mm: np.ndarray) -> float:
    """Litres of a pour to the highest place, of a product that needs 1 mm there; that layer taken off again."""
    inside = np.isfinite(height_mm)
    height = height_mm.astype(np.float32)
    surface = Surface(
        height_mm=height,
        estimate_mm=height.copy(),
        white_mm=np.where(inside, 0.0, np.nan).astype(np.float32),
        count=inside.astype(np.int32),
        inside=inside,
        cell_mm=CELL_MM,
        origin_mm=(0.0, 0.0),
        floor_from_scan=np.eye(4),
        outline=(),
        noise=NoiseModel(0.0, 0.0, 50.0, 0.0, "stated"),
        slope=None,
        kind="cloud",
    )
    product = replace(load_product(), least_layer_mm=1.0, greatest_layer_mm=None)
    targets, rule = ((10.0 * CELL_MM, 0.05),), EdgeRule(cell_mm=CELL_MM, directions=4)
    pours = flood(surface, surface.estimate_mm, free(surface), targets, rule, product).proposal.pours
    return sum(pour.volume_l - pour.area_m2 * 1.0 for pour in pours)


@pytest.fixture(scope="module")
def terrain():
    return packaged("dem.tif")


@pytest.fixture(scope="module")
def fill_m(terrain):
    from skimage.morphology import reconstruction

    seed = terrain.copy()
    seed[1:-1, 1:-1] = terrain.max()
    return reconstruction(seed, terrain, method="erosion") - terrain


def test_volume_and_place_of_the_depressions(fill_m):
    """450 134 m³, 99.99 % of it where the other code's mask says there is a depression."""
    sinks = packaged("sink.tif") > 0
    cubic_metres = volume_l(1000.0 * fill_m, CELL_MM) / 1000.0
    assert cubic_metres == pytest.approx(450_134.0, abs=1.0)
    inside = volume_l(np.where(sinks, 1000.0 * fill_m, np.nan), CELL_MM) / 1000.0
    assert inside / cubic_metres > 0.9998


def test_each_depression_poured_level_holds_what_the_other_code_filled(terrain, fill_m):
    """Our level pour, up to the rim of each of the twenty largest depressions, against their filling of it.

    Within a depression the filled surface is level, and the rim is the first cell that spills: pour to the
    highest cell of the depression and the lowest spill point beside it.
    """
    from scipy import ndimage

    labels, count = ndimage.label(fill_m > 0, structure=np.ones((3, 3)))
    sizes = ndimage.sum_labels(fill_m, labels, np.arange(1, count + 1))
    checked = 0
    for number in 1 + np.argsort(-sizes)[:20]:
        pool = labels == number
        level = (terrain + fill_m)[pool]
        if np.ptp(level) > 1e-9:
            continue  # two pools of different level that touch
        spill = ndimage.binary_dilation(pool, np.ones((3, 3))) & ~pool & (np.abs(terrain - level[0]) < 1e-9)
        assert spill.any() or pool[[0, -1]].any() or pool[:, [0, -1]].any()
        litres = poured_l(np.where(pool | spill, 1000.0 * (terrain - level[0]), np.nan))
        assert litres / 1000.0 == pytest.approx(sizes[number - 1], rel=1e-5)  # heights are float32
        checked += 1
    assert checked >= 15


def test_areas_enclose_the_depressions(fill_m):
    """Numbered areas and the rest add up to the whole; outlines hold their cells and not the others'."""
    import shapely

    fill_mm = 1000.0 * fill_m
    labels = fill_labels(fill_mm, CELL_MM)
    litres = np.array([volumes_by_area(fill_mm, labels, CELL_MM)] * 2)
    areas = areas_of(fill_mm, labels, litres, cell_mm=CELL_MM, origin_mm=(5_000.0, -2_000.0))
    total = volume_l(fill_mm, CELL_MM)
    assert sum(a.volume_l.value for a in areas) + litres[0, 0] == pytest.approx(total, rel=1e-9)
    assert [a.volume_l.value for a in areas] == sorted((a.volume_l.value for a in areas), reverse=True)
    rows, cols = np.nonzero(labels)
    x, y = 5_000.0 + (cols + 0.5) * CELL_MM, -2_000.0 + (rows + 0.5) * CELL_MM
    for area in areas[:5]:
        polygon = shapely.Polygon(area.rings[0], area.rings[1:])
        assert polygon.is_valid
        mine = labels[rows, cols] == area.number
        # The outline is smoothed by up to 0.75 of a cell, so only cells along it may change sides.
        along = shapely.distance(polygon.boundary, shapely.points(x, y)) < CELL_MM
        np.testing.assert_array_equal(shapely.contains_xy(polygon, x, y)[~along], mine[~along])
        assert not along[mine].all()
