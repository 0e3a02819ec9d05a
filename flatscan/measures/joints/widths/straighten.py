"""From the rows of a strip to one profile: rows laid on each other, those that do not belong left out."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from flatscan.constants import SIGMA_PER_MAD

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.joints.widths.start import Band

#: Rows are shifted in groups, for one row alone is noisy.
_GROUPS = 16
#: How far a group may lie from the middle one, mm.
_REACH_MM = 2.0
#: Rows differing from the middle row by more than this many times the usual difference are left out.
_OUTLYING = 3.0
_PASSES = 2
#: Faces beside the joint that take part, mm.
_BESIDE_MM = 3.0


class Profiles(NamedTuple):
    """(k, m) mean profile, (k, parts, m) means of parts of the stretch, (k,) share of rows kept."""

    whole: NDArray[np.float64]
    parts: NDArray[np.float64]
    kept: NDArray[np.float64]


def profiles_of(
    strips: NDArray[np.float32],
    x_mm: NDArray[np.float64],
    along: NDArray[np.float64],
    band: Band,
    *,
    parts: int,
) -> Profiles:
    """Straighten and average strips.

    Parameters
    ----------
    strips : (k, rows, m) tone
    x_mm : (m,) positions across
    along : (rows,) positions along, -1 to 1
    band : where about the joint lies
    parts : into how many parts the stretch is split for the repeats
    """
    near = np.abs(x_mm - band.centre_mm[:, None]) <= band.width_mm[:, None] / 2.0 + _BESIDE_MM
    straight, total = strips, np.zeros(strips.shape[:2])
    for power in range(1, _PASSES + 1):
        total = total + _shifts(straight, x_mm, along, near, power)
        straight = _moved(strips, total / (x_mm[1] - x_mm[0]))
    keep = _belonging(straight, near)
    edges = np.linspace(-1.0, 1.0, parts + 1)[1:-1]
    part = np.digitize(along, edges)
    means = np.stack([_mean(straight, keep, part == index) for index in range(parts)], axis=1)
    return Profiles(_mean(straight, keep, np.ones(len(along), dtype=bool)), means, keep.mean(axis=1))


def _shifts(
    strips: NDArray[np.float32],
    x_mm: NDArray[np.float64],
    along: NDArray[np.float64],
    near: NDArray[np.bool_],
    power: int,
) -> NDArray[np.float64]:
    """(k, rows) mm by which each row lies to the left of the middle one: a polynomial through its groups' shifts."""
    step = float(x_mm[1] - x_mm[0])
    lags = np.arange(-int(_REACH_MM / step) - 1, int(_REACH_MM / step) + 2)
    groups = np.array_split(np.arange(len(along)), min(_GROUPS, len(along)))
    mean = np.stack([strips[:, rows].mean(axis=1) for rows in groups], axis=1)
    rise = np.gradient(_smooth(mean), axis=2)
    middle = np.median(rise, axis=1) if power > 1 else rise[:, len(groups) // 2]
    pad = int(lags[-1])
    wide = np.pad(rise, ((0, 0), (0, 0), (pad, pad)))
    size = len(x_mm)
    wanted = (middle * near).astype(np.float32)
    match = np.stack(
        [np.einsum("km,kgm->kg", wanted, wide[:, :, pad + lag : pad + lag + size]) for lag in lags], axis=2
    )
    peak = np.clip(np.argmax(match, axis=2), 1, len(lags) - 2)
    before, at, after = (np.take_along_axis(match, (peak + d)[..., None], axis=2)[..., 0] for d in (-1, 0, 1))
    bend = before - 2.0 * at + after
    inner = np.where(bend < 0.0, 0.5 * (before - after) / np.where(bend < 0.0, bend, -1.0), 0.0)
    shift = (lags[peak] + np.clip(inner, -1.0, 1.0)) * step
    place = np.array([along[rows].mean() for rows in groups])
    return _polynomial(place, shift, along, power)


def _smooth(rows: NDArray[np.float32]) -> NDArray[np.float32]:
    """Over three samples (1 2 1)."""
    padded = np.pad(rows, ((0, 0), (0, 0), (1, 1)), mode="edge")
    return np.asarray((padded[..., :-2] + 2.0 * padded[..., 1:-1] + padded[..., 2:]) / 4.0, dtype=np.float32)


def _polynomial(
    place: NDArray[np.float64], shift: NDArray[np.float64], along: NDArray[np.float64], power: int
) -> NDArray[np.float64]:
    """Polynomial through each row of ``shift`` that stray values do not bend, taken at ``along``."""
    basis = np.vander(place, power + 1)
    weight = np.ones_like(shift)
    for _ in range(6):
        normal = np.einsum("gp,kg,gq->kpq", basis, weight, basis) + 1e-9 * np.eye(power + 1)
        factors = np.linalg.solve(normal, np.einsum("gp,kg,kg->kp", basis, weight, shift)[..., None])[..., 0]
        off = np.abs(shift - factors @ basis.T)
        scale = SIGMA_PER_MAD * np.median(off, axis=1, keepdims=True) + 1e-3
        weight = 1.0 / (1.0 + (off / (2.0 * scale)) ** 2)
    return np.asarray(factors @ np.vander(along, power + 1).T, dtype=np.float64)


def _moved(strips: NDArray[np.float32], shift: NDArray[np.float64]) -> NDArray[np.float32]:
    """Rows taken ``shift`` (k, rows) samples further on, by linear interpolation: a blur that moves no edge."""
    size = strips.shape[2]
    whole = np.floor(shift).astype(np.int32)
    part = (shift - whole).astype(np.float32)[..., None]
    index = np.arange(size, dtype=np.int32) + whole[..., None]
    here = np.take_along_axis(strips, np.clip(index, 0, size - 1), axis=2)
    there = np.take_along_axis(strips, np.clip(index + 1, 0, size - 1), axis=2)
    return np.asarray(here + part * (there - here), dtype=np.float32)


def _belonging(strips: NDArray[np.float32], near: NDArray[np.bool_]) -> NDArray[np.float64]:
    """(k, rows) 1 for rows that look like the middle row, 0 for stains, chips and crossing joints."""
    middle = np.median(strips, axis=1, keepdims=True)
    off2 = np.einsum("krm,km->kr", (strips - middle) ** 2, near.astype(np.float32))
    off = np.sqrt(off2 / near.sum(axis=1, keepdims=True))
    usual = np.median(off, axis=1, keepdims=True)
    return np.asarray(off <= _OUTLYING * usual, dtype=np.float64)


def _mean(strips: NDArray[np.float32], keep: NDArray[np.float64], of: NDArray[np.bool_]) -> NDArray[np.float64]:
    """(k, m) mean of the kept rows among those ``of`` the part; of all of them where none is kept."""
    used = keep * of
    used = np.where(used.sum(axis=1, keepdims=True) > 0.0, used, of.astype(np.float64))
    used = used / used.sum(axis=1, keepdims=True)
    return np.asarray(np.einsum("krm,kr->km", strips, used.astype(np.float32)), dtype=np.float64)
