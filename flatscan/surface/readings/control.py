"""Readings by hand held against a scan: where both saw the floor, how far apart they are, and how far they may be."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.noise.draws import posterior_of
from flatscan.surface.readings.nodes import Nodes
from flatscan.surface.readings.observations import observe

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.sources.hand.field_readings import FieldReadings, Placement, Point
    from flatscan.surface.readings.observations import Observations
    from flatscan.surface.surface import Surface

#: Standard uncertainty of a place set out with a tape, mm (common practice, no source).
PLACE_MM = 20.0
#: A bar tells a bend from three places on.
_LEAST_STATIONS = 3


@dataclass(frozen=True, slots=True, eq=False)
class Control:
    """Readings beside a scan. m readings, k other unknowns (heights and tilts of bars and levels).

    ``apart_mm`` (m,) float64: read less what the scan's estimate says, the other unknowns at zero; ``covariance_mm2``
    (m, m) of reader, instrument, place and of what the scan's estimate still holds of noise, its slow bends left out;
    ``sign`` (m,) +1 where a reading grows as the floor rises, -1 where it falls; ``others`` (m, k) what each of the
    other unknowns does; ``observations`` as read.
    """

    observations: Observations
    apart_mm: NDArray[np.float64]
    covariance_mm2: NDArray[np.float64]
    sign: NDArray[np.float64]
    others: NDArray[np.float64]

    def without(self, number: int) -> Control:
        """The same less one reading."""
        keep = np.arange(len(self.apart_mm)) != number
        o = self.observations
        fewer = replace(
            o,
            design=o.design[keep],
            value_mm=o.value_mm[keep],
            sigma_mm=o.sigma_mm[keep],
            row=o.row[keep],
            number=tuple(n for n, k in zip(o.number, keep, strict=True) if k),
            at_mm=o.at_mm[keep],
            was_read=o.was_read[keep],
        )
        return Control(
            fewer,
            self.apart_mm[keep],
            self.covariance_mm2[np.ix_(keep, keep)],
            self.sign[keep],
            self.others[keep],
        )


def control_of(field: FieldReadings, surface: Surface) -> Control:
    """Hold readings, all of them where the scan saw the floor (:func:`where_both_saw`), against its estimate."""
    index = np.full(surface.seen.shape, -1, dtype=np.int64)
    index[surface.seen] = np.arange(int(surface.seen.sum()))
    nodes = Nodes(surface.seen, index, surface.cell_mm, surface.origin_mm)
    observations = observe(field, nodes)
    floor = observations.design[:, : nodes.count]
    others = np.asarray(observations.design[:, nodes.count :].todense())
    foretold = floor @ surface.estimate_mm[surface.seen].astype(np.float64)
    sign = np.asarray(floor.sum(axis=1)).ravel()
    row, col = _cells(surface, observations.at_mm)
    covariance = np.outer(sign, sign) * _left_covariance(surface, row, col)
    own = observations.sigma_mm**2 + (PLACE_MM * _steepness(surface)[row, col]) ** 2
    return Control(observations, observations.value_mm - foretold, covariance + np.diag(own), sign, others)


def where_both_saw(field: FieldReadings, surface: Surface) -> tuple[FieldReadings, int]:
    """The readings whose places the scan saw, cells around them too, and how many were left out.

    A placement keeps the stations that were seen, three at least; on feet its ends must have been seen as well.
    """
    from scipy.ndimage import binary_erosion

    firm = binary_erosion(surface.seen, np.ones((3, 3), dtype=bool))

    def saw(places: NDArray[np.float64] | list[Point]) -> NDArray[np.bool_]:
        xy = np.asarray(places, dtype=np.float64).reshape(-1, 2)
        row, col = _cells(surface, xy, clip=False)
        within = (row >= 0) & (col >= 0) & (row < firm.shape[0]) & (col < firm.shape[1])
        return np.asarray(within & firm[np.where(within, row, 0), np.where(within, col, 0)])

    placements, left = [], 0
    for placement in field.placements:
        keep = saw(placement.xy_mm(placement.at_mm))
        if placement.rule == "feet" and not saw([placement.start, placement.end]).all():
            keep[:] = False
        if keep.sum() < _LEAST_STATIONS:
            keep[:] = False
        else:
            placements.append(_stations(placement, keep))
        left += int((~keep).sum())
    humps = []
    for hump in field.humps:
        middle = (0.5 * (hump.start[0] + hump.end[0]), 0.5 * (hump.start[1] + hump.end[1]))
        if saw([hump.start, middle, hump.end]).all():
            humps.append(hump)
    levels = [reading for reading, ok in zip(field.levels, saw([r.at for r in field.levels]), strict=True) if ok]
    left += len(field.humps) - len(humps) + len(field.levels) - len(levels)
    return replace(field, placements=tuple(placements), humps=tuple(humps), levels=tuple(levels)), left


def _stations(placement: Placement, keep: NDArray[np.bool_]) -> Placement:
    """Those stations only. That no bar goes below the floor is of no use here, where the scan shows the floor."""
    return replace(
        placement,
        rule="feet" if placement.rule == "feet" else "line",
        at_mm=placement.at_mm[keep],
        gap_mm=placement.gap_mm[keep],
        contact=placement.contact[keep],
        u_mm=placement.u_mm[keep],
    )


def _cells(
    surface: Surface, xy_mm: NDArray[np.float64], *, clip: bool = True
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    col, row = np.floor((xy_mm - surface.origin_mm) / surface.cell_mm).astype(np.int64).T
    if clip:
        rows, cols = surface.seen.shape
        return np.clip(row, 0, rows - 1), np.clip(col, 0, cols - 1)
    return row, col


def _left_covariance(surface: Surface, row: NDArray[np.int64], col: NDArray[np.int64]) -> NDArray[np.float64]:
    """(m, m) mm²: covariance of the estimate's error between cells, slow bends left out.

    In a wave with gain g the filter leaves g times the noise. Where measured heights were brought back by a share k the
    variance is (1 - k²) filtered + k² noise (see ``measures.left_noise``).
    """
    known = posterior_of(surface)
    energy = np.asarray(known.gain * known.noise_mm2, dtype=np.float64)
    lags = _covariance_by_lag(energy)
    between = lags[np.abs(row[:, None] - row), np.abs(col[:, None] - col)]
    filtered = max(float(lags[0, 0]), np.finfo(np.float64).tiny)
    share2 = np.square(known.kept_raw[row, col], dtype=np.float64)
    variance = (1.0 - share2) * filtered + share2 * max(float(np.mean(known.noise_mm2)), filtered)
    size = known.relative[row, col] * np.sqrt(variance / filtered)
    return np.asarray(np.outer(size, size) * between)


def _covariance_by_lag(energy_mm2: NDArray[np.float64]) -> NDArray[np.float64]:
    """(rows, cols) covariance at each lag of the field whose cosine waves have these mean squares: Σ E cos cos / RC."""
    rows, cols = energy_mm2.shape
    along_y = np.fft.fft(energy_mm2, n=2 * rows, axis=0).real[:rows]
    both = np.fft.fft(along_y, n=2 * cols, axis=1).real[:, :cols]
    return np.asarray(both / (rows * cols))


def _steepness(surface: Surface) -> NDArray[np.float64]:
    """(rows, cols) how steep the estimate is against its plane; 0 where a neighbour was not seen."""
    along_y, along_x = np.gradient(surface.estimate_mm.astype(np.float64), surface.cell_mm)
    return np.asarray(np.nan_to_num(np.hypot(along_x, along_y), nan=0.0))
