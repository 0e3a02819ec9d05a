"""An invented L-shaped floor with places to fill and to grind, joints, lips, a door, zones and a movement joint."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from scipy import ndimage

from flatscan.levelling.binding.bounds import free
from flatscan.levelling.joints.joint_work import JointFill, JointWork, LipDown
from flatscan.levelling.marking.areas import areas_of, fill_labels, grind_areas_of, volumes_by_area
from flatscan.levelling.plan import Dam, LevellingPlan, Method
from flatscan.levelling.product import load_product
from flatscan.quantity import Quantity
from flatscan.report.marking import MarkingData, marking_data
from flatscan.sources.scan import InputFile
from flatscan.sources.survey.survey import Door, Survey, Zone
from flatscan.surface.surface import NoiseModel, Surface

HOSTILE = '=1+1 #panic("x") %%u\\U+0041\n\x00\x1b[31m<b> $1/0$ ^J {\\fArial;x}'
L_ROOM = np.array([(0, 0), (6000, 0), (6000, 4500), (2600, 4500), (2600, 2500), (0, 2500)], dtype=np.float64)
CELL_MM = 20.0


def surface_of(ring: np.ndarray, cell_mm: float = CELL_MM) -> Surface:
    cols, rows = np.ceil(ring.max(axis=0) / cell_mm).astype(int)
    y, x = (np.mgrid[0:rows, 0:cols] + 0.5) * cell_mm
    inside = shapely.contains_xy(shapely.Polygon(ring).buffer(-30.0), x, y)
    height = np.where(inside, 0.0, np.nan).astype(np.float32)
    return Surface(
        height_mm=height,
        estimate_mm=height.copy(),
        white_mm=np.where(inside, 0.3, np.nan).astype(np.float32),
        count=9 * inside.astype(np.int32),
        inside=inside,
        cell_mm=cell_mm,
        origin_mm=(0.0, 0.0),
        floor_from_scan=np.eye(4),
        outline=(np.concatenate([ring, ring[:1]]),),
        noise=NoiseModel(0.3, 0.2, 100.0, 0.1, "invented"),
        slope=None,
        kind="cloud",
    )


def mm(value: float, u: float) -> Quantity:
    return Quantity(value, u, "mm")


def joint_work(joints: int, lips: int, ring: np.ndarray = L_ROOM, seed: int = 5) -> JointWork:
    rng = np.random.default_rng(seed)
    room = shapely.Polygon(ring)
    wide, deep = ring.max(axis=0)
    fills: list[JointFill] = []
    while len(fills) < joints:
        x, y = 300.0 * rng.integers(1, wide // 300), 300.0 * rng.integers(1, deep // 300)
        line = ((float(x), float(y)), (float(x + rng.choice([300, 600, 900])), float(y)))
        if room.contains(shapely.LineString(line)):
            k = len(fills)
            fills.append(
                JointFill(
                    joint=HOSTILE if k == 0 else f"H{k}",
                    line=line,
                    length_mm=line[1][0] - line[0][0],
                    word="not_decided" if k % 3 == 0 else "over",
                    width=None if k % 4 == 0 else mm(6.1, 0.4),
                    depth=mm(3.2, 0.5),
                    volume=Quantity(0.02, 0.006, "l"),
                    guessed=k % 4 == 0,
                )
            )
    downs: list[LipDown] = []
    while len(downs) < lips:
        x, y = 300.0 * rng.integers(1, wide // 300), 150.0 + 300.0 * rng.integers(0, deep // 300)
        if room.contains(shapely.Point(x, y)):
            k = len(downs)
            at = (float(x), float(y))
            downs.append(
                LipDown(
                    joint=f"V{k}",
                    at=at,
                    line=((at[0], at[1] - 150.0), (at[0], at[1] + 150.0)),
                    high_at=(at[0] + (100.0 if k % 2 else -100.0), at[1]),
                    length_mm=300.0,
                    word="not_decided" if k % 8 == 3 else "over",
                    lip=mm(2.6 - 0.01 * k, 0.3),
                    limit_mm=1.0,
                )
            )
    return JointWork(tuple(fills), tuple(downs), Quantity(1.0, 0.2, "l"), 50.0, 2.0)


def plan_of(surface: Surface, work: JointWork | None, *, width: float = 9.0, least: float = 1.0) -> LevellingPlan:
    field = ndimage.gaussian_filter(np.random.default_rng(4).normal(size=surface.inside.shape), width)
    field /= field.std()
    fill = np.maximum(0.0, 4.0 * (field - least))
    fill[(fill > 0) & (fill < 1.0)] = 1.0
    grind = np.maximum(0.0, 2.0 * (-field - 1.5))
    for grid in (fill, grind):
        grid[~surface.inside] = np.nan
    labels = fill_labels(fill, surface.cell_mm)
    draws = np.array([volumes_by_area(k * fill, labels, surface.cell_mm) for k in (0.9, 1.0, 1.2)])
    place = {"cell_mm": surface.cell_mm, "origin_mm": surface.origin_mm, "outline": surface.outline}
    areas = areas_of(fill, labels, draws, **place)  # type: ignore[arg-type]
    areas += grind_areas_of(grind, first_number=len(areas) + 1, **place)  # type: ignore[arg-type]
    volume = Quantity(float(draws[:, 1:].sum(axis=1).mean()), 1.0, "l")
    bounds = free(surface)
    void = bounds.void_mm.copy()
    void[20:35, 50:65] = 12.0
    method = Method(
        "grind_and_patch", volume, (9.0, 15.0), Quantity(20.0, 2.0, "kg"), 2, (2, 3), 3.0, 3.0, 9.0,
        volume_p_l=(9.8, 11.9, 14.2), buy=3, keep_sealed=1, ground_l=0.04, ground_m2=0.9,
    )  # fmt: skip
    return LevellingPlan(
        methods=(method,),
        areas=areas,
        fill_mm=fill.astype(np.float32),
        product=load_product(None),
        targets=((2000.0, 3.0),),
        caveats=(),
        grind_mm=grind.astype(np.float32),
        chosen="grind_and_patch",
        joint_work=work,
        dams=(Dam(np.array([(2600.0, 2500.0), (2600.0, 0.0)]), 8.0, "at the passage"),),
        bounds=replace(bounds, void_mm=void),
    )


def survey() -> Survey:
    return Survey(
        file=InputFile(Path("survey.toml"), "0" * 64, "survey"),  # type: ignore[arg-type]
        zones=(
            Zone("no_fill", "floor drain", np.array([(4000.0, 3000), (4300, 3000), (4300, 3300), (4000, 3300)])),
            Zone("no_grind", HOSTILE, np.array([(300.0, 300), (1500, 300), (1500, 800), (300, 800)])),
        ),
        doors=(Door("hall door", ((1000.0, 0.0), (1900.0, 0.0))),),
        movement_joints_mm=(((2600.0, 2500.0), (6000.0, 2500.0)),),
    )


@pytest.fixture(scope="session")
def surface() -> Surface:
    return surface_of(L_ROOM)


@pytest.fixture(scope="session")
def data(surface: Surface) -> MarkingData:
    return marking_data(
        plan_of(surface, joint_work(14, 9)), surface, survey=survey(), title=f"Invented floor {HOSTILE}"
    )


@pytest.fixture(scope="session")
def crowded(surface: Surface) -> MarkingData:
    """More areas, joints and lips than anyone wants."""
    return marking_data(plan_of(surface, joint_work(150, 80), width=3.5, least=0.7), surface)


@pytest.fixture(scope="session")
def empty(surface: Surface) -> MarkingData:
    plan = plan_of(surface, None)
    none = np.zeros_like(plan.fill_mm)
    bare = replace(plan, areas=(), fill_mm=none, grind_mm=None, chosen=None, dams=(), bounds=free(surface))
    return marking_data(bare, surface)
