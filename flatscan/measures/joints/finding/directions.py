"""Which directions straight lines run in: the angular spectrum of the picture's fine detail."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import SIGMA_PER_MAD

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Side of a block, pixels: some joints run through each.
_BLOCK = 512
#: No more blocks than about this are looked at, spread over the picture.
_MOST_BLOCKS = 100
#: What is wider than this is shading.
_SHADING_PX = 4.0
#: Steps of the angular histogram.
_BIN_RAD = math.radians(0.5)
#: Frequencies looked at, cycles per pixel: below lies shading, above the corners of the spectrum.
_BAND = (0.03, 0.45)
#: A peak is this many standard deviations above the other directions.
_PEAK_SIGMAS = 6.0
#: Peaks lower than this share of the highest are left out.
_LEAST_SHARE = 0.08
#: Peaks closer than this are one.
_APART_RAD = math.radians(2.5)
#: Most of a block that may be unseen.
_MOST_UNSEEN = 0.7


def fine_detail(tone: NDArray[np.float32], sigma_px: float) -> NDArray[np.float32]:
    """The picture less its surroundings, clipped at three robust standard deviations; 0 where unseen."""
    import cv2

    seen = np.isfinite(tone)
    weight = seen.astype(np.float32)
    filled = np.where(seen, tone, np.float32(0.0)).astype(np.float32)
    below = cv2.GaussianBlur(weight, (0, 0), sigma_px)
    mean = cv2.GaussianBlur(filled, (0, 0), sigma_px) / np.maximum(below, 1e-6)
    detail = np.where(seen, filled - mean, np.float32(0.0)).astype(np.float32)
    local = cv2.blur(np.abs(detail), (129, 129)) / np.maximum(cv2.blur(weight, (129, 129)), 1e-6)
    usual = float(np.mean(np.abs(detail[seen]))) if seen.any() else 0.0
    if usual == 0.0:
        return np.zeros_like(detail)
    scaled = detail / np.maximum(local, 0.2 * usual)
    return np.asarray(np.clip(scaled, -4.0, 4.0), dtype=np.float32)


def line_directions(tone: NDArray[np.float32], *, most: int = 4) -> list[float]:
    """Directions of straight lines, radians in [0, pi/2), strongest first; lines square to each count with it.

    Parameters
    ----------
    tone : (rows, cols) float32, NaN unseen; pixels of 1 to 4 mm
    most : no more than this many

    Notes
    -----
    Straight lines put their power on the normal through the spectrum's origin. Each block's spectrum is divided by
    its mean at the same frequency, so that what is alike in all directions (gravel, noise) gives 1 everywhere.
    """
    histogram = _angular_power(tone)
    if histogram is None:
        return []
    folded = histogram[: len(histogram) // 2] + histogram[len(histogram) // 2 :]
    return _peaks(folded, most)


def _angular_power(tone: NDArray[np.float32]) -> NDArray[np.float64] | None:
    """Whitened power by direction of the lines, (360,) over [0, pi); None without a block seen."""
    total = np.zeros(round(math.pi / _BIN_RAD))
    blocks = 0
    size = _BLOCK
    window = np.outer(np.hanning(size), np.hanning(size)).astype(np.float32)
    sector, ring, weight = _layout(size)
    counted = np.bincount(sector, weight, len(total))
    places = [(row, col) for row in _starts(tone.shape[0], size) for col in _starts(tone.shape[1], size)]
    inside = _inside(size)
    for row, col in places[:: max(1, len(places) // _MOST_BLOCKS)]:
        part = fine_detail(tone[row : row + size, col : col + size], _SHADING_PX)
        if np.mean(part == 0.0) > _MOST_UNSEEN:
            continue
        block = np.zeros((size, size), np.float32)
        block[: part.shape[0], : part.shape[1]] = part
        power = np.abs(np.fft.fft2(block * window)).ravel()[inside] ** 2
        mean = np.bincount(ring, power) / np.maximum(np.bincount(ring), 1)
        total += np.bincount(sector, weight * power / np.maximum(mean[ring], 1e-12), len(total)) / counted
        blocks += 1
    return total / blocks if blocks else None


def _starts(length: int, size: int) -> list[int]:
    """Starts of blocks that cover a length, half over each other on short ones."""
    if length <= size:
        return [0]
    count = math.ceil((length - size) / size) + 1
    return [round(s) for s in np.linspace(0, length - size, count)]


def _frequencies(size: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    f = np.fft.fftfreq(size)
    return np.meshgrid(f, f)


def _inside(size: int) -> NDArray[np.int64]:
    fx, fy = _frequencies(size)
    radius = np.hypot(fx, fy).ravel()
    return np.flatnonzero((radius > _BAND[0]) & (radius < _BAND[1]))


def _layout(size: int) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Sector (of the line's direction), ring and weight of each frequency within the band."""
    fx, fy = (f.ravel()[_inside(size)] for f in _frequencies(size))
    line = (np.arctan2(fy, fx) + math.pi / 2.0) % math.pi
    radius = np.hypot(fx, fy)
    count = round(math.pi / _BIN_RAD)
    return np.round(line / _BIN_RAD).astype(np.int64) % count, (radius * size).astype(np.int64), radius


def _peaks(folded: NDArray[np.float64], most: int) -> list[float]:
    """Peaks of a histogram over [0, pi/2) that closes on itself."""
    smooth = np.convolve(np.concatenate([folded[-2:], folded, folded[:2]]), np.array([1, 3, 4, 3, 1]) / 12.0, "valid")
    middle = float(np.median(smooth))
    spread = SIGMA_PER_MAD * float(np.median(np.abs(smooth - middle)))
    found: list[tuple[float, float]] = []
    top = float(smooth.max()) - middle
    for index in np.argsort(smooth)[::-1]:
        height = float(smooth[index]) - middle
        if height < max(_PEAK_SIGMAS * spread, _LEAST_SHARE * top):
            break
        before, after = smooth[index - 1], smooth[(index + 1) % len(smooth)]
        if smooth[index] < max(before, after):
            continue
        bend = before - 2.0 * smooth[index] + after
        shift = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
        angle = float((index + shift) * _BIN_RAD % (math.pi / 2.0))
        if all(_apart(angle, other) >= _APART_RAD for other, _ in found):
            found.append((angle, height))
    return [angle for angle, _ in found[:most]]


def _apart(a: float, b: float) -> float:
    """Angle between two directions that repeat after a quarter turn."""
    turn = (a - b) % (math.pi / 2.0)
    return min(turn, math.pi / 2.0 - turn)
