"""What the page needs to give a laid edge the uncertainty that ``measures/laid_edge`` gives it.

Of a scan: the layer ``sigma`` and the slow bends. With s the share of the way from the first contact to the second at
which the deepest place lies, and the contacts (dx, dy) apart: ``u² = sigma_k² + (1-s)² sigma_i² + s² sigma_j² +
Σ_m (s (1-s) (a_m dx² + b_m dx dy + c_m dy²))²``, sigma of the nearest cells, (a, b, c) the rows of ``bends``.

Of a floor made from readings: its modes. Floors drawn from the readings differ from their mean by Σ modes · independent
unit normals, so ``u² = factor² (Σ_m (-M_m(k) + (1-s) M_m(i) + s M_m(j))² + r_k² + (1-s)² r_i² + s² r_j²)`` with M_m the
layers ``modes.layers``, read between cells as heights are, and r the layer ``modes.rest`` at the nearest cells: what
modes that were left out for size would add, each cell by itself. ``factor`` allows for the number of floors drawn.

No gap (0): u is that of one height at the place, times the root of 1.5.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.measures.laid_edge import BRIDGE_MM
from flatscan.measures.realised import further_draw
from flatscan.report.viewer.layer import Layer, pack

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.surface_chord import SurfaceChord
    from flatscan.surface.surface import Surface

#: Numbers of all modes together: about two megabytes of page. What is left out makes u larger or about the same.
_MOST_NUMBERS = 2_000_000
#: Finest and coarsest step of a mode, and steps over its range: larger modes are rarer and are given 16 bits.
_MODE_STEP_MM, _COARSE_MM, _STEPS = 0.002, 0.004, 240


def doubt_of_edge(floor: SurfaceChord) -> tuple[dict[str, Any], list[Layer]]:
    """The entry ``edge`` of the page's data without its rules, and the layers it names besides ``sigma``."""
    surface = floor.surface
    edge: dict[str, Any] = {"bridge_mm": BRIDGE_MM, "sigma": "sigma", "bends": floor.bends.tolist(), "modes": None}
    if surface.realisations_mm is None:
        return edge, []
    modes, rest = floor_modes(surface.realisations_mm, surface.seen)
    layers = [_mode_layer(mode, f"mode_{k}", surface.cell_mm) for k, mode in enumerate(modes, start=1)]
    names = [layer.name for layer in layers]
    if rest is not None:
        layers.append(_mode_layer(rest, "mode_rest", surface.cell_mm))
    draws = len(surface.realisations_mm)
    edge["modes"] = {
        "factor": further_draw(0.0, 1.0, draws).u,
        "layers": names,
        "rest": None if rest is None else "mode_rest",
    }
    return edge, layers


def floor_modes(
    floors_mm: NDArray[np.float32], seen: NDArray[np.bool_]
) -> tuple[list[NDArray[np.float64]], NDArray[np.float64] | None]:
    """Modes (rows, cols) whose products add up to the covariance over the floors, the largest first.

    Parameters
    ----------
    floors_mm : (draws, rows, cols), NaN where not ``seen``

    Returns
    -------
    modes, rest : as many as the page can carry, and the standard deviation of what the others would add; None: nothing
    """
    deviation = floors_mm[:, seen].astype(np.float64)
    deviation -= deviation.mean(axis=0)
    deviation /= math.sqrt(len(floors_mm) - 1)
    # Turning the draws among themselves changes no covariance.
    values, turn = np.linalg.eigh(deviation @ deviation.T)
    turned = turn[:, ::-1].T @ deviation
    # The mean took one away; rounding leaves it as almost nothing.
    count = int(np.count_nonzero(values > values[-1] * 1e-9))
    kept = min(count, max(1, _MOST_NUMBERS // max(1, seen.size)))
    left = np.sqrt(np.square(turned[kept:count]).sum(axis=0))
    return [_grid(mode, seen) for mode in turned[:kept]], None if kept == count else _grid(left, seen)


def sigma_of(floor: SurfaceChord) -> NDArray[np.float32]:
    """(rows, cols) float32: standard uncertainty of a height, slow bends apart; NaN where not seen."""
    surface: Surface = floor.surface
    if surface.realisations_mm is not None:
        return np.where(surface.seen, surface.realisations_mm.std(axis=0, ddof=1), np.nan).astype(np.float32)
    if floor.left is None:
        return np.where(surface.seen, 0.0, np.nan).astype(np.float32)
    return floor.left.sigma_mm


def _mode_layer(mode: NDArray[np.float64], name: str, cell_mm: float) -> Layer:
    seen = mode[np.isfinite(mode)]
    step = max(_MODE_STEP_MM, float(np.ptp(seen)) / _STEPS) if seen.size else _MODE_STEP_MM
    if step > _COARSE_MM:
        step = _MODE_STEP_MM
    return pack(mode, name=name, title="", cell_mm=cell_mm, scale=step)


def _grid(values: NDArray[np.float64], seen: NDArray[np.bool_]) -> NDArray[np.float64]:
    grid = np.full(seen.shape, np.nan)
    grid[seen] = values
    return grid
