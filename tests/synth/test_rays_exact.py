"""Rays meet what they should, where they should."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.synth.camera import OPENCV_FROM_OPENGL, Pinhole, pose, walk
from flatscan.synth.capture import true_depth
from flatscan.synth.floor import InventedFloor, make_floor
from flatscan.synth.laying import Tiling
from flatscan.synth.outline import inside, l_shape, rectangle
from flatscan.synth.rays import FLOOR, SOLID, WALL, cast
from flatscan.synth.scene import Box, Cylinder, Scene, rug, table
from flatscan.synth.shape import Tilt


@pytest.fixture(scope="module")
def floor() -> InventedFloor:
    return make_floor(
        l_shape(5000.0, 3400.0, 1500.0, 1000.0),
        rng=np.random.default_rng(1),
        tilt=Tilt(3.0, 2.0),
        waves_rms_mm=2.0,
        tiling=Tiling(
            bond="third", width_sd_mm=0.5, depth_sd_mm=0.3, lip_sd_mm=0.3, tilt_sd_mm_per_m=1.0,
            bad=((1000.0, 1000.0, 2.5),),
        ),
    )  # fmt: skip


def fan(rng: np.random.Generator, count: int, least_deg: float, most_deg: float) -> np.ndarray:
    azimuth = rng.uniform(0.0, 2.0 * np.pi, count)
    down = np.deg2rad(rng.uniform(least_deg, most_deg, count))
    return np.stack([np.cos(azimuth) * np.cos(down), np.sin(azimuth) * np.cos(down), -np.sin(down)], axis=1)


def test_hits_lie_on_the_floor(floor: InventedFloor) -> None:
    origin = np.array([1200.0, 1500.0, 1500.0])
    ray = fan(np.random.default_rng(2), 40_000, 20.0, 90.0)
    hits = cast(Scene(floor), origin, ray)
    on_floor = hits.surface == FLOOR
    assert on_floor.sum() > 10_000
    point = origin + hits.distance[on_floor, None] * ray[on_floor]
    off = np.abs(point[:, 2] - floor.height_mm(point[:, 0], point[:, 1]))
    wall = off > 1e-6
    # What is not on the height field must be on a joint's upright wall: below one side, above the other.
    assert wall.mean() < 0.02
    x, y, z = point[wall].T
    beside = [floor.height_mm(x + dx, y + dy) for dx in (-1e-3, 0, 1e-3) for dy in (-1e-3, 0, 1e-3)]
    assert np.all(np.min(beside, axis=0) - 1e-6 <= z)
    assert np.all(z <= np.max(beside, axis=0) + 1e-6)


def test_nothing_is_hit_behind_something_nearer(floor: InventedFloor) -> None:
    """The slow twin walks each ray in 1 µm steps of height; the first point below the floor is the hit."""
    origin = np.array([1200.0, 1500.0, 1500.0])
    ray = fan(np.random.default_rng(3), 250, 20.0, 60.0)
    hits = cast(Scene(floor), origin, ray)
    high, low, count = 25.0, -25.0, 50_001
    for k in np.flatnonzero(hits.surface == FLOOR):
        t = np.linspace((high - origin[2]) / ray[k, 2], (low - origin[2]) / ray[k, 2], count)
        point = origin + t[:, None] * ray[k]
        first = t[np.argmax(point[:, 2] <= floor.height_mm(point[:, 0], point[:, 1]))]
        # One step of the twin, plus a grazed tile edge thinner than the 0.4 mm march.
        assert hits.distance[k] == pytest.approx(first, abs=1.01 * (t[1] - t[0]))


def test_a_tilted_plane_is_met_where_geometry_says() -> None:
    floor = make_floor(rectangle(4000.0, 3000.0), rng=np.random.default_rng(0), tilt=Tilt(10.0, 0.0))
    ray = np.array([[1.0, 0.0, -1.0], [0.0, 0.0, -2.0]])
    hits = cast(Scene(floor), np.array([500.0, 700.0, 1000.0]), ray)
    # 1000 − t = −0.01 (500 + t) gives t = 1005/0.99; straight down 1005 mm at twice the pace.
    assert hits.distance == pytest.approx([1005.0 / 0.99, 1005.0 / 2.0], abs=1e-9)


def test_walls_boxes_and_columns_are_met_where_geometry_says() -> None:
    floor = make_floor(rectangle(4000.0, 3000.0), rng=np.random.default_rng(0))
    turned = Box((2000.0, 1500.0), (200.0, 200.0), 800.0, turn_rad=np.pi / 4.0)
    scene = Scene(floor, solids=(turned, Cylinder((1000.0, 500.0), 100.0, 900.0)))
    origin = np.array([1000.0, 1500.0, 500.0])
    ray = np.array([[1.0, 0, 0], [-1.0, 0, 0], [0, -1.0, 0], [0, 0, 1.0], [0.0, 1.0, 0.01]])
    hits = cast(scene, origin, ray)
    assert hits.surface.tolist() == [SOLID, WALL, SOLID + 1, 0, WALL]
    # The turned box shows its corner, half a diagonal before its centre.
    assert hits.distance[[0, 1, 2, 4]] == pytest.approx([1000.0 - 100.0 * np.sqrt(2.0), 1000.0, 900.0, 1500.0])
    assert np.isinf(hits.distance[3])
    assert hits.normal[1] == pytest.approx([1.0, 0.0, 0.0])
    assert hits.normal[2] == pytest.approx([0.0, 1.0, 0.0])
    down = cast(scene, np.array([1000.0, 500.0, 1500.0]), np.array([[0.0, 0.0, -1.0]]))
    assert down.surface[0] == SOLID + 1
    assert down.distance[0] == pytest.approx(600.0)


def test_one_sees_beneath_a_table_and_not_through_it() -> None:
    floor = make_floor(rectangle(4000.0, 3000.0), rng=np.random.default_rng(0))
    scene = Scene(floor, solids=(*table((2000.0, 1500.0), (1000.0, 600.0)), rug(floor, (600.0, 600.0), (300.0, 300.0))))
    ray = np.array([[0.0, 0.0, -1.0]])
    assert cast(scene, np.array([2000.0, 1500.0, 1500.0]), ray).distance[0] == pytest.approx(760.0)
    assert cast(scene, np.array([2000.0, 1500.0, 700.0]), ray).surface[0] == FLOOR
    assert cast(scene, np.array([600.0, 600.0, 1000.0]), ray).distance[0] == pytest.approx(991.0)


def test_depth_is_along_the_optical_axis_not_the_ray() -> None:
    floor = make_floor(rectangle(4000.0, 3000.0), rng=np.random.default_rng(0))
    straight_down = pose((2000.0, 1500.0, 1000.0), heading_rad=0.3, down_rad=np.pi / 2.0)
    depth, cos = true_depth(Scene(floor), Pinhole(13, 7, 10.0), straight_down)
    assert depth == pytest.approx(np.full((7, 13), 1000.0), abs=1e-9)
    assert cos[0, 0] == pytest.approx(1.0 / np.sqrt(1.0 + 0.36 + 0.09))


def test_poses_are_right_handed_and_look_where_told() -> None:
    room_from_camera = pose((1.0, 2.0, 3.0), heading_rad=0.4, down_rad=1.0)
    turn = room_from_camera[:3, :3]
    assert turn @ turn.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(turn) == pytest.approx(1.0)
    assert turn[:, 2] == pytest.approx([np.cos(0.4) * np.cos(1.0), np.sin(0.4) * np.cos(1.0), -np.sin(1.0)])
    assert turn[2, 1] < 0  # image down is down
    assert turn[2, 0] == pytest.approx(0.0)  # no roll
    assert pytest.approx(np.eye(4)) == OPENCV_FROM_OPENGL @ OPENCV_FROM_OPENGL


def test_a_walk_stays_in_the_room() -> None:
    outline = l_shape(5000.0, 3400.0, 1500.0, 1000.0)
    poses = walk(outline, rng=np.random.default_rng(0))
    places = np.array([p[:2, 3] for p in poses])
    assert len(poses) > 20
    assert inside(outline, places[:, 0], places[:, 1]).all()
