"""How the samples' noise divides into white and correlated, read from the faces themselves.

On a face there is nothing but a plane, a slight bow and noise, so what is left of the samples there without plane
and bow is noise, lips and joints apart. Its division and range are found by restricted maximum likelihood (Patterson
& Thompson 1971; Harville 1977): the likelihood of what plane and bow cannot touch, so that the fit's own appetite for
slow noise is allowed for. Each ratio of the two and each range is weighed by it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.lips.noise_kernel import tridiagonal, weighed
from flatscan.measures.joints.lips.plane_pair import bows, planes_of, shared_noise

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

#: Variance of the correlated field over that of one sample's white noise.
_RATIOS = (0.0, 0.003, 0.01, 0.03, 0.1, 0.2, 0.35, 0.6, 1.0, 1.8, 3.0, 10.0, 100.0)
#: A frame or two show too few patches of slow noise to tell its size and range well, so what is usual counts as well:
#: log normal about the usual ratio and range, with these spreads (assumption: SENSORS' phones lie within one of them).
_RATIO_SPREAD, _LENGTH_SPREAD = np.log(2.0), np.log(1.4)


@dataclass(frozen=True, slots=True)
class NoiseKind:
    """What to try and what is usual. ``lengths``: ranges tried, in pixels of a depth image or in mm.

    ``usual``: (ratio of the correlated variance to one sample's white one, range), None: any is as likely.
    """

    lengths: tuple[float, ...]
    usual: tuple[float, float] | None


PHONE_NOISE = NoiseKind((3.5, 6.0, 9.0, 11.0, 13.0, 15.0, 17.0, 20.0, 24.0), (1.0, 14.0))
CLOSE_NOISE = NoiseKind((2.0, 2.7, 3.5, 4.5, 6.0, 9.0), (1.0, 3.5))
OTHER_NOISE = NoiseKind((6.0, 12.0, 20.0, 35.0, 60.0), None)

#: Least white noise of a sample: rounding.
LEAST_WHITE_MM = 0.01


@dataclass(frozen=True, slots=True)
class SampleNoise:
    """Of one sample: standard deviations and range; with ``pixel_mm`` 1 the pixels are millimetres.

    ``white_mm``, ``correlated_mm`` per mm of pixel on the floor, ``length_px`` in pixels, where noise goes by
    pixels; else in mm.
    """

    white_mm: float
    correlated_mm: float
    length_px: float


@dataclass(frozen=True, slots=True, eq=False)
class PairCells:
    """Cells either side of one piece seen by one view: see ``cells_kernel.gather``; the first ``left`` lie left."""

    cells: NDArray[np.float64]
    left: int
    size_mm: float
    pixel_mm: float


def fit_noise(pairs: Sequence[PairCells], kind: NoiseKind) -> SampleNoise:
    """Noise of one sample from a handful of pieces, all taken to share it but for the size of their pixels.

    The mean over what is likely, not the likeliest: where little tells, large slow noise must not be passed over.
    """
    tried = list[tuple[float, float, float, float]]()
    for length in kind.lengths if pairs else ():
        rows = [_contrasts(pair, length * pair.pixel_mm) for pair in pairs]
        free = sum(one.shape[1] for one in rows)
        for ratio in _RATIOS:
            logs, squares = np.array([weighed(one, ratio) for one in rows]).sum(axis=0)
            white2 = max(squares / free, LEAST_WHITE_MM**2)
            likelihood = -0.5 * float(logs + free * np.log(white2) + squares / white2)
            tried.append((likelihood + _usual(kind, ratio, length), white2, ratio * white2, length))
    if not tried:
        return SampleNoise(LEAST_WHITE_MM, 0.0, kind.lengths[0])
    log_weight, white, correlated, length_px = np.array(tried).T
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    # A range means something only where there is a field to have it.
    of_length = weight * correlated + 1e-12
    return SampleNoise(
        float(np.sqrt(weight @ white)),
        float(np.sqrt(weight @ correlated)),
        float(of_length @ length_px / of_length.sum()),
    )


def _usual(kind: NoiseKind, ratio: float, length: float) -> float:
    """Log of how likely ratio and range are before anything was seen."""
    if kind.usual is None:
        return 0.0
    off_ratio = np.log(max(ratio, 1e-3) / kind.usual[0]) / _RATIO_SPREAD
    off_length = np.log(length / kind.usual[1]) / _LENGTH_SPREAD
    return float(-0.5 * (off_ratio**2 + off_length**2))


def _contrasts(pair: PairCells, length_mm: float) -> NDArray[np.float64]:
    """Contrasts of the cells' heights, brought to equal white noise, that planes and bow cannot touch."""
    design = np.column_stack([planes_of(pair.cells, pair.left), bows(pair.cells, pair.left)[0]])
    design = design[:, np.any(design != 0.0, axis=0)]
    trust = np.sqrt(pair.cells[:, 3]) / pair.pixel_mm
    design *= trust[:, None]
    field = shared_noise(pair.cells, pair.size_mm, length_mm) * np.outer(trust, trust) * pair.pixel_mm**2
    rows = tridiagonal(design / np.linalg.norm(design, axis=0), field, trust * pair.cells[:, 2])
    return np.asarray(rows, dtype=np.float64)
