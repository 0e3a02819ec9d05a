"""The parts of the depth road: lens, edges, confidence, meaning, poses; each against a fact outside it."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from flatscan.errors import InputError
from flatscan.sources.depth.camera import Camera, camera_from_keys, lens_applied, pixel_rays
from flatscan.sources.depth.camera_up import infer_up
from flatscan.sources.depth.confidence import MisfitByLevel
from flatscan.sources.depth.depth_edges import on_surface, pixel_noise
from flatscan.sources.depth.depth_meaning import SeenPlane, choose_scale, is_ray_length, scale_by_poses
from flatscan.sources.depth.dominant_plane import FramePlane, dominant_plane
from flatscan.sources.depth.pose import OPENCV_FROM_OPENGL, pose_from_quaternion, rigid_pose

CAMERA = Camera(212.0, 205.0, 130.0, 90.0, 257, 190)


def plane_depth(camera: Camera, normal: np.ndarray, distance: float) -> np.ndarray:
    """z-depth of the plane ``normal . P = -distance`` seen by an undistorted camera."""
    rays = pixel_rays(camera).xy.astype(float)
    return -distance / (rays @ normal[:2] + normal[2])


def camera_points(camera: Camera, depth: np.ndarray) -> np.ndarray:
    xy = pixel_rays(camera).xy.astype(float)
    return np.concatenate([xy * depth[..., None], depth[..., None]], axis=-1)


def tilted(degrees: float) -> np.ndarray:
    return np.array([0.0, math.sin(math.radians(degrees)), -math.cos(math.radians(degrees))])


# --- lens -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("lens", [(0.1, -0.05, 0.001, -0.002), (-0.15, 0.03, 0.0, 0.0), (0.0, 0.0, 0.004, 0.003)])
def test_rays_project_back_onto_their_pixels(lens: tuple[float, float, float, float]) -> None:
    """OpenCV's projectPoints, which applies the lens, must bring each ray to its own pixel."""
    camera = Camera(212.0, 205.0, 130.0, 90.0, 257, 190, lens)
    rays = pixel_rays(camera)
    matrix = np.array([[camera.fx, 0, camera.cx], [0, camera.fy, camera.cy], [0, 0, 1.0]])
    ahead = np.concatenate([rays.xy, np.ones_like(rays.xy[..., :1])], axis=-1).reshape(-1, 1, 3).astype(float)
    seen, _ = cv2.projectPoints(ahead, np.zeros(3), np.zeros(3), matrix, np.array(lens))
    u, v = np.meshgrid(np.arange(257), np.arange(190))
    # float32 rays below 1: 6e-8 times 212 px is 1e-5 px; the lens can steepen that little.
    assert np.abs(seen.reshape(190, 257, 2) - np.stack([u, v], axis=-1)).max() < 1e-4


def test_a_folding_lens_gives_no_ray_where_it_folds() -> None:
    lens = (-0.6, 0.0, 0.0, 0.0)  # the radial curve turns back at r = 1 / sqrt(1.8) = 0.745, showing 0.497
    rays = pixel_rays(Camera(100.0, 100.0, 100.0, 100.0, 201, 201, lens))
    assert np.isfinite(rays.xy[100, 100]).all()
    radius = np.linalg.norm(rays.xy, axis=-1)
    assert np.isnan(radius[100, 160])
    assert np.nanmax(radius) < 1.0 / math.sqrt(1.8)
    assert np.isfinite(radius[100, 145])
    assert lens_applied(np.array([[0.745, 0.0]]), lens)[0, 0] == pytest.approx(0.497, abs=1e-3)


def test_scaling_keeps_the_corners_of_the_picture() -> None:
    """The left edge of the picture (u = -0.5) and the right one look the same way at any size."""
    small = CAMERA.scaled_to((514, 380), "here")
    for edge_big, edge_small, f, c in (
        (-0.5, -0.5, small.fx, small.cx),
        (256.5, 513.5, small.fx, small.cx),
    ):
        assert (edge_small - c) / f == pytest.approx((edge_big - CAMERA.cx) / CAMERA.fx, abs=1e-12)
    with pytest.raises(InputError, match=r"257 x 190.*190 x 257"):
        CAMERA.scaled_to((190, 257), "here")


