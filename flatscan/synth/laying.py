"""Lay tiles by chance: their widths, depths, lips and tilts, and the bad ones whose lip is asked for exactly."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from flatscan.synth.tiles import BONDS, TileField

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Joints are never drawn thinner or shallower than this share of what was asked.
_LEAST_SHARE = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Tiling:
    """What tiles to lay and how well.

    Attributes
    ----------
    size_mm : (x, y) of one tile, wall to wall, at the nominal joint
    bond : "stack", or running bond shifted by "half" or a "third"
    width_mm, width_sd_mm : joint between the tile walls, and its spread from joint to joint
    depth_mm, depth_sd_mm : from the lower tile edge to the grout
    radius_mm : rounded edge; the width at the top is ``width_mm + 2 radius_mm``
    lip_sd_mm : spread of the faces' heights; the lip between two has √2 times that
    tilt_sd_mm_per_m : spread of the faces' tilts, each way
    bad : (x, y, lip): the tile at this place sits exactly ``lip`` mm above (or below) everything around
        it, at every point of its joints
    """

    size_mm: tuple[float, float] = (300.0, 300.0)
    bond: Literal["stack", "half", "third"] = "stack"
    width_mm: float = 4.0
    width_sd_mm: float = 0.0
    depth_mm: float = 2.0
    depth_sd_mm: float = 0.0
    radius_mm: float = 0.5
    lip_sd_mm: float = 0.0
    tilt_sd_mm_per_m: float = 0.0
    bad: tuple[tuple[float, float, float], ...] = ()


def lay(tiling: Tiling, outline_mm: NDArray[np.float64], rng: np.random.Generator) -> TileField:
    """Cover the outline, the first cut tile at the origin's corner a little over half a tile wide."""
    pitch = np.array(tiling.size_mm) + tiling.width_mm
    low, high = outline_mm.min(axis=0), outline_mm.max(axis=0)
    # One column to spare on the left, since rows shift to the right by up to one pitch.
    origin = low - pitch * np.array([1.4, 0.4])
    cols, rows = np.ceil((high - origin) / pitch).astype(int) + 1

    def spread(mean: float, sd: float, shape: tuple[int, ...], least: float) -> NDArray[np.float64]:
        return np.maximum(mean + sd * rng.standard_normal(shape), least)

    half = tiling.width_mm / 2.0
    least_depth = max(tiling.depth_mm * _LEAST_SHARE, tiling.radius_mm + 0.05)
    if tiling.depth_mm < least_depth:
        raise ValueError("depth_mm must exceed the edge radius")
    field = TileField(
        origin_mm=(float(origin[0]), float(origin[1])),
        pitch_mm=(float(pitch[0]), float(pitch[1])),
        bond=BONDS[tiling.bond],
        half_v=spread(half, tiling.width_sd_mm / 2.0, (rows, cols + 1), half * _LEAST_SHARE),
        depth_v=spread(tiling.depth_mm, tiling.depth_sd_mm, (rows, cols + 1), least_depth),
        half_h=spread(half, tiling.width_sd_mm / 2.0, (rows + 1,), half * _LEAST_SHARE),
        depth_h=spread(tiling.depth_mm, tiling.depth_sd_mm, (rows + 1,), least_depth),
        offset_mm=tiling.lip_sd_mm * rng.standard_normal((rows, cols)),
        slope_x=tiling.tilt_sd_mm_per_m / 1000.0 * rng.standard_normal((rows, cols)),
        slope_y=tiling.tilt_sd_mm_per_m / 1000.0 * rng.standard_normal((rows, cols)),
        radius_mm=tiling.radius_mm,
    )
    for x, y, lip in tiling.bad:
        field = with_bad_tile(field, x, y, lip)
    return field


def with_bad_tile(field: TileField, x_mm: float, y_mm: float, lip_mm: float) -> TileField:
    """The same field with the tile at (x, y) exactly ``lip_mm`` above its neighbours, which are set true."""
    at = field.place(np.array([x_mm]), np.array([y_mm]))
    row, col = int(at.row[0]), int(at.col[0])
    offset, slope_x, slope_y = field.offset_mm.copy(), field.slope_x.copy(), field.slope_y.copy()
    rows, cols = offset.shape
    # In running bond a tile meets two in the row above and two below: with one more either side all are covered.
    around = (slice(max(row - 1, 0), min(row + 2, rows)), slice(max(col - 1, 0), min(col + 2, cols)))
    for array in (offset, slope_x, slope_y):
        array[around] = 0.0
    offset[row, col] = lip_mm
    return replace(field, offset_mm=offset, slope_x=slope_x, slope_y=slope_y)
