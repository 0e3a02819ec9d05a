"""Photos of tiled floors: edges, shadows, noise and looks are where and what geometry and the settings say."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import laspy
import numpy as np
import pytest
from PIL import Image

from flatscan.synth.baked import GROUT, SIDE, bake, lit, meet, spot_at
from flatscan.synth.camera import OPENCV_FROM_OPENGL, Pinhole
from flatscan.synth.outline import rectangle
from flatscan.synth.plan_picture import developed, plan_picture
from flatscan.synth.scene import Box, Scene
from flatscan.synth.tile_captures import capture_tiles, looking_down, poses_over, scan_tiles_laser
from flatscan.synth.tile_paint import TilePaint, draw_tile_paint
from flatscan.synth.tile_photo import PHONE_PHOTO, Lens, Light, photograph_tiles, radiance
from flatscan.synth.truth import TrueJoint, true_joints
from flatscan.synth.write_frames import Y_UP_FROM_ROOM

OUTLINE = rectangle(700.0, 500.0)
#: 0.42 mm a pixel from 650 mm, as the phone's, on a small piece of its image.
CAMERA = Pinhole(320, 240, 1590.0)


def floor_of(**changes: object) -> Scene:
    options = {
        "outline_mm": OUTLINE, "size_mm": (140.0, 140.0), "joint_mm": 5.0, "joint_sd_mm": 0.5, "depth_mm": 2.0,
        "radius_mm": 0.05, "lip_sd_mm": 0.0, "tilt_sd_mm_per_m": 0.0,
    } | changes  # fmt: skip
    return tiled_room(**options)


def tiled_room(**options: object) -> Scene:
    from flatscan.synth.tiled_room import tiled_scene

    return tiled_scene(np.random.default_rng(4), **options)


def even_paint(grout: str = "dark", tile: str = "cream") -> TilePaint:
    paint = draw_tile_paint(
        np.random.default_rng(0), tile=tile, grout=grout, stains=0, tone_sd=0.0, mottle_sd=0.0, grain_sd=0.0
    )
    return replace(paint, grout_sd=0.0)


def nearest(joints: tuple[TrueJoint, ...], x: float, y: float) -> TrueJoint:
    return min(joints, key=lambda j: float(np.hypot(*(0.5 * np.add(j.start_mm, j.end_mm) - (x, y)))))


def seen_at(camera: Pinhole, room_from_camera: np.ndarray, point_mm: np.ndarray) -> np.ndarray:
    """Pixel (col, row) of points (n, 3): the pinhole's own formula."""
    away = (point_mm - room_from_camera[:3, 3]) @ room_from_camera[:3, :3]
    return camera.focal * away[:, :2] / away[:, 2:] + np.array(camera.centre)


