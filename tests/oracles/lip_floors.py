"""Invented tiled floors with the network and the lips taken from the truth, seen by simulated sensors.

Lengths in mm. Scan axes, room axes and floor frame are one, so that the surface needs no finding.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from flatscan.measures.joints.network import Face, JointNetwork, JointPiece
from flatscan.sources.depth.camera import Camera, pixel_rays
from flatscan.sources.depth.depth_edges import on_surface
from flatscan.sources.scan import PosedFrame, Scan
from flatscan.surface.surface import NoiseModel, Surface
from flatscan.synth.camera import Pinhole, pose
from flatscan.synth.capture import capture_frames
from flatscan.synth.floor import InventedFloor, make_floor
from flatscan.synth.laying import Tiling
from flatscan.synth.outline import rectangle
from flatscan.synth.scene import Scene
from flatscan.synth.sensors.laser import COMPACT_LASER, SURVEY_LASER, scan_station
from flatscan.synth.sensors.presets import PHONE, PHONE_CAMERA, STRUCTURED_LIGHT
from flatscan.synth.truth import true_joints

FINE_CAMERA = Pinhole(640, 480, 580.0)


@dataclass(frozen=True)
class TrueNetwork:
    """``network``, and per piece the true lip (left less right) at its middle, its slope, width and depth."""

    network: JointNetwork
    lip: np.ndarray
    slope: np.ndarray
    width: np.ndarray
    depth: np.ndarray


def tiled_floor(rng, size=(1500.0, 1200.0), *, waves=1.0, **tiling):
    """A floor with lips, tilted tiles and waves of a millimetre or so."""
    settings = {"lip_sd_mm": 0.7, "tilt_sd_mm_per_m": 1.0, **tiling}
    return make_floor(rectangle(*size), rng=rng, waves_rms_mm=waves, wavelength_mm=2500.0, tiling=Tiling(**settings))


def true_network(floor: InventedFloor) -> TrueNetwork:
    """Pieces from node to node and faces as rings of centre lines, cut at the walls."""
    low, high = floor.outline_mm.min(axis=0), floor.outline_mm.max(axis=0)
    tiles, faces, number = floor.tiles, [], {}
    assert tiles is not None
    rows, cols = tiles.offset_mm.shape
    for row in range(rows):
        for col in range(cols):
            x = tiles.origin_mm[0] + float(tiles.shift_mm(np.array(row))) + col * tiles.pitch_mm[0]
            y = tiles.origin_mm[1] + row * tiles.pitch_mm[1]
            a = np.clip([x, y], low, high)
            b = np.clip([x + tiles.pitch_mm[0], y + tiles.pitch_mm[1]], low, high)
            if np.all(b - a > 5.0):
                number[row, col] = len(faces)
                faces.append(Face(np.array([a, (b[0], a[1]), b, (a[0], b[1])]), whole=True))
    pieces, truth = [], []
    for joint in true_joints(floor):
        start, end = np.array(joint.start_mm), np.array(joint.end_mm)
        along = (end - start) / np.linalg.norm(end - start)
        half = joint.width_mm / 2.0
        cut = [np.clip(start - half * along, low, high), np.clip(end + half * along, low, high)]
        if np.linalg.norm(cut[1] - cut[0]) < 30.0:
            continue
        upright = abs(along[1]) > 0.5
        # To the left of a way up lies the first tile, of a way to the right the second.
        left, right = (joint.first, joint.second) if upright else (joint.second, joint.first)
        if left not in number or right not in number:
            continue
        slope = (joint.lip_end_mm - joint.lip_start_mm) / np.linalg.norm(end - start)
        share = np.dot((cut[0] + cut[1]) / 2.0 - start, along) / np.linalg.norm(end - start)
        sign = -1.0 if upright else 1.0
        truth.append((sign * joint.lip_at_mm(share), sign * slope, joint.width_mm, joint.depth_mm))
        pieces.append(JointPiece(tuple(cut[0]), tuple(cut[1]), (number[left], number[right]), 1.0))
    network = JointNetwork(tuple(pieces), tuple(faces), None, "picture", "from the truth")
    return TrueNetwork(network, *np.array(truth).T)


def turned_round(network: JointNetwork) -> JointNetwork:
    """Every piece with its ends swapped."""
    pieces = tuple(JointPiece(p.end, p.start, (p.faces[1], p.faces[0]), p.evidence) for p in network.pieces)
    return replace(network, pieces=pieces)


def surface_of(floor: InventedFloor, kind: str, cell=20.0, transform=None) -> Surface:
    """The floor's true faces as a height map in the room's frame."""
    low, high = floor.outline_mm.min(axis=0), floor.outline_mm.max(axis=0)
    cols, rows = np.ceil((high - low) / cell).astype(int)
    x = low[0] + (np.arange(cols) + 0.5) * cell
    y = low[1] + (np.arange(rows) + 0.5) * cell
    height = floor.face_mm(x[None, :], y[:, None]).astype(np.float32)
    return Surface(
        height_mm=height,
        estimate_mm=height.copy(),
        white_mm=np.full_like(height, 0.2),
        count=np.full(height.shape, 10, np.int32),
        inside=np.ones(height.shape, bool),
        cell_mm=cell,
        origin_mm=(float(low[0]), float(low[1])),
        floor_from_scan=np.eye(4) if transform is None else transform,
        outline=(np.vstack([floor.outline_mm, floor.outline_mm[:1]]),),
        noise=NoiseModel(0.2, 0.0, 30.0, 0.3, "given"),
        slope=None,
        kind=kind,
    )


def scan_from(points, kind="cloud", **more) -> Scan:
    """A scan of points in the room's axes."""
    return Scan(
        kind=kind, points_mm=np.asarray(points, np.float32), origin_mm=np.zeros(3), up=np.array([0.0, 0.0, 1.0]),
        gravity_known=False, inputs=(), **more,
    )  # fmt: skip


