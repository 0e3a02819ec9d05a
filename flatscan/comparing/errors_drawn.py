"""Simulated errors of the difference: what two measurements of one unchanged floor could show."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.comparing.planes import terms
from flatscan.surface.noise.draws import draw_noise

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.comparing.alignment import Alignment
    from flatscan.comparing.datum import Laid
    from flatscan.comparing.overlaid import Overlaid

DRAWS = 400


def raw_errors(
    common: Overlaid, alignment: Alignment, rng: np.random.Generator, draws: int = DRAWS
) -> NDArray[np.float32]:
    """(draws, n) float32: noise of both captures and a wrong pose, mm, in the cells that both saw; no plane taken off.

    A pose that is off by δ shows the slope of the floor times δ.
    """
    if alignment.exact:
        return np.zeros((draws, int(common.both.sum())), dtype=np.float32)
    slope_x, slope_y = _slopes(common)
    x, y = (common.xy_mm - common.xy_mm.mean(axis=0)).T
    off = rng.multivariate_normal(np.zeros(3), alignment.covariance, draws)
    errors = np.empty((draws, len(x)), dtype=np.float32)
    white_rng, rng = rng.spawn(2)
    by_hand = common.before.realisations_mm is not None
    white = common.taken.white_draws(common.white_mm, common.both, 0 if by_hand else draws, white_rng)
    # The grid after lies on whole cells of its own map; the map before was mixed between cells to lie on it.
    slow = common.before if by_hand else replace(common.before, white_mm=np.zeros_like(common.before.white_mm))
    for number, (dx, dy, turn) in enumerate(off):
        noise = draw_noise(common.after, rng)[common.both] - draw_noise(slow, rng)[common.both]
        if not by_hand:
            noise = noise + next(white)
        errors[number] = noise + slope_x * (dx - turn * y) + slope_y * (dy + turn * x)
    return errors


def less_plane(
    errors: NDArray[np.float32], xy_mm: NDArray[np.float64], laid: Laid, rng: np.random.Generator
) -> NDArray[np.float32]:
    """The errors (draws, n) with the plane taken off that they would have put into the datum."""
    fit = laid.fit
    planes = errors[:, laid.used] @ fit.solve.T.astype(np.float32)
    if laid.tilt is not None and fit.from_tilt is not None:
        wrong = laid.tilt.u_mm_per_m * rng.standard_normal((len(errors), 2))
        planes += (wrong @ fit.from_tilt[:, 1:].T).astype(np.float32)
    return np.asarray(errors - planes @ terms(xy_mm, fit.middle_mm).T.astype(np.float32))


def _slopes(common: Overlaid) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Slope of the floor before along x and y, (n,) each; the best estimate's, for noise is no slope."""
    values = common.before.estimate_mm
    if min(values.shape) < 2:  # noqa: PLR2004 - no slope across one line of cells
        none = np.zeros(int(common.both.sum()), dtype=np.float32)
        return none, none
    across, down = (np.gradient(values, common.grid.cell_mm, axis=axis)[common.both] for axis in (1, 0))
    return np.nan_to_num(across), np.nan_to_num(down)
