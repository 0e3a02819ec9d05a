"""Capture a tiled floor: a phone held over it, looking down, or a laser beside it; written as the capture's files."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from flatscan.synth.baked import bake
from flatscan.synth.capture import Frame, at_depth_pixels, true_depth
from flatscan.synth.outline import inside
from flatscan.synth.recordings import Recording
from flatscan.synth.sensors.depth import draw_unit, read_depth
from flatscan.synth.sensors.drift import PHONE_DRIFT, recorded_poses
from flatscan.synth.sensors.laser import SURVEY_LASER, scan_station
from flatscan.synth.sensors.presets import PHONE, PHONE_CAMERA, STRUCTURED_LIGHT
from flatscan.synth.tile_paint import draw_tile_paint, place_rgb
from flatscan.synth.tile_photo import LIGHTS, PHONE_PHOTO, Lens, photograph_tiles
from flatscan.synth.write import write_laz
from flatscan.synth.write_frames import Y_UP_FROM_ROOM, write_transforms

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from flatscan.synth.camera import Pinhole
    from flatscan.synth.scene import Scene
    from flatscan.synth.sensors.depth import DepthSensor
    from flatscan.synth.sensors.laser import LaserScanner
    from flatscan.synth.tile_paint import TilePaint
    from flatscan.synth.tile_photo import Light

Sensor = Literal["optimistic", "typical", "pessimistic", "structured_light"]

#: Depth camera and drift of each kind. Phones write whole millimetres, as depth images usually hold.
_SENSORS: dict[str, tuple[DepthSensor, str]] = {
    "optimistic": (replace(PHONE["optimistic"], step_mm=1.0), "optimistic"),
    "typical": (PHONE["typical"], "typical"),
    "pessimistic": (PHONE["pessimistic"], "pessimistic"),
    "structured_light": (STRUCTURED_LIGHT, "optimistic"),
}
#: How a hand holds a phone (assumptions): tilts each way, turn, place and height, one standard deviation.
_TILT_RAD, _TURN_RAD, _PLACE_MM, _HEIGHT_SHARE = np.deg2rad(4.0), np.deg2rad(6.0), 15.0, 0.04
_FROM_WALL_MM = 120.0
#: Where the tripods stand, as shares of the room's length and width: the first two of these within the room.
_STATIONS = ((0.15, 0.2), (0.85, 0.8), (0.85, 0.2), (0.15, 0.8))
#: Depth counts of a tenth of a millimetre for structured light, else whole millimetres.
_METRES_PER_COUNT = {"structured_light": 0.0001}


def looking_down(
    at_mm: tuple[float, float, float], *, heading_rad: float = 0.0, tilt_rad: tuple[float, float] = (0.0, 0.0)
) -> NDArray[np.float64]:
    """Room-from-camera (4, 4), OpenCV axes: straight down, image right along ``heading_rad``, then tilted.

    ``tilt_rad``: turned about the camera's own x axis, then its y axis.
    """
    cos, sin = np.cos(heading_rad), np.sin(heading_rad)
    down = np.array([[cos, sin, 0.0], [sin, -cos, 0.0], [0.0, 0.0, -1.0]])
    (ca, cb), (sa, sb) = np.cos(tilt_rad), np.sin(tilt_rad)
    about_x = np.array([[1.0, 0.0, 0.0], [0.0, ca, -sa], [0.0, sa, ca]])
    about_y = np.array([[cb, 0.0, sb], [0.0, 1.0, 0.0], [-sb, 0.0, cb]])
    room_from_camera = np.eye(4)
    room_from_camera[:3, :3] = down @ about_x @ about_y
    room_from_camera[:3, 3] = at_mm
    return room_from_camera


def poses_over(
    outline_mm: NDArray[np.float64],
    rng: np.random.Generator,
    *,
    height_mm: float,
    overlap: float,
    views_per_place: int = 1,
    patch_mm: tuple[float, float, float, float] | None = None,
    camera: Pinhole = PHONE_PHOTO,
) -> tuple[NDArray[np.float64], ...]:
    """Poses up and down lanes over the room or a patch (x0, y0, x1, y1) of it, as a hand holds the phone.

    ``overlap``: share of a photo's side that its neighbour shows too. Views of one place differ by what the hand does.
    """
    low, high = outline_mm.min(axis=0), outline_mm.max(axis=0)
    box = np.array([*low, *high] if patch_mm is None else patch_mm)
    shown = np.array([camera.width, camera.height]) * height_mm / camera.focal
    counts = np.maximum(np.ceil((box[2:] - box[:2] - shown) / (shown * (1.0 - overlap))).astype(int) + 1, 1)
    places = []
    for k, count in enumerate(counts):
        middle = 0.5 * (box[k] + box[k + 2])
        reach = max(0.5 * (box[k + 2] - box[k] - shown[k]), 0.0)
        places.append(middle + reach * np.linspace(-1.0, 1.0, count) if count > 1 else np.array([middle]))
    poses = []
    for lane, y in enumerate(places[1]):
        for x in places[0][:: -1 if lane % 2 else 1]:
            if not inside(outline_mm, np.array([x]), np.array([y]))[0]:
                continue
            for _ in range(views_per_place):
                at = np.clip(
                    np.array([x, y]) + rng.normal(0.0, _PLACE_MM, 2), low + _FROM_WALL_MM, high - _FROM_WALL_MM
                )
                tilt = rng.normal(0.0, _TILT_RAD, 2)
                up = height_mm * (1.0 + float(np.clip(rng.normal(0.0, _HEIGHT_SHARE), -0.1, 0.1)))
                turn = float(rng.normal(0.0, _TURN_RAD))
                poses.append(
                    looking_down(
                        (float(at[0]), float(at[1]), up), heading_rad=turn, tilt_rad=(float(tilt[0]), float(tilt[1]))
                    )
                )
    return tuple(poses)


def capture_tiles(
    folder: Path,
    scene: Scene,
    rng: np.random.Generator,
    *,
    sensor: Sensor = "optimistic",
    height_mm: float = 650.0,
    photo_size: tuple[int, int] = (1440, 1080),
    overlap: float = 0.3,
    light: str | Light = "diffuse",
    views_per_place: int = 1,
    patch_mm: tuple[float, float, float, float] | None = None,
    paint: TilePaint | None = None,
    lens: Lens | None = None,
    drift: str | None = None,
    jpeg_quality: int = 90,
    photos: bool = True,
) -> Recording:
    """Hold a phone over the floor; write transforms.json with depth, confidence and photos.

    Parameters
    ----------
    scene : of ``tiled_scene``
    sensor : depth camera, and the drift of its poses unless ``drift`` names another ("none": true poses)
    height_mm : of the phone above the datum, 400 to 1200
    photo_size : (width, height), 4:3 as the depth
    light : a name of ``tile_photo.LIGHTS``, or one's own
    patch_mm : only this part of the room
    """
    pose_rng, drift_rng, paint_rng, sensor_rng, photo_rng = rng.spawn(5)
    depth_sensor, usual = _SENSORS[sensor]
    photo_camera = PHONE_PHOTO.scaled(photo_size[0] / PHONE_PHOTO.width)
    if (photo_camera.width, photo_camera.height) != photo_size:
        raise ValueError("photo_size must be 4:3, as the depth camera's view is")
    poses = poses_over(
        scene.floor.outline_mm, pose_rng, height_mm=height_mm, overlap=overlap, views_per_place=views_per_place,
        patch_mm=patch_mm,
    )  # fmt: skip
    paint = paint or draw_tile_paint(paint_rng, area_mm=_size(scene))
    look = (LIGHTS[light] if isinstance(light, str) else light, lens or Lens())
    recorded = recorded_poses(poses, PHONE_DRIFT[drift or usual], drift_rng)
    frames = _frames(
        scene, poses, recorded, depth_sensor, photo_camera if photos else None, paint, look, (sensor_rng, photo_rng)
    )
    write_transforms(
        folder, frames, camera=PHONE_CAMERA, photo_camera=photo_camera if photos else None,
        metres_per_count=_METRES_PER_COUNT.get(sensor, 0.001), jpeg_quality=jpeg_quality,
    )  # fmt: skip
    return Recording(folder, depth_sensor.name, Y_UP_FROM_ROOM)


def _size(scene: Scene) -> tuple[float, float]:
    size = scene.floor.outline_mm.max(axis=0) - scene.floor.outline_mm.min(axis=0)
    return float(size[0]), float(size[1])


def _frames(
    scene: Scene,
    poses: Sequence[NDArray[np.float64]],
    recorded: Sequence[NDArray[np.float64]],
    sensor: DepthSensor,
    photo_camera: Pinhole | None,
    paint: TilePaint,
    look: tuple[Light, Lens],
    rngs: tuple[np.random.Generator, np.random.Generator],
) -> Iterator[Frame]:
    unit = draw_unit(sensor, (PHONE_CAMERA.height, PHONE_CAMERA.width), rngs[0])
    baked = bake(scene.floor)
    for pose, believed in zip(poses, recorded, strict=True):
        depth, cos = true_depth(scene, PHONE_CAMERA, pose)
        photo = tone = None
        if photo_camera is not None:
            photo = photograph_tiles(
                scene, paint, photo_camera, pose, rng=rngs[1], light=look[0], lens=look[1], baked=baked
            )
            tone = at_depth_pixels(photo, PHONE_CAMERA)
        reading = read_depth(unit, depth, cos, rngs[0], tone=tone)
        yield Frame(reading.depth_mm, reading.confidence, photo, believed)


def scan_tiles_laser(
    folder: Path,
    scene: Scene,
    rng: np.random.Generator,
    *,
    coloured: bool = True,
    paint: TilePaint | None = None,
    scanner: LaserScanner = SURVEY_LASER,
    step_rad: float = np.deg2rad(0.1),
    height_mm: float = 900.0,
) -> Recording:
    """Scan the floor from two tripods, either of which sees beneath the other; ``folder/scan.laz``, coloured or bare.

    Colours are those of the places met, each the mean over the beam's spot, in even light.
    """
    scan_rng, paint_rng = rng.spawn(2)
    fine = replace(scanner, azimuth_step_rad=step_rad, elevation_step_rad=step_rad, highest_rad=np.deg2rad(-20.0))
    low, high = scene.floor.outline_mm.min(axis=0), scene.floor.outline_mm.max(axis=0)
    places = low + np.array(_STATIONS) * (high - low)
    places = places[scene.floor.inside(places[:, 0], places[:, 1])][:2]
    stations = []
    for (x, y), station_rng in zip(places, scan_rng.spawn(len(places)), strict=True):
        stations.append(scan_station(fine, scene, (float(x), float(y), height_mm), station_rng))
    rgb = None
    if coloured:
        paint = paint or draw_tile_paint(paint_rng, area_mm=_size(scene))
        rgb = _spot_colours(scene, paint, np.concatenate([station.point_mm for station in stations]), fine.spot_mm)
    path = folder / "scan.laz"
    write_laz(path, stations, rgb=rgb)
    return Recording(path, fine.name, np.eye(4))


def _spot_colours(scene: Scene, paint: TilePaint, point_mm: NDArray[np.float64], spot_mm: float) -> NDArray[np.uint8]:
    """Mean colour (n, 3) of the middle of the spot and four places on its ring, as the mean range is taken."""
    ring = 0.5 * spot_mm / np.sqrt(2.0)
    total = np.zeros((len(point_mm), 3), dtype=np.float32)
    for dx, dy in ((0.0, 0.0), (ring, 0.0), (-ring, 0.0), (0.0, ring), (0.0, -ring)):
        total += place_rgb(paint, scene.floor, point_mm[:, 0] + dx, point_mm[:, 1] + dy)
    return np.asarray(np.rint(255.0 * np.clip(total / 5.0, 0.0, 1.0) ** (1.0 / 2.2)), dtype=np.uint8)
