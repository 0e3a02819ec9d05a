"""The floor picture of points: their colours, or the relief of their bare heights."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.surface.picture.floor_picture import FloorPicture, PictureKind
from flatscan.surface.picture.ground import Ground, MapGrid, drawable, ground_of, map_grid
from flatscan.surface.picture.relief import BLOCK_MM, LEAST_TRUST, filled_gaps, less_surroundings, view_level
from flatscan.surface.picture.scatter_kernel import add_at, add_blocks, add_levelled, floor_places
from flatscan.surface.picture.standing import covered_cells, floor_from_points
from flatscan.surface.picture.tones import LUMINANCE, linear_from_srgb, srgb_from_linear

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

    from flatscan.settings import JointSettings
    from flatscan.sources.scan import Scan
    from flatscan.surface.surface import Surface

FINEST_COLOUR_MM, FINEST_HEIGHT_MM, COARSEST_MM = 1.0, 2.0, 12.0
MOST_PIXELS = 40_000_000
#: Pixels are this many spacings of the points wide, so that most hold one or two.
_SPACINGS = 1.25
#: Points this near the ground are floor, joints and lips included.
_NEAR_MM = 20.0
_BLOCK = 2_000_000
#: Points of no more trust than this lie on the border of their view.
_BORDER_TRUST = 20.0 * LEAST_TRUST
#: Colours that differ less than this (of 255) show nothing.
_LEAST_CONTRAST = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class _Base:
    """What both pictures are drawn on."""

    ground: Ground
    grid: MapGrid
    draw: NDArray[np.bool_]
    per_cell: int
    spacing_mm: float

    @property
    def pixel_mm(self) -> float:
        return self.grid.cell_mm / self.per_cell

    @property
    def shape(self) -> tuple[int, int]:
        return self.grid.shape[0] * self.per_cell, self.grid.shape[1] * self.per_cell


def colour_picture(scan: Scan, surface: Surface, settings: JointSettings) -> FloorPicture | None:
    """Mean colour of the floor's points in each pixel; None without colours, or too few points for a picture."""
    if scan.colour is None or not _has_contrast(scan.colour):
        return None
    base = _base(scan, surface, settings, FINEST_COLOUR_MM)
    if base is None:
        return None
    pixels = base.shape[0] * base.shape[1]
    total, weight = np.zeros((pixels, 3), np.float32), np.zeros(pixels, np.float32)
    light = linear_from_srgb(np.arange(256) / 255.0).astype(np.float32)
    for placed in _placed(scan, surface, base, np.arange(len(scan.points_mm))):
        add_at(placed.key, light[scan.colour[placed.rows]], total, weight)
    rgb = np.full((pixels, 3), np.nan, np.float32)
    np.divide(total, weight[:, None], out=rgb, where=weight[:, None] > 0)
    rgb = filled_gaps(rgb.reshape(*base.shape, 3))
    looks = np.rint(srgb_from_linear(np.nan_to_num(rgb)) * 255.0).astype(np.uint8)
    tone = (rgb @ LUMINANCE.astype(np.float32)).astype(np.float32)
    return _picture("colours", base, tone, looks, weight, f"Floor picture from the points' colours: {_said(base)}")


def height_picture(scan: Scan, surface: Surface, settings: JointSettings) -> FloorPicture | None:
    """Relief of the floor: the mean height of its points in each pixel above their surroundings, in mm.

    Joints are valleys and lips are steps. Heights are taken against each view's own level nearby, because views lie
    millimetres above each other. None where the points are too far apart for a picture of joints.
    """
    base = _base(scan, surface, settings, FINEST_HEIGHT_MM)
    if base is None:
        return None
    pixels = base.shape[0] * base.shape[1]
    total, weights = np.zeros(pixels, np.float32), np.zeros(pixels, np.float32)
    for view in _views(scan):
        _add_view(scan, surface, base, view, total, weights)
    relief = np.full(pixels, np.nan, np.float32)
    np.divide(total, weights, out=relief, where=weights > 0)
    tone = filled_gaps(less_surroundings(relief.reshape(base.shape), base.pixel_mm))
    return _picture("heights", base, tone, None, weights, f"Relief of the floor from its heights: {_said(base)}")


def _base(scan: Scan, surface: Surface, settings: JointSettings, finest_mm: float) -> _Base | None:
    counts = surface.count[surface.seen]
    if not len(counts):
        return None
    # The lower quartile: the picture must hold where cover is thin too.
    spacing_mm = surface.cell_mm / float(np.sqrt(max(np.quantile(counts, 0.25), 1e-9)))
    rows, cols = surface.height_mm.shape
    bound_mm = float(np.sqrt(rows * cols * surface.cell_mm**2 / MOST_PIXELS))
    pixel_mm = max(finest_mm, _SPACINGS * spacing_mm, bound_mm, settings.pixel_mm or 0.0)
    if max(finest_mm, _SPACINGS * spacing_mm, bound_mm) > COARSEST_MM:
        return None
    per_cell = max(1, round(20.0 / pixel_mm))
    grid = map_grid(surface, per_cell * pixel_mm)
    ground = ground_of(surface)
    draw = drawable(surface, covered_cells(scan, surface, ground), grid)
    return _Base(ground, grid, draw, per_cell, spacing_mm)


