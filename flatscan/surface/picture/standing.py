"""What stands on the floor, from the points: cells it covers, and what it hides from a photo."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.sources.scan import Scan
    from flatscan.surface.picture.ground import Ground
    from flatscan.surface.picture.posed_photo import PosedPhoto
    from flatscan.surface.surface import Surface

#: Points looked at; more are thinned evenly.
_MOST_POINTS = 6_000_000
_BLOCK = 1_000_000
#: What rises by this over the floor can hide it; lips and the sensor's bends stay below.
_HIDES_MM = 25.0
_HIGHEST_MM = 2500.0
_VOXEL_MM = 25.0
#: Voxels each way from the origin that a number can tell apart.
_HALF = 1 << 19
#: Depth is lost this far along the edge of a thing.
_LOST_MM = 60.0
#: Fewer points in a voxel are strays.
_LEAST_POINTS = 2
#: A voxel nearer than this many tiles across is cut down to it: it fills much of the picture anyway.
_MOST_TILES = 12
#: A hole most of whose points lie this high is covered by a thing, not merely unseen.
_COVERS_MM = 6.0
#: A thing hides a place when it is nearer to the camera by this and by this share.
_NEARER_MM, _NEARER_SHARE = 30.0, 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """``covered`` (rows, cols) bool of the surface; ``at_mm`` (n, 3) centres of voxels that things fill."""

    covered: NDArray[np.bool_]
    at_mm: NDArray[np.float64]


#: Nothing stands anywhere.
NOTHING = Standing(np.zeros((0, 0), dtype=bool), np.empty((0, 3)))


def standing_on(scan: Scan, surface: Surface, ground: Ground) -> Standing:
    """Voxels and covered cells from an even share of the points."""
    covered, hiding = _passed(scan, surface, ground, hiding=True)
    key, count = np.unique(hiding, return_counts=True)
    return Standing(covered, _centres(key[count >= _LEAST_POINTS]))


def covered_cells(scan: Scan, surface: Surface, ground: Ground) -> NDArray[np.bool_]:
    """(rows, cols) bool of the surface: cells under a thing."""
    return _passed(scan, surface, ground, hiding=False)[0]


def _passed(
    scan: Scan, surface: Surface, ground: Ground, *, hiding: bool
) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Covered cells, and the voxel of each point that can hide floor."""
    from scipy.ndimage import binary_dilation

    from flatscan.surface.picture.scatter_kernel import add_cover

    low, high = np.zeros(surface.height_mm.shape, np.int32), np.zeros(surface.height_mm.shape, np.int32)
    keys = [np.empty(0, dtype=np.int64)]
    points = scan.points_mm[:: max(1, -(-len(scan.points_mm) // _MOST_POINTS))]
    for start in range(0, len(points), _BLOCK):
        block = np.ascontiguousarray(points[start : start + _BLOCK])
        hides = np.empty((len(block) if hiding else 0, 3))
        count = add_cover(
            block,
            floor_from_points(scan, surface),
            ground.height_mm,
            *ground.origin_mm,
            ground.cell_mm,
            *surface.origin_mm,
            surface.cell_mm,
            _COVERS_MM,
            _HIGHEST_MM,
            low,
            high,
            _HIDES_MM,
            hides,
        )
        keys.append(_keys(hides[:count]))
    covered = (high > low) & ~surface.seen
    # Where depth is lost along a thing's edge nothing was measured at all: it is the thing's as much as the floor's.
    reach = max(1, round(_LOST_MM / surface.cell_mm))
    covered |= binary_dilation(covered, iterations=reach) & ~surface.seen & (low == 0)
    return covered, np.concatenate(keys)


def floor_from_points(scan: Scan, surface: Surface) -> NDArray[np.float64]:
    """(3, 4) floor frame from the scan's points as they are stored, relative to its origin."""
    turn = surface.floor_from_scan[:3, :3]
    return np.column_stack([turn, turn @ scan.origin_mm + surface.floor_from_scan[:3, 3]])


def _keys(xyz_mm: NDArray[np.float64]) -> NDArray[np.int64]:
    """One number a voxel."""
    cell = np.clip(np.floor(xyz_mm / _VOXEL_MM), -_HALF, _HALF - 1).astype(np.int64) + _HALF
    return (cell[:, 0] * 2 * _HALF + cell[:, 1]) * 2 * _HALF + cell[:, 2]


def _centres(key: NDArray[np.int64]) -> NDArray[np.float64]:
    """(n, 3) mm of the middle of voxels."""
    cell = np.column_stack([key // (2 * _HALF) ** 2, key // (2 * _HALF) % (2 * _HALF), key % (2 * _HALF)]) - _HALF
    return (cell.astype(np.float64) + 0.5) * _VOXEL_MM


def nearest_thing_mm(photo: PosedPhoto, standing: Standing) -> tuple[NDArray[np.float32], int]:
    """Depth of the nearest thing in each tile of the photo (inf: none), and the side of a tile in pixels."""
    above_mm = max(float(photo.position_mm[2]), _VOXEL_MM)
    side = max(2, int(np.ceil(_VOXEL_MM * photo.fx / above_mm)))
    width, height = photo.size
    nearest = np.full((height // side + 1, width // side + 1), np.inf, dtype=np.float32)
    uv, depth_mm, ok = photo.project(standing.at_mm)
    uv, depth_mm = uv[ok], depth_mm[ok]
    # A voxel is put into every tile that it may touch: near the camera it covers many.
    across = np.minimum(np.ceil(_VOXEL_MM * photo.fx / (depth_mm * side)).astype(int), _MOST_TILES)
    for tiles in np.unique(across):
        these = across == tiles
        corner = np.floor(uv[these] / side - 0.5 * tiles).astype(int)
        for step in np.ndindex(int(tiles) + 1, int(tiles) + 1):
            row, col = corner[:, 1] + step[0], corner[:, 0] + step[1]
            on = (row >= 0) & (row < nearest.shape[0]) & (col >= 0) & (col < nearest.shape[1])
            np.minimum.at(nearest, (row[on], col[on]), depth_mm[these][on].astype(np.float32))
    return nearest, side


def is_hidden(
    uv: NDArray[np.float64], depth_mm: NDArray[np.float64], nearest: NDArray[np.float32], side: int
) -> NDArray[np.bool_]:
    """(n,) bool: a thing stands before the place. ``uv`` must lie within the picture."""
    tile = (uv / side).astype(int)
    return np.asarray(nearest[tile[:, 1], tile[:, 0]] < depth_mm * (1.0 - _NEARER_SHARE) - _NEARER_MM)
