"""Which cells are judged: within the outline less the skirting strip, and not under a thing lying there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.surface.cells.gridding import GridSpec

#: A thing larger than this is taken for floor (a carpet, a raised field): it is kept and judged.
MOST_THING_M2 = 1.2
#: A thing's edge rises at least this much ...
LEAST_EDGE_MM = 8.0
#: ... over about this distance: 100 mm/m, which no wave of a floor reaches; lips stay under 6 mm.
EDGE_REACH_MM = 80.0
#: ... and that many standard deviations of a cell's noise.
_EDGE_SIGMAS = 5.0
#: This share of the edge, where both sides were seen, must rise.
_SHARP_SHARE = 0.8
#: Both sides must be seen on at least this share of the edge.
_SEEN_SHARE = 0.25
#: The surface a thing lies on is looked for in windows that it fills at most half of.
_WINDOWS_MM = (500.0, 900.0, 1550.0)
#: Smaller things are left out without being listed.
_LISTED_M2 = 0.005
_COARSE_MM = 50.0
#: The foot of a thing is smeared by the sensor this far beyond its edge.
_SMEAR_MM = 20.0
#: Readings of a cell that scatter by this, and this many times more than usual, are not of one surface.
_MIXED_MM, _MIXED_TIMES = 3.0, 3.0
#: A cell may overlap the strip by this: rounding must not cost a row of cells.
_TOUCH_MM = 0.5


@dataclass(frozen=True, slots=True)
class Thing:
    """Something lying on the floor: where (x, y), how high its edge stands, how large."""

    at_mm: tuple[float, float]
    edge_mm: float
    area_m2: float


def inside_mask(outline: tuple[NDArray[np.float64], ...], grid: GridSpec, *, skirting_mm: float) -> NDArray[np.bool_]:
    """(rows, cols) bool: cells of which no part lies outside the outline or within ``skirting_mm`` of it.

    A cell that the strip only touches would carry the foot of the wall in its mean.
    """
    from shapely import MultiPolygon, Polygon
    from skimage.draw import polygon2mask

    floor = Polygon(outline[0], list(outline[1:])).buffer(0)
    shrunk = floor.buffer(-(skirting_mm + 0.5 * grid.cell_mm - _TOUCH_MM), join_style="mitre")
    parts = list(shrunk.geoms) if isinstance(shrunk, MultiPolygon) else [shrunk]
    mask = np.zeros(grid.shape, dtype=bool)

    def filled(ring: NDArray[np.float64]) -> NDArray[np.bool_]:
        # polygon2mask works in cell indices, where (0, 0) is the centre of the first cell.
        inner: NDArray[np.bool_] = polygon2mask(  # type: ignore[no-untyped-call]
            grid.shape, ((ring - np.asarray(grid.origin_mm)) / grid.cell_mm - 0.5)[:, ::-1]
        )
        return inner

    for part in parts:
        if not part.is_empty:
            mask |= filled(np.asarray(part.exterior.coords))
            for hole in part.interiors:
                mask &= ~filled(np.asarray(hole.coords))
    return mask


def one_surface(spread_mm: NDArray[np.float32]) -> NDArray[np.bool_]:
    """(rows, cols) bool: cells whose readings are of one surface, as far as their scatter tells.

    The foot of a wall, the edge of a thing or a reflection in a cell spreads its readings by 3 mm (what a lip of
    6 mm does) and three times the usual; the mean of such a cell is no height of the floor.
    """
    known = np.isfinite(spread_mm)
    usual = float(np.median(spread_mm[known])) if known.any() else 0.0
    return ~(np.nan_to_num(spread_mm) > max(_MIXED_MM, _MIXED_TIMES * usual))


def things_on_floor(
    height_mm: NDArray[np.float32], grid: GridSpec, *, sigma_mm: float, standing: NDArray[np.bool_] | None = None
) -> tuple[NDArray[np.bool_], list[Thing]]:
    """Find what lies on the floor and is low enough to have been gridded with it.

    A thing stands higher than the surface around it, has an edge of at least 8 mm (and five standard
    deviations of a cell) within 80 mm on at least 80 % of its seen border, and covers at most 1.2 m². What
    rises gently, a step from wall to wall, a lip of up to 6 mm and what is larger stay floor. The fringe that
    a taller thing's foot leaves around its hole goes with it. A raised patch with sharp edges of 8 mm looks
    the same and is left out too: hence the caveat.

    Parameters
    ----------
    height_mm : (rows, cols) float32, heights over the reference plane, NaN where not seen
    sigma_mm : typical standard deviation of a cell
    standing : (rows, cols) bool, cells with something taller over them; raised cells there are its foot

    Returns
    -------
    mask : (rows, cols) bool, True on things and the smear around them
    things : the things, largest first; fringes of holes are not listed
    """
    edge_mm = max(LEAST_EDGE_MM, _EDGE_SIGMAS * sigma_mm)
    mask = np.zeros(height_mm.shape, dtype=bool)
    things: list[Thing] = []
    # Small windows first: the smaller the window, the less of the floor's own waves stands above its median.
    for window_mm in _WINDOWS_MM:
        left = np.where(mask, np.float32(np.nan), height_mm)
        if not np.isfinite(left).any():
            break
        over = left - local_surface(left, grid.cell_mm, window_mm)
        found, listed = _sharp_rises(left, over, grid, edge_mm, 0.5 * window_mm**2 / 1e6, standing)
        if found.any():
            mask |= ndimage.distance_transform_edt(~found) * grid.cell_mm <= _SMEAR_MM + grid.cell_mm
        things += listed
    return mask, sorted(things, key=lambda thing: -thing.area_m2)


def _sharp_rises(
    height_mm: NDArray[np.float32],
    over_mm: NDArray[np.float64],
    grid: GridSpec,
    edge_mm: float,
    most_m2: float,
    standing: NDArray[np.bool_] | None,
) -> tuple[NDArray[np.bool_], list[Thing]]:
    """Cells that stand over their surroundings in one piece with a sharp edge, and the list of such pieces."""
    seen = np.isfinite(height_mm)
    raised = seen & (np.nan_to_num(over_mm) > 0.5 * edge_mm)
    labels, count = ndimage.label(raised, np.ones((3, 3)))
    if count == 0:
        return raised, []
    index = np.arange(1, count + 1)
    beside, step = _around(height_mm, seen, raised, labels, grid.cell_mm)

    def cells_of(where: NDArray[np.bool_], pieces: NDArray[np.int32]) -> NDArray[np.float64]:
        return np.asarray(ndimage.sum_labels(where, pieces, index), dtype=np.float64)

    known = (beside > 0) & np.isfinite(step)
    known_cells = cells_of(known, beside)
    sharp_cells = cells_of(known & (np.nan_to_num(step) > edge_mm), beside)
    area_m2 = cells_of(raised, labels) * grid.cell_mm**2 / 1e6
    # Single cells are crumbs or outliers, and stay, unless they line a hole.
    solid = cells_of(ndimage.binary_opening(raised, np.ones((2, 2), dtype=bool)), labels) > 0
    hidden = ~seen if standing is None else ~seen | standing
    fringe = cells_of(raised & ndimage.binary_dilation(hidden, np.ones((3, 3), dtype=bool)), labels) > 0
    on_show = known_cells >= np.maximum(1.0, _SEEN_SHARE * cells_of(beside > 0, beside))
    is_thing = (area_m2 <= most_m2) & (sharp_cells >= _SHARP_SHARE * known_cells) & (fringe | (solid & on_show))
    rise = ndimage.sum_labels(np.where(known, step, 0.0), beside, index)
    edges = np.asarray(rise) / np.maximum(known_cells, 1.0)
    centres = ndimage.center_of_mass(raised, labels, index)
    x0, y0 = grid.origin_mm
    things = [
        Thing(
            (x0 + (float(centres[k][1]) + 0.5) * grid.cell_mm, y0 + (float(centres[k][0]) + 0.5) * grid.cell_mm),
            float(edges[k]),
            float(area_m2[k]),
        )
        for k in np.flatnonzero(is_thing & solid & on_show & (area_m2 >= _LISTED_M2))
    ]
    return np.isin(labels, index[is_thing]), things


def local_surface(height_mm: NDArray[np.float32], cell_mm: float, window_mm: float) -> NDArray[np.float64]:
    """(rows, cols) the floor as things that fill less than half of a window cannot lift it: windowed medians.

    Medians of blocks of about 50 mm come first (the windows would be slow on fine cells); blocks not seen take
    their nearest seen neighbour's height.
    """
    step = max(1, round(_COARSE_MM / cell_mm))
    rows, cols = height_mm.shape
    padded = np.pad(height_mm, ((0, -rows % step), (0, -cols % step)), constant_values=np.nan)
    blocks = padded.reshape(padded.shape[0] // step, step, padded.shape[1] // step, step)
    coarse = _nanmedian(blocks.transpose(0, 2, 1, 3).reshape(blocks.shape[0], blocks.shape[2], -1))
    empty = np.isnan(coarse)
    if empty.any():
        nearest = ndimage.distance_transform_edt(empty, return_distances=False, return_indices=True)
        coarse = coarse[tuple(nearest)]
    window = 2 * round(window_mm / (2.0 * step * cell_mm)) + 1
    smooth = ndimage.median_filter(coarse, min(window, 2 * max(coarse.shape) + 1), mode="reflect")
    at = np.meshgrid(*(np.arange(n) / step - 0.5 + 0.5 / step for n in (rows, cols)), indexing="ij")
    fine: NDArray[np.float64] = ndimage.map_coordinates(smooth.astype(np.float64), at, order=1, mode="nearest")
    return fine


def _nanmedian(values: NDArray[np.float32]) -> NDArray[np.float64]:
    """Median along the last axis without NaN; NaN where there is nothing else (and no warning of it)."""
    ordered = np.sort(values, axis=-1)
    count = np.isfinite(values).sum(axis=-1)
    middle = np.maximum(count - 1, 0) // 2
    median = np.take_along_axis(ordered, middle[..., None], axis=-1)[..., 0].astype(np.float64)
    return np.where(count > 0, median, np.nan)


def _around(
    height_mm: NDArray[np.float32],
    seen: NDArray[np.bool_],
    raised: NDArray[np.bool_],
    labels: NDArray[np.int32],
    cell_mm: float,
) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    """The ring around each raised piece: its number on the cells of the ring, and how far it stands above each.

    The ring runs from 20 to 80 mm off the piece. A piece stands above a ring cell by the mean of its own cells
    near there less the mean of the 3 x 3 cells around the ring cell; NaN where nothing was seen.
    """
    away, (row, col) = ndimage.distance_transform_edt(~raised, sampling=cell_mm, return_indices=True)
    ring = (away > max(_SMEAR_MM, cell_mm)) & (away <= max(EDGE_REACH_MM, 3.0 * cell_mm))
    beside = np.where(ring, labels[row, col], 0)
    height = np.nan_to_num(height_mm.astype(np.float64))

    def mean_of(cells: NDArray[np.bool_], side: int) -> NDArray[np.float64]:
        share = ndimage.uniform_filter(cells.astype(np.float64), side, mode="constant")
        total = ndimage.uniform_filter(np.where(cells, height, 0.0), side, mode="constant")
        # Running sums leave rounding dust where there is nothing; half a cell is less than any.
        return np.where(share * side**2 > 0.5, total / np.maximum(share, 1e-12), np.nan)  # noqa: PLR2004

    reach = 2 * round(max(EDGE_REACH_MM + _SMEAR_MM, 4.0 * cell_mm) / cell_mm) + 1
    floor = np.where(seen, mean_of(seen & ~raised, 3), np.nan)
    return beside, mean_of(raised, reach) - floor