def _views(scan: Scan) -> Iterator[NDArray[np.int64]]:
    """Rows of the points of each view; of all where views are unknown."""
    of_point = scan.view_of_point
    if of_point is None:
        yield np.arange(len(scan.points_mm))
        return
    # Readers hand on view after view; only what was mixed is sorted.
    order = np.arange(len(of_point))
    if (of_point[1:] < of_point[:-1]).any():
        order = np.argsort(of_point, kind="stable")
        of_point = of_point[order]
    starts = np.flatnonzero(of_point[1:] != of_point[:-1]) + 1
    yield from np.split(order, starts)


@dataclass(frozen=True, slots=True, eq=False)
class _Placed:
    """Points near the ground where a picture is drawn: see ``scatter_kernel.floor_places``."""

    rows: NDArray[np.int64]
    key: NDArray[np.int64]
    place: NDArray[np.float32]


def _placed(scan: Scan, surface: Surface, base: _Base, rows: NDArray[np.int64]) -> Iterator[_Placed]:
    """Blocks of them."""
    for start in range(0, len(rows), _BLOCK):
        block = rows[start : start + _BLOCK]
        kept, key = np.empty(len(block), np.int64), np.empty(len(block), np.int64)
        place = np.empty((len(block), 3), np.float32)
        count = floor_places(
            scan.points_mm,
            block,
            floor_from_points(scan, surface),
            base.ground.height_mm,
            *base.ground.origin_mm,
            base.ground.cell_mm,
            base.draw,
            *base.grid.origin_mm,
            base.pixel_mm,
            base.per_cell,
            _NEAR_MM,
            kept,
            key,
            place,
        )
        if count:
            yield _Placed(kept[:count], key[:count], place[:count])


def _add_view(
    scan: Scan,
    surface: Surface,
    base: _Base,
    rows: NDArray[np.int64],
    total: NDArray[np.float32],
    weights: NDArray[np.float32],
) -> None:
    """One view's heights, less its own level nearby, into the pixels; two passes where it has many points."""
    few = list(_placed(scan, surface, base, rows)) if len(rows) <= _BLOCK else None

    def again() -> Iterable[_Placed]:
        return _placed(scan, surface, base, rows) if few is None else few

    low, high = np.array([0, 0]), np.ceil(np.multiply(base.grid.shape[::-1], base.grid.cell_mm / BLOCK_MM)).astype(int)
    if few is not None:
        if not few:
            return
        x, y = few[0].place[:, 0], few[0].place[:, 1]
        low, high = ((np.array(ends) / BLOCK_MM).astype(int) for ends in ((x.min(), y.min()), (x.max(), y.max())))
    (col0, row0), shape = low.tolist(), tuple((high - low + 3)[::-1])
    count, height = np.zeros(shape), np.zeros(shape)
    for placed in again():
        add_blocks(placed.place, BLOCK_MM, row0, col0, count, height)
    level, trust = view_level(count, height)
    # The last rows of a depth image bend; another view shows the place, or nobody does.
    least = 0.0 if scan.view_of_point is None else _BORDER_TRUST
    for placed in again():
        weight = np.empty(0, np.float32) if scan.weight is None else scan.weight[placed.rows]
        add_levelled(placed.key, placed.place, weight, BLOCK_MM, row0, col0, level, trust, least, total, weights)


def _picture(
    kind: PictureKind,
    base: _Base,
    tone: NDArray[np.float32],
    rgb: NDArray[np.uint8] | None,
    weight: NDArray[np.float32],
    said: str,
) -> FloorPicture:
    rows, cols = base.grid.shape
    shown = np.repeat(np.repeat(base.draw, base.per_cell, axis=0), base.per_cell, axis=1)
    tone = np.where(shown, tone, np.float32(np.nan))
    held = (weight > 0).reshape(rows, base.per_cell, cols, base.per_cell).sum(axis=(1, 3))
    with np.errstate(divide="ignore"):
        source_mm = np.where(held > 0, base.grid.cell_mm / np.sqrt(held), np.nan).astype(np.float32)
    return FloorPicture(
        kind=kind,
        tone=tone,
        rgb=rgb,
        pixel_mm=base.pixel_mm,
        origin_mm=base.grid.origin_mm,
        map_cell_mm=base.grid.cell_mm,
        source_mm=source_mm,
        view_tan=np.full(base.grid.shape, np.nan, np.float32),
        photo=np.full(base.grid.shape, -1, np.int16),
        inferences=(said,),
    )


def _said(base: _Base) -> str:
    return f"pixels of {said.about(base.pixel_mm, 3)}; neighbouring points lie {said.about(base.spacing_mm)} apart"


def _has_contrast(colour: NDArray[np.uint8]) -> bool:
    few = colour[:: max(1, len(colour) // 100_000)].astype(np.float64)
    return bool(few.std(axis=0).max() >= _LEAST_CONTRAST)
