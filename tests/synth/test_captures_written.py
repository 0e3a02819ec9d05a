"""Captures as files: what is written is read back by other libraries as it was meant; samples are small and repeat."""

from __future__ import annotations

import json
from pathlib import Path

import laspy
import numpy as np
import pytest
import trimesh
from PIL import Image
from scipy.spatial.transform import Rotation

from flatscan.synth import samples
from flatscan.synth.camera import OPENCV_FROM_OPENGL, Pinhole, pose
from flatscan.synth.capture import Frame, capture_frames, photograph, true_depth
from flatscan.synth.demo import KINDS, write_demo
from flatscan.synth.floor import make_floor
from flatscan.synth.laying import Tiling
from flatscan.synth.mesh import room_mesh
from flatscan.synth.outline import l_shape, rectangle
from flatscan.synth.paint import draw_paint
from flatscan.synth.rooms import ROOMS
from flatscan.synth.scene import Scene
from flatscan.synth.sensors.depth import DepthSensor
from flatscan.synth.sensors.laser import LaserPoints
from flatscan.synth.shape import Tilt
from flatscan.synth.truth import true_joints
from flatscan.synth.write import write_glb, write_laz, write_staff_levels, write_xyz_commas
from flatscan.synth.write_frames import Y_UP_FROM_ROOM, write_transforms, write_tum

SAMPLES = Path(__file__).parents[2] / "sample_scans"
MEGABYTE = 1_000_000
PERFECT = DepthSensor(name="perfect", white_mm=0.0, correlated_mm=0.0, correlation_px=1.0)
CAMERA = Pinhole(28, 21, 25.0)


@pytest.fixture(scope="module")
def scene() -> Scene:
    floor = make_floor(rectangle(3000.0, 2000.0), rng=np.random.default_rng(0), waves_rms_mm=2.0, tilt=Tilt(5.0, 0.3))
    return Scene(floor)


def walked(scene: Scene) -> list[Frame]:
    poses = [pose((1000.0 + 300.0 * k, 900.0, 1100.0), heading_rad=0.5 * k, down_rad=1.0) for k in range(3)]
    return list(capture_frames(scene, poses, poses, sensor=PERFECT, camera=CAMERA, rng=np.random.default_rng(0)))


def off_the_walls(room_mm: np.ndarray) -> np.ndarray:
    x, y, z = room_mm.T
    return (x > 10.0) & (x < 2990.0) & (y > 10.0) & (y < 1990.0) & (z < 50.0)


def test_transforms_put_the_depth_back_on_the_floor(scene: Scene, tmp_path: Path) -> None:
    """A reader written from the convention alone: OpenGL camera axes, camera to world, metres."""
    write_transforms(tmp_path, walked(scene), camera=CAMERA, metres_per_count=0.0001)
    said = json.loads((tmp_path / "transforms.json").read_text())
    assert len(said["frames"]) == 3
    for frame in said["frames"]:
        z = np.asarray(Image.open(tmp_path / frame["depth_file_path"])) * said["depth_unit_scale_factor"]
        assert np.asarray(Image.open(tmp_path / frame["confidence_file_path"])).shape == z.shape
        v, u = np.indices(z.shape)
        x, y = (u - said["cx"]) / said["fl_x"] * z, -(v - said["cy"]) / said["fl_y"] * z
        camera_gl = np.stack([x, y, -z, np.ones_like(z)], axis=-1).reshape(-1, 4)
        world = camera_gl @ np.array(frame["transform_matrix"]).T
        room_mm = 1000.0 * np.stack([world[:, 0], -world[:, 2], world[:, 1]], axis=1)
        inside = off_the_walls(room_mm)
        assert inside.mean() > 0.5
        off = room_mm[inside, 2] - scene.floor.height_mm(room_mm[inside, 0], room_mm[inside, 1])
        # Rounding to 0.1 mm of depth: at most 0.05 mm along the axis, times 1/sin of the view ≤ 1.3.
        assert np.abs(off).max() < 0.07


