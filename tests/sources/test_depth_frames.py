"""Depth captures written in every convention by a plain ray caster, read back, must lie on the surfaces.

Tolerance. A count of q mm rounds the depth by at most q / 2 along the camera's axis, which moves the
point by q / 2 times the ray (x, y, 1) and so off the surface by at most q / 2 times the longest ray.
float32 adds a few units in the last place of coordinates up to 5 m: 5000 * 2^-24 * 8 < 0.003 mm.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np
import pytest
import tifffile
from PIL import Image
from scipy.spatial.transform import Rotation

from flatscan.settings import ReadSettings
from flatscan.sources import read
from flatscan.sources.depth.posed_frames import is_transforms, read_transforms
from flatscan.sources.depth.single_depth import is_depth_image, read_single_depth
from flatscan.sources.depth.tum import is_tum, read_tum
from flatscan.sources.scan import Scan

T = TypeVar("T")

FLOAT_MM = 0.003
DEFAULTS = ReadSettings()
#: Floor: z = 0.004 x - 0.007 y (m), and a box standing in it.
SLOPE = np.array([0.004, -0.007])
NORMAL = np.array([-SLOPE[0], -SLOPE[1], 1.0]) / math.sqrt(1.0 + SLOPE @ SLOPE)
BOX = np.array([[0.4, 0.1, -0.1], [0.7, 0.6, 0.25]])
FLIP = np.diag([1.0, -1.0, -1.0])


@dataclass(frozen=True)
class View:
    """Intrinsics of an odd-sized camera with unequal focal lengths and an off-centre principal point."""

    fx: float = 131.0
    fy: float = 127.0
    cx: float = 70.3
    cy: float = 44.1
    width: int = 137
    height: int = 91

    @property
    def rays(self) -> np.ndarray:
        u, v = np.meshgrid(np.arange(self.width), np.arange(self.height))
        return np.stack([(u - self.cx) / self.fx, (v - self.cy) / self.fy, np.ones(u.shape)], axis=-1)

    @property
    def longest(self) -> float:
        return float(np.linalg.norm(self.rays, axis=-1).max())

    def keys(self) -> dict[str, float]:
        return {"fl_x": self.fx, "fl_y": self.fy, "cx": self.cx, "cy": self.cy, "w": self.width, "h": self.height}


VIEW = View()


def poses(count: int = 5) -> list[tuple[np.ndarray, np.ndarray]]:
    """Cameras (turn from OpenCV axes, place in m) held upright, looking down 45 to 65 degrees, at several heights."""
    made = []
    for i in range(count):
        yaw, down = 40.0 + 67.0 * i, 45.0 + 20.0 * ((i * 3) % 5) / 5.0
        # OpenCV axes with the camera level and looking along +y: x right, y down (-z), z ahead (+y).
        level = np.array([[1.0, 0, 0], [0, 0, 1.0], [0, -1.0, 0]])
        turn = Rotation.from_euler("z", yaw, degrees=True).as_matrix() @ level
        turn = turn @ Rotation.from_euler("x", -down, degrees=True).as_matrix()
        made.append((turn, np.array([0.3 * i - 0.4, 0.2 * i - 0.6, 1.1 + 0.13 * ((i * 2) % 5)])))
    return made


def cast(view: View, turn: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Depth (m, along the camera axis) of the nearest of floor and box."""
    way = view.rays @ turn.T
    with np.errstate(divide="ignore", invalid="ignore"):
        floor = -(NORMAL @ place) / (way @ NORMAL)
        floor = np.where(floor > 0, floor, np.nan)
        sides = (BOX[:, None, None, :] - place) / way
        enter, leave = np.nanmax(sides.min(axis=0), axis=-1), np.nanmin(sides.max(axis=0), axis=-1)
    box = np.where((enter < leave) & (enter > 0), enter, np.inf)
    return np.fmin(floor, box)


def off_surface_mm(points_mm: np.ndarray) -> np.ndarray:
    """Distance of each point to the nearer of floor and box surface, mm."""
    p = points_mm / 1000.0
    outside = np.maximum(np.maximum(BOX[0] - p, p - BOX[1]), 0.0)
    inside = np.minimum(p - BOX[0], BOX[1] - p).min(axis=1)
    box = np.where((outside > 0).any(axis=1), np.linalg.norm(outside, axis=1), np.abs(inside))
    return np.minimum(np.abs(p @ NORMAL), box) * 1000.0