def ideal_scan(floor: InventedFloor, rng, step=7.0, noise=0.0, kind="cloud") -> Scan:
    """The floor itself on a shaken grid of places, with white noise if asked for."""
    low, high = floor.outline_mm.min(axis=0), floor.outline_mm.max(axis=0)
    x, y = np.meshgrid(np.arange(low[0] + 1, high[0], step), np.arange(low[1] + 1, high[1], step))
    x, y = (p.ravel() + rng.uniform(-0.45, 0.45, p.size) * step for p in (x, y))
    keep = (x > low[0]) & (x < high[0]) & (y > low[1]) & (y < high[1])
    x, y = x[keep], y[keep]
    return scan_from(np.column_stack([x, y, floor.height_mm(x, y) + noise * rng.standard_normal(len(x))]), kind)


def depth_scan(floor: InventedFloor, rng, poses, sensor, camera) -> Scan:
    """Depth frames of one device from these poses, read as the program reads them."""
    reader = Camera(camera.focal, camera.focal, *camera.centre, camera.width, camera.height)
    rays = pixel_rays(reader)
    points = []
    for frame in capture_frames(Scene(floor), poses, poses, sensor=sensor, camera=camera, rng=rng):
        along = np.where(frame.depth_mm > 0, frame.depth_mm, np.nan).astype(np.float32) * rays.length
        keep = on_surface(along, rays, sensor.step_mm)
        # The simulated smoothing is not itself within three of its widths of the picture's border.
        border = int(np.ceil(3.0 * sensor.blur_px)) + 1
        keep[:border] = keep[-border:] = False
        keep[:, :border] = keep[:, -border:] = False
        depth = (along / rays.length)[keep]
        xyz = np.column_stack([rays.xy[keep] * depth[:, None], depth]).astype(np.float64)
        points.append(xyz @ frame.room_from_camera[:3, :3].T + frame.room_from_camera[:3, 3])
    return scan_from(
        np.concatenate(points),
        "depth_frames",
        view_of_point=np.repeat(np.arange(len(points), dtype=np.uint16), [len(p) for p in points]),
        viewpoints_mm=np.array([p[:3, 3] for p in poses]),
        step_mm=sensor.step_mm,
        frames=tuple(
            PosedFrame(None, None, p, reader.intrinsics, (camera.width, camera.height)) for p in poses
        ),
    )  # fmt: skip


def views(floor: InventedFloor, rng, count, heights, spread=0.35):
    """Poses that look at places about the floor's middle from ``heights`` mm, any way round, up to 25° off plumb."""
    low, high = floor.outline_mm.min(axis=0), floor.outline_mm.max(axis=0)
    found = []
    for _ in range(count):
        aim = (low + high) / 2.0 + rng.uniform(-spread, spread, 2) * (high - low)
        heading, down = rng.uniform(0.0, 2.0 * np.pi), np.deg2rad(rng.uniform(65.0, 89.0))
        height = rng.uniform(*heights)
        back = height / np.tan(down)
        at = aim - back * np.array([np.cos(heading), np.sin(heading)])
        found.append(pose((float(at[0]), float(at[1]), float(height)), heading_rad=heading, down_rad=float(down)))
    return tuple(found)


def laser_scan(floor: InventedFloor, rng, scanner, stations) -> Scan:
    """Stations at these (x, y), 1.5 m up, on an unwalled floor."""
    seen = [
        scan_station(scanner, Scene(floor, wall_mm=10.0), (float(x), float(y), 1500.0), rng).point_mm
        for x, y in stations
    ]
    return scan_from(
        np.concatenate(seen),
        view_of_point=np.repeat(np.arange(len(seen), dtype=np.uint16), [len(p) for p in seen]),
        viewpoints_mm=np.array([(x, y, 1500.0) for x, y in stations]),
    )


def captured(kind: str, floor: InventedFloor, rng) -> Scan:
    """The floor seen by a class of sensor."""
    if kind == "phone, one frame at 1 m":
        return depth_scan(floor, rng, views(floor, rng, 1, (1000.0, 1000.0), 0.02), PHONE["typical"], PHONE_CAMERA)
    if kind == "phone, 30 frames at 0.4-0.7 m":
        return depth_scan(floor, rng, views(floor, rng, 30, (400.0, 700.0)), PHONE["typical"], PHONE_CAMERA)
    if kind == "structured light, 6 frames at 0.35 m":
        return depth_scan(floor, rng, views(floor, rng, 6, (330.0, 380.0), 0.15), STRUCTURED_LIGHT, FINE_CAMERA)
    low, high = floor.outline_mm.min(axis=0), floor.outline_mm.max(axis=0)
    places = [low + (high - low) * np.array(share) - np.array([900.0, 0.0]) for share in ((0.0, 0.3), (0.0, 0.9))]
    if kind == "survey laser":
        step = np.deg2rad(0.2)
        fine = replace(SURVEY_LASER, azimuth_step_rad=step, elevation_step_rad=step, highest_rad=np.deg2rad(-10.0))
        return laser_scan(floor, rng, fine, places)
    step = np.deg2rad(0.25)
    fine = replace(COMPACT_LASER, azimuth_step_rad=step, elevation_step_rad=step, highest_rad=np.deg2rad(-10.0))
    return laser_scan(floor, rng, fine, places[:1])


CLASSES = (
    "phone, one frame at 1 m",
    "phone, 30 frames at 0.4-0.7 m",
    "structured light, 6 frames at 0.35 m",
    "survey laser",
    "compact laser",
)
