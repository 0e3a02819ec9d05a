"""The floor's frame and outline: a first look at the thinned cloud, then all points in a frame along the walls."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.finding import frame
from flatscan.surface.finding.footprint import Footprint, footprint
from flatscan.surface.finding.occupancy import Occupancy, occupancy
from flatscan.surface.finding.outline import area_mm2, longest_side, rings, straightened
from flatscan.surface.planes import fit_robust

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.surface.cells.gridding import GridSpec
    from flatscan.surface.finding.floor import FloorPlane

_FINE_MM, _COARSE_MM = (25.0, 150.0), (50.0, 150.0)
_MARGIN_MM = 200.0
#: Halls get coarser outline cells rather than more memory.
_MOST_CELLS = 4_000_000
#: Cells hold this many points where cover is thin, so that the floor shows no gaps.
_POINTS_PER_CELL = 4.0
_DENSITY_CELL_MM = 300.0
_DENSITY_SAMPLE = 500_000
#: What rises between these heights along the border tells where walls stand.
_WALL_MM = (100.0, 2000.0)
_LEAST_WALL_POINTS = 200
#: Share of floor points beyond which the bounding box ends: stray ones do not stretch it.
_STRAY = 0.0005


@dataclass(frozen=True, slots=True, eq=False)
class Room:
    """``floor_from_points`` (4, 4); ``outline`` rings in that frame, its bounding box from (0, 0) to ``size_mm``."""

    floor_from_points: NDArray[np.float64]
    outline: tuple[NDArray[np.float64], ...]
    density_per_m2: float
    left_out_m2: float
    #: (k, 2) centres of places where something stands on the floor, and the side of such a place.
    standing_mm: NDArray[np.float64]
    standing_side_mm: float

    @property
    def size_mm(self) -> tuple[float, float]:
        """Extent of the outline along x and y."""
        high = self.outline[0].max(axis=0)
        return float(high[0]), float(high[1])

    def standing_on(self, grid: GridSpec) -> NDArray[np.bool_]:
        """(rows, cols) bool: grid cells under something that stands on the floor."""
        from scipy.ndimage import binary_dilation

        col, row = np.floor((self.standing_mm - np.asarray(grid.origin_mm)) / grid.cell_mm).astype(np.int64).T
        ok = (row >= 0) & (row < grid.shape[0]) & (col >= 0) & (col < grid.shape[1])
        mask = np.zeros(grid.shape, dtype=bool)
        mask[row[ok], col[ok]] = True
        reach = round(0.5 * self.standing_side_mm / grid.cell_mm)
        return np.asarray(binary_dilation(mask, np.ones((3, 3)), iterations=reach)) if reach else mask

    @property
    def area_m2(self) -> float:
        """Area within the outline, columns taken off."""
        return (abs(area_mm2(self.outline[0])) - sum(abs(area_mm2(hole)) for hole in self.outline[1:])) / 1e6


def find_room(
    points_mm: NDArray[np.float32],
    thinned_mm: NDArray[np.float64],
    floor: FloorPlane,
    rng: np.random.Generator,
    *,
    band_mm: float,
) -> Room:
    """Floor frame and outline of the floor on a plane.

    Parameters
    ----------
    points_mm : (n, 3) float32, all points
    thinned_mm : (k, 3) float64, the few that stand for them
    """
    level = _level_frame(thinned_mm, floor, band_mm)
    box = _box(frame.apply(level, thinned_mm), band_mm)
    density = _density_per_m2(points_mm, level, box, rng, band_mm)
    # First look: which way the walls run.
    thin_density = _density_per_m2(thinned_mm.astype(np.float32), level, box, rng, band_mm)
    first, mask = _look(thinned_mm.astype(np.float32), level, box, _cell_mm(thin_density, _COARSE_MM, box), band_mm)
    walls = _wall_points(frame.apply(level, thinned_mm), first, mask.mask)
    border = rings(mask.mask, first)[0] if mask.mask.any() else box
    angle = frame.straight_direction(walls if len(walls) >= _LEAST_WALL_POINTS else border, rng)
    along_walls = frame.turn(angle) @ level
    # Second look: all points.
    turned = frame.apply(along_walls, thinned_mm)
    box = _box(turned, band_mm)
    cells, mask = _look(points_mm, along_walls, box, _cell_mm(density, _FINE_MM, box), band_mm)
    if not mask.mask.any():
        return Room(along_walls, (np.zeros((4, 2)),), density, mask.left_out_m2, np.empty((0, 2)), cells.cell_mm)
    walls = _wall_points(turned, cells, mask.mask)
    exterior, *holes = rings(mask.mask, cells)
    outline = [straightened(exterior, cells.cell_mm, walls)]
    outline += [straightened(hole, cells.cell_mm, np.empty((0, 2))) for hole in holes]
    quarters = frame.quarter_turns(outline[0], longest_side(outline[0], walls, cells.cell_mm), angle)
    outline = [frame.turn_ring(ring, quarters) for ring in outline]
    corner = outline[0].min(axis=0)
    floor_from_points = frame.shift(np.array([*-corner, 0.0])) @ frame.turn(quarters * np.pi / 2) @ along_walls
    row, col = np.nonzero((cells.thing | cells.face) & mask.mask)
    standing = np.stack([col + 0.5, row + 0.5], axis=1) * cells.cell_mm + np.asarray(cells.origin_mm)
    return Room(
        floor_from_points,
        tuple(ring - corner for ring in outline),
        density,
        mask.left_out_m2,
        frame.turn_ring(standing, quarters) - corner,
        cells.cell_mm,
    )


def _level_frame(thinned_mm: NDArray[np.float64], floor: FloorPlane, band_mm: float) -> NDArray[np.float64]:
    """Frame on the floor's plane, refitted with all points of the band so that no thing on it lifts it."""
    level = frame.frame_on_plane(floor.normal, floor.offset_mm)
    for _ in range(2):
        xyz = frame.apply(level, thinned_mm)
        near = xyz[np.abs(xyz[:, 2]) <= band_mm]
        plane = fit_robust(near[:, 0], near[:, 1], near[:, 2]).plane
        level = frame.lay_on(plane.a, plane.b, plane.c) @ level
    return level


