"""Volumes of pours against published examples, and against other people's code."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from flatscan.levelling.binding.bounds import free
from flatscan.levelling.filling.least_fill import EdgeRule
from flatscan.levelling.pouring.flood import FloodPlan, flood
from flatscan.levelling.product import load_product
from flatscan.quantity import Quantity
from flatscan.surface.surface import NoiseModel, Slope, Surface

LITRES_PER_FT3 = 304.8**3 / 1e6
PRODUCT = replace(load_product(), greatest_layer_mm=None)


def surface_of(
    height_mm: np.ndarray, inside: np.ndarray | None = None, *, cell_mm: float, slope: Slope | None = None
) -> Surface:
    inside = np.ones(height_mm.shape, dtype=bool) if inside is None else inside
    height = np.where(inside, height_mm, np.nan).astype(np.float32)
    rows, cols = height.shape
    return Surface(
        height_mm=height,
        estimate_mm=height.copy(),
        white_mm=np.where(inside, 0.0, np.nan).astype(np.float32),
        count=np.ones(height.shape, dtype=np.int32),
        inside=inside,
        cell_mm=cell_mm,
        origin_mm=(0.0, 0.0),
        floor_from_scan=np.eye(4),
        outline=(np.array([[0.0, 0.0], [cols, 0.0], [cols, rows], [0.0, rows]]) * cell_mm,),
        noise=NoiseModel(0.0, 0.0, 50.0, 0.0, "stated"),
        slope=slope,
        kind="cloud",
    )


def poured(surface: Surface, least_layer_mm: float, limit_mm: float = 1.0) -> FloodPlan:
    product = replace(PRODUCT, least_layer_mm=least_layer_mm)
    rule = EdgeRule(cell_mm=surface.cell_mm, directions=4)
    targets = ((10.0 * surface.cell_mm, limit_mm),)
    return flood(surface, surface.estimate_mm, free(surface), targets, rule, product)


def litres_over(plan: FloodPlan, least_layer_mm: float) -> float:
    """Litres of the pours above the highest place, the least layer over everything taken off."""
    return sum(p.volume_l - p.area_m2 * least_layer_mm for p in plan.proposal.pours)


def test_one_grid_cell_filled_to_its_target():
    """A pocket calculator guide's example (manualshive.com 483108 p. 37), as a pour.

    Corners 75.4, 77.5, 74.6 and 80.5 ft, target 83 ft, 2000 ft²: 12 000 ft³ = 444.4 yd³. The height runs bilinearly
    between the corners; the pour is given the least layer with which its top is the target.
    """
    n = 100
    s = (np.arange(n) + 0.5) / n
    feet = np.outer(1 - s, 1 - s) * 75.4 + np.outer(1 - s, s) * 77.5 + np.outer(s, 1 - s) * 74.6 + np.outer(s, s) * 80.5
    surface = surface_of(304.8 * (feet - 77.0), cell_mm=np.sqrt(2000.0) * 304.8 / n)
    plan = poured(surface, 304.8 * (83.0 - float(feet.max())))
    cubic_feet = sum(p.volume_l for p in plan.proposal.pours) / LITRES_PER_FT3
    assert cubic_feet == pytest.approx(12_000.0, rel=1e-5)  # heights and fill are float32
    assert cubic_feet / 27.0 == pytest.approx(444.4, abs=0.05)


def test_a_round_basin_with_published_contour_areas():
    """Contours 3 m apart enclosing 375 to 2570 m² (engineeringdiscoveries.com, contour volume), filled to the top.

    Areas between contours are not given, so the basin here is of truncated cones, whose volume h/3 (A + B + sqrt(AB))
    is exact: 18 748 m³. The trapezoidal sum of 18 847.5 m³ is more than any stack of cones; Simpson's rule on the first
    five sections and one trapezoid give 18 760 m³; the page's "prismoidal" 16 535 m³ is wrong and far off.
    """
    areas_m2 = np.array([375.0, 620.0, 945.0, 1365.0, 1880.0, 2570.0])
    levels_mm = 3000.0 * np.arange(6)
    cell_mm = 200.0
    radii_mm = 1000.0 * np.sqrt(areas_m2 / np.pi)
    half = int(radii_mm[-1] // cell_mm) + 2
    y, x = np.mgrid[-half:half, -half:half] + 0.5
    radius = np.hypot(x, y) * cell_mm
    surface = surface_of(np.interp(radius, radii_mm, levels_mm), radius <= radii_mm[-1], cell_mm=cell_mm)
    plan = poured(surface, 1.0)
    cubic_metres = litres_over(plan, 1.0) / 1000.0
    cones = sum(a + b + np.sqrt(a * b) for a, b in itertools.pairwise(areas_m2))  # times h / 3 = 1 m
    # The rim's cells stand up to a cell's slope (0.8 m a metre) below the top contour, over the whole area: 0.5 %.
    top_mm = float(np.nanmax(surface.estimate_mm))
    short = (15_000.0 - top_mm) / 1000.0 * areas_m2[-1]
    assert cubic_metres + short == pytest.approx(cones, rel=1e-3)
    assert short < 0.01 * cones
    trapezoids = 3.0 * (areas_m2.sum() - 0.5 * (areas_m2[0] + areas_m2[-1]))
    simpson = areas_m2[0] + 4 * areas_m2[1] + 2 * areas_m2[2] + 4 * areas_m2[3] + areas_m2[4]
    assert trapezoids == pytest.approx(18_847.5)
    assert simpson + 1.5 * (areas_m2[4] + areas_m2[5]) == pytest.approx(18_760.0)
    assert cubic_metres + short < trapezoids
    assert cubic_metres + short == pytest.approx(18_760.0, rel=2e-3)
    assert abs(cubic_metres + short - 16_535.0) > 2000.0


@pytest.mark.parametrize("seed", range(4))
def test_basins_against_reconstruction(seed):
    """scikit-image's reconstruction by erosion fills a rough floor's basins to where they spill.

    Each of the larger ones, with its spill cell, poured by itself: with the least layer taken off, the same volume.
    """
    from scipy import ndimage
    from skimage.morphology import reconstruction

    z = ndimage.gaussian_filter(np.random.default_rng(seed).standard_normal((90, 130)), 5.0)
    z = (8.0 * z / z.std()).astype(np.float32).astype(np.float64)
    seed_map = z.copy()
    seed_map[1:-1, 1:-1] = z.max()
    filled = reconstruction(seed_map, z, method="erosion", footprint=np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]]))
    pools, count = ndimage.label(filled > z)
    sizes = ndimage.sum_labels(filled - z, pools, np.arange(1, count + 1))
    checked = 0
    for number in 1 + np.argsort(-sizes)[:4]:
        pool = pools == number
        level = filled[pool].max()
        spill = ndimage.binary_dilation(pool) & ~pool & (z == level)
        if np.ptp(filled[pool]) > 0.0 or pool.sum() < 40:
            continue
        assert spill.any()
        surface = surface_of(z, pool | spill, cell_mm=50.0)
        plan = poured(surface, 1.0, limit_mm=0.05)
        assert litres_over(plan, 1.0) == pytest.approx(sizes[number - 1] * 50.0**2 / 1e6, rel=1e-5)
        checked += 1
    assert checked >= 2


@pytest.mark.parametrize(("fall", "way"), [(0.0, 0.0), (4.0, 0.7), (12.0, -2.5)])
def test_against_a_solid_of_triangles(fall, way):
    """Volume by trimesh of the solid between floor and pour, the floor turned rigidly so that gravity is down.

    Vertices at the middles of cells and, as high as these, on the floor's edge: its volume is then the cells' own sum.
    Turning by f mm/m shortens lengths by f²/2 = 7e-5 at most.
    """
    import trimesh
    from scipy import ndimage

    cell_mm = 40.0
    z = ndimage.gaussian_filter(np.random.default_rng(7).standard_normal((60, 85)), 6.0)
    z = (3.0 * z / z.std()).astype(np.float32).astype(np.float64)
    rows, cols = z.shape
    slope = Slope(Quantity(fall, 0.1, "mm/m"), way) if fall else None
    surface = surface_of(z, cell_mm=cell_mm, slope=slope)
    plan = poured(surface, 2.0)

    x = np.concatenate([[0.0], np.arange(cols) + 0.5, [cols]]) * cell_mm
    y = np.concatenate([[0.0], np.arange(rows) + 0.5, [rows]]) * cell_mm
    points = np.stack([*np.meshgrid(x, y), np.pad(z, 1, mode="edge")], axis=-1).reshape(-1, 3)
    axis = np.array([-np.sin(way), np.cos(way), 0.0])  # turning about it takes the downhill side down
    floor = trimesh.transform_points(points, trimesh.transformations.rotation_matrix(np.arctan(fall / 1000.0), axis))
    inner = np.zeros((rows + 2, cols + 2), dtype=bool)
    inner[1:-1, 1:-1] = True
    top = floor.copy()
    top[:, 2] = floor[inner.ravel(), 2].max() + 2.0
    volume_l = abs(_between(trimesh, floor, top, rows + 2, cols + 2).volume) / 1e6
    assert sum(p.volume_l for p in plan.proposal.pours) == pytest.approx(volume_l, rel=3e-4)


def _between(trimesh, below: np.ndarray, above: np.ndarray, rows: int, cols: int):
    """Watertight solid between two surfaces over one grid of points."""
    at = np.arange(rows * cols).reshape(rows, cols)
    a, b, c, d = (q.ravel() for q in (at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]))
    up = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    rim = np.concatenate([at[0], at[1:, -1], at[-1, -2::-1], at[-2:0:-1, 0]])
    after, n = np.roll(rim, -1), rows * cols
    walls = np.concatenate([np.stack([rim, after, after + n], 1), np.stack([rim, after + n, rim + n], 1)])
    solid = trimesh.Trimesh(np.concatenate([below, above]), np.concatenate([up[:, ::-1], up + n, walls]), process=False)
    assert solid.is_watertight
    assert solid.is_winding_consistent
    return solid
