"""Doorways and narrow passages, where a pour is best dammed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: A neck is narrower than this, than half of the wider part beside it, and clearly narrower than the other, which may
#: be a corridor (common practice, no source).
WIDEST_NECK_MM = 1200.0
_SHARE_OF_WIDER, _SHARE_OF_NARROWER = 0.5, 0.75
#: Nobody dams off less than this (common practice, no source).
LEAST_PART_MM2 = 1_000_000.0
#: Necks are looked for on cells of about this size.
_SEARCH_CELL_MM = 40.0
#: Two middles of parts are told apart where the way between them narrows by this much on each side.
_NARROWS_MM = 60.0
_ANGLE_STEP_DEG = 3.0

Cell = tuple[int, int]


def split_at_necks(label: NDArray[np.int32], count: int, cell_mm: float) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Part every region at its doorways and narrow passages.

    A region falls into the basins of its distance from the walls (watershed; Vincent & Soille 1991), whose middles
    are maxima that stand out (h-maxima). Basins that meet along more than a neck are put together again, the widest
    meeting first. Across each neck that is left a straight line is drawn between its two walls.

    Parameters
    ----------
    label : (rows, cols) int32, 1 to ``count``; the rest is wall, dam or zone

    Returns
    -------
    new labels, (rows, cols) int32, with the cells of the drawn lines 0; and (new count + 1,) int32, the old label of
    each new one
    """
    from scipy import ndimage

    whole = [0]
    new = np.zeros_like(label)
    for number, box in enumerate(ndimage.find_objects(label, max_label=count), start=1):
        mask = label[box] == number
        lines = _necks(mask, cell_mm)
        parts, found = _cut(mask, lines, cell_mm) if lines else (mask.astype(np.int32), 1)
        here = new[box]
        here[parts > 0] = parts[parts > 0] + (len(whole) - 1)
        whole += [number] * found
    return new, np.array(whole, dtype=np.int32)


def _cut(mask: NDArray[np.bool_], lines: list[tuple[Cell, Cell]], cell_mm: float) -> tuple[NDArray[np.int32], int]:
    """Label what the lines part; a part too small to be dammed off keeps the whole together."""
    from scipy import ndimage
    from skimage.draw import line

    cut = mask.copy()
    for (r0, c0), (r1, c1) in lines:
        rows, cols = line(r0, c0, r1, c1)  # type: ignore[no-untyped-call]
        kept = (rows >= 0) & (rows < mask.shape[0]) & (cols >= 0) & (cols < mask.shape[1])
        cut[rows[kept], cols[kept]] = False
    raw, count = ndimage.label(cut)
    sizes = np.bincount(raw.ravel(), minlength=count + 1)[1:] * cell_mm**2
    large = np.flatnonzero(sizes >= LEAST_PART_MM2)
    if len(large) <= 1:
        return mask.astype(np.int32), 1
    number = np.zeros(count + 1, dtype=np.int32)
    number[1 + large] = np.arange(1, len(large) + 1)
    return number[raw], len(large)