def assert_on_surface(scan: Scan, step_mm: float, pixels: int, view: View = VIEW) -> None:
    points = scan.points_mm.astype(float) + scan.origin_mm
    assert off_surface_mm(points).max() <= step_mm / 2.0 * view.longest + FLOAT_MM
    assert 0.85 * pixels < len(points) <= pixels


def write_depth(path: Path, depth_m: np.ndarray) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.suffix == ".png":
        Image.fromarray(np.rint(depth_m * 1000.0).astype(np.uint16)).save(path)
    elif path.suffix == ".tif":
        tifffile.imwrite(path, depth_m.astype(np.float32))
    else:
        np.save(path, depth_m.astype(np.float32))
    return path


def write_folder(folder: Path, suffix: str = ".png", *, ray: bool = False, view: View = VIEW, **top: object) -> Path:
    """transforms.json in OpenGL axes unless ``camera_axes`` in ``top`` says otherwise."""
    frames = []
    for i, (turn, place) in enumerate(poses()):
        depth = cast(view, turn, place)
        if ray:
            depth = depth * np.linalg.norm(view.rays, axis=-1)
        write_depth(folder / "depth" / f"{i:03d}{suffix}", depth)
        matrix = np.eye(4)
        matrix[:3, :3] = turn if top.get("camera_axes") == "opencv" else turn @ FLIP
        matrix[:3, 3] = place
        frames.append({"depth_file_path": f"depth/{i:03d}{suffix}", "transform_matrix": matrix.tolist()})
    (folder / "transforms.json").write_text(json.dumps({**view.keys(), **top, "frames": frames}))
    return folder


PIXELS = 5 * VIEW.width * VIEW.height
# float32 metres near 2 m are 1.2e-7 m apart.
FLOAT_STEP_MM = 0.001


@pytest.mark.parametrize(("suffix", "step_mm"), [(".png", 1.0), (".tif", FLOAT_STEP_MM), (".npy", FLOAT_STEP_MM)])
@pytest.mark.parametrize("axes", ["opengl", "opencv"])
def test_transforms_in_every_file_kind_and_axes(tmp_path: Path, suffix: str, step_mm: float, axes: str) -> None:
    scan = read_transforms(write_folder(tmp_path, suffix, camera_axes=axes), DEFAULTS)
    assert_on_surface(scan, step_mm, PIXELS)
    assert scan.up is not None
    assert scan.up.tolist() == [0.0, 0.0, 1.0]
    assert not scan.gravity_known
    assert len(scan.frames) == 5
    assert len(scan.inputs) == 6


def test_view_of_point_names_the_frame_that_saw_it(tmp_path: Path) -> None:
    scan = read_transforms(write_folder(tmp_path, ".npy"), DEFAULTS)
    assert scan.view_of_point is not None
    assert scan.viewpoints_mm is not None
    for i, (turn, place) in enumerate(poses()):
        assert scan.viewpoints_mm[i] + scan.origin_mm == pytest.approx(place * 1000.0, abs=1e-6)
        seen = (scan.points_mm[scan.view_of_point == i] - scan.viewpoints_mm[i]) @ turn
        # Back in the frame's camera the points project inside its picture.
        u = seen[:, 0] / seen[:, 2] * VIEW.fx + VIEW.cx
        assert u.min() > -0.01
        assert u.max() < VIEW.width - 0.99


def test_intrinsics_per_frame_override_the_top(tmp_path: Path) -> None:
    folder = write_folder(tmp_path, ".npy", fl_x=999.0, cx=60.0)
    content = json.loads((folder / "transforms.json").read_text())
    for frame in content["frames"]:
        frame |= {"fl_x": VIEW.fx, "cx": VIEW.cx}
    (folder / "transforms.json").write_text(json.dumps(content))
    assert_on_surface(read_transforms(folder, DEFAULTS), FLOAT_STEP_MM, PIXELS)


