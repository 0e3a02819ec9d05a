"""Photos of joints whose truth is exact: rays through a pinhole onto tiles, sides and grout, many per pixel."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.ndimage import gaussian_filter

from flatscan.measures.joints.stations import Stations
from flatscan.surface.surface import NoiseModel, Surface


@dataclass(frozen=True)
class JointScene:
    """Parallel joints, ``pitch_mm`` apart, square to x turned by ``turn_rad``. Tile k lies right of joint k - 1.

    ``width_mm``: (k,) between the tiles' sides; ``height_mm``: (k + 1,) of the tiles; tones are linear brightness.
    """

    width_mm: np.ndarray
    height_mm: np.ndarray
    pitch_mm: float = 70.0
    turn_rad: float = 0.0
    depth_mm: float = 1.5
    face: float = 0.45
    grout: float = 0.12
    side: float = 0.12
    bend_mm: float = 0.0
    wander_mm: float = 0.0
    edge_mm: float = 0.0
    sky: bool = False  # light from an even sky: grooves darker towards their walls, edges rounded over ``edge_mm``
    shade: float = 0.2
    texture: float = 0.0
    grout_texture: float = 0.0
    stains: int = 0
    sun: tuple[float, float] | None = None  # (tan of the elevation in the plane across, side it comes from: +1 or -1)
    ambient: float = 0.25
    corner_mm: float = 0.0  # grout this near to a tile's side is dark: light does not get there
    tile_tone: np.ndarray | None = None
    seed: int = 0
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)
    grout_tint: tuple[float, float, float] = (1.0, 1.0, 1.0)

    @property
    def centres_mm(self) -> np.ndarray:
        return (np.arange(len(self.width_mm)) - (len(self.width_mm) - 1) / 2.0) * self.pitch_mm

    def axes(self) -> tuple[np.ndarray, np.ndarray]:
        """Unit vectors across the joints (to the right of their way) and along."""
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        return np.array([c, s]), np.array([-s, c])

    def offset_mm(self, y: np.ndarray) -> np.ndarray:
        return self.bend_mm * (y / 100.0) ** 2

    def widening_mm(self, y: np.ndarray) -> np.ndarray:
        return self.wander_mm * np.sin(y / 17.0)

    def look(self, origin: np.ndarray, rays: np.ndarray) -> np.ndarray:  # noqa: PLR0915 - one ray, told from top to bottom
        """(n, 3) linear tone along rays (n, 3) that go down from ``origin``."""
        across, along = self.axes()
        cx, cy, cz = origin[:2] @ across, origin[:2] @ along, origin[2]
        tx, ty = rays[:, :2] @ across / rays[:, 2], rays[:, :2] @ along / rays[:, 2]
        flat_x, flat_y = cx - cz * tx, cy - cz * ty
        bend = self.offset_mm(flat_y)
        k = np.clip(np.rint((flat_x - self.centres_mm[0]) / self.pitch_mm), 0, len(self.width_mm) - 1).astype(int)
        middle = self.centres_mm[k] + bend
        half = (self.width_mm[k] + self.widening_mm(flat_y)) / 2.0
        a, b = middle - half, middle + half
        za, zb = self.height_mm[k], self.height_mm[k + 1]
        low = np.minimum(za, zb)
        zg = low - self.depth_mm

        def x_at(z):
            return cx + (z - cz) * tx

        def z_at(x):
            with np.errstate(divide="ignore", invalid="ignore"):
                return np.where(np.abs(tx) > 1e-12, cz + (x - cx) / tx, np.inf)

        nothing = -np.inf
        hits = np.stack(
            [
                np.where(x_at(za) <= a, za, nothing),
                np.where(x_at(zb) >= b, zb, nothing),
                np.where((tx > 0) & (z_at(a) < za) & (z_at(a) >= zg), z_at(a), nothing),
                np.where((tx < 0) & (z_at(b) < zb) & (z_at(b) >= zg), z_at(b), nothing),
                np.where((x_at(zg) > a) & (x_at(zg) < b), zg, nothing),
            ]
        )
        what = np.argmax(hits, axis=0)
        z = np.max(hits, axis=0)
        x, y = x_at(z), cy + (z - cz) * ty
        tone = np.select([what <= 1, what <= 3], [np.full(len(x), self.face), np.full(len(x), self.side)], self.grout)
        if self.corner_mm > 0:
            tone = np.where((what >= 2) & (np.minimum(x - a, b - x) < self.corner_mm), 0.5 * self.face, tone)
        if self.tile_tone is not None:
            tone = np.where(what <= 1, self.tile_tone[k + (what == 1)], tone)
        if self.sky:
            low_z = np.minimum(za, zb)
            below = np.maximum(low_z - z, 0.0)
            u, v = np.maximum(x - a, 0.0), np.maximum(b - x, 0.0)
            floor = (u / np.hypot(u, below + 1e-9) + v / np.hypot(v, below + 1e-9)) / 2.0
            wall = (1.0 - below / np.hypot(below, b - a)) / 2.0
            off = np.clip(1.0 - np.where(what == 0, a - x, x - b) / max(self.edge_mm, 1e-9), 0.0, 1.0)
            seen = np.select([what <= 1, what <= 3], [(1.0 + np.sqrt(1.0 - off**2)) / 2.0, wall], floor)
            tone = tone * np.where(what <= 1, seen, seen / (1.0 - 0.35 * (1.0 - seen)))
        elif self.edge_mm > 0:
            inside = np.where(what == 0, a - x, x - b)
            short = np.clip(1.0 - inside / self.edge_mm, 0.0, 1.0) ** 2 * (what <= 1)
            tone = tone * (1.0 + np.where(what == 0, 1.0, -1.0) * self.shade * short)
        rng = np.random.default_rng(self.seed)
        if self.texture or self.grout_texture:
            at = grain_of(self.seed)[(y / 0.25).astype(int) % 512, (x / 0.25).astype(int) % 512]
            tone = tone * (1.0 + at * np.where(what <= 1, self.texture, self.grout_texture))
        for _ in range(self.stains):
            sx, sy, size = rng.uniform(-200, 200), rng.uniform(-150, 150), rng.uniform(3, 12)
            tone = tone * np.where((x - sx) ** 2 + (y - sy) ** 2 < size**2, rng.uniform(0.3, 0.8), 1.0)
        if self.sun is not None:
            rise, side = self.sun
            from_right = (x < b) & (zb - z > (b - x) * rise)
            from_left = (x > a) & (za - z > (x - a) * rise)
            dark = from_right if side > 0 else from_left
            tone = np.where(dark, tone * self.ambient, tone)
        face = np.asarray(self.tint)
        colour = np.where((what <= 1)[:, None], face, np.asarray(self.grout_tint))
        return tone[:, None] * colour


@cache
def grain_of(seed: int) -> np.ndarray:
    """(512, 512) unit texture, 0.25 mm a value, correlated over 0.4 mm."""
    grain = gaussian_filter(np.random.default_rng(seed).normal(size=(512, 512)), 1.5, mode="wrap")
    return grain / grain.std()


def pose(at_mm, aim_mm=(0.0, 0.0), roll_rad: float = 0.0) -> np.ndarray:
    """(4, 4) floor from camera: at a point, looking at a point of the floor; OpenCV axes."""
    forward = np.array([aim_mm[0] - at_mm[0], aim_mm[1] - at_mm[1], -at_mm[2]], dtype=float)
    forward /= np.linalg.norm(forward)
    first = np.array([np.cos(roll_rad), np.sin(roll_rad), 0.0])
    right = first - (first @ forward) * forward
    right /= np.linalg.norm(right)
    matrix = np.eye(4)
    matrix[:3, :3] = np.stack([right, np.cross(forward, right), forward], axis=1)
    matrix[:3, 3] = at_mm
    return matrix


@dataclass
class StandInPhoto:
    """What a posed photo offers, over an image in memory."""

    index: int
    floor_from_camera: np.ndarray
    focal: float
    image: np.ndarray
    loads: int = 0

    def project(self, xyz_mm):
        height, width = self.image.shape[:2]
        camera_from_floor = np.linalg.inv(self.floor_from_camera)
        p = xyz_mm @ camera_from_floor[:3, :3].T + camera_from_floor[:3, 3]
        with np.errstate(divide="ignore", invalid="ignore"):
            uv = self.focal * p[:, :2] / p[:, 2:] + np.array([(width - 1) / 2.0, (height - 1) / 2.0])
        ok = (p[:, 2] > 0) & (uv > 0).all(axis=1) & (uv[:, 0] < width - 1) & (uv[:, 1] < height - 1)
        return uv, p[:, 2], ok

    def load(self):
        self.loads += 1
        return self.image


def photograph(
    scene: JointScene,
    floor_from_camera: np.ndarray,
    *,
    rng: np.random.Generator,
    index: int = 0,
    size: tuple[int, int] = (900, 700),
    focal: float = 2400.0,
    blur_px: float = 1.0,
    noise_levels: float = 2.0,
    fine: int = 3,
) -> StandInPhoto:
    """Linear light averaged over ``fine`` x ``fine`` rays per pixel, Gaussian blur, sRGB, noise, 8 bits.

    ``blur_px`` is the whole blur's standard deviation, the pixel's own box (1/√12) included.
    """
    width, height = size
    u = (np.arange(width * fine) + 0.5) / fine - 0.5 - (width - 1) / 2.0
    v = (np.arange(height * fine) + 0.5) / fine - 0.5 - (height - 1) / 2.0
    rows = []
    optics = np.sqrt(max(blur_px**2 - 1.0 / 12.0, 0.0)) * fine
    for first in range(0, len(v), 300):
        vv, uu = np.meshgrid(v[first : first + 300], u, indexing="ij")
        rays = (
            np.stack([uu.ravel() / focal, vv.ravel() / focal, np.ones(uu.size)], axis=1) @ floor_from_camera[:3, :3].T
        )
        rows.append(scene.look(floor_from_camera[:3, 3], rays).reshape(*uu.shape, 3).astype(np.float32))
    light = np.concatenate(rows)
    light = gaussian_filter(light, (optics, optics, 0.0))
    light = light.reshape(height, fine, width, fine, 3).mean(axis=(1, 3))
    level = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055) * 255.0
    level = level + rng.normal(0.0, noise_levels, level.shape)
    return StandInPhoto(index, floor_from_camera, focal, np.clip(np.rint(level), 0, 255).astype(np.uint8))


def stations_of(
    scene: JointScene, *, spacing_mm: float = 40.0, reach_mm: float = 40.0, off_mm: float = 0.0
) -> Stations:
    """Stations on every joint of the scene, the line they lie on ``off_mm`` off the joint's middle."""
    across, along = scene.axes()
    ways = np.arange(-reach_mm, reach_mm + 1e-9, spacing_mm)
    piece, way = (part.ravel() for part in np.meshgrid(np.arange(len(scene.width_mm)), ways, indexing="ij"))
    at = (scene.centres_mm[piece] + off_mm)[:, None] * across + way[:, None] * along
    n = len(piece)
    return Stations(piece.astype(np.int32), way + reach_mm, at, np.tile(along, (n, 1)), np.full(n, spacing_mm))