def test_camera_angle_stands_in_for_the_focal_length() -> None:
    camera = camera_from_keys({"camera_angle_x": 1.0}, "here", (257, 190))
    assert camera.fx == pytest.approx(257 / 2 / math.tan(0.5))
    assert (camera.cx, camera.cy) == (128.0, 94.5)


# --- edges ----------------------------------------------------------------------------------------


def test_pixels_averaged_across_an_edge_are_dropped_and_a_lip_is_not() -> None:
    depth = np.full((190, 257), 1000.0, np.float32)
    depth[:, 100:] += 3.0  # a lip of 3 mm
    depth[:, 180:] -= 300.0  # a box
    depth[:, 180] = 850.0  # the sensor's average of both
    rays = pixel_rays(CAMERA)
    keep = on_surface(depth * rays.length, rays, 0.0)
    assert not keep[:, 179:182].any()
    assert keep[:, :179].all()
    assert keep[:, 182:].all()


@pytest.mark.parametrize(("degrees", "kept"), [(0.0, True), (60.0, True), (74.0, True), (77.0, False), (82.0, False)])
@pytest.mark.parametrize("turn", [0.0, 40.0, 90.0])
def test_grazing_beyond_75_degrees_is_dropped(degrees: float, kept: bool, turn: float) -> None:
    """Incidence at the middle pixel against a plane tilted in any direction.

    A difference over one pixel sees the incidence half a pixel off: 0.5 / 205 rad = 0.14 degrees.
    """
    camera = Camera(212.0, 205.0, 15.0, 15.0, 31, 31)
    way = Rotation.from_euler("z", turn, degrees=True).as_matrix()
    depth = plane_depth(camera, way @ tilted(degrees), 500.0).astype(np.float32)
    rays = pixel_rays(camera)
    assert on_surface(depth * rays.length, rays, 0.0)[15, 15] == kept


def test_noise_and_coarse_counts_do_not_thin_a_flat_floor() -> None:
    rng = np.random.default_rng(3)
    rays = pixel_rays(CAMERA)
    depth = plane_depth(CAMERA, tilted(40.0), 900.0)
    noisy = depth * (1.0 + 0.01 * rng.standard_normal(depth.shape))  # 1 % per pixel: steps of 2 to 3 pixels' width
    assert pixel_noise((noisy * rays.length).astype(np.float32)) == pytest.approx(0.01, rel=0.05)
    kept = on_surface((noisy * rays.length).astype(np.float32), rays, 0.0)
    # Six sigma of one reading is 6 / sqrt(2) = 4.2 sigma of a step of two: under 1 in 10 000 steps.
    assert kept.mean() > 0.995
    step_mm = 1000.0 / 256.0
    fine = Camera(1500.0, 1500.0, 128.0, 95.0, 257, 190)
    coarse = np.rint(plane_depth(fine, tilted(20.0), 500.0) / step_mm) * step_mm
    assert on_surface((coarse * pixel_rays(fine).length).astype(np.float32), pixel_rays(fine), step_mm).all()


# --- confidence -----------------------------------------------------------------------------------


def learned(sigma_of: dict[int, float]) -> np.ndarray:
    rng = np.random.default_rng(11)
    depth = plane_depth(CAMERA, tilted(35.0), 900.0)
    level = rng.choice(np.array(list(sigma_of), dtype=np.uint8), size=depth.shape)
    sigma = np.vectorize(sigma_of.get)(level)
    misfits = MisfitByLevel()
    for _ in range(4):
        misfits.add(camera_points(CAMERA, depth * (1.0 + sigma * rng.standard_normal(depth.shape))), level)
    return misfits.weights()