def test_photo_intrinsics_are_scaled_by_pixel_edges(tmp_path: Path) -> None:
    s = 7.0
    photo = {"fl_x": VIEW.fx * s, "fl_y": VIEW.fy * s, "cx": (VIEW.cx + 0.5) * s - 0.5, "cy": (VIEW.cy + 0.5) * s - 0.5}
    folder = write_folder(tmp_path, ".npy", **photo, w=VIEW.width * 7, h=VIEW.height * 7)
    assert_on_surface(read_transforms(folder, DEFAULTS), FLOAT_STEP_MM, PIXELS)


def test_depth_camera_of_its_own_beats_the_photo_camera(tmp_path: Path) -> None:
    folder = write_folder(tmp_path, ".npy", fl_x=3000.0, fl_y=2900.0, cx=2000.0, cy=1500.0, w=4000, h=3000, k1=0.3)
    content = json.loads((folder / "transforms.json").read_text()) | {"depth": VIEW.keys()}
    (folder / "transforms.json").write_text(json.dumps(content))
    assert_on_surface(read_transforms(folder, DEFAULTS), FLOAT_STEP_MM, PIXELS)


@pytest.mark.parametrize("suffix", [".png", ".npy"])
def test_ray_length_is_noticed_and_said(tmp_path: Path, suffix: str) -> None:
    scan = read_transforms(write_folder(tmp_path, suffix, ray=True), DEFAULTS)
    assert_on_surface(scan, 1.0 if suffix == ".png" else FLOAT_STEP_MM, PIXELS)
    assert any("length of the ray" in line for line in scan.inferences)


def test_stated_meaning_is_obeyed_against_the_evidence(tmp_path: Path) -> None:
    scan = read_transforms(write_folder(tmp_path, ".npy", ray=True, depth_is="z"), DEFAULTS)
    assert off_surface_mm(scan.points_mm + scan.origin_mm).max() > 50.0


@pytest.mark.parametrize(
    ("per_m", "keys", "settings"),
    [
        (1000.0, {}, DEFAULTS),
        (5000.0, {}, DEFAULTS),
        (4000.0, {}, DEFAULTS),
        (256.0, {}, DEFAULTS),
        (2000.0, {"depth_unit_scale_factor": 0.0005}, DEFAULTS),
        (2000.0, {"integer_depth_scale": 0.0005}, DEFAULTS),
        (2000.0, {"depth_scale": 2000}, DEFAULTS),
        (2000.0, {"depth_per_m": 2000}, DEFAULTS),
        (2000.0, {"depth_per_m": 1000}, ReadSettings(depth_per_m=2000.0)),
        (100.0, {}, ReadSettings(unit="cm")),
    ],
)
def test_depth_scale_stated_or_inferred(
    tmp_path: Path, per_m: float, keys: dict[str, object], settings: ReadSettings
) -> None:
    folder = write_folder(tmp_path, ".png", **keys)
    for i, (turn, place) in enumerate(poses()):
        counts = np.rint(cast(VIEW, turn, place) * per_m).astype(np.uint16)
        Image.fromarray(counts).save(folder / "depth" / f"{i:03d}.png")
    scan = read_transforms(folder, settings)
    assert_on_surface(scan, 1000.0 / per_m, PIXELS)
    inferred = not keys and settings is DEFAULTS
    assert ("depth_scale_inferred" in [c.name for c in scan.caveats]) == inferred
    assert any(f"{per_m:g} counts per metre" in line for line in scan.inferences) == inferred


@pytest.mark.parametrize(
    ("per_m", "settings", "said"),
    [
        (2000.0, ReadSettings(depth_per_m=2000.0), "1000 counts per metre; 2000 was taken because --depth-per-m says"),
        (100.0, ReadSettings(unit="cm"), "1000 counts per metre; cm (100) was taken because --unit says so"),
        (1000.0, ReadSettings(unit="mm"), None),
        (1000.0, DEFAULTS, None),
    ],
)
def test_an_option_against_the_stated_depth_scale_is_said(
    tmp_path: Path, per_m: float, settings: ReadSettings, said: str | None
) -> None:
    folder = write_folder(tmp_path, ".png", depth_per_m=1000)
    for i, (turn, place) in enumerate(poses()):
        counts = np.rint(cast(VIEW, turn, place) * per_m).astype(np.uint16)
        Image.fromarray(counts).save(folder / "depth" / f"{i:03d}.png")
    scan = read_transforms(folder, settings)
    raised = [c.text for c in scan.caveats if c.name == "unit_overruled"]
    assert len(raised) == (said is not None)
    if said is not None:
        assert said in raised[0]
        assert any(said in line for line in scan.inferences)


