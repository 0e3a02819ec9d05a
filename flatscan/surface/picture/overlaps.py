"""Where photos overlap: how much brighter one is than the other, and whether they show the same floor."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.picture.choice import KEPT
from flatscan.surface.picture.tones import brightness, solved_gains

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from flatscan.surface.picture.choice import Candidates
    from flatscan.surface.picture.ground import Ground, MapGrid
    from flatscan.surface.picture.posed_photo import PosedPhoto

#: From this factor on a photo is first made small to this many times the size wanted.
_COARSE, _FIRST = 8, 4
#: Light outside this is too dark or too bright to compare.
_COMPARED = (0.003, 0.97)
#: Places that two photos must share for their brightness to be compared, and all together to judge their turn.
_LEAST_SHARED, _LEAST_JUDGED = 12, 300
#: Detail is what differs from the mean over this many map cells each way.
_DETAIL_CELLS = 7
#: Photos as stated agree less than this, and some other turn by this much more.
_DISAGREE, _CLEARLY_MORE = 0.25, 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """A small copy of a photo's brightness, (h, w) float32, each pixel the mean of ``factor`` squared."""

    tone: NDArray[np.float32]
    factor: int


#: Ways a photo may lie other than stated: what it is called, flip of columns and of rows, exchange of both.
Turn = tuple[str, bool, bool, bool]
AS_STATED: Turn = ("as stated", False, False, False)
TURNS: tuple[Turn, ...] = (
    ("turned upside down", True, True, False),
    ("mirrored left to right", True, False, False),
    ("mirrored top to bottom", False, True, False),
    ("turned by a quarter clockwise", False, True, True),
    ("turned by a quarter anticlockwise", True, False, True),
    ("mirrored about a diagonal", False, False, True),
    ("mirrored about the other diagonal", True, True, True),
)