def test_weights_follow_the_misfit_not_the_label() -> None:
    """Weights are variance ratios; 4 x 16 000 pixels a level fix a variance to 2 * sqrt(2 / 64 000) = 1.1 % (k = 2)."""
    weights = learned({0: 0.004, 1: 0.002, 2: 0.001})
    # The squares' fits take up a little of the noise and the reweighting a little more: 10 %.
    assert weights[2] == 1.0
    assert weights[1] == pytest.approx(0.25, rel=0.1)
    assert weights[0] == pytest.approx(0.0625, rel=0.1)
    honest_low = learned({0: 0.001, 1: 0.001, 2: 0.001})
    assert honest_low[:3].min() > 0.95
    upside_down = learned({0: 0.001, 2: 0.003})
    assert upside_down[0] == 1.0
    assert upside_down[2] == pytest.approx(1.0 / 9.0, rel=0.15)


def test_bytes_are_pooled_in_bands() -> None:
    weights = learned({level: 0.004 if level < 128 else 0.001 for level in range(3, 256, 9)})
    assert weights[:128].max() < 0.08
    assert weights[128:].min() > 0.95
    assert weights.dtype == np.float32


# --- meaning --------------------------------------------------------------------------------------


@pytest.mark.parametrize("clutter", [0.0, 0.5])
@pytest.mark.parametrize("truth_is_ray", [False, True])
def test_ray_length_is_told_from_depth_with_noise_and_clutter(truth_is_ray: bool, clutter: float) -> None:
    """One part in 200 of noise; half the picture covered by a heap. Over 62 degrees the bowl is 25 % deep."""
    rng = np.random.default_rng(5)
    length = pixel_rays(CAMERA).length
    pairs = []
    for degrees in (0.0, 30.0, 50.0):
        depth = plane_depth(CAMERA, tilted(degrees), 1100.0)
        depth[:, : int(257 * clutter)] *= rng.uniform(0.5, 0.9, size=(190, int(257 * clutter)))
        stored = depth * (length if truth_is_ray else 1.0) * (1.0 + 0.005 * rng.standard_normal(depth.shape))
        points = [camera_points(CAMERA, d)[::3, ::3] for d in (stored, stored / length)]
        planes = [dominant_plane(p) for p in points]
        assert planes[0] is not None
        assert planes[1] is not None
        pairs.append((planes[0], planes[1]))
    assert is_ray_length(pairs) == truth_is_ray


def test_dominant_plane_is_the_larger_one_and_exact() -> None:
    depth = plane_depth(CAMERA, tilted(30.0), 1234.0)
    depth[:, :100] = plane_depth(CAMERA, np.array([0.8, 0.0, -0.6]), 700.0)[:, :100]
    found = dominant_plane(camera_points(CAMERA, depth))
    assert found is not None
    assert found.distance == pytest.approx(1234.0, abs=0.01)  # float32 rays: 1e-7 of 1234 mm, spread over the fit
    assert found.normal == pytest.approx(tilted(30.0), abs=1e-5)
    assert found.share == pytest.approx(157 / 257, abs=0.02)
    assert dominant_plane(np.full((20, 30, 3), np.nan)) is None


def seen_at(height_m: float, counts_per_m: float, off: float = 1.0) -> SeenPlane:
    pose = np.eye(4)
    pose[:3, :3] = np.diag([1.0, -1.0, -1.0])  # looking down at z = 0
    pose[2, 3] = height_m
    empty = np.empty(0)
    return SeenPlane(
        FramePlane(np.array([0, 0, -1.0]), height_m * off * counts_per_m, 1.0, empty, empty.astype(bool)), pose
    )


def test_scale_by_the_cameras_own_rise() -> None:
    rising = [seen_at(h, 4000.0) for h in (1.0, 1.1, 1.25, 1.4)]
    assert scale_by_poses(rising) == pytest.approx(4000.0)
    # 4000 to 5600 counts: 1000/m would make it 4 to 5.6 m; 4000 and 5000 both fit physics, the rise decides.
    assert choose_scale(rising, (1000.0, 5000.0, 4000.0, 256.0), "here").per_m == 4000.0
    still = [seen_at(1.2, 1000.0)] * 6
    assert scale_by_poses(still) is None
    assert choose_scale(still, (1000.0, 5000.0, 4000.0, 256.0), "here").per_m == 1000.0


