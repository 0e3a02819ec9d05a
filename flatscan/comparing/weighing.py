"""How well a pose explains both maps: by walls, by joints and by the heights of the floor that did not change.

Each part is a logarithm of odds against two floors that have nothing to do with each other. A pair of lines either
agrees within the maps' usual error or lies anywhere near (a mixture); heights agree where their difference scatters
less than two unrelated floors would. Neighbouring points of one wall or one dip are not independent, so each part
counts as many observations as there are metres of wall or patches of floor, not as there are points.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.comparing.laying import Grid, laid_on
from flatscan.comparing.line_points import along, distance_to
from flatscan.comparing.planes import robust_plane
from flatscan.comparing.pose import SAME, Pose

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.comparing.measured import Measured
    from flatscan.surface.surface import Surface

_STEP_MM = 50.0
#: Usual error of a wall and of a joint on a map, how far off an unrelated one may lie, and the share of outliers.
_WALL_MM, _JOINT_MM, _STRAY_MM, _STRAYS = 20.0, 10.0, 300.0, 0.3
#: A wall this near is the same wall.
_SAME_WALL_MM = 80.0
#: Joints of one field hang together: all of them are worth this many observations.
_JOINT_WORTH = 6.0
_RELIEF_MM, _PATCH_MM = 100.0, 700.0
_ROBUST = 1.4826
_LEAST_CELLS, _LEAST_MM = 30, 1e-3


@dataclass(frozen=True, slots=True)
class Fit:
    """One pose, weighed.

    ``overlap``: share of the smaller map that lies on the other; ``filled``: share of both together that both have;
    ``wall_share``: share of the smaller map's walls that lie on a wall of the other. ``walls``, ``joints``,
    ``heights``: logarithms of odds. ``alike``: how many times less the difference of heights scatters than that of two
    unrelated floors.
    """

    pose: Pose
    overlap: float
    filled: float
    wall_share: float
    walls: float
    joints: float
    heights: float
    alike: float

    @property
    def total(self) -> float:
        """All of it."""
        return self.walls + self.joints + self.heights


def weighed(before: Measured, after: Measured, pose: Pose) -> Fit:
    """Weigh one pose."""
    one = [pose.apply(ring) for ring in before.surface.outline]
    two = list(after.surface.outline)
    overlap, filled, first_smaller = _overlap(one[0], two[0])
    mine, others = (one, two) if first_smaller else (two, one)
    points, _ = along(mine, _STEP_MM, closed=True)
    wall = distance_to(points, along(others, _STEP_MM / 5.0, closed=True)[0])
    return Fit(
        pose,
        overlap,
        filled,
        float(np.mean(wall < _SAME_WALL_MM)),
        float(_log_odds(wall, _WALL_MM).sum()) * _STEP_MM / 1000.0,
        _joints(before, after, pose),
        *_heights(before.surface, after.surface, pose),
    )


def _overlap(one: NDArray[np.float64], two: NDArray[np.float64]) -> tuple[float, float, bool]:
    """Share of the smaller ring on the other, of their union that both have, and whether the first is the smaller."""
    from shapely import Polygon, make_valid

    a, b = (make_valid(Polygon(ring)) for ring in (one, two))
    both = float(a.intersection(b).area)
    smaller, union = max(min(a.area, b.area), 1.0), max(a.area + b.area - both, 1.0)
    return both / smaller, both / union, bool(a.area <= b.area)


def _log_odds(distance: NDArray[np.float64], sigma_mm: float) -> NDArray[np.float64]:
    """Logarithm of (mixture of a near line and a stray one) over strays alone, which are even over ± _STRAY_MM."""
    near = (1.0 - _STRAYS) * np.exp(-0.5 * np.square(distance / sigma_mm)) / (sigma_mm * math.sqrt(2.0 * math.pi))
    stray = 1.0 / (2.0 * _STRAY_MM)
    return np.asarray(np.log((near + _STRAYS * stray) / stray))


def _joints(before: Measured, after: Measured, pose: Pose) -> float:
    if not before.joint_lines or not after.joint_lines:
        return 0.0
    points = pose.apply(along(before.joint_lines, _STEP_MM, closed=False)[0])
    lines = along(after.joint_lines, _STEP_MM / 5.0, closed=False)[0]
    low, high = lines.min(axis=0) - _STRAY_MM, lines.max(axis=0) + _STRAY_MM
    points = points[((points > low) & (points < high)).all(axis=1)]
    if not len(points):
        return 0.0
    return float(_log_odds(distance_to(points, lines), _JOINT_MM).mean()) * _JOINT_WORTH


def _heights(before: Surface, after: Surface, pose: Pose) -> tuple[float, float]:
    """Patches of floor times the logarithm of a ratio, and that ratio, the plane left free.

    The ratio: scatter of two unrelated floors over the scatter of the difference.
    """
    rows, cols = after.height_mm.shape
    shape = tuple(max(1, math.ceil(n * after.cell_mm / _RELIEF_MM)) for n in (rows, cols))
    grid = Grid((shape[0], shape[1]), _RELIEF_MM, after.origin_mm)
    one, two = (
        laid_on(replace(s, realisations_mm=None, fit=None), grid, p) for s, p in ((before, pose), (after, SAME))
    )
    both = one.seen & two.seen
    if both.sum() < _LEAST_CELLS:
        return 0.0, 1.0
    row, col = np.nonzero(both)
    at = np.column_stack([col, row]).astype(np.float64) * _RELIEF_MM
    noise = math.hypot(*(_noise_mm(s, both) for s in (one, two)))

    def scatter(values: NDArray[np.float64]) -> float:
        plane = robust_plane(at, values)
        return _ROBUST * float(np.median(np.abs(values - plane.at(at))))

    first, second = (s.estimate_mm[both].astype(np.float64) for s in (one, two))
    # Below the noise nothing is told: two flat floors agree in any pose.
    least = max(noise, _LEAST_MM)
    unrelated = max(math.hypot(scatter(first), scatter(second)), least)
    ratio = unrelated / max(scatter(second - first), least)
    patches = both.sum() * (_RELIEF_MM / _PATCH_MM) ** 2
    return float(patches * math.log(ratio)), ratio


def _noise_mm(surface: Surface, cells: NDArray[np.bool_]) -> float:
    white = float(np.sqrt(np.mean(np.square(surface.white_mm[cells]))))
    noise = surface.noise
    return math.hypot(white, noise.correlated_mm, noise.systematic_mm)
