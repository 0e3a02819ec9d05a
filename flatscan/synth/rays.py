"""Cast rays into a scene: the nearest of floor, walls and solids, exactly."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from flatscan.synth.floor_rays import meet_floor
from flatscan.synth.scene import BELOW_MM, Box, Cylinder, Scene

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: What a ray met. Solids count on from SOLID in the scene's order.
NOTHING, FLOOR, WALL, SOLID = 0, 1, 2, 3
#: Rays leaving a surface must not meet it again at once.
_START = 1e-6


class Hits(NamedTuple):
    """What each of n rays met.

    ``distance``: (n,) float64, in units of the direction's length, inf for nothing; ``surface``: (n,) int16,
    one of the names above; ``normal``: (n, 3) float64 unit vectors (straight up on the floor).
    """

    distance: NDArray[np.float64]
    surface: NDArray[np.int16]
    normal: NDArray[np.float64]

    def cos_incidence(self, direction: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) cosine of the angle between ray and normal, 0 grazing, 1 square on."""
        cos = np.abs(np.einsum("ij,ij->i", self.normal, direction))
        return np.asarray(cos / np.linalg.norm(direction, axis=1), dtype=np.float64)


def cast(scene: Scene, origin_mm: NDArray[np.float64], direction: NDArray[np.float64]) -> Hits:
    """Meet the scene with rays. ``origin_mm``: (3,) or (n, 3) within the room; ``direction``: (n, 3), any length."""
    direction = np.asarray(direction, dtype=np.float64)
    origin = np.broadcast_to(np.asarray(origin_mm, dtype=np.float64), direction.shape)
    n = len(direction)
    best = Hits(np.full(n, np.inf), np.zeros(n, dtype=np.int16), np.zeros((n, 3)))
    best.normal[:, 2] = 1.0
    _walls(scene, origin, direction, best)
    for index, solid in enumerate(scene.solids):
        if isinstance(solid, Box):
            _box(solid, SOLID + index, origin, direction, best)
        else:
            _cylinder(solid, SOLID + index, origin, direction, best)
    # Only rays that reach the floor's level before anything else are worth the exact floor.
    with np.errstate(divide="ignore", invalid="ignore"):
        level = np.where(direction[:, 2] < 0, (_top(scene) - origin[:, 2]) / direction[:, 2], np.inf)
    worth = np.flatnonzero(level < best.distance)
    t = meet_floor(scene.floor, origin[worth], direction[worth])
    nearer = t < best.distance[worth]
    rows = worth[nearer]
    best.distance[rows], best.surface[rows] = t[nearer], FLOOR
    best.normal[rows] = (0.0, 0.0, 1.0)
    return best


def _top(scene: Scene) -> float:
    """A level the floor never rises above."""
    floor = scene.floor
    corners = floor.tilt.height_mm(floor.outline_mm[:, 0], floor.outline_mm[:, 1])
    top = float(np.max(corners)) + float(np.sum(np.abs(floor.waves.amplitude_mm)))
    top += sum(max(0.0, -bay.depth_mm) for bay in floor.bays)
    return top + (max(0.0, floor.tiles.highest_mm) if floor.tiles is not None else 0.0)


def _keep(
    best: Hits, rows: NDArray[np.int64], t: NDArray[np.float64], surface: int, normal: NDArray[np.float64]
) -> None:
    nearer = t < best.distance[rows]
    rows = rows[nearer]
    best.distance[rows], best.surface[rows] = t[nearer], surface
    best.normal[rows] = np.broadcast_to(normal, (len(nearer), 3))[nearer]


def _walls(scene: Scene, origin: NDArray[np.float64], direction: NDArray[np.float64], best: Hits) -> None:
    outline = scene.floor.outline_mm
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        edge = b - a
        length = float(np.hypot(*edge))
        normal = np.array([-edge[1], edge[0], 0.0]) / length  # into the room, the ring being anticlockwise
        towards = direction[:, :2] @ normal[:2]
        with np.errstate(divide="ignore", invalid="ignore"):
            t = ((a - origin[:, :2]) @ normal[:2]) / towards
            share = ((origin[:, :2] + t[:, None] * direction[:, :2] - a) @ edge) / length**2
            z = origin[:, 2] + t * direction[:, 2]
            rows = np.flatnonzero(
                (towards < 0) & (t > _START) & (share >= 0) & (share <= 1) & (z >= BELOW_MM) & (z <= scene.wall_mm)
            )
        _keep(best, rows, t[rows], WALL, normal)


def _box(box: Box, surface: int, origin: NDArray[np.float64], direction: NDArray[np.float64], best: Hits) -> None:
    """Slab method in the box's own frame (Kay & Kajiya 1986, from memory)."""
    cos, sin = np.cos(box.turn_rad), np.sin(box.turn_rad)
    box_from_room = np.array([[cos, sin, 0.0], [-sin, cos, 0.0], [0.0, 0.0, 1.0]])
    centre = np.array([*box.centre_mm, (box.top_mm + box.bottom_mm) / 2.0])
    half = np.array([*box.size_mm, box.top_mm - box.bottom_mm]) / 2.0
    o, d = (origin - centre) @ box_from_room.T, direction @ box_from_room.T
    with np.errstate(divide="ignore", invalid="ignore"):
        near, far = (-half - o) / d, (half - o) / d
    near, far = np.fmin(near, far), np.fmax(near, far)
    axis = np.argmax(near, axis=1)
    enter, leave = near.max(axis=1), far.min(axis=1)
    rows = np.flatnonzero((enter > _START) & (enter <= leave))
    own = np.zeros((len(rows), 3))
    own[np.arange(len(rows)), axis[rows]] = -np.sign(d[rows, axis[rows]])
    _keep(best, rows, enter[rows], surface, own @ box_from_room)


def _cylinder(
    cylinder: Cylinder, surface: int, origin: NDArray[np.float64], direction: NDArray[np.float64], best: Hits
) -> None:
    """The round side by its quadratic, the top as a disc."""
    flat = origin[:, :2] - np.array(cylinder.centre_mm)
    a = np.einsum("ij,ij->i", direction[:, :2], direction[:, :2])
    b = np.einsum("ij,ij->i", direction[:, :2], flat)
    c = np.einsum("ij,ij->i", flat, flat) - cylinder.radius_mm**2
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (-b - np.sqrt(b * b - a * c)) / a
        z = origin[:, 2] + t * direction[:, 2]
        rows = np.flatnonzero((t > _START) & (z >= cylinder.bottom_mm) & (z <= cylinder.top_mm))
        normal = np.zeros((len(rows), 3))
        normal[:, :2] = (flat[rows] + t[rows, None] * direction[rows, :2]) / cylinder.radius_mm
        _keep(best, rows, t[rows], surface, normal)
        t = (cylinder.top_mm - origin[:, 2]) / direction[:, 2]
        away = flat + t[:, None] * direction[:, :2]
        rows = np.flatnonzero(
            (direction[:, 2] < 0) & (t > _START) & (np.einsum("ij,ij->i", away, away) <= cylinder.radius_mm**2)
        )
    _keep(best, rows, t[rows], surface, np.array([0.0, 0.0, 1.0]))