def _box(xyz_mm: NDArray[np.float64], band_mm: float) -> NDArray[np.float64]:
    """(2, 2) low and high corner of the floor points in x and y, with a margin, without strays."""
    near = xyz_mm[np.abs(xyz_mm[:, 2]) <= band_mm, :2]
    low, high = np.quantile(near, [_STRAY, 1.0 - _STRAY], axis=0)
    return np.stack([low - _MARGIN_MM, high + _MARGIN_MM])


def _cell_mm(density_per_m2: float, limits_mm: tuple[float, float], box: NDArray[np.float64]) -> float:
    """Outline cell for a density; coarser where the box would take too many cells."""
    wanted = float(np.clip(np.sqrt(_POINTS_PER_CELL * 1e6 / density_per_m2), *limits_mm))
    return max(wanted, float(np.sqrt(np.prod(box[1] - box[0]) / _MOST_CELLS)))


def _look(
    points_mm: NDArray[np.float32],
    floor_from_points: NDArray[np.float64],
    box: NDArray[np.float64],
    cell_mm: float,
    band_mm: float,
) -> tuple[Occupancy, Footprint]:
    low, high = ((float(x), float(y)) for x, y in box)
    cells = occupancy(points_mm, floor_from_points, low, high, cell_mm=cell_mm, band_mm=band_mm)
    return cells, footprint(cells)


def _density_per_m2(
    points_mm: NDArray[np.float32],
    floor_from_points: NDArray[np.float64],
    box: NDArray[np.float64],
    rng: np.random.Generator,
    band_mm: float,
) -> float:
    """Floor points in a square metre where cover is thin: lower quartile over the 300 mm cells that hold any."""
    rows = np.arange(len(points_mm))
    if len(rows) > _DENSITY_SAMPLE:
        stride = len(rows) / _DENSITY_SAMPLE
        rows = ((np.arange(_DENSITY_SAMPLE) + rng.random(_DENSITY_SAMPLE)) * stride).astype(np.int64)
    xyz = frame.apply(floor_from_points, points_mm[rows])
    near = xyz[np.abs(xyz[:, 2]) <= band_mm, :2]
    near = near[np.all((near >= box[0]) & (near < box[1]), axis=1)]
    place = np.floor((near - box[0]) / _DENSITY_CELL_MM).astype(np.int64)
    _, counts = np.unique(place[:, 0] * (1 << 32) + place[:, 1], return_counts=True)
    if len(counts) == 0:
        return 1e-9
    return float(np.quantile(counts, 0.25)) * len(points_mm) / len(rows) / (_DENSITY_CELL_MM**2 / 1e6)


def _wall_points(xyz_mm: NDArray[np.float64], cells: Occupancy, mask: NDArray[np.bool_]) -> NDArray[np.float64]:
    """(m, 2) points of vertical faces near the border of the floor, seen from above."""
    from scipy.ndimage import binary_dilation

    x, y, z = xyz_mm.T
    col = np.floor((x - cells.origin_mm[0]) / cells.cell_mm).astype(np.int64)
    row = np.floor((y - cells.origin_mm[1]) / cells.cell_mm).astype(np.int64)
    rows, cols = mask.shape
    ok = (row >= 0) & (row < rows) & (col >= 0) & (col < cols) & (z > _WALL_MM[0]) & (z < _WALL_MM[1])
    edge = binary_dilation(mask, iterations=4) & ~mask & binary_dilation(cells.face, iterations=1)
    ok[ok] = edge[row[ok], col[ok]]
    return xyz_mm[ok, :2]