class Counting:
    """A progress that keeps label, total and steps of each loop."""

    def __init__(self) -> None:
        self.loops: list[list[object]] = []

    def track(self, items: Iterable[T], *, label: str, total: int | None = None) -> Iterator[T]:
        loop: list[object] = [label, total, 0]
        self.loops.append(loop)
        for done, item in enumerate(items, start=1):
            loop[2] = done
            yield item


def test_every_depth_reader_tells_how_far_it_is(tmp_path: Path) -> None:
    """Hundreds of frames take seconds in which nothing was shown."""
    for folder in (write_folder(tmp_path / "a"), write_tum(tmp_path / "b")):
        progress = Counting()
        read(folder, progress=progress)
        assert progress.loops == [["reading frames", 5, 5]]
    write_depth(tmp_path / "c" / "one.npy", cast(VIEW, *poses()[0]))
    (tmp_path / "c" / "camera.json").write_text(json.dumps(VIEW.keys()))
    progress = Counting()
    read(tmp_path / "c" / "one.npy", progress=progress)
    assert progress.loops == [["reading frames", 1, 1]]


def write_tum(
    folder: Path, *, order: str = "xyzw", clock: float = 1.0, opengl: bool = False, per_m: float = 5000.0
) -> Path:
    listing, trajectory = ["# time file"], ["# t tx ty tz qx qy qz qw"]
    (folder / "depth").mkdir(parents=True)
    for i, (turn, place) in enumerate(poses()):
        t = 1_305_031_102.175 + i
        Image.fromarray(np.rint(cast(VIEW, turn, place) * per_m).astype(np.uint16)).save(folder / "depth" / f"{i}.png")
        listing.append(f"{t * clock:.6f} depth/{i}.png")
        quaternion = Rotation.from_matrix(turn @ FLIP if opengl else turn).as_quat()
        quaternion = np.roll(quaternion, 1) if order == "wxyz" else quaternion
        # Only the first is the nearest: before the image for even frames, after it for odd ones.
        side = -1.0 if i % 2 == 0 else 1.0
        for late in (0.008 * side, -0.013 * side, 0.31, -0.3):
            shift = np.zeros(3) if abs(late) == 0.008 else np.ones(3)
            numbers = [f"{(t + late) * clock:.6f}", *(f"{v:.9f}" for v in (*(place + shift), *quaternion))]
            trajectory.append(" ".join(numbers))
    (folder / "depth.txt").write_text("\n".join(listing))
    (folder / "groundtruth.txt").write_text("\n".join(trajectory))
    (folder / "camera.txt").write_text(" ".join(f"{v}" for v in VIEW.keys().values()))
    return folder


@pytest.mark.parametrize("clock", [1.0, 1e9])
def test_tum_layout(tmp_path: Path, clock: float) -> None:
    scan = read_tum(write_tum(tmp_path, clock=clock), DEFAULTS)
    assert_on_surface(scan, 0.2, PIXELS)
    for frame, (turn, place) in zip(scan.frames, poses(), strict=True):
        assert frame.scan_from_camera[:3, :3] == pytest.approx(turn, abs=1e-8)
        assert frame.scan_from_camera[:3, 3] == pytest.approx(place * 1000.0, abs=1e-5)
    assert any("nanoseconds" in line for line in scan.inferences) == (clock != 1.0)
    assert scan.up is not None
    assert scan.up.tolist() == [0, 0, 1]
    assert "depth_scale_inferred" not in [c.name for c in scan.caveats]


def test_tum_frames_without_a_near_pose_are_counted(tmp_path: Path) -> None:
    folder = write_tum(tmp_path)
    lines = (folder / "groundtruth.txt").read_text().splitlines()
    (folder / "groundtruth.txt").write_text("\n".join(lines[:-4]))
    scan = read_tum(folder, DEFAULTS)
    assert len(scan.frames) == 4
    assert "1 of 5" in next(c.text for c in scan.caveats if c.name == "frames_without_pose")


