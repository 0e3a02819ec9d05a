"""Invented rooms seen by simulated instruments, as scans in memory; the truth stays at hand.

Lengths in mm. The scan's axes are those of the room, up to the drift of a phone's poses.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from flatscan.sources.depth.camera import Camera, pixel_rays
from flatscan.sources.depth.depth_edges import on_surface
from flatscan.sources.scan import PosedFrame, Scan
from flatscan.surface.planes import fit_robust
from flatscan.surface.surface import Surface
from flatscan.synth.camera import walk
from flatscan.synth.capture import capture_frames
from flatscan.synth.floor import InventedFloor, make_floor
from flatscan.synth.laying import Tiling
from flatscan.synth.outline import inside, l_shape, rectangle
from flatscan.synth.scene import Box, Scene
from flatscan.synth.sensors.drift import PHONE_DRIFT, recorded_poses
from flatscan.synth.sensors.laser import COMPACT_LASER, SURVEY_LASER, LaserScanner, scan_station
from flatscan.synth.sensors.presets import PHONE, PHONE_CAMERA
from flatscan.synth.shape import Bay, Tilt

#: Class of capture: instrument and number of stations (0: a walk with a phone).
CLASSES = {
    "survey laser, 2 stations": ("survey", 2),
    "survey laser, 1 station": ("survey", 1),
    "compact laser, 2 stations": ("compact", 2),
    "compact laser, 1 station": ("compact", 1),
    "phone, optimistic": ("optimistic", 0),
    "phone, typical": ("typical", 0),
}
_SUBCELLS = 5
_CONFIDENCE_WEIGHT = np.array([0.1, 0.5, 1.0], np.float32)


def invented_room(rng: np.random.Generator) -> Scene:
    """A room of 2.5 to 4 m: half of them L-shaped, half tiled, half with a box in it; waves, and up to two bays."""
    length, width = rng.uniform(2800.0, 4000.0), rng.uniform(2500.0, 3200.0)
    outline = rectangle(length, width)
    if rng.random() < 0.5:
        outline = l_shape(length, width, rng.uniform(0.25, 0.4) * length, rng.uniform(0.25, 0.4) * width)
    bays = tuple(
        Bay(
            (float(rng.uniform(0.2, 0.8) * length), float(rng.uniform(0.2, 0.8) * width)),
            (float(rng.uniform(300.0, 900.0)), float(rng.uniform(300.0, 900.0))),
            float(rng.uniform(-4.0, 6.0)),
        )
        for _ in range(int(rng.integers(0, 3)))
    )
    tiling = None
    if rng.random() < 0.5:
        side = float(rng.uniform(150.0, 400.0))
        tiling = Tiling(
            size_mm=(side, side),
            width_mm=3.0,
            depth_mm=float(rng.uniform(0.8, 2.0)),
            lip_sd_mm=float(rng.uniform(0.1, 0.5)),
            tilt_sd_mm_per_m=float(rng.uniform(0.0, 1.0)),
        )
    floor = make_floor(
        outline,
        rng=rng,
        tilt=Tilt(float(rng.uniform(0.0, 5.0)), float(rng.uniform(0.0, 2.0 * np.pi))),
        waves_rms_mm=float(rng.uniform(0.2, 1.3)),
        wavelength_mm=float(rng.uniform(1500.0, 4000.0)),
        bays=bays,
        tiling=tiling,
    )
    solids = ()
    if rng.random() < 0.5:
        at = (float(rng.uniform(0.25, 0.6) * length), float(rng.uniform(0.25, 0.6) * width))
        size = (float(rng.uniform(300.0, 600.0)), float(rng.uniform(300.0, 600.0)))
        solids = (Box(at, size, float(rng.uniform(300.0, 900.0)), turn_rad=float(rng.uniform(0.0, 1.5))),)
    return Scene(floor, solids=solids)


def captured(scene: Scene, kind: str, rng: np.random.Generator) -> Scan:
    """The scene seen by one of ``CLASSES``."""
    name, stations = CLASSES[kind]
    if stations == 0:
        return _by_phone(scene, name, rng)
    scanner = replace(
        SURVEY_LASER if name == "survey" else COMPACT_LASER,
        azimuth_step_rad=np.deg2rad(0.3),
        elevation_step_rad=np.deg2rad(0.2),
        highest_rad=np.deg2rad(5.0),
    )
    return _by_laser(scene, scanner, stations, rng)


def _by_laser(scene: Scene, scanner: LaserScanner, count: int, rng: np.random.Generator) -> Scan:
    places = _free_places(scene, count, rng)
    heads = [(float(x), float(y), 1500.0) for x, y in places]
    seen = [scan_station(scanner, scene, head, rng).point_mm for head in heads]
    return Scan(
        kind="cloud",
        points_mm=np.concatenate(seen).astype(np.float32),
        origin_mm=np.zeros(3),
        up=np.array([0.0, 0.0, 1.0]),
        gravity_known=True,
        inputs=(),
        view_of_point=np.repeat(np.arange(count, dtype=np.uint16), [len(p) for p in seen]),
        viewpoints_mm=np.array(heads),
    )


def _free_places(scene: Scene, count: int, rng: np.random.Generator) -> np.ndarray:
    """(count, 2) places 0.5 m off the walls and things, 1.2 m or more apart."""
    outline = scene.floor.outline_mm
    low, high = outline.min(axis=0), outline.max(axis=0)
    found: list[np.ndarray] = []
    while len(found) < count:
        at = rng.uniform(low + 500.0, high - 500.0)
        around = at + 450.0 * np.array([[1, 0], [-1, 0], [0, 1], [0, -1]])
        free = all(np.hypot(*(at - box.centre_mm)) > 0.5 * np.hypot(*box.size_mm) + 300.0 for box in scene.solids)
        apart = all(np.hypot(*(at - other)) > 1200.0 for other in found)
        if free and apart and inside(outline, around[:, 0], around[:, 1]).all():
            found.append(at)
    return np.array(found)


def _by_phone(scene: Scene, name: str, rng: np.random.Generator) -> Scan:
    poses = walk(scene.floor.outline_mm, rng=rng, spacing_mm=(700.0, 650.0))
    sensor = replace(PHONE[name], step_mm=1.0)
    recorded = recorded_poses(poses, PHONE_DRIFT[name], rng)
    camera = PHONE_CAMERA
    read_by = Camera(camera.focal, camera.focal, *camera.centre, camera.width, camera.height)
    rays = pixel_rays(read_by)
    points, weights = [], []
    for frame in capture_frames(scene, poses, recorded, sensor=sensor, camera=camera, rng=rng):
        along = np.where(frame.depth_mm > 0, frame.depth_mm, np.nan).astype(np.float32) * rays.length
        keep = on_surface(along, rays, sensor.step_mm)
        # The simulated smoothing is not itself within three of its widths of the picture's border.
        border = int(np.ceil(3.0 * sensor.blur_px))
        keep[:border] = keep[-border:] = False
        keep[:, :border] = keep[:, -border:] = False
        depth = (along / rays.length)[keep]
        xyz = np.column_stack([rays.xy[keep] * depth[:, None], depth]).astype(np.float64)
        points.append(xyz @ frame.room_from_camera[:3, :3].T + frame.room_from_camera[:3, 3])
        weights.append(_CONFIDENCE_WEIGHT[frame.confidence[keep]])
    return Scan(
        kind="depth_frames",
        points_mm=np.concatenate(points).astype(np.float32),
        origin_mm=np.zeros(3),
        up=np.array([0.0, 0.0, 1.0]),
        gravity_known=False,
        inputs=(),
        view_of_point=np.repeat(np.arange(len(points), dtype=np.uint16), [len(p) for p in points]),
        viewpoints_mm=np.array([pose[:3, 3] for pose in recorded]),
        weight=np.concatenate(weights),
        step_mm=sensor.step_mm,
        frames=tuple(
            PosedFrame(None, None, pose, read_by.intrinsics, (camera.width, camera.height)) for pose in recorded
        ),
    )


@dataclass(frozen=True, slots=True, eq=False)
class CellTruth:
    """(rows, cols) float64: mean true face height of each cell about the floor's own reference plane.

    ``height_mm`` NaN where the surface was not seen; ``xy_mm`` (rows, cols, 2) cell centres in the room.
    """

    height_mm: np.ndarray
    xy_mm: np.ndarray


def true_cells(floor: InventedFloor, surface: Surface) -> CellTruth:
    """What the surface's cells would show without noise: faces averaged over each cell, off their own plane.

    A room frame that the capture does not share (drift, an offset of depth) is no error of a height about a
    plane, so the truth has its own plane taken off by the same robust fit.
    """
    scan_from_floor = np.linalg.inv(surface.floor_from_scan)
    rows, cols = surface.height_mm.shape
    at = (np.arange(_SUBCELLS) + 0.5) / _SUBCELLS
    u = surface.origin_mm[0] + (np.arange(cols)[:, None] + at).ravel() * surface.cell_mm
    v = surface.origin_mm[1] + (np.arange(rows)[:, None] + at).ravel() * surface.cell_mm
    x, y = np.meshgrid(u, v)
    z = np.zeros_like(x)
    for _ in range(3):  # the floor's tilt moves a place by its height times the tilt: micrometres after three
        room = np.stack([x, y, z, np.ones_like(x)], axis=-1) @ scan_from_floor.T
        face = floor.face_mm(room[..., 0], room[..., 1])
        z = np.stack([room[..., 0], room[..., 1], face, np.ones_like(x)], axis=-1) @ surface.floor_from_scan[2]
    cells = z.reshape(rows, _SUBCELLS, cols, _SUBCELLS).mean(axis=(1, 3))
    middle = room[..., :2].reshape(rows, _SUBCELLS, cols, _SUBCELLS, 2).mean(axis=(1, 3))
    row, col = np.nonzero(surface.seen)
    plane = fit_robust(col * 1.0, row * 1.0, cells[row, col]).plane
    height = np.full((rows, cols), np.nan)
    height[row, col] = plane.normal_mm(col * 1.0, row * 1.0, cells[row, col])
    return CellTruth(height, middle)
