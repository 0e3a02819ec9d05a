"""The lip of every piece as each view has it, each for itself: no view's height or tilt can then make a lip."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.lips.cells_kernel import gather
from flatscan.measures.joints.lips.noise_fit import (
    CLOSE_NOISE,
    OTHER_NOISE,
    PHONE_NOISE,
    PairCells,
    SampleNoise,
    fit_noise,
)
from flatscan.measures.joints.lips.plane_pair import fit_pair
from flatscan.measures.joints.lips.viewing import BLUR_SIGMAS, pixel_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.measures.joints.lips.regions import Regions
    from flatscan.measures.joints.lips.samples import Samples
    from flatscan.measures.joints.lips.viewing import Viewing
    from flatscan.measures.joints.network import JointPiece
    from flatscan.progress import Progress

#: Standard deviation of the curvatures (1/mm) of the floor's large shape (a wave of 3 mm and 2 m has 1.5e-5) and of a
#: tile against it (a bow of 0.1 mm over 300 mm has 0.9e-5): assumptions; the standards' limits for tiles are wider.
SHARED_BOW, OWN_BOW = 1.5e-5, 0.5e-5
#: A short piece uses its faces a little beyond its ends, up to this length.
_LEAST_LENGTH_MM = 200.0
#: Samples this far from the edge's smoothing and no further tell of a lip: beyond, the tile's bow takes over.
_BAND_MM, _MOST_REACH_MM = 110.0, 200.0
_LEAST_CELL_MM, _CELLS_PER_SIDE = 8.0, 70
_LEAST_CELLS, _LEAST_DEPTH_MM = 6, 10.0
_LEAST_SAMPLES = 8
#: Pieces that the noise is read from.
_PIECES_READ = 24


@dataclass(frozen=True, slots=True, eq=False)
class ViewLips:
    """Rows of (piece, view): what one view says of one piece.

    Attributes
    ----------
    piece, group : (k,) int32
    line : (k, 2) lip at the middle, mm, and slope, mm per mm
    white, correlated, bow : (k, 2, 2) covariances by source; bow is the floor's and so shared by all views
    pixel_mm : (k,) depth pixel on the floor
    noise : of one sample
    extent_mm : (k, 2) from where to where along the piece both sides were seen, from its middle
    """

    piece: NDArray[np.int32]
    group: NDArray[np.int32]
    line: NDArray[np.float64]
    white: NDArray[np.float64]
    correlated: NDArray[np.float64]
    bow: NDArray[np.float64]
    pixel_mm: NDArray[np.float64]
    noise: SampleNoise
    extent_mm: NDArray[np.float64]


def lips_by_view(
    pieces: Sequence[JointPiece],
    regions: Regions,
    samples: Samples,
    viewing: Viewing,
    rng: np.random.Generator,
    progress: Progress,
) -> ViewLips:
    """Measure every piece in every independent view that saw both its faces well enough."""
    seen = samples.count >= _LEAST_SAMPLES
    both = seen[:, regions.beside[:, 0]] & seen[:, regions.beside[:, 1]] & (regions.beside >= 0).all(axis=1)
    piece, group = np.nonzero(both.T)
    first_view = np.searchsorted(viewing.group, np.arange(viewing.groups))
    middles = np.array([np.add(one.start, one.end) / 2.0 for one in pieces])
    pixel = pixel_at(viewing, first_view[group].astype(np.int32), middles[piece])
    gathered = _Gatherer(pieces, regions, samples, viewing)
    noise = _noise(gathered, piece, group, pixel, viewing, rng)
    rows, kept, extent = [], [], []
    for index in progress.track(range(len(piece)), label="measuring lips", total=len(piece)):
        pair = gathered.pair(int(piece[index]), int(group[index]), float(pixel[index]))
        if pair is None:
            continue
        scale = pair.pixel_mm
        rows.append(
            fit_pair(
                pair.cells, pair.left, pair.size_mm, (noise.white_mm * scale) ** 2, (noise.correlated_mm * scale) ** 2,
                noise.length_px * scale, SHARED_BOW**2, OWN_BOW**2,
            )
        )  # fmt: skip
        kept.append(index)
        sides = (pair.cells[: pair.left, 0], pair.cells[pair.left :, 0])
        extent.append((max(s.min() for s in sides), min(s.max() for s in sides)))
    table = np.array(rows).reshape(-1, 15)
    parts = [table[:, [2 + 3 * k, 3 + 3 * k, 3 + 3 * k, 4 + 3 * k]].reshape(-1, 2, 2) for k in range(4)]
    own = table[:, 14][:, None, None]
    return ViewLips(
        piece[kept].astype(np.int32), group[kept].astype(np.int32), table[:, :2], parts[0] * own, parts[1] * own,
        parts[2] + parts[3], pixel[kept], noise, np.array(extent).reshape(-1, 2),
    )  # fmt: skip


class _Gatherer:
    """Cells either side of a piece as one view saw them."""

    def __init__(self, pieces: Sequence[JointPiece], regions: Regions, samples: Samples, viewing: Viewing) -> None:
        self._regions, self._samples = regions, samples
        self._smoothed_px = BLUR_SIGMAS * float(viewing.blur_px.max())
        start = np.array([piece.start for piece in pieces])
        end = np.array([piece.end for piece in pieces])
        self._length = np.linalg.norm(end - start, axis=1)
        self._along = (end - start) / self._length[:, None]
        self._middle = (start + end) / 2.0

    def pair(self, piece: int, group: int, pixel_mm: float) -> PairCells | None:
        """None where either face shows too little for a plane."""
        half = max(float(self._length[piece]), _LEAST_LENGTH_MM) / 2.0
        reach = min(_BAND_MM + self._smoothed_px * pixel_mm, _MOST_REACH_MM)
        size = max(_LEAST_CELL_MM, math.sqrt(2.0 * half * _BAND_MM / _CELLS_PER_SIDE))
        sides = []
        for side, sign in ((0, 1.0), (1, -1.0)):
            region = self._regions.beside[piece, side]
            start, end = self._samples.start[group, region : region + 2]
            (x, y), (ux, uy) = self._middle[piece], self._along[piece]
            cells = gather(self._samples.xyz_mm, start, end, x, y, ux, uy, half, reach, size, sign)
            if len(cells) < _LEAST_CELLS or np.ptp(cells[:, 1]) < _LEAST_DEPTH_MM or np.ptp(cells[:, 0]) < 2 * size:
                return None
            sides.append(cells)
        return PairCells(np.concatenate(sides), len(sides[0]), size, pixel_mm)


def _noise(
    gathered: _Gatherer,
    piece: NDArray[np.int64],
    group: NDArray[np.int64],
    pixel: NDArray[np.float64],
    viewing: Viewing,
    rng: np.random.Generator,
) -> SampleNoise:
    """Noise of one sample, read from a few pieces drawn by chance."""
    pairs = []
    for index in rng.permutation(len(piece)):
        pair = gathered.pair(int(piece[index]), int(group[index]), float(pixel[index]))
        if pair is not None and min(pair.left, len(pair.cells) - pair.left) >= 3 * _LEAST_CELLS:
            pairs.append(pair)
        if len(pairs) == _PIECES_READ:
            break
    if not viewing.by_pixel:
        return fit_noise(pairs, OTHER_NOISE)
    return fit_noise(pairs, CLOSE_NOISE if viewing.close else PHONE_NOISE)
