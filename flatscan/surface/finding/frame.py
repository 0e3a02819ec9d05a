"""The floor frame: right-handed, z up out of the floor, x along its longest straight side, origin at a corner."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

_RIGID = 1e-9
_QUARTER_TURN = np.pi / 2
#: (span mod 90° in degrees, step in degrees, bin in mm): coarse to fine; bin ≈ step times a room's length.
_SEARCH = ((45.0, 1.0, 60.0), (1.5, 0.1, 20.0), (0.15, 0.02, 10.0))
_MOST_POINTS = 20_000
#: A corner of the bounding box this near to a vertex of the outline is a corner of the floor.
_CORNER_MM = 100.0


def transform(rotation: NDArray[np.float64], translation_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """(4, 4) float64 of p ↦ rotation · p + translation, checked to be rigid and right-handed."""
    matrix = np.eye(4)
    matrix[:3, :3] = rotation
    matrix[:3, 3] = translation_mm
    if not is_rigid(matrix):
        raise ValueError("a floor frame must be a rotation and a shift")
    return matrix


def is_rigid(matrix: NDArray[np.float64]) -> bool:
    """Whether a (4, 4) matrix is a right-handed rotation followed by a shift."""
    r = matrix[:3, :3]
    orthonormal = bool(np.abs(r @ r.T - np.eye(3)).max() < _RIGID)
    return orthonormal and bool(np.linalg.det(r) > 0) and bool(np.all(matrix[3] == (0.0, 0.0, 0.0, 1.0)))


def shift(translation_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """(4, 4) of a shift by ``translation_mm``."""
    return transform(np.eye(3), translation_mm)


def frame_on_plane(normal: NDArray[np.float64], offset_mm: float) -> NDArray[np.float64]:
    """(4, 4) to a frame whose z = 0 is the plane ``normal · p = offset_mm`` and whose x is near the scan's x.

    Where the scan's x stands nearly on the plane, the scan's y takes its place.
    """
    ahead = np.eye(3)[0] if abs(normal[0]) < np.cos(np.pi / 4) else np.eye(3)[1]
    x = ahead - (ahead @ normal) * normal
    x /= np.linalg.norm(x)
    rotation = np.stack([x, np.cross(normal, x), normal])
    return transform(rotation, np.array([0.0, 0.0, -offset_mm]))


def turn(angle_rad: float) -> NDArray[np.float64]:
    """(4, 4) to a frame turned anticlockwise by ``angle_rad`` about z: what lay at that angle lies along x."""
    c, s = float(np.cos(angle_rad)), float(np.sin(angle_rad))
    return transform(np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]), np.zeros(3))


def lay_on(a: float, b: float, c: float) -> NDArray[np.float64]:
    """(4, 4) to the frame whose z = 0 is the plane z = a x + b y + c, turned no more than it must be.

    The plane's slopes are small here (a frame that already lies on the floor), and the origin stays
    above its old place.
    """
    normal = np.array([-a, -b, 1.0]) / np.sqrt(1.0 + a * a + b * b)
    # Rotation taking `normal` to z about their common perpendicular (Rodrigues).
    vx, vy = normal[1], -normal[0]
    skew = np.array([[0.0, 0.0, vy], [0.0, 0.0, -vx], [-vy, vx, 0.0]])
    rotation = np.eye(3) + skew + skew @ skew / (1.0 + normal[2])
    return transform(rotation, np.array([0.0, 0.0, -c / np.sqrt(1.0 + a * a + b * b)]))


def apply(matrix: NDArray[np.float64], points_mm: NDArray[np.floating]) -> NDArray[np.float64]:
    """(n, 3) float64, the points in the frame that ``matrix`` maps to."""
    # Written out: a product of n x 3 with 3 x 3 is slower in the linear algebra library than in plain sums.
    p = points_mm.astype(np.float64, copy=False)
    return np.stack([t[0] * p[:, 0] + t[1] * p[:, 1] + t[2] * p[:, 2] + t[3] for t in matrix[:3]], axis=1)


def straight_direction(xy_mm: NDArray[np.float64], rng: np.random.Generator) -> float:
    """Angle in [0, π/2) whose walls, seen along it and square to it, fall into the fewest places.

    The points (walls seen from above, or the border of the floor) are projected on both axes of a turned
    frame; the sum of squared histogram counts is greatest where straight sides fall end-on.

    Parameters
    ----------
    xy_mm : (n, 2) float64 mm
    """
    if len(xy_mm) > _MOST_POINTS:
        xy_mm = xy_mm[rng.choice(len(xy_mm), _MOST_POINTS, replace=False)]
    xy_mm = xy_mm - xy_mm.mean(axis=0)
    best = 45.0
    for span, step, bin_mm in _SEARCH:
        angles = np.arange(best - span, best + span, step)
        best = float(angles[int(np.argmax([_sharpness(xy_mm, np.deg2rad(angle), bin_mm) for angle in angles]))])
    return float(np.deg2rad(best) % _QUARTER_TURN)


def _sharpness(xy_mm: NDArray[np.float64], angle_rad: float, bin_mm: float) -> float:
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    total = 0.0
    for along in (xy_mm @ (c, s), xy_mm @ (-s, c)):
        place = (along - along.min()) / bin_mm
        lower = place.astype(np.int64)
        share = place - lower
        # A point is shared between two bins, so that the score does not jump where bins happen to lie.
        size = int(lower.max()) + 2
        counts = np.bincount(lower, 1.0 - share, size) + np.bincount(lower + 1, share, size)
        total += float(counts @ counts)
    return total


def quarter_turns(
    ring_mm: NDArray[np.float64], longest: tuple[NDArray[np.float64], NDArray[np.float64]], turned_rad: float
) -> int:
    """How many quarter turns bring the longest side along x and a real corner of the ring to the lower left.

    Parameters
    ----------
    ring_mm : (k, 2) closed ring in a frame whose axes run along the walls
    longest : its longest straight side
    turned_rad : how far that frame is already turned from the scan's x

    Of the two ways that lay the side along x, the one whose corner of the bounding box is a corner of the
    floor (in an L it may not be); between two such, the one whose x is nearer the scan's own x.
    """
    dx, dy = np.abs(longest[1] - longest[0])
    # Nearness is taken to a direction of 30°, so that rooms along the scan's axes are never on the fence.
    turns = sorted((0, 2) if dx >= dy else (1, 3), key=lambda k: -np.cos(turned_rad + k * _QUARTER_TURN - np.pi / 6))
    first, second = (_corner_gap_mm(turn_ring(ring_mm, k)) for k in turns)
    return turns[0] if first <= max(_CORNER_MM, second) else turns[1]


def turn_ring(ring_mm: NDArray[np.float64], quarters: int) -> NDArray[np.float64]:
    """The ring seen from a frame turned anticlockwise by ``quarters`` right angles."""
    x, y = ring_mm[:, 0], ring_mm[:, 1]
    return np.stack([(x, y), (y, -x), (-x, -y), (-y, x)][quarters % 4], axis=1)


def _corner_gap_mm(ring_mm: NDArray[np.float64]) -> float:
    """Distance from the lower left corner of the bounding box to the nearest vertex."""
    return float(np.linalg.norm(ring_mm - ring_mm.min(axis=0), axis=1).min())
