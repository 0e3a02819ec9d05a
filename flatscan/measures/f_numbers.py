"""F-numbers of a surface: per line, overall, with a bootstrap interval over the lines."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM_PER_M
from flatscan.measures.f_formula import (
    LEAST_READINGS,
    NOTES,
    combine,
    f_number,
    ff_constant_mm,
    fl_constant_mm,
    profile_q_z,
)
from flatscan.measures.lines import ReadingLine, lay_out_lines
from flatscan.measures.measurement import FNumbers, ProfileLine
from flatscan.quantity import Quantity
from flatscan.surface.noise.draws import draw_truth, posterior_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.surface.noise.denoise import Posterior
    from flatscan.surface.surface import Surface

BOOTSTRAPS = 1000
INTERVAL = (0.025, 0.975)
NOISE_DRAWS = 20
NO_GRAVITY = "No FL: the capture does not know which way gravity points"


def f_numbers(lines: Sequence[NDArray[np.floating]], step_mm: float) -> tuple[list[float], list[float], float, float]:
    """FF and FL per line and over all lines.

    Parameters
    ----------
    lines : elevations along each line, mm; FL means something only for elevations against gravity
    step_mm : distance between readings

    Returns
    -------
    ff, fl : per line; FL is NaN for a line with fewer than two differences over ten steps
    overall_ff, overall_fl : combined by (r1 + r2)/F² = r1/F1² + r2/F2², r readings of q or z
    """
    ff, fl, q_counts, z_counts = [], [], [], []
    for h in lines:
        q, z = profile_q_z(h)
        ff.append(f_number(q, ff_constant_mm(step_mm)))
        fl.append(f_number(z, fl_constant_mm(step_mm)))
        q_counts.append(len(q))
        z_counts.append(len(z))
    return ff, fl, overall(q_counts, ff), overall(z_counts, fl)


def measure_f_numbers(
    surface: Surface, *, rng: np.random.Generator, given: Sequence[ReadingLine] = ()
) -> FNumbers | None:
    """FF and FL on the ``given`` lines, or on those that fit the floor; None where none does.

    None too for a surface made from hand readings: it is smooth between them, so that its lines would read too flat.

    Elevations are those of the smoothed heights: single cells' noise would be taken for curvature. FL is
    measured against gravity, so the fall of the reference plane is added, and only where it is known.
    """
    if surface.realisations_mm is not None:
        return None
    laid = [line for line in given or lay_out_lines(surface) if len(line.row) >= LEAST_READINGS]
    if not laid:
        return None
    step = laid[0].step_mm
    level = _plane_mm(surface)
    elevations = [_read(surface.estimate_mm + level, line) for line in laid]
    ff, fl, overall_ff, overall_fl = f_numbers(elevations, step)
    known_heights = posterior_of(surface)
    noise = np.array([_figures(surface, level, laid, known_heights, rng) for _ in range(NOISE_DRAWS)])
    u_ff, u_fl = _spread(noise[:, 0]), _spread(noise[:, 1])
    known = surface.slope is not None
    return FNumbers(
        lines=tuple(
            ProfileLine(
                start=surface.xy_mm(line.row[0], line.col[0]),
                end=surface.xy_mm(line.row[-1], line.col[-1]),
                step_mm=step,
                readings=len(line.row),
                ff=_quantity(ff[k], u_ff[k]),
                fl=_quantity(fl[k], u_fl[k]) if known else None,
            )
            for k, line in enumerate(laid)
        ),
        ff=_quantity(overall_ff, u_ff[-1]),
        fl=_quantity(overall_fl, u_fl[-1]) if known else None,
        ff_interval=bootstrap([len(h) - 2 for h in elevations], ff, rng),
        fl_interval=bootstrap([max(0, len(h) - 10) for h in elevations], fl, rng) if known else None,
        notes=NOTES if known else (*NOTES, NO_GRAVITY),
    )


def bootstrap(
    readings: Sequence[int], numbers: Sequence[float], rng: np.random.Generator
) -> tuple[float, float] | None:
    """95 % interval of the combined figure, resampling whole lines; None with fewer than two of them."""
    usable = [k for k, f in enumerate(numbers) if math.isfinite(f)]
    if len(usable) < 2:  # noqa: PLR2004 - one line cannot be resampled
        return None
    r = np.array([readings[k] for k in usable], dtype=np.float64)
    share = r / np.square([numbers[k] for k in usable])
    picked = rng.integers(0, len(usable), size=(BOOTSTRAPS, len(usable)))
    low, high = np.quantile(np.sqrt(r[picked].sum(axis=1) / share[picked].sum(axis=1)), INTERVAL)
    return float(low), float(high)


def overall(readings: Sequence[int], numbers: Sequence[float]) -> float:
    """One figure for several lines, from how many readings each has; NaN where no line has one."""
    usable = [(r, f) for r, f in zip(readings, numbers, strict=True) if not math.isnan(f)]
    return combine([r for r, _ in usable], [f for _, f in usable]) if usable else math.nan


def _plane_mm(surface: Surface) -> NDArray[np.float64]:
    """Height of the reference plane against gravity over the grid; 0 where gravity is not known."""
    rows, cols = surface.height_mm.shape
    if surface.slope is None:
        return np.zeros((rows, cols))
    fall = surface.slope.fall.value / MM_PER_M * surface.cell_mm
    right, up = math.cos(surface.slope.direction_rad), math.sin(surface.slope.direction_rad)
    return -fall * (right * np.arange(cols)[None, :] + up * np.arange(rows)[:, None])


def _read(height_mm: NDArray[np.floating], line: ReadingLine) -> NDArray[np.float64]:
    """Elevations on a line, between cells where they fall; the nearest cell where a neighbour was not seen."""
    from scipy.ndimage import map_coordinates

    at = np.stack([line.row, line.col])
    between = map_coordinates(height_mm, at, order=1, mode="nearest", output=np.float64)
    nearest = height_mm[np.rint(line.row).astype(np.int64), np.rint(line.col).astype(np.int64)]
    return np.where(np.isfinite(between), between, nearest)


def _figures(
    surface: Surface,
    level: NDArray[np.float64],
    laid: Sequence[ReadingLine],
    known: Posterior,
    rng: np.random.Generator,
) -> tuple[list[float], list[float]]:
    """FF and FL per line, then overall, of one floor that the capture allows."""
    heights = draw_truth(surface, rng, known) + level
    ff, fl, overall_ff, overall_fl = f_numbers([_read(heights, line) for line in laid], laid[0].step_mm)
    return [*ff, overall_ff], [*fl, overall_fl]


def _spread(figures: NDArray[np.float64]) -> NDArray[np.float64]:
    finite = np.where(np.isfinite(figures), figures, np.nan)
    few = np.isfinite(finite).sum(axis=0) < 2  # noqa: PLR2004
    finite[:, few] = 0.0
    return np.asarray(np.nanstd(finite, axis=0, ddof=1))


def _quantity(value: float, u: float) -> Quantity | None:
    return Quantity(value, float(u), "1") if math.isfinite(value) else None
