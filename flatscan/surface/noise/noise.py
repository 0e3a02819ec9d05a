"""How large and how long-ranged the capture's own noise is, estimated from the capture itself.

Neighbouring points share errors, so a cell's standard deviation over the root of its number of points is only
the white part. Where two groups of views saw the same cells, their difference is noise alone, whatever the floor
is like. With one view, what is left after taking the floor's slow shape away counts as noise, texture included.
What neither can show, a bend of room size, is an assumption by kind of sensor and is marked so.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.constants import MM2_PER_M2, SIGMA_PER_MAD
from flatscan.surface.noise.noise_covariance import (
    NoiseParts,
    RingCovariance,
    detrend,
    fit_detrended,
    fit_direct,
    ring_covariance,
)
from flatscan.surface.surface import NoiseModel

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.sources.scan import ScanKind
    from flatscan.surface.cells.gridding import CellStats

#: Standard uncertainty (mm) of a room-size bend, one view, root mean square over a floor of ``_BEND_AREA_M2`` or more.
#: Assumptions that give gaps in the range of published figures: laser scanners 0.3-0.5 mm under a 2 m edge, phone
#: depth 1-2 mm.
ASSUMED_BEND_MM: dict[ScanKind, float] = {"cloud": 0.3, "depth_frames": 2.0, "mesh": 2.0}
#: A bend is a curvature: on a smaller floor the same one is less high, with the square of the floor's extent. A single
#: depth image bends within its frame, whatever it shows: there the figure stays whole.
_BEND_AREA_M2 = 9.0
#: Share of it that stays when views from several places agree (assumption): what all views have in common.
_COMMON_SHARE = 0.5
#: Width of the mean that stands for the floor's own shape where one view must do.
DETREND_MM = 100.0
_BLOCK_MM = 1000.0
_REACH_MM = 1000.0
#: One view: this share of what looks like correlated noise may be lips and texture. Halfway, and shown by the
#: coverage of the heights of invented floors with and without lips.
_ONE_VIEW_FLOOR_SHARE = 0.3
#: Cells' own scatter that neighbours do not show was taken out of the heights (a smoothed mesh): not all is forgiven.
_LEAST_OF_OWN = 0.25
_LEAST_OVERLAP_CELLS = 400
_CLIP_SIGMAS = 4.0
_LEAST_BLOCK_SHARE = 0.5


def split_views(view_of_point: NDArray[np.integer]) -> NDArray[np.bool_]:
    """(n,) bool: every second of the views present, so that both groups see most of the floor."""
    _, rank = np.unique(view_of_point, return_inverse=True)
    return np.asarray(rank % 2, dtype=np.bool_)


def estimate_noise(
    stats: CellStats,
    *,
    cell_mm: float,
    kind: ScanKind,
    view_stats: Sequence[CellStats] = (),
    step_mm: float = 0.0,
    systematic_mm: float | None = None,
    one_station: bool = False,
) -> NoiseModel:
    """Estimate the noise model of the cells in ``stats``.

    Parameters
    ----------
    stats : all points together, floor cells only (NaN elsewhere), deviations from the reference plane
    view_stats : the same grid from two groups of views (see :func:`split_views`); empty: one view
    step_mm : the coordinates' own step
    systematic_mm : the user's own figure for the room-size bend; None: by kind of sensor
    one_station : the points are single readings from one known place (a scanner on a tripod): what neighbouring cells
        share is then the floor's, for such readings hang together over a few points at most (Kermarrec et al. 2021)
    """
    assumed = ASSUMED_BEND_MM[kind] if systematic_mm is None else systematic_mm
    floor_share = 0.0
    origin = "assumed for this kind of sensor" if systematic_mm is None else "as stated"
    seen = np.isfinite(stats.height_mm)
    if systematic_mm is None and not (kind == "depth_frames" and not view_stats):
        assumed *= min(1.0, float(seen.sum()) * cell_mm**2 / MM2_PER_M2 / _BEND_AREA_M2)
    own = float(np.mean(np.square(stats.white_mm[seen], dtype=np.float64))) if seen.any() else 0.0
    both = (
        seen & np.isfinite(view_stats[0].height_mm) & np.isfinite(view_stats[1].height_mm)
        if len(view_stats) == 2  # noqa: PLR2004
        else np.zeros_like(seen)
    )
    if both.sum() >= _LEAST_OVERLAP_CELLS:
        parts, bend = _from_views(view_stats, both, own, float(both.sum() / seen.sum()), cell_mm)
        if systematic_mm is None:
            assumed = math.hypot(_COMMON_SHARE * assumed, bend)
            origin = f"from their slow disagreement of {said.about(bend)} and half of what is usual for the sensor"
        how = (
            f"from the differences of two groups of views over {said.area(float(both.sum()) * cell_mm**2 / MM2_PER_M2)}"
        )
    else:
        parts, floor_share = _from_one_view(stats, own, cell_mm), _ONE_VIEW_FLOOR_SHARE
        how = "from one view: what is left of the heights without the floor's slow shape, texture included"
        if one_station:
            parts, floor_share = replace(parts, correlated=0.0), 0.0
            how = "from one station: what neighbouring cells do not share"
    how += f"; bend {origin}"
    white2 = parts.white
    if step_mm > 0:
        white2 = max(white2, step_mm**2 / 12.0)
        how += f"; coordinates step by {said.about(step_mm)}"
    return NoiseModel(
        white_mm=math.sqrt(white2),
        correlated_mm=math.sqrt(parts.correlated),
        length_mm=parts.length * cell_mm,
        systematic_mm=assumed,
        how=how,
        floor_share=floor_share,
    )


def calibrated_white(white_mm: NDArray[np.float32], noise: NoiseModel) -> NDArray[np.float32]:
    """``white_mm`` of the cells brought to the size the noise model found (root mean square over seen cells)."""
    square = np.square(white_mm, dtype=np.float64)
    seen = np.isfinite(square)
    mean = float(square[seen].mean()) if seen.any() else 0.0
    if mean == 0.0:
        return np.where(seen, noise.white_mm, np.nan).astype(np.float32)
    return (white_mm * (noise.white_mm / math.sqrt(mean))).astype(np.float32)


def _from_views(
    views: Sequence[CellStats], both: NDArray[np.bool_], own: float, overlap: float, cell_mm: float
) -> tuple[NoiseParts, float]:
    """Noise of the joint heights from the difference of two groups, and the slow part of it as a bend (mm rms).

    With s the first group's share of a cell's readings the joint mean's variance is s² vA + (1-s)² vB. Were readings
    independent, v would go as 1/s and that be s(1-s) of the difference's variance; were they all alike within a
    group, half of s² + (1-s)² of it. Readings of one scan line or frame lie between, and the middle of the two is a
    quarter for every s: half the difference. Cells seen by one group alone have twice it; the mixture is reported.
    """
    a, b = views
    difference = np.where(both, 0.5 * (a.height_mm.astype(np.float64) - b.height_mm), np.nan)
    difference = _clip(difference)
    slow, bend = _slow_part(difference)
    rings = ring_covariance(difference - slow, _reach(difference.shape, cell_mm))
    parts = fit_direct(rings)
    # The cells' own white figure tells how it varies from cell to cell, the views tell how large it truly is: by cell,
    # for a few cells of one or two readings have figures so large that they would make up most of a mean.
    predicted = 0.25 * (np.square(a.white_mm, dtype=np.float64) + np.square(b.white_mm, dtype=np.float64))
    compared = np.isfinite(difference) & (predicted > 0.0)
    ratio = float(np.mean(np.square((difference - slow)[compared]) / predicted[compared])) if compared.any() else 0.0
    white = own * ratio * parts.white / float(rings.covariance[0]) if ratio > 0.0 else parts.white
    mixture = overlap + 2.0 * (1.0 - overlap)
    bend = math.sqrt((bend**2 + parts.rest) * mixture)
    return NoiseParts(white, parts.correlated * mixture, parts.length), bend


def _from_one_view(stats: CellStats, own: float, cell_mm: float) -> NoiseParts:
    """Median over blocks of about a metre of the covariance of detrended heights: lips in some of them do not count."""
    width = max(DETREND_MM / cell_mm, 2.0)
    residual = detrend(_clip_steps(stats.height_mm, width), width)
    block = max(round(_BLOCK_MM / cell_mm), int(6 * width))
    reach = int(3 * width)
    own2 = np.square(stats.white_mm, dtype=np.float64)
    curves: list[RingCovariance] = []
    predicted: list[float] = []
    for row in range(0, residual.shape[0], block):
        for col in range(0, residual.shape[1], block):
            piece = residual[row : row + block, col : col + block]
            seen = np.isfinite(piece)
            if seen.sum() >= _LEAST_BLOCK_SHARE * block * block:
                curves.append(ring_covariance(piece, min(reach, *(side - 1 for side in piece.shape))))
                predicted.append(float(own2[row : row + block, col : col + block][seen].mean()))
    seen = np.isfinite(residual)
    if not curves and seen.sum() >= _LEAST_OVERLAP_CELLS:
        curves = [ring_covariance(residual, min(reach, *(side - 1 for side in residual.shape)))]
        predicted = [float(own2[seen].mean())]
    if not curves:
        return NoiseParts(own, 0.0, 1.0)
    rings = min(len(curve.distance) for curve in curves)
    middle = RingCovariance(
        curves[0].distance[:rings],
        np.median([curve.covariance[:rings] for curve in curves], axis=0),
        np.sum([curve.pairs[:rings] for curve in curves], axis=0),
    )
    parts = fit_detrended(middle, width)
    # What neighbours differ by is seen; a cell's own scatter holds the floor's shape within it too. So the cells'
    # own figure tells how the white part varies over the floor, and the neighbours how large it is.
    usual = float(np.median(predicted))
    white = own * parts.white / usual if usual > 0.0 else parts.white
    return NoiseParts(max(white, _LEAST_OF_OWN**2 * own), parts.correlated, parts.length)


def _clip(field: NDArray[np.float64]) -> NDArray[np.float64]:
    """NaN where the field is beyond any noise: an object moved between views, a joint seen by one of them."""
    centre = np.nanmedian(field)
    sigma = SIGMA_PER_MAD * np.nanmedian(np.abs(field - centre))
    if sigma == 0.0:
        return field
    return np.where(np.abs(field - centre) <= 1.5 * _CLIP_SIGMAS * sigma, field, np.nan)


def _clip_steps(height_mm: NDArray[np.float32], width: float) -> NDArray[np.float64]:
    """Heights without the cells that stand out from their surroundings: joints, lips, crumbs."""
    height = height_mm.astype(np.float64)
    residual = detrend(height, width)
    if not np.isfinite(residual).any():
        return height
    sigma = SIGMA_PER_MAD * np.nanmedian(np.abs(residual))
    return np.where(np.abs(residual) > _CLIP_SIGMAS * sigma, np.nan, height) if sigma > 0 else height


def _slow_part(field: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """Quadratic surface through the field, and its root mean square over the seen cells."""
    seen = np.isfinite(field)
    rows, cols = field.shape
    v, u = np.meshgrid(np.linspace(-1, 1, rows), np.linspace(-1, 1, cols), indexing="ij")
    terms = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=-1)
    chosen = terms[seen]
    solution = np.linalg.lstsq(chosen.T @ chosen, chosen.T @ field[seen], rcond=None)[0]
    surface = terms @ solution
    return surface, float(np.sqrt(np.mean(np.square(surface[seen]))))


def _reach(shape: tuple[int, ...], cell_mm: float) -> int:
    """Distance (cells) up to which the covariance is looked at."""
    return int(max(min(_REACH_MM / cell_mm, 0.4 * min(shape)), 2))