def _necks(mask: NDArray[np.bool_], cell_mm: float) -> list[tuple[Cell, Cell]]:
    """Both ends, (row, col), of a line across each neck of a region; the ends lie in the walls."""
    if int(mask.sum()) * cell_mm**2 < 2.0 * LEAST_PART_MM2:
        return []
    step = max(1, round(_SEARCH_CELL_MM / cell_mm))
    basin, from_wall_mm = _basins(_coarse(mask, step), step * cell_mm)
    meetings = _meetings(basin)
    _put_together(basin, from_wall_mm, meetings)
    middles = [
        piece[from_wall_mm.ravel()[piece].argmax()]
        for border in _left(basin, meetings)
        for piece in _pieces(border, basin.shape)
    ]
    rows, cols = np.unravel_index(np.array(middles, dtype=np.int64), basin.shape)
    places = zip(rows * step + step // 2, cols * step + step // 2, strict=True)
    return [_across(mask, int(row), int(col), WIDEST_NECK_MM / cell_mm) for row, col in places]


def _across(mask: NDArray[np.bool_], row: int, col: int, reach: float) -> tuple[Cell, Cell]:
    """Ends of the shortest straight line through a cell from wall to wall, up to ``reach`` cells each way."""
    steps = np.arange(0.0, reach, 0.5)
    padded = np.pad(mask, 1)
    shortest, ends = np.inf, ((row, col), (row, col))
    for angle in np.deg2rad(np.arange(0.0, 180.0, _ANGLE_STEP_DEG)):
        both = []
        for way in (angle, angle + np.pi):
            rows = np.rint(row + steps * np.sin(way)).astype(np.int64)
            cols = np.rint(col + steps * np.cos(way)).astype(np.int64)
            on_floor = padded[np.clip(rows + 1, 0, mask.shape[0] + 1), np.clip(cols + 1, 0, mask.shape[1] + 1)]
            out = len(steps) - 1 if on_floor.all() else int(np.argmin(on_floor))
            both.append((float(steps[out]), (int(rows[out]), int(cols[out]))))
        if both[0][0] + both[1][0] < shortest:
            shortest, ends = both[0][0] + both[1][0], (both[0][1], both[1][1])
    return ends


def _coarse(mask: NDArray[np.bool_], step: int) -> NDArray[np.bool_]:
    """Blocks of which at least half is True."""
    rows, cols = (-(-n // step) * step for n in mask.shape)
    whole = np.zeros((rows, cols), dtype=np.float32)
    whole[: mask.shape[0], : mask.shape[1]] = mask
    share = whole.reshape(rows // step, step, cols // step, step).mean(axis=(1, 3))
    return np.asarray(share >= 0.5)  # noqa: PLR2004 - half


def _basins(mask: NDArray[np.bool_], cell_mm: float) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    from scipy import ndimage
    from skimage.morphology import reconstruction
    from skimage.segmentation import watershed

    distance = ndimage.distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1] * cell_mm
    lower = np.maximum(distance - _NARROWS_MM, 0.0)
    flat = reconstruction(lower, distance, method="dilation")  # type: ignore[no-untyped-call]
    middles, _ = ndimage.label(mask & (distance - flat >= _NARROWS_MM - 1e-6), np.ones((3, 3)))
    basin = watershed(-distance, middles, mask=mask)  # type: ignore[no-untyped-call]
    return basin.astype(np.int32), distance


def _meetings(basin: NDArray[np.int32]) -> NDArray[np.int64]:
    """(n, 2) int64: two cells (flat index) side by side in different basins."""
    at = np.arange(basin.size).reshape(basin.shape)
    found = []
    for a, b, i, j in (
        (basin[:, :-1], basin[:, 1:], at[:, :-1], at[:, 1:]),
        (basin[:-1], basin[1:], at[:-1], at[1:]),
    ):
        meet = (a != b) & (a > 0) & (b > 0)
        found.append(np.column_stack([i[meet], j[meet]]))
    return np.concatenate(found).astype(np.int64)


def _left(basin: NDArray[np.int32], meetings: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Cells (flat index) along the meeting of each two basins that are still different."""
    two = np.sort(basin.ravel()[meetings], axis=1)
    pairs = np.unique(two[two[:, 0] != two[:, 1]], axis=0)
    return [np.unique(meetings[(two == pair).all(axis=1)]) for pair in pairs]


def _put_together(basin: NDArray[np.int32], from_wall_mm: NDArray[np.float64], meetings: NDArray[np.int64]) -> None:
    """Join, in place, the basins that meet along more than a neck, the widest meeting first."""
    while True:
        widest, join = 0.0, None
        for border in _left(basin, meetings):
            a, b = np.unique(basin.ravel()[border])
            wide = sum(2.0 * float(from_wall_mm.ravel()[p].max()) for p in _pieces(border, basin.shape))
            narrower, wider = sorted(2.0 * float(from_wall_mm[basin == k].max()) for k in (a, b))
            most = min(WIDEST_NECK_MM, _SHARE_OF_WIDER * wider, _SHARE_OF_NARROWER * narrower)
            if wide > widest and wide >= most:
                widest, join = wide, (a, b)
        if join is None:
            return
        basin[basin == join[1]] = join[0]


def _pieces(border: NDArray[np.int64], shape: tuple[int, int]) -> list[NDArray[np.int64]]:
    """Connected pieces of a border: two rooms may be joined by two doors."""
    from scipy import ndimage

    mask = np.zeros(shape, dtype=bool)
    mask.ravel()[border] = True
    labels, count = ndimage.label(mask, np.ones((3, 3)))
    at = labels.ravel()[border]
    return [border[at == k] for k in range(1, count + 1)]