def test_tum_layout_puts_the_depth_back_on_the_floor(scene: Scene, tmp_path: Path) -> None:
    write_tum(tmp_path, walked(scene), camera=CAMERA)
    names = [line.split() for line in (tmp_path / "depth.txt").read_text().splitlines() if not line.startswith("#")]
    poses = np.loadtxt(tmp_path / "groundtruth.txt")
    for (stamp, name), row in zip(names, poses, strict=True):
        assert float(stamp) == row[0]
        z = np.asarray(Image.open(tmp_path / name)) / 5000.0
        v, u = np.indices(z.shape)
        cx, cy = CAMERA.centre
        camera = np.stack([(u - cx) / CAMERA.focal * z, (v - cy) / CAMERA.focal * z, z], axis=-1).reshape(-1, 3)
        room_mm = 1000.0 * (Rotation.from_quat(row[4:]).apply(camera) + row[1:4])
        low = off_the_walls(room_mm)
        off = room_mm[low, 2] - scene.floor.height_mm(room_mm[low, 0], room_mm[low, 1])
        assert np.abs(off).max() < 0.14  # counts of 0.2 mm


def test_laz_keeps_stations_steps_and_offsets(tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    stations = [
        LaserPoints(rng.uniform(0.0, 5000.0, (n, 3)), np.full(n, 0.5), np.ones(n, dtype=np.int16)) for n in (70, 30)
    ]
    write_laz(tmp_path / "a.laz", stations, step_mm=0.1, offset_m=(500_000.0, 5_400_000.0, 120.0))
    cloud = laspy.read(tmp_path / "a.laz")
    assert np.bincount(cloud.point_source_id).tolist() == [0, 70, 30]
    wanted = np.concatenate([s.point_mm for s in stations]) / 1000.0 + [500_000.0, 5_400_000.0, 120.0]
    # Half a step, and float64 at five million metres (1e-9).
    assert np.abs(cloud.xyz - wanted).max() < 0.00005 + 2e-9
    write_laz(tmp_path / "b.laz", stations, step_mm=0.1, offset_m=(500_000.0, 5_400_000.0, 120.0))
    assert (tmp_path / "a.laz").read_bytes() == (tmp_path / "b.laz").read_bytes()


def test_glb_is_metres_and_y_up(scene: Scene, tmp_path: Path) -> None:
    vertex, triangle = room_mesh(scene, rng=np.random.default_rng(0), cell_mm=50.0, smooth_mm=1.0, noise_mm=0.0)
    write_glb(tmp_path / "room.glb", vertex, triangle)
    mesh = trimesh.load(tmp_path / "room.glb", force="mesh")
    x, y, z = (np.asarray(mesh.vertices) * 1000.0).T
    floor = y < 30.0
    # float32 metres: 3 m holds 2e-4 mm; smoothing 1 mm of a wave of 2.5 m: far below.
    off = y[floor] - scene.floor.height_mm(x[floor], -z[floor])
    assert np.quantile(np.abs(off), 0.95) < 0.01


def test_mesh_normals_point_into_the_room_and_boxes_hide_the_floor() -> None:
    room = ROOMS["bathroom"](np.random.default_rng(0))
    vertex, triangle = room_mesh(room, rng=np.random.default_rng(0), cell_mm=30.0)
    a, b, c = (vertex[triangle[:, k]] for k in range(3))
    up = np.cross(b - a, c - a)[:, 2]
    middle = (a + b + c) / 3.0
    flat = (np.ptp(np.stack([a, b, c])[..., 2], axis=0) < 10.0) & (middle[:, 2] < 50.0)
    assert (up[flat] > 0).all()
    bath = (np.abs(middle[:, 0] - 850.0) < 800.0) & (np.abs(middle[:, 1] - 1550.0) < 300.0)
    assert not (flat & bath).any()


def test_smoothing_a_mesh_flattens_joints() -> None:
    floor = make_floor(rectangle(900.0, 900.0), rng=np.random.default_rng(0), tiling=Tiling(width_mm=4.0, depth_mm=2.5))
    vertex, _ = room_mesh(Scene(floor), rng=np.random.default_rng(0), noise_mm=0.0, smooth_mm=12.0)
    # A slot of 4 × 2.5 mm² and its rounded edges, spread over 12 mm: 10.6/(12 √2π) = 0.35 mm; twice at crossings.
    assert -0.8 < vertex[:, 2].min() < -0.3


def test_text_cloud_and_levels_are_written_as_people_write_them(tmp_path: Path) -> None:
    write_xyz_commas(tmp_path / "c.txt", np.array([[1234.56, -7.0, 0.25]]))
    assert (tmp_path / "c.txt").read_text() == "X [m];Y [m];Z [m]\n1,2346;-0,0070;0,0003\n"
    write_staff_levels(
        tmp_path / "l.csv", np.array([500.0]), np.array([0.0]), np.array([1250.5]), title="t", sigma_mm=0.4
    )
    assert (tmp_path / "l.csv").read_text().splitlines()[1:] == [
        "# unit: mm", "# sign: staff", "# reading sigma_mm: 0.40", "x_m,y_m,staff_mm", "0.500,0.000,1250.5",
    ]  # fmt: skip


def test_axes_helpers_are_turns() -> None:
    for matrix in (Y_UP_FROM_ROOM, OPENCV_FROM_OPENGL):
        assert np.linalg.det(matrix[:3, :3]) == pytest.approx(1.0)
    assert pytest.approx([0, 1, 0, 1]) == Y_UP_FROM_ROOM @ [0, 0, 1, 1]


def test_photo_and_depth_show_the_same_view(scene: Scene) -> None:
    """The wall begins in the same place in both, at 2.5 times the pixels."""
    at = pose((1500.0, 1000.0, 1200.0), heading_rad=0.0, down_rad=0.6)
    depth, _ = true_depth(scene, CAMERA, at)
    photo = photograph(scene, draw_paint(np.random.default_rng(0)), CAMERA.scaled(4.0), at)
    assert photo.shape == (84, 112, 3)
    # Along a column 1/z is straight on each plane: it bends at the foot of the wall alone.
    foot = np.argmax(np.abs(np.diff(1.0 / depth[:, 14], 2))) + 1
    grey = photo.mean(axis=2)[:, 58]
    assert np.argmax(np.abs(np.diff(grey))) / 4.0 == pytest.approx(foot, abs=1.0)


@pytest.mark.parametrize("kind", ["levels", "mesh", "straightedge"])
def test_demo_repeats_by_its_seed_and_leaves_its_truth(kind: str, tmp_path: Path) -> None:
    paths = [write_demo(tmp_path / str(k), kind=kind, seed=seed) for k, seed in enumerate((5, 5, 6))]
    one, again, other = (path.read_bytes() for path in paths)
    assert one == again
    assert one != other
    truth = json.loads((tmp_path / "0" / "truth.json").read_text())
    assert tmp_path / "0" / truth["capture"] == paths[0]
    heights = np.load(tmp_path / "0" / "truth.npz")
    assert heights["height_mm"].shape == (len(heights["y_mm"]), len(heights["x_mm"]))
    floor = ROOMS[truth["room"]](np.random.default_rng(5).spawn(2)[0]).floor
    x, y = heights["x_mm"][30], heights["y_mm"][40]
    assert heights["height_mm"][40, 30] == pytest.approx(floor.height_mm(x, y), abs=1e-4)


def test_demo_refuses_what_it_does_not_know(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="kind must be one of laser, phone, mesh, levels"):
        write_demo(tmp_path, kind="radar", seed=1)
    assert len(KINDS) == 6


@pytest.mark.parametrize("room", ROOMS)
def test_rooms_keep_their_walls_and_things_apart(room: str) -> None:
    scene = ROOMS[room](np.random.default_rng(1))
    again = ROOMS[room](np.random.default_rng(1))
    x, y = np.random.default_rng(0).uniform(100.0, 1200.0, (2, 50))
    assert np.array_equal(scene.floor.height_mm(x, y), again.floor.height_mm(x, y))
    for solid in scene.solids:
        assert scene.floor.inside(np.array([solid.centre_mm[0]]), np.array([solid.centre_mm[1]]))[0]


def test_samples_are_there_and_small() -> None:
    sizes = {path: path.stat().st_size for path in SAMPLES.rglob("*") if path.is_file()}
    assert sum(sizes.values()) < 12 * MEGABYTE
    for name in samples.NAMES:
        assert "Invented" in (SAMPLES / name / "README.md").read_text(encoding="utf-8")
    listed = (SAMPLES / "README.md").read_text(encoding="utf-8")
    assert all(name in listed for name in samples.NAMES)


def test_the_levels_sample_is_what_its_seed_writes(tmp_path: Path) -> None:
    samples.write_sample(tmp_path, "living_room_levels")
    for name in ("levels.csv", "README.md"):
        assert (tmp_path / "living_room_levels" / name).read_text() == (
            SAMPLES / "living_room_levels" / name
        ).read_text()


def test_the_kitchen_sample_is_its_invented_kitchen() -> None:
    """Its stored depth, put back by its stored poses, lies on the floor its seed invents, within the sensor's noise."""
    folder = SAMPLES / "old_tiled_kitchen"
    room_rng, _ = np.random.default_rng([samples.SEED, samples.NAMES.index("old_tiled_kitchen")]).spawn(2)
    floor = ROOMS["kitchen"](room_rng).floor
    said = json.loads((folder / "transforms.json").read_text())
    camera = said["depth"]
    assert 24 <= len(said["frames"]) <= 40
    off = []
    for frame in said["frames"][::5]:
        z = np.asarray(Image.open(folder / frame["depth_file_path"])) * said["depth_unit_scale_factor"]
        sure = np.asarray(Image.open(folder / frame["confidence_file_path"])) == 2
        v, u = np.indices(z.shape)
        local = np.stack([(u - camera["cx"]) / camera["fl_x"], -(v - camera["cy"]) / camera["fl_y"], -np.ones_like(z)])
        turn = np.array(frame["transform_matrix"])
        world = turn[:3, :3] @ (local * z).reshape(3, -1) + turn[:3, 3:]
        x, y, height = 1000.0 * np.stack([world[0], -world[2], world[1]])
        keep = sure.ravel() & floor.inside(x, y) & (np.abs(height) < 25.0) & (x > 700.0) & (y < 2000.0)
        if keep.sum() > 2000:
            off.append(np.median(height[keep] - floor.face_mm(x[keep], y[keep])))
    assert len(off) > 4
    # Offset 3 mm, scale 0.2 % of 1.2 m, drift 1 mm per root metre over some 15 m: about 5 mm, and not nothing.
    assert np.abs(off).max() < 15.0
    assert np.ptp(off) > 0.05


def test_an_l_shaped_room_has_no_mesh_in_its_notch() -> None:
    floor = make_floor(l_shape(2000.0, 1500.0, 800.0, 600.0), rng=np.random.default_rng(0))
    vertex, _ = room_mesh(Scene(floor), rng=np.random.default_rng(0), noise_mm=0.0)
    deep = (vertex[:, 0] > 1210.0) & (vertex[:, 1] > 910.0)
    assert not deep.any()


def test_the_tiled_bathroom_has_what_its_line_says_and_its_photos_show_it() -> None:
    """Wide joints, lips and mortar by its truth; its photos are of a size and a number that one person takes."""
    room_rng, _ = np.random.default_rng([samples.SEED, samples.NAMES.index("tiled_bathroom_photos")]).spawn(2)
    floor = ROOMS["tiled_bathroom"](room_rng).floor
    joints = [j for j in true_joints(floor) if np.hypot(*np.subtract(j.end_mm, j.start_mm)) > 50.0]
    wide = [joint.width_mm for joint in joints if joint.width_mm > 5.8]
    assert 6 <= len(wide) <= 14
    assert 7.0 < max(wide) < 8.5
    stepped = [joint for joint in joints if abs(joint.lip_start_mm) > 1.0]
    assert len(stepped) >= 12
    assert floor.tiles.mortar.any()
    folder = SAMPLES / "tiled_bathroom_photos"
    said = json.loads((folder / "transforms.json").read_text())
    assert len(said["frames"]) == 16
    for frame in said["frames"]:
        with Image.open(folder / frame["file_path"]) as photo:
            assert photo.size == (said["w"], said["h"])
    assert sum(path.stat().st_size for path in folder.rglob("*")) < 5 * MEGABYTE