@pytest.mark.parametrize(
    ("distance", "per_m"),
    # Chosen by hand: 1400 counts are 1.4 m at 1000/m (0.35 at 4000); 7000 are 1.4 m at 5000/m; 290 are
    # 0.29 m at 1000/m, too near, and 1.13 m at 256/m.
    [(1400.0, 1000.0), (7000.0, 5000.0), (290.0, 256.0)],
)
def test_scale_by_physics_alone(distance: float, per_m: float) -> None:
    assert choose_scale([seen_at(distance, 1.0)], (1000.0, 5000.0, 4000.0, 256.0), "here").per_m == per_m


def test_no_usual_scale_is_refused() -> None:
    with pytest.raises(InputError, match="fits no usual scale"):
        choose_scale([seen_at(20.0, 1.0)], (1000.0, 5000.0, 4000.0, 256.0), "here")
    with pytest.raises(InputError, match="by the poses one metre is 330"):
        choose_scale([seen_at(h, 330.0) for h in (1.0, 1.3, 1.6, 1.9)], (1000.0, 256.0 * 5), "here")


# --- up and poses ---------------------------------------------------------------------------------


def held(yaw: float, down: float) -> np.ndarray:
    level = np.array([[1.0, 0, 0], [0, 0, 1.0], [0, -1.0, 0]])
    turn = Rotation.from_euler("z", yaw, degrees=True).as_matrix() @ level
    return turn @ Rotation.from_euler("x", -down, degrees=True).as_matrix()


@pytest.mark.parametrize("down", [10.0, 45.0, 90.0])
def test_up_from_cameras_alone_when_they_look_round(down: float) -> None:
    found = infer_up([held(yaw, down) for yaw in range(0, 360, 45)], [])
    assert found is not None
    assert found[1] == "z"


def test_up_is_the_floor_normal_where_no_axis_is_near() -> None:
    world = Rotation.from_euler("xy", [33.0, 21.0], degrees=True).as_matrix()
    true = world @ [0.0, 0.0, 1.0]
    walls = [world @ [1.0, 0.0, 0.0]] * 3
    found = infer_up([world @ held(yaw, 50.0) for yaw in (0, 20, 50)], [true, *walls, true])
    assert found is not None
    assert found[0] == pytest.approx(true, abs=1e-9)
    assert found[1].startswith("(")


def test_quaternions_agree_with_scipy_and_w_is_last() -> None:
    for seed in range(20):
        rotation = Rotation.random(rng=np.random.default_rng(seed))
        pose = pose_from_quaternion(np.arange(3.0), rotation.as_quat(), "here")
        assert pose[:3, :3] == pytest.approx(rotation.as_matrix(), abs=1e-12)
    quarter_about_z = pose_from_quaternion(np.zeros(3), np.array([0.0, 0.0, math.sqrt(0.5), math.sqrt(0.5)]), "here")
    assert quarter_about_z[:3, 0] == pytest.approx([0.0, 1.0, 0.0])


def test_opengl_camera_looks_along_its_minus_z() -> None:
    identity_gl = np.eye(4) @ OPENCV_FROM_OPENGL
    assert identity_gl @ [0.0, 0.0, 1.0, 0.0] == pytest.approx([0, 0, -1, 0])
    assert identity_gl @ [0.0, 1.0, 0.0, 0.0] == pytest.approx([0, -1, 0, 0])


def test_rigid_pose_cleans_rounding_only() -> None:
    turn = Rotation.from_euler("xyz", [10, 20, 30], degrees=True).as_matrix()
    rounded = np.eye(4)
    rounded[:3, :3] = turn.round(4)
    pose = rigid_pose(rounded.tolist(), "here")
    assert pose[:3, :3] @ pose[:3, :3].T == pytest.approx(np.eye(3), abs=1e-12)
    assert pose[:3, :3] == pytest.approx(turn, abs=1e-4)
    assert rigid_pose(rounded[:3].tolist(), "here").shape == (4, 4)