def profile(image: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    from scipy.ndimage import map_coordinates

    spots = start + np.linspace(0.0, 1.0, 2001)[:, None] * (end - start)
    return map_coordinates(image, [spots[:, 1], spots[:, 0]], order=1)


def edges_of(values: np.ndarray, level: float) -> tuple[float, float]:
    """Shares of the way where the profile goes through ``level``, first and last."""
    low = values < level if values[len(values) // 2] < level else values > level
    inside = np.flatnonzero(low)
    return inside[0] / 2000.0, inside[-1] / 2000.0


def dark_foot_mm(depth_mm: float) -> float:
    """Integral over the distance from a wall of the light missing there: half of the sky at its foot, none far off."""
    x = np.linspace(0.0, 40.0 * depth_mm, 40_001)
    sky = 0.5 * (1.0 + x / np.hypot(x, depth_mm))
    given_back = 0.35  # by the walls, of what falls on them
    return float(np.trapezoid(1.0 - sky / (1.0 - given_back * (1.0 - sky)), x))


@pytest.mark.parametrize("grout", ["light", "dark"])
@pytest.mark.parametrize("turn", [0.0, 0.35])
@pytest.mark.parametrize("tilt", [(0.0, 0.0), (0.08, -0.05)])
def test_walls_of_a_joint_show_where_geometry_projects_them(grout: str, turn: float, tilt: tuple[float, float]) -> None:
    """Grout all but level with the tiles, so that nothing hides it or shades it: its edges are its walls."""
    # The edge drops by depth: seen at tan 0.15 at most, 0.11 mm deep, it shifts by 0.02 mm = 0.04 px.
    scene = floor_of(depth_mm=0.11, radius_mm=0.01, turn_rad=turn)
    pose = looking_down((350.0, 250.0, 650.0), heading_rad=0.2, tilt_rad=tilt)
    tile = "cream" if grout == "dark" else "terracotta"
    paint = even_paint(grout, tile)
    image = radiance(scene, paint, CAMERA, pose, light=Light()).mean(axis=2)
    import cv2

    image = cv2.GaussianBlur(image, (0, 0), 1.0)
    checked = 0
    for joint in true_joints(scene.floor):
        start, end = np.array(joint.start_mm), np.array(joint.end_mm)
        if np.hypot(*(end - start)) < 60.0:
            continue
        along = (end - start) / np.linalg.norm(end - start)
        across = np.array([-along[1], along[0]])
        middle = 0.5 * (start + end)
        half = joint.width_mm / 2.0
        marks = np.array([[*(middle + k * across), 0.0] for k in (-9.0, -half, half, 9.0)])
        pixel = seen_at(CAMERA, pose, marks)
        if pixel.min() < 8.0 or (pixel > np.array([CAMERA.width, CAMERA.height]) - 9.0).any():
            continue
        values = profile(image, pixel[0], pixel[3])
        level = 0.5 * (values[:100].mean() + values[950:1050].mean())
        way = np.linalg.norm(pixel[3] - pixel[0])
        found = np.array(edges_of(values, level)) * way
        wanted = np.linalg.norm(pixel[1:3] - pixel[0], axis=1)
        # At the foot of a wall grout sees half of the sky. That thin dark line, far thinner than the blur, moves a
        # bright joint's edge inwards, a dark one's outwards, by its missing light over the edge's contrast.
        missing = dark_foot_mm(joint.depth_mm) * paint.grout_rgb.mean()
        shift = missing / (paint.grout_rgb.mean() - paint.tile_rgb.mean()) * way / 18.0
        wanted += np.array([shift, -shift])
        assert found == pytest.approx(wanted, abs=0.1)
        checked += 1
    assert checked >= 1


def test_rays_land_on_the_floor_they_were_sent_to() -> None:
    """The compiled floor against the plain one: hits lie on the height field, or on an upright side of it."""
    scene = floor_of(radius_mm=0.5, lip_sd_mm=0.4, tilt_sd_mm_per_m=2.0, turn_rad=0.3, waves_rms_mm=0.5)
    b = bake(scene.floor)
    rng = np.random.default_rng(0)
    at = np.array([350.0, 250.0, 600.0])
    target = rng.uniform((60.0, 60.0), (640.0, 440.0), (6000, 2))
    sides = grouts = 0
    for x, y in target:
        d = np.array([x, y, 0.0]) - at
        t, spot = meet(b, at, d, 0)
        px, py, pz = at + t * d
        height = float(scene.floor.height_mm(px, py))
        if spot.code == SIDE:
            sides += 1
            beside = [
                float(scene.floor.height_mm(px + a, py + c)) for a in (-0.02, 0.0, 0.02) for c in (-0.02, 0.0, 0.02)
            ]
            assert min(beside) - 0.01 < pz < max(beside) + 0.01
        else:
            grouts += spot.code == GROUT
            # The large shape is read between nodes: 5e-4; the last step of halving is below 2e-3 mm of height on a
            # plane and steeper on the round.
            assert pz == pytest.approx(height, abs=0.05)
    assert sides > 20
    assert grouts > 100


@pytest.mark.parametrize("elevation_deg", [20.0, 35.0, 55.0])
@pytest.mark.parametrize("azimuth", [0.0, np.pi / 2.0, np.pi])
def test_a_joint_is_dark_beside_the_wall_towards_the_sun_for_depth_over_tan(
    elevation_deg: float, azimuth: float
) -> None:
    scene = floor_of(depth_mm=1.2, radius_mm=0.02, joint_mm=7.0)
    b = bake(scene.floor)
    joint = next(
        j for j in true_joints(scene.floor)
        if abs(np.subtract(j.end_mm, j.start_mm) @ (np.cos(azimuth), np.sin(azimuth))) < 1.0
        and 150.0 < 0.5 * (j.start_mm[0] + j.end_mm[0]) < 550.0
    )  # fmt: skip
    middle = 0.5 * np.add(joint.start_mm, joint.end_mm)
    light = Light(sun=0.6, elevation_rad=np.deg2rad(elevation_deg), azimuth_rad=azimuth).towards
    flat = light[:2] / np.hypot(*light[:2])
    # From the wall that stands towards the sun, away from it.
    away = np.arange(0.02, joint.width_mm - 0.02, 0.01)
    spots = middle + flat * (joint.width_mm / 2.0) - away[:, None] * flat
    cell = spot_at(b, *middle, 0).cell
    bright = np.array([lit(b, x, y, float(scene.floor.height_mm(x, y)) + 1e-6, light, cell) for x, y in spots])
    wanted = min(joint.depth_mm / np.tan(np.deg2rad(elevation_deg)), joint.width_mm)
    # The sun's way is looked at every 0.1 mm; the round of 0.02 mm lowers the edge by less than itself.
    assert away[~bright].max() == pytest.approx(wanted, abs=0.15)
    assert not bright[: int(0.9 * len(away[~bright]))].any()


def test_low_sun_darkens_joints_and_a_lip_shades_the_lower_tile() -> None:
    scene = floor_of(bad=((350.0, 250.0, 1.5),), joint_mm=4.0)
    paint = even_paint("light", "terracotta")
    pose = looking_down((280.0, 250.0, 500.0))
    camera = Pinhole(480, 360, 1100.0)
    even, low = (
        radiance(scene, paint, camera, pose, light=light).mean(axis=2)
        for light in (Light(), Light(sun=0.7, elevation_rad=np.deg2rad(15.0), azimuth_rad=0.0))
    )
    tile = scene.floor.tiles.wall_mm[int(scene.floor.tiles.place(np.array([350.0]), np.array([250.0])).row[0])]
    # 1.5 mm at 15° is 5.6 mm: past a joint of 4 mm, its shadow lies 1.6 mm over the tile on the side away from the sun.
    spots = np.array([[tile[0] - 4.5, 250.0, 0.0], [tile[0] - 20.0, 250.0, 0.0], [tile[2] + 5.5, 250.0, 0.0]])
    (shaded, plain, sunny) = np.rint(seen_at(camera, pose, spots)).astype(int)
    assert low[shaded[1], shaded[0]] < 0.5 * low[plain[1], plain[0]]
    assert low[sunny[1], sunny[0]] > 0.8 * low[plain[1], plain[0]]
    assert even[shaded[1], shaded[0]] == pytest.approx(even[plain[1], plain[0]], rel=0.05)


def test_a_plan_picture_shows_each_joint_as_wide_as_it_is() -> None:
    """Light missing across a dark joint, over what a full pixel of grout misses, is its width, whatever the blur."""
    scene = floor_of(joint_sd_mm=0.7, radius_mm=0.5)
    paint = even_paint("dark")
    image = plan_picture(scene.floor, paint, pixel_mm=0.5, blur_px=0.8, noise=0.0, rng=np.random.default_rng(0))
    assert image.shape == (1000, 1400, 3)
    linear = (image[..., 1] / 255.0) ** 2.2
    for joint in true_joints(scene.floor):
        (ax, ay), (bx, by) = joint.start_mm, joint.end_mm
        if abs(ax - bx) > 1e-6 or by - ay < 60.0 or not 15.0 < ax < 685.0:
            continue
        rows = slice(int((ay + 10.0) / 0.5), int((by - 10.0) / 0.5))
        band = linear[rows, int((ax - 9.0) / 0.5) : int((ax + 9.0) / 0.5)].mean(axis=0)
        tile, grout = band[[0, 1, -2, -1]].mean(), band[len(band) // 2 - 1 : len(band) // 2 + 1].mean()
        # 8-bit steps of 1 % in the light, over 36 pixels of which the noiseless tile's are all alike: 0.02 mm.
        assert (tile - band).sum() / (tile - grout) * 0.5 == pytest.approx(joint.width_mm, abs=0.04)


@pytest.mark.parametrize("noise", [1.0, 4.0])
def test_noise_is_what_was_asked_for_at_middle_grey_and_grows_by_shot_noise(noise: float) -> None:
    rng = np.random.default_rng(0)
    for grey, share in ((128.0, 1.0), (64.0, None)):
        linear = np.full((300, 300, 3), (grey / 255.0) ** 2.2, dtype=np.float32)
        spread = developed(linear, noise, rng).astype(float).std()
        # Rounding adds 1/12; in light, noise falls with the root, the gamma curve grows steeper: (1/2)^(1.1 − 1.2).
        wanted = noise * (share or (grey / 128.0) ** (1.1 - 1.2))
        assert spread == pytest.approx(np.hypot(wanted, np.sqrt(1.0 / 12.0)), rel=0.03)


def test_photos_fall_off_to_the_corners_and_change_their_exposure() -> None:
    scene = floor_of(joint_mm=3.0)
    camera = Pinhole(160, 120, 132.0)
    pose = looking_down((350.0, 250.0, 250.0))
    paint = even_paint()
    quiet = {"blur_px": 0.0, "noise": 0.0}
    flat, dark = (
        photograph_tiles(scene, paint, camera, pose, rng=np.random.default_rng(0), lens=Lens(vignette=v, **quiet))
        for v in (0.0, 0.4)
    )
    ratio = (dark / 255.0) ** 2.2 / (flat / 255.0) ** 2.2
    assert np.median(ratio[:4, :4]) / np.median(ratio[58:62, 78:82]) == pytest.approx(0.6, abs=0.03)
    means = [
        photograph_tiles(
            scene, paint, camera, pose, rng=np.random.default_rng(k), lens=Lens(exposure_sd=0.2, **quiet)
        ).mean()
        for k in range(6)
    ]
    assert np.std(means) > 4.0


def test_photos_are_refused_of_what_they_cannot_show() -> None:
    scene = floor_of()
    pose = looking_down((350.0, 250.0, 500.0))
    with pytest.raises(ValueError, match="empty rooms"):
        radiance(
            Scene(scene.floor, solids=(Box((1.0, 1.0), (1.0, 1.0), 1.0),)), even_paint(), CAMERA, pose, light=Light()
        )
    from flatscan.synth.rooms import kitchen

    with pytest.raises(TypeError, match="rectangles"):
        bake(kitchen(np.random.default_rng(0)).floor)


def test_a_capture_shows_all_of_the_room_and_its_depth_lies_on_the_floor(tmp_path: Path) -> None:
    scene = floor_of(lip_sd_mm=0.2)
    capture_tiles(
        tmp_path, scene, np.random.default_rng(1), sensor="structured_light", height_mm=420.0, photo_size=(240, 180),
        overlap=0.2, drift="none", views_per_place=2,
    )  # fmt: skip
    said = json.loads((tmp_path / "transforms.json").read_text())
    assert (said["w"], said["h"], said["depth"]["w"]) == (240, 180, 256)
    # 420 mm shows 507 by 380 mm: two by two places, twice.
    assert len(said["frames"]) == 8
    covered = np.zeros((5, 7), dtype=bool)
    for frame in said["frames"]:
        with Image.open(tmp_path / frame["file_path"]) as photo:
            assert photo.size == (240, 180)
        z = np.asarray(Image.open(tmp_path / frame["depth_file_path"])) * said["depth_unit_scale_factor"] * 1000.0
        pose = np.array(frame["transform_matrix"]) @ OPENCV_FROM_OPENGL
        pose[:3, 3] *= 1000.0
        pose = np.linalg.inv(Y_UP_FROM_ROOM) @ pose
        rows, cols = np.nonzero(z > 0)
        camera = said["depth"]
        away = np.column_stack(
            [(cols - camera["cx"]) / camera["fl_x"], (rows - camera["cy"]) / camera["fl_y"], np.ones(len(rows))]
        )
        point = (z[rows, cols][:, None] * away) @ pose[:3, :3].T + pose[:3, 3]
        x, y, height = point[(point[:, 0] > 8) & (point[:, 0] < 692) & (point[:, 1] > 8) & (point[:, 1] < 492)].T
        # 3.5 mm · 0.42² = 0.6 mm of noise.
        assert np.median(np.abs(height)) < 1.0
        covered[(y // 100).astype(int), (x // 100).astype(int)] = True
    assert covered.all()


def test_poses_look_down_within_the_room() -> None:
    poses = poses_over(
        rectangle(2200.0, 1700.0), np.random.default_rng(0), height_mm=650.0, overlap=0.3, views_per_place=2
    )
    places = np.array([p[:3, 3] for p in poses])
    assert (places[:, :2] > 100.0).all()
    assert (places[:, :2] < (2100.0, 1600.0)).all()
    assert np.std(places[:, 2]) == pytest.approx(26.0, rel=0.5)
    down = np.array([p[2, 2] for p in poses])
    assert (down < np.cos(np.deg2rad(165.0))).all()
    assert np.std(np.arccos(-down)) > np.deg2rad(1.0)
    assert all(np.linalg.det(p[:3, :3]) == pytest.approx(1.0) for p in poses)
    assert PHONE_PHOTO.width / PHONE_PHOTO.focal == pytest.approx(256 / 212, rel=1e-3)


@pytest.mark.parametrize("coloured", [True, False])
def test_a_laser_cloud_has_colours_only_when_asked(coloured: bool, tmp_path: Path) -> None:
    scene = floor_of(joint_mm=20.0)
    recording = scan_tiles_laser(
        tmp_path,
        scene,
        np.random.default_rng(0),
        coloured=coloured,
        paint=even_paint(),
        step_rad=np.deg2rad(0.6),
        height_mm=400.0,
    )
    cloud = laspy.read(recording.path)
    assert ("red" in cloud.point_format.dimension_names) == coloured
    if coloured:
        x, y, z = (np.asarray(values) * 1000.0 for values in (cloud.x, cloud.y, cloud.z))
        floor = (np.abs(z) < 8.0) & scene.floor.inside(x, y)
        at = scene.floor.tiles.place(x[floor], y[floor])
        far = scene.floor.tiles.wall_distance_mm(at)
        red = np.asarray(cloud.red)[floor] / 257
        assert red[far < -5.0].max() < 0.6 * red[far > 5.0].min()
