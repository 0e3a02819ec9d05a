"""The flat sheets of a capture: floors, walls and ceilings by the direction they face."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

_SAMPLE = 1_000_000
_MOST_PATCHES = 15_000
LEAST_PATCHES = 30
VOXEL_MM = 50.0
_NEIGHBOURS = 12
#: A patch is flat when its thickness variance is below this share of its next larger one.
_FLAT = 0.05
ALIGNED = float(np.cos(np.radians(12.0)))
_APART = float(np.cos(np.radians(25.0)))
_SEEDS = 250
_MODES = 4
#: The area of a sheet is counted in squares of this side with a patch in them: a floor seen in crumbs is still wide.
_SQUARE_MM = 500.0
#: Sheets of this share of the largest one of their direction count as its opposite.
_OPPOSITE_SHARE = 0.3
#: Nothing of note lies beyond the outermost sheets: at most this share of all points on one side.
_BEYOND_SHARE = 0.05
#: Further than this from a sheet is off it.
_CLEAR_MM = 3.0 * VOXEL_MM
#: More than this on both sides of a sheet: it stands in the middle, as a partition does.
_BOTH_SHARE = 0.2
#: A ceiling: another sheet of that share at least this far from the largest.
_CEILING_MM = 1800.0
#: The underside of a slab: nearly as large, this far or more.
_UNDERSIDE_SHARE, _UNDERSIDE_MM = 0.6, 150.0


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """The sheets square to ``normal``, told by the largest of them.

    Attributes
    ----------
    normal : (3,) unit vector
    area_mm2 : of the largest, holes up to half a metre filled
    at_mm : place of the largest along ``normal``
    thick_mm : of the whole capture along ``normal``
    facing_mm : between the outermost two when the capture lies between them; None: no such pair
    has_mass_both_sides : much of the capture lies on either side of the outermost
    has_ceiling : another one at room height from the largest
    has_underside : another nearly as large, parallel
    """

    normal: NDArray[np.float64]
    area_mm2: float
    at_mm: float
    thick_mm: float
    facing_mm: float | None
    has_mass_both_sides: bool
    has_ceiling: bool
    has_underside: bool

    @property
    def score(self) -> float:
        """Large and across the short side of the capture, mm: rooms are wider than high."""
        return self.area_mm2 / self.thick_mm


def thinned(points_mm: NDArray[np.float32]) -> NDArray[np.float64]:
    """One point per cube, the cube large enough for a few ten thousand of them."""
    sample = points_mm[:: max(1, len(points_mm) // _SAMPLE)].astype(np.float64)
    low = sample.min(axis=0)
    size = VOXEL_MM
    while True:
        cell = ((sample - low) / size).astype(np.int64)
        key = (cell[:, 0] << 42) ^ (cell[:, 1] << 21) ^ cell[:, 2]
        first = np.unique(key, return_index=True)[1]
        if len(first) <= _MOST_PATCHES:
            return np.asarray(sample[first])
        size *= 1.5


def sheets_of(points: NDArray[np.float64], usual: NDArray[np.float64]) -> list[Sheet]:
    """The sheets of each direction that many flat patches share, and of ``usual`` if any face it; no order.

    Parameters
    ----------
    points : (n, 3) mm, thinned
    usual : (3,) unit vector looked at even where few patches face it
    """
    centres, normals = _flat_patches(points)
    if len(centres) < LEAST_PATCHES:
        return []
    modes = _modes(normals)
    if all(abs(mode @ usual) < ALIGNED for mode in modes) and (np.abs(normals @ usual) >= ALIGNED).any():
        modes.append(usual)
    return [_sheet(mode, centres, normals, points) for mode in modes]


def _flat_patches(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Centres and unit normals (k, 3) of neighbourhoods that are flat."""
    from scipy.spatial import cKDTree

    if len(points) <= _NEIGHBOURS:
        return np.empty((0, 3)), np.empty((0, 3))
    _, near = cKDTree(points).query(points, k=_NEIGHBOURS)
    patch = points[near]
    centre = patch.mean(axis=1)
    off = patch - centre[:, None, :]
    values, vectors = np.linalg.eigh(np.einsum("nki,nkj->nij", off, off))
    flat = values[:, 0] < _FLAT * values[:, 1]
    return centre[flat], vectors[flat, :, 0]