def look_at(pixels: NDArray[np.uint8], factor: int) -> Look:
    """The small copy of a photo."""
    import cv2

    if factor == 1:
        return Look(brightness(pixels), 1)
    height, width = (max(1, n // factor) for n in pixels.shape[:2])
    whole = pixels[: height * factor, : width * factor]
    if factor >= _COARSE:
        # Part of the way in numbers, the rest in light: neighbouring pixels differ too little for it to matter.
        size = (width * _FIRST, height * _FIRST)
        whole = np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    tone = brightness(np.ascontiguousarray(whole))
    return Look(np.asarray(cv2.resize(tone, (width, height), interpolation=cv2.INTER_AREA)), factor)


@dataclass(frozen=True, slots=True, eq=False)
class Overlaps:
    """The photos over the map, for comparing them."""

    photos: Sequence[PosedPhoto]
    looks: Mapping[int, Look]
    found: Candidates
    ground: Ground
    grid: MapGrid

    def light(self, turn: Turn = AS_STATED) -> NDArray[np.float32]:
        """(KEPT, rows, cols) brightness each candidate shows at each place; NaN: none, or no fair comparison."""
        out = np.full(self.found.photo.shape, np.nan, dtype=np.float32)
        for number, (rank, row, col) in self._places():
            value = self._sampled(number, row, col, turn)
            out[rank, row, col] = np.where((value > _COMPARED[0]) & (value < _COMPARED[1]), value, np.nan)
        return out

    def gains(self) -> NDArray[np.float64]:
        """(photos,) factor on the light of each."""
        log_light = np.log(self.light())
        count = len(self.photos)
        keys, ratios = [np.empty(0, np.int64)], [np.empty(0)]
        for one, other in combinations(range(KEPT), 2):
            both = np.isfinite(log_light[one]) & np.isfinite(log_light[other])
            i, j = self.found.photo[one][both].astype(np.int64), self.found.photo[other][both].astype(np.int64)
            ratio = (log_light[one] - log_light[other])[both].astype(np.float64)
            keys.append(np.minimum(i, j) * count + np.maximum(i, j))
            ratios.append(np.where(i < j, ratio, -ratio))
        key, ratio = np.concatenate(keys), np.concatenate(ratios)
        order = np.argsort(key, kind="stable")
        pairs, start, shared = np.unique(key[order], return_index=True, return_counts=True)
        enough = shared >= _LEAST_SHARED
        middle = [float(np.median(part)) for part in np.split(ratio[order], start[1:])] if len(pairs) else []
        between = np.column_stack([pairs // count, pairs % count])[enough]
        return solved_gains(between, np.array(middle)[enough], shared[enough].astype(np.float64), count)

    def turned(self) -> str | None:
        """What the photos would have to be to show one floor, where they do not as stated; None: no such doubt."""
        stated, judged = self._agreement(AS_STATED)
        if judged < _LEAST_JUDGED or stated >= _DISAGREE:
            return None
        sizes = [self.photos[number].size for number in self.looks]
        turns = [t for t in TURNS if not t[3] or all(w == h for w, h in sizes)]
        best, name = max((self._agreement(turn)[0], turn[0]) for turn in turns)
        return name if best > max(stated, 0.0) + _CLEARLY_MORE else None

    def _agreement(self, turn: Turn) -> tuple[float, int]:
        """Correlation of the detail that overlapping photos show, and over how many places."""
        detail = np.full(self.found.photo.shape, np.nan, dtype=np.float32)
        with np.errstate(invalid="ignore"):
            light = np.log(self.light(turn))
        for _, (rank, row, col) in self._places():
            top, left = row.min(), col.min()
            own = np.full((row.max() - top + 1, col.max() - left + 1), np.nan, dtype=np.float32)
            own[row - top, col - left] = light[rank, row, col]
            detail[rank, row, col] = _less_surroundings(own)[row - top, col - left]
        products = np.zeros(3)
        places = 0
        for one, other in combinations(range(KEPT), 2):
            both = np.isfinite(detail[one]) & np.isfinite(detail[other])
            a, b = detail[one][both].astype(np.float64), detail[other][both].astype(np.float64)
            products += (a @ b, a @ a, b @ b)
            places += len(a)
        scale = float(np.sqrt(products[1] * products[2]))
        return (float(products[0]) / scale if scale > 0.0 else 0.0), places

    def _places(self) -> Iterator[tuple[int, tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]]]:
        """Each photo that was looked at, with rank, row and column of the places it is a candidate for."""
        at = np.flatnonzero(self.found.photo.ravel() >= 0)
        if not len(at):
            return
        number = self.found.photo.ravel()[at]
        order = np.argsort(number, kind="stable")
        numbers, start = np.unique(number[order], return_index=True)
        for one, part in zip(numbers, np.split(at[order], start[1:]), strict=True):
            if int(one) in self.looks:
                rank, row, col = np.unravel_index(part, self.found.photo.shape)
                yield int(one), (rank, row, col)

    def _sampled(self, number: int, row: NDArray[np.int64], col: NDArray[np.int64], turn: Turn) -> NDArray[np.float32]:
        import cv2

        photo, look = self.photos[number], self.looks[number]
        x, y = self.grid.centres()
        u, v = photo.project(np.column_stack([x[col], y[row], self.ground.at(x[col], y[row])]))[0].T
        _, flip_columns, flip_rows, exchange = turn
        if exchange:
            u, v = v, u
        u = photo.size[0] - 1.0 - u if flip_columns else u
        v = photo.size[1] - 1.0 - v if flip_rows else v
        small = [((w + 0.5) / look.factor - 0.5).astype(np.float32)[:, None] for w in (u, v)]
        # In rows of bounded length: the library addresses no more than 32767 pixels each way.
        value = np.concatenate(
            [
                cv2.remap(look.tone, a, b, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
                for a, b in zip(_pieces(small[0]), _pieces(small[1]), strict=True)
            ]
        )
        return np.asarray(value[:, 0], dtype=np.float32)


def _pieces(column: NDArray[np.float32]) -> list[NDArray[np.float32]]:
    return [column[start : start + 30_000] for start in range(0, len(column), 30_000)]


def _less_surroundings(value: NDArray[np.float32]) -> NDArray[np.float32]:
    """Each value less the mean of what is known around it."""
    import cv2

    known = np.isfinite(value)
    side = (_DETAIL_CELLS, _DETAIL_CELLS)
    total = cv2.blur(np.where(known, value, np.float32(0.0)), side, borderType=cv2.BORDER_CONSTANT)
    share = cv2.blur(known.astype(np.float32), side, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(value - total / np.maximum(share, 1e-6), dtype=np.float32)
