"""Which photo shows each place best: one photo a place, so that poses off by millimetres never blur a joint."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.picture.standing import Standing, is_hidden, nearest_thing_mm

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.surface.picture.ground import Ground, MapGrid
    from flatscan.surface.picture.posed_photo import PosedPhoto

#: Seen further from the vertical than this (60 degrees), a place is left out.
MOST_VIEW_TAN = float(np.tan(np.radians(60.0)))
#: Candidates kept for each place.
KEPT = 4
#: The outer tenth of a photo counts less, down to a third at its border: lens and vignetting are worst there.
_BORDER_SHARE, _LEAST_BORDER = 0.1, 1.0 / 3.0
#: A place leaves its neighbours' photo only for one that is better by about this (in logarithm).
_HYSTERESIS = 0.25
_SWEEPS = 6
_STRIDE = 5


@dataclass(slots=True, eq=False)
class Candidates:
    """The best photos of each place, best first.

    All (KEPT, rows, cols): ``photo`` int32 place in the list of photos, -1 none; ``cost`` float32, logarithm of mm a
    pixel made worse by slant and border, inf: none; ``source_mm``, ``view_tan`` float32.
    """

    photo: NDArray[np.int32]
    cost: NDArray[np.float32]
    source_mm: NDArray[np.float32]
    view_tan: NDArray[np.float32]

    @classmethod
    def none(cls, shape: tuple[int, int]) -> Candidates:
        """Nothing seen yet."""
        full = (KEPT, *shape)
        nan = np.full(full, np.nan, dtype=np.float32)
        return cls(np.full(full, -1, np.int32), np.full(full, np.inf, np.float32), nan, nan.copy())

    def offer(self, number: int, row: NDArray[np.int64], col: NDArray[np.int64], seen: PhotoView) -> None:
        """Put a photo in its rank at some places."""
        new = [np.full(len(row), number, np.int32), seen.cost, seen.source_mm, seen.view_tan]
        for rank in range(KEPT):
            better = new[1] < self.cost[rank, row, col]
            for array, value in zip((self.photo, self.cost, self.source_mm, self.view_tan), new, strict=True):
                old = array[rank, row, col]
                array[rank, row, col] = np.where(better, value, old)
                value[better] = old[better]

    def take(self, rank: NDArray[np.int64]) -> tuple[NDArray[np.int32], NDArray[np.float32], NDArray[np.float32]]:
        """(rows, cols) photo, source_mm, view_tan of one rank a place."""
        photo, source, tan = (
            np.take_along_axis(a, rank[None], axis=0)[0] for a in (self.photo, self.source_mm, self.view_tan)
        )
        return photo, source, tan


@dataclass(frozen=True, slots=True, eq=False)
class PhotoView:
    """How a photo sees places, (n,) float32 each; ``cost`` inf where it does not."""

    cost: NDArray[np.float32]
    source_mm: NDArray[np.float32]
    view_tan: NDArray[np.float32]


def candidates(
    photos: Sequence[PosedPhoto],
    ground: Ground,
    grid: MapGrid,
    draw: NDArray[np.bool_],
    standing: Standing,
) -> Candidates:
    """The best photos of each cell of the map; ``draw`` (rows, cols) bool: where a picture is wanted."""
    found = Candidates.none(grid.shape)
    row, col = np.nonzero(draw)
    x, y = grid.centres()
    xyz = np.column_stack([x[col], y[row], ground.at(x[col], y[row])])
    few = slice(None, None, _STRIDE)
    for number, photo in enumerate(photos):
        if not len(xyz):
            break
        ok = photo.project(xyz[few])[2]
        if not ok.any():
            continue
        # Places in the picture lie within a box around those of the few that do.
        low, high = xyz[few][ok, :2].min(axis=0), xyz[few][ok, :2].max(axis=0)
        reach = 2.0 * _STRIDE * grid.cell_mm
        near = np.flatnonzero(((xyz[:, :2] > low - reach) & (xyz[:, :2] < high + reach)).all(axis=1))
        seen = view_of(photo, xyz[near], standing)
        there = np.isfinite(seen.cost)
        near = near[there]
        found.offer(
            number,
            row[near],
            col[near],
            PhotoView(seen.cost[there], seen.source_mm[there], seen.view_tan[there]),
        )
    return found


def view_of(photo: PosedPhoto, xyz_mm: NDArray[np.float64], standing: Standing) -> PhotoView:
    """How one photo sees places of the floor.

    A pixel covers dx dy on the plane z = 1 before the camera; on a level floor the camera's height h beneath, that
    is an area of depth³ / h · dx dy.
    """
    uv, depth_mm, ok = photo.project(xyz_mm)
    off = xyz_mm - photo.position_mm
    above = -off[:, 2]
    ok &= above > 1.0
    with np.errstate(invalid="ignore", divide="ignore"):
        view_tan = np.hypot(off[:, 0], off[:, 1]) / above
        source_mm = np.sqrt(depth_mm**3 / (above * photo.fx * photo.fy))
        ok &= view_tan < MOST_VIEW_TAN
        border = np.minimum(uv, np.array(photo.size) - 1.0 - uv).min(axis=1) / (_BORDER_SHARE * min(photo.size))
        cost = np.log(source_mm * np.sqrt(1.0 + view_tan**2) / np.clip(border, _LEAST_BORDER, 1.0))
    if len(standing.at_mm) and ok.any():
        ok[ok] = ~is_hidden(uv[ok], depth_mm[ok], *nearest_thing_mm(photo, standing))
    cost[~ok] = np.inf
    return PhotoView(cost.astype(np.float32), source_mm.astype(np.float32), view_tan.astype(np.float32))


def steady_choice(found: Candidates) -> NDArray[np.int64]:
    """(rows, cols) rank of the photo to use: the best, unless the neighbours use another nearly as good.

    Iterated conditional modes of a Potts model (J. Besag, "On the statistical analysis of dirty pictures", 1986, from
    memory): cost plus a constant times the share of the eight neighbours that use another photo. Every fourth cell is
    renewed at a time, so no two neighbours change together.
    """
    rows, cols = found.cost.shape[1:]
    rank = np.zeros((rows, cols), dtype=np.int64)
    if KEPT == 1 or not np.isfinite(found.cost[0]).any():
        return rank
    for _ in range(_SWEEPS):
        changed = False
        for first_row, first_col in ((0, 0), (0, 1), (1, 0), (1, 1)):
            part = (slice(first_row, None, 2), slice(first_col, None, 2))
            used = np.pad(found.take(rank)[0], 1, constant_values=-1)
            cost = found.cost[:, *part].astype(np.float64)
            for step_row in range(3):
                for step_col in range(3):
                    if step_row == step_col == 1:
                        continue
                    beside = used[step_row : step_row + rows, step_col : step_col + cols][part]
                    cost += _HYSTERESIS / 8.0 * ((beside >= 0) & (beside != found.photo[:, *part]))
            best = cost.argmin(axis=0)
            best[~np.isfinite(found.cost[0][part])] = 0
            changed |= bool((best != rank[part]).any())
            rank[part] = best
        if not changed:
            break
    return rank