@pytest.mark.parametrize(
    "camera",
    [
        ("camera.json", json.dumps({"fx": 131, "fy": 127, "cx": 70.3, "cy": 44.1, "width": 137, "height": 91})),
        ("camera.toml", "fl_x = 131\nfl_y = 127.0\ncx = 70.3\ncy = 44.1\n"),
        ("camera.txt", "# pinhole\nfx: 131\nfy 127\ncx = 70.3\ncy 44.1\n"),
        ("frame.camera.json", json.dumps(VIEW.keys())),
    ],
)
@pytest.mark.parametrize("suffix", [".png", ".tif", ".npy"])
def test_single_depth_with_each_camera_file(tmp_path: Path, camera: tuple[str, str], suffix: str) -> None:
    turn, place = poses()[1]
    path = write_depth(tmp_path / f"frame{suffix}", cast(VIEW, turn, place))
    (tmp_path / camera[0]).write_text(camera[1])
    scan = read_single_depth(path, DEFAULTS)
    points = (scan.points_mm + scan.origin_mm) @ turn.T + place * 1000.0
    step_mm = 1.0 if suffix == ".png" else FLOAT_STEP_MM
    assert off_surface_mm(points).max() <= step_mm / 2.0 * VIEW.longest + FLOAT_MM
    # Up is the floor's normal in camera axes: a plane fitted to mm counts is within half a degree.
    assert scan.up is not None
    assert scan.up @ (turn.T @ NORMAL) > math.cos(math.radians(0.5))


def test_stated_camera_file_is_used(tmp_path: Path) -> None:
    turn, place = poses()[0]
    path = write_depth(tmp_path / "frame.npy", cast(VIEW, turn, place))
    (tmp_path / "elsewhere.json").write_text(json.dumps(VIEW.keys()))
    scan = read_single_depth(path, ReadSettings(camera_file=str(tmp_path / "elsewhere.json")))
    assert scan.frames[0].depth_camera == (VIEW.fx, VIEW.fy, VIEW.cx, VIEW.cy)


@pytest.mark.parametrize("up", ["x", "y", "-z"])
def test_up_follows_the_world_the_poses_are_in(tmp_path: Path, up: str) -> None:
    """The same capture in a world turned so that another axis points up."""
    to_axis = {"x": ("y", 90.0), "y": ("x", -90.0), "-z": ("x", 180.0)}[up]
    world = Rotation.from_euler(to_axis[0], to_axis[1], degrees=True).as_matrix()
    folder = write_folder(tmp_path, ".npy")
    content = json.loads((folder / "transforms.json").read_text())
    for frame in content["frames"]:
        matrix = np.array(frame["transform_matrix"])
        matrix[:3] = world @ matrix[:3]
        frame["transform_matrix"] = matrix.tolist()
    (folder / "transforms.json").write_text(json.dumps(content))
    scan = read_transforms(folder, ReadSettings(gravity=True))
    assert scan.up is not None
    assert scan.up == pytest.approx(world @ [0.0, 0.0, 1.0], abs=1e-12)
    assert scan.gravity_known
    stated = read_transforms(folder, ReadSettings(up="-y"))
    assert stated.up is not None
    assert stated.up.tolist() == [0.0, -1.0, 0.0]


def test_invalid_pixels_give_no_points(tmp_path: Path) -> None:
    folder = write_folder(tmp_path, ".npy")
    for i in range(5):
        path = folder / "depth" / f"{i:03d}.npy"
        depth = np.load(path)
        depth[:, :20] = np.nan
        depth[:, 20:40] = np.inf
        depth[:, 40:50] = 0.0
        depth[:, 50:60] = -1.0
        np.save(path, depth)
    assert_on_surface(read_transforms(folder, DEFAULTS), FLOAT_STEP_MM, 5 * 77 * VIEW.height)