def _modes(normals: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """The few directions that most patches share, each the mean of its patches."""
    seeds = normals[:: max(1, len(normals) // _SEEDS)]
    modes: list[NDArray[np.float64]] = []
    left = normals
    while len(modes) < _MODES and len(left) >= LEAST_PATCHES:
        support = (np.abs(left @ seeds.T) >= ALIGNED).sum(axis=0)
        seed = seeds[int(np.argmax(support))]
        if support.max() < LEAST_PATCHES:
            break
        alike = left[np.abs(left @ seed) >= ALIGNED]
        mean = np.linalg.eigh(alike.T @ alike)[1][:, -1]
        modes.append(mean)
        left = left[np.abs(left @ mean) < _APART]
        seeds = seeds[np.abs(seeds @ mean) < _APART]
        if not len(seeds):
            break
    return modes


def _sheet(
    mode: NDArray[np.float64], centres: NDArray[np.float64], normals: NDArray[np.float64], points: NDArray[np.float64]
) -> Sheet:
    """The largest sheet square to ``mode``, in bands of three voxels, and what stands before and behind it."""
    patches = centres[np.abs(normals @ mode) >= ALIGNED]
    height = patches @ mode
    low = float(height.min())
    band = ((height - low) / VOXEL_MM).astype(np.int64)
    areas = _areas_mm2(_squares(patches, mode), band)
    peak = int(np.argmax(areas))
    away_mm = np.abs(np.arange(len(areas)) - peak) * VOXEL_MM
    share = areas / areas[peak]
    along = points @ mode
    span = np.quantile(along, (0.01, 0.99))
    large = low + (np.flatnonzero(share >= _OPPOSITE_SHARE)[[0, -1]] + 0.5) * VOXEL_MM
    under, over = (float(np.mean(beyond)) for beyond in (along < large[0] - _CLEAR_MM, along > large[1] + _CLEAR_MM))
    apart_mm = float(large[1] - large[0])
    return Sheet(
        normal=mode,
        area_mm2=float(areas[peak]),
        at_mm=low + (peak + 0.5) * VOXEL_MM,
        thick_mm=max(float(span[1] - span[0]), 4.0 * VOXEL_MM),
        facing_mm=apart_mm if apart_mm > _CLEAR_MM and max(under, over) <= _BEYOND_SHARE else None,
        has_mass_both_sides=min(under, over) > _BOTH_SHARE,
        has_ceiling=bool((share[away_mm >= _CEILING_MM] >= _OPPOSITE_SHARE).any()),
        has_underside=bool((share[away_mm >= _UNDERSIDE_MM] >= _UNDERSIDE_SHARE).any()),
    )


def _squares(patches: NDArray[np.float64], mode: NDArray[np.float64]) -> NDArray[np.int64]:
    """(k,) number of the square of the sheet that each patch lies in."""
    across = np.linalg.svd(mode[None, :])[2][1:]
    cell = np.floor(patches @ across.T / _SQUARE_MM).astype(np.int64)
    cell -= cell.min(axis=0)
    return np.asarray(cell[:, 0] * (int(cell[:, 1].max()) + 1) + cell[:, 1])


def _areas_mm2(square: NDArray[np.int64], band: NDArray[np.int64]) -> NDArray[np.float64]:
    """(b,) area of the squares that the patches of each band and its two neighbours lie in."""
    last = int(band.max())
    pairs = [np.stack([band + step, square], axis=1) for step in (-1, 0, 1)]
    seen = np.unique(np.concatenate(pairs), axis=0)[:, 0]
    counts = np.bincount(seen[(seen >= 0) & (seen <= last)], minlength=last + 1)
    return np.asarray(counts * _SQUARE_MM**2)
