"""Which way is up, inferred from the largest horizontal-looking sheet of the capture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

_SAMPLE = 1_000_000
_MOST_PATCHES = 15_000
_LEAST_PATCHES = 30
_VOXEL_MM = 50.0
_NEIGHBOURS = 12
#: A patch is flat when its thickness variance is below this share of its next larger one.
_FLAT = 0.05
_ALIGNED = float(np.cos(np.radians(12.0)))
_APART = float(np.cos(np.radians(25.0)))
_ON_AXIS = float(np.cos(np.radians(5.0)))
_SEEDS = 250
_MODES = 4
#: The best sheet is the floor when it beats the next direction by this much; else convention decides.
_CLEAR = 1.3
#: A ceiling: another sheet of this share of the largest, at least this far from it.
_CEILING_SHARE, _CEILING_MM = 0.3, 1800.0
#: The underside of a slab: nearly as large, this far or more.
_UNDERSIDE_SHARE, _UNDERSIDE_MM = 0.6, 150.0
_SIDES = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class UpGuess:
    """``direction`` (3,) unit vector, with the reason as half a sentence."""

    direction: NDArray[np.float64]
    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class _Sheet:
    """A set of parallel patches: ``area`` in patches, ``at_mm`` its place along ``normal``."""

    normal: NDArray[np.float64]
    area: int
    at_mm: float
    thick_mm: float
    has_ceiling: bool
    has_underside: bool

    @property
    def score(self) -> float:
        """Large and across the short side of the capture: rooms are wider than high."""
        return self.area / self.thick_mm


def infer_up(
    points_mm: NDArray[np.float32], viewpoints_mm: NDArray[np.float64] | None, usual: NDArray[np.float64]
) -> UpGuess | None:
    """Up direction from the directions of flat patches, or None when nothing stands out.

    The cloud is thinned to one point per 50 mm cube, so that the sheet with most patches is the one
    with most *area*, not the one nearest to the scanner. Each direction shared by many patches
    is scored by its largest sheet over the capture's thickness along it. A clear winner is the
    floor; between near equals the format's usual axis decides. The sign: towards the viewpoints,
    else towards the side where walls and objects stand, else along the axis.

    Parameters
    ----------
    points_mm : (n, 3), mm
    viewpoints_mm : (v, 3) sensor positions in the same frame, or None
    usual : (3,) axis that the format's writers usually call up
    """
    thin = _thinned(points_mm)
    centres, normals = _flat_patches(thin)
    if len(centres) < _LEAST_PATCHES:
        return None
    sheets = [_sheet(mode, centres, normals, thin) for mode in _modes(normals)]
    sheets.sort(key=lambda s: s.score, reverse=True)
    contenders = [s for s in sheets if s.score * _CLEAR >= sheets[0].score]
    chosen = contenders[0]
    reason = "most of the level-looking area lies across it"
    if len(contenders) > 1:
        usually = [s for s in contenders if abs(s.normal @ usual) >= _ALIGNED]
        if not usually:
            return None
        chosen = usually[0]
        reason = "it is the usual axis and as likely as any other"
    direction, side_reason = _signed(chosen, thin, viewpoints_mm)
    return UpGuess(_snapped(direction), f"{reason} and {side_reason}")


def nearest_axis(direction: NDArray[np.float64]) -> NDArray[np.float64]:
    """The coordinate axis, with sign, nearest to a direction."""
    k = int(np.argmax(np.abs(direction)))
    axis = np.zeros(3)
    axis[k] = np.sign(direction[k])
    return axis


def _snapped(direction: NDArray[np.float64]) -> NDArray[np.float64]:
    """The axis itself when within 5 degrees: exports are axis-aligned far more often than nearly so."""
    axis = nearest_axis(direction)
    return axis if float(direction @ axis) >= _ON_AXIS else direction


def _thinned(points_mm: NDArray[np.float32]) -> NDArray[np.float64]:
    """One point per cube, the cube large enough for a few ten thousand of them."""
    sample = points_mm[:: max(1, len(points_mm) // _SAMPLE)].astype(np.float64)
    low = sample.min(axis=0)
    size = _VOXEL_MM
    while True:
        cell = ((sample - low) / size).astype(np.int64)
        key = (cell[:, 0] << 42) ^ (cell[:, 1] << 21) ^ cell[:, 2]
        first = np.unique(key, return_index=True)[1]
        if len(first) <= _MOST_PATCHES:
            return np.asarray(sample[first])
        size *= 1.5


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
    while len(modes) < _MODES and len(left) >= _LEAST_PATCHES:
        support = (np.abs(left @ seeds.T) >= _ALIGNED).sum(axis=0)
        seed = seeds[int(np.argmax(support))]
        if support.max() < _LEAST_PATCHES:
            break
        alike = left[np.abs(left @ seed) >= _ALIGNED]
        mean = np.linalg.eigh(alike.T @ alike)[1][:, -1]
        modes.append(mean)
        left = left[np.abs(left @ mean) < _APART]
        seeds = seeds[np.abs(seeds @ mean) < _APART]
        if not len(seeds):
            break
    return modes


def _sheet(
    mode: NDArray[np.float64], centres: NDArray[np.float64], normals: NDArray[np.float64], points: NDArray[np.float64]
) -> _Sheet:
    """The largest sheet square to ``mode``; ``has_ceiling``: another one at room height from it."""
    height = centres[np.abs(normals @ mode) >= _ALIGNED] @ mode
    low = float(height.min())
    counts = np.bincount(((height - low) / _VOXEL_MM).astype(np.int64))
    windows = np.convolve(counts, np.ones(3, dtype=np.int64))[1:-1]
    peak = int(np.argmax(windows))
    away_mm = np.abs(np.arange(len(counts)) - peak) * _VOXEL_MM
    share = windows / windows[peak]
    span = np.quantile(points @ mode, (0.01, 0.99))
    return _Sheet(
        normal=mode,
        area=int(windows[peak]),
        at_mm=low + (peak + 0.5) * _VOXEL_MM,
        thick_mm=max(float(span[1] - span[0]), 4.0 * _VOXEL_MM),
        has_ceiling=bool((share[away_mm >= _CEILING_MM] >= _CEILING_SHARE).any()),
        has_underside=bool((share[away_mm >= _UNDERSIDE_MM] >= _UNDERSIDE_SHARE).any()),
    )


def _signed(
    sheet: _Sheet, points: NDArray[np.float64], viewpoints_mm: NDArray[np.float64] | None
) -> tuple[NDArray[np.float64], str]:
    """The sheet's normal pointing up, and why."""
    axis = nearest_axis(sheet.normal)
    forward = sheet.normal if axis.sum() > 0 else -sheet.normal
    at_mm = sheet.at_mm if axis.sum() > 0 else -sheet.at_mm
    if sheet.has_ceiling:
        # Floor and ceiling: the larger sheet may be either, so neither side tells.
        return forward, "it points along the axis"
    if viewpoints_mm is not None and len(viewpoints_mm):
        side = float(np.median(viewpoints_mm @ forward)) - at_mm
        return (forward if side > 0 else -forward), "the sensor stood on that side"
    if sheet.has_underside:
        return forward, "it points along the axis"
    off = points @ forward - at_mm
    above, below = (int(np.count_nonzero(side > 3.0 * _VOXEL_MM)) for side in (off, -off))
    if below > _SIDES * above and below >= _LEAST_PATCHES:
        return -forward, "walls and objects stand on that side"
    if above > _SIDES * below and above >= _LEAST_PATCHES:
        return forward, "walls and objects stand on that side"
    return forward, "it points along the axis"
