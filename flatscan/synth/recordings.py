"""Record an invented room with each kind of instrument, and write the capture as its files."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.synth.camera import walk
from flatscan.synth.capture import capture_frames
from flatscan.synth.mesh import room_mesh
from flatscan.synth.paint import draw_paint
from flatscan.synth.sensors.drift import PHONE_DRIFT, recorded_poses
from flatscan.synth.sensors.laser import COMPACT_LASER, SURVEY_LASER, LaserPoints, LaserScanner, scan_station
from flatscan.synth.sensors.levels import OPTICAL_LEVEL, read_staff
from flatscan.synth.sensors.presets import PHONE, PHONE_CAMERA
from flatscan.synth.write import write_glb, write_laz, write_staff_levels, write_xyz_commas
from flatscan.synth.write_frames import Y_UP_FROM_ROOM, write_transforms

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from flatscan.synth.scene import Scene

_PHOTO_SCALE = 2.5
_LEVEL_STEP_MM = 500.0
_LEVEL_MARGIN_MM = 100.0
_CUT_MM = 600.0


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """A capture that was written: where, with what, and (4, 4) from room to the capture's own axes, mm."""

    path: Path
    sensor: str
    scan_from_room: NDArray[np.float64]


def record_phone(folder: Path, scene: Scene, rng: np.random.Generator, *, photos: bool = True) -> Recording:
    """Walk a phone over the room; transforms.json, 256 × 192 depth, confidence, photos.

    The optimistic phone: held with care, its path closed on itself.
    """
    walk_rng, drift_rng, paint_rng, sensor_rng = rng.spawn(4)
    # The device writes whole millimetres, as depth images usually hold.
    sensor = replace(PHONE["optimistic"], step_mm=1.0)
    poses = walk(scene.floor.outline_mm, rng=walk_rng)
    photo_camera = PHONE_CAMERA.scaled(_PHOTO_SCALE) if photos else None
    frames = capture_frames(
        scene,
        poses,
        recorded_poses(poses, PHONE_DRIFT["optimistic"], drift_rng),
        sensor=sensor,
        camera=PHONE_CAMERA,
        rng=sensor_rng,
        paint=draw_paint(paint_rng) if photos else None,
        photo_camera=photo_camera,
    )
    write_transforms(folder, frames, camera=PHONE_CAMERA, photo_camera=photo_camera)
    return Recording(folder, sensor.name, Y_UP_FROM_ROOM)


def record_laser(folder: Path, scene: Scene, rng: np.random.Generator) -> Recording:
    """Scan the room from two tripods, joined by targets; ``folder/scan.laz``, 0.1 mm steps."""
    # Steps so fine that one station fills the other's blind disc with a reading or more in every 50 mm.
    scanner = replace(
        SURVEY_LASER,
        azimuth_step_rad=np.deg2rad(0.3),
        elevation_step_rad=np.deg2rad(0.16),
        highest_rad=np.deg2rad(5.0),
    )
    stations = scan_stations(scanner, scene, rng)
    path = folder / "scan.laz"
    write_laz(path, stations)
    return Recording(path, scanner.name, np.eye(4))


def scan_stations(scanner: LaserScanner, scene: Scene, rng: np.random.Generator) -> tuple[LaserPoints, ...]:
    """Two stations near the two ends of the room, low enough in y to stay within its L."""
    low, high = scene.floor.outline_mm.min(axis=0), scene.floor.outline_mm.max(axis=0)
    places = (low + (high - low) * np.array(share) for share in ((0.22, 0.45), (0.86, 0.2)))
    return tuple(
        scan_station(scanner, scene, (float(x), float(y), 1500.0), station_rng)
        for (x, y), station_rng in zip(places, rng.spawn(2), strict=True)
    )


def record_mesh(folder: Path, scene: Scene, rng: np.random.Generator) -> Recording:
    """The room as a fused and smoothed mesh; ``folder/room.glb``."""
    path = folder / "room.glb"
    write_glb(path, *room_mesh(scene, rng=rng))
    return Recording(path, "phone, fused mesh", Y_UP_FROM_ROOM)


def record_levels(folder: Path, scene: Scene, rng: np.random.Generator) -> Recording:
    """Staff readings every 0.5 m from 0.1 m off the walls; ``folder/levels.csv``."""
    x_mm, y_mm = level_grid(scene.floor.outline_mm)
    keep = scene.floor.inside(x_mm, y_mm)
    x_mm, y_mm = x_mm[keep], y_mm[keep]
    staff_mm = read_staff(OPTICAL_LEVEL, scene.floor, x_mm, y_mm, rng)
    path = folder / "levels.csv"
    # One reading and its rounding; the level's own tilt and drift come on top and are not known to its user.
    sigma_mm = float(np.hypot(OPTICAL_LEVEL.reading_sd_mm, OPTICAL_LEVEL.resolution_mm / np.sqrt(12.0)))
    write_staff_levels(path, x_mm, y_mm, staff_mm, title=f"an invented room, {OPTICAL_LEVEL.name}", sigma_mm=sigma_mm)
    return Recording(path, OPTICAL_LEVEL.name, np.eye(4))


def level_grid(outline_mm: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Nodes (n,), (n,) mm of a 0.5 m grid, row by row."""
    low, high = outline_mm.min(axis=0) + _LEVEL_MARGIN_MM, outline_mm.max(axis=0) - _LEVEL_MARGIN_MM + 1e-6
    x, y = np.meshgrid(np.arange(low[0], high[0], _LEVEL_STEP_MM), np.arange(low[1], high[1], _LEVEL_STEP_MM))
    return x.ravel(), y.ravel()


def record_text_cloud(folder: Path, scene: Scene, rng: np.random.Generator, *, spacing_mm: float = 15.0) -> Recording:
    """Two compact laser stations along the room; ``folder/cloud.txt``, decimal commas.

    As exported by hand: cut 0.6 m above the floor and thinned to one point per cube of ``spacing_mm``.
    """
    scanner = replace(COMPACT_LASER, azimuth_step_rad=np.deg2rad(0.3), elevation_step_rad=np.deg2rad(0.2), join_mm=0.3)
    cloud = np.concatenate([station.point_mm for station in scan_stations(scanner, scene, rng)])
    cloud = cloud[cloud[:, 2] < _CUT_MM]
    first = np.unique(np.floor(cloud / spacing_mm), axis=0, return_index=True)[1]
    path = folder / "cloud.txt"
    write_xyz_commas(path, cloud[np.sort(first)])
    return Recording(path, scanner.name, np.eye(4))