def truth_of(scene: JointScene, stations: Stations) -> tuple[np.ndarray, np.ndarray]:
    """(n,) width between the sides over the stretch, and lip: left of the way minus right of it."""
    _, along = scene.axes()
    y = stations.at_mm @ along
    span = y[:, None] + np.linspace(-0.5, 0.5, 41) * 0.9 * stations.stretch_mm[:, None]
    width = scene.width_mm[stations.piece] + scene.widening_mm(span).mean(axis=1)
    return width, scene.height_mm[stations.piece] - scene.height_mm[stations.piece + 1]


def flat_surface(side_mm: float = 1000.0, noise_mm: float = 0.0) -> Surface:
    """A floor at height 0 around the origin."""
    shape = (20, 20)
    flat = np.zeros(shape, np.float32)
    return Surface(
        height_mm=flat,
        estimate_mm=flat.copy(),
        white_mm=flat.copy(),
        count=np.ones(shape, np.int32),
        inside=np.ones(shape, bool),
        cell_mm=side_mm / 20.0,
        origin_mm=(-side_mm / 2.0, -side_mm / 2.0),
        floor_from_scan=np.eye(4),
        outline=(),
        noise=NoiseModel(0.0, noise_mm, 100.0, 0.0, "invented"),
        slope=None,
        kind="depth_frames",
    )