def test_weights_go_to_the_pixels_of_their_level(tmp_path: Path) -> None:
    """Left third noisy and called 0, the rest clean and called 2: weights tell the two sides apart."""
    rng = np.random.default_rng(2)
    folder = write_folder(tmp_path, ".npy")
    level = np.full((VIEW.height, VIEW.width), 2, np.uint8)
    level[:, :45] = 0
    (folder / "confidence").mkdir()
    for i in range(5):
        path = folder / "depth" / f"{i:03d}.npy"
        depth = np.load(path)
        share = np.where(level == 0, 0.003, 0.001)
        np.save(path, (depth * (1.0 + share * rng.standard_normal(depth.shape))).astype(np.float32))
        Image.fromarray(level).save(folder / "confidence" / f"{i:03d}.png")
    scan = read_transforms(folder, DEFAULTS)
    assert scan.weight is not None
    assert scan.view_of_point is not None
    for i, (turn, place) in enumerate(poses()):
        seen = (scan.points_mm[scan.view_of_point == i] + scan.origin_mm - place * 1000.0) @ turn
        column = np.rint(seen[:, 0] / seen[:, 2] * VIEW.fx + VIEW.cx)
        weight = scan.weight[scan.view_of_point == i]
        # (1 / 3) squared, to the 20 % that five small frames with a box in view allow.
        assert weight[column < 45] == pytest.approx(1.0 / 9.0, rel=0.2)
        assert (weight[column >= 45] == 1.0).all()
    assert any("weighed" in line for line in scan.inferences)


def test_more_than_the_cap_is_thinned_alike_everywhere_and_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = write_folder(tmp_path, ".npy")
    whole = read_transforms(folder, DEFAULTS)
    monkeypatch.setattr("flatscan.sources.depth.depth_capture.MAX_POINTS", PIXELS // 4)
    thinned = read_transforms(folder, DEFAULTS)
    assert "one in 5 was kept" in next(c.text for c in thinned.caveats if c.name == "points_thinned")
    assert whole.view_of_point is not None
    assert thinned.view_of_point is not None
    shares = np.bincount(thinned.view_of_point) / np.bincount(whole.view_of_point)
    assert shares == pytest.approx(0.2, abs=0.005)
    assert {tuple(p) for p in thinned.points_mm[:50].tolist()} <= {tuple(p) for p in whole.points_mm.tolist()}


def test_exif_turn_is_not_applied(tmp_path: Path) -> None:
    folder = write_folder(tmp_path, ".png")
    exif = Image.Exif()
    exif[0x0112] = 6
    for path in (folder / "depth").iterdir():
        with Image.open(path) as image:
            image.load()
        image.save(path, exif=exif)
    assert_on_surface(read_transforms(folder, DEFAULTS), 1.0, PIXELS)


def test_photo_keeps_its_own_camera_and_size(tmp_path: Path) -> None:
    """Photo numbers are given at 400 x 300; the photo on disk is half that."""
    folder = write_folder(tmp_path, ".npy", fl_x=300.0, fl_y=310.0, cx=201.0, cy=149.0, w=400, h=300, k1=0.1)
    content = json.loads((folder / "transforms.json").read_text()) | {"depth": VIEW.keys()}
    Image.new("RGB", (200, 150)).save(folder / "photo.jpg")
    content["frames"][0]["file_path"] = "photo.jpg"
    content["frames"][1]["file_path"] = "lost.jpg"
    (folder / "transforms.json").write_text(json.dumps(content))
    scan = read_transforms(folder, DEFAULTS)
    first, second = scan.frames[:2]
    assert first.colour_camera == pytest.approx((150.0, 155.0, 100.25, 74.25))
    assert first.colour_size == (200, 150)
    assert first.distortion == (0.1, 0.0, 0.0, 0.0)
    assert first.depth_size == (VIEW.width, VIEW.height)
    assert second.colour_path is None
    assert any("1 photos" in line for line in scan.inferences)


def test_predicates_tell_the_layouts_apart(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    transforms, tum = write_folder(tmp_path / "a"), write_tum(tmp_path / "b")
    assert is_transforms(transforms)
    assert is_transforms(transforms / "transforms.json")
    assert not is_transforms(tum)
    assert is_tum(tum)
    assert not is_tum(transforms)
    assert is_depth_image(transforms / "depth" / "000.png")
    assert not is_depth_image(transforms / "transforms.json")
    assert not is_depth_image(transforms)
