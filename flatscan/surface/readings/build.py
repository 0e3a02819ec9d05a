"""A floor's surface from readings taken by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.caveats import caveat
from flatscan.constants import MM_PER_M
from flatscan.errors import InputError
from flatscan.progress import SILENT
from flatscan.quantity import Quantity
from flatscan.surface.finding import frame
from flatscan.surface.planes import Plane, fit_least_squares
from flatscan.surface.readings.fit import ReadingsFit
from flatscan.surface.readings.floor_prior import likely_floors
from flatscan.surface.readings.modes import bend_caveats, long_modes
from flatscan.surface.readings.nodes import lay_nodes
from flatscan.surface.readings.observations import observe
from flatscan.surface.readings.outliers import standing_out
from flatscan.surface.readings.posterior import solve, without_plane
from flatscan.surface.readings.prior import thin_plate
from flatscan.surface.readings.reach import hull_mm, reach_mm
from flatscan.surface.readings.spacing import SMALLEST_WAVE, typical_spacing_mm
from flatscan.surface.surface import NoiseModel, Slope, Surface

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.progress import Progress
    from flatscan.settings import SurfaceSettings
    from flatscan.sources.hand.field_readings import FieldReadings
    from flatscan.surface.readings.fit import LongMode
    from flatscan.surface.readings.nodes import Nodes
    from flatscan.surface.readings.observations import Observations
    from flatscan.surface.readings.posterior import Posterior

#: A floor has a height, two slopes and a bend: fewer places tell nothing of it.
_LEAST_PLACES = 4
#: Places this near to one line (root mean square) are a line.
_LINE_MM = 50.0


def surface_from_readings(
    field: FieldReadings,
    settings: SurfaceSettings,
    *,
    rng: np.random.Generator,
    progress: Progress = SILENT,
) -> Surface:
    """Heights that agree with everything read, how far they may be off, and floors that are as likely as the next.

    The frame is the table's own: x and y as they were written down, z up from the floor's least-squares plane. Nothing
    on the floor is a hole: where nothing was read the uncertainty says so.
    """
    outline = _outline(field)
    nodes = lay_nodes(outline, cell_mm=settings.cell_mm)
    observed, plate = observe(field, nodes), thin_plate(nodes, field.steps)
    observations, priors = likely_floors(observed, nodes, field.steps)
    posterior = solve(observations, priors, nodes, draws=settings.realisations, rng=rng, progress=progress)
    heights = posterior.mean_mm[: nodes.count]
    plane = fit_least_squares(nodes.xy_mm[:, 0], nodes.xy_mm[:, 1], heights).plane
    spacing_mm = typical_spacing_mm(field, nodes.count * nodes.spacing_mm**2)
    modes = long_modes(nodes, observed, plate, kappa=posterior.kappa)
    flat = _on_grid(without_plane(heights, nodes), nodes)
    sd = _on_grid(posterior.sd_mm, nodes)
    draws = np.stack([_on_grid(one, nodes) for one in without_plane(posterior.draws_mm, nodes)])
    return Surface(
        height_mm=flat,
        estimate_mm=flat.copy(),
        white_mm=sd,
        count=_count(observations, nodes),
        inside=nodes.inside.copy(),
        cell_mm=nodes.spacing_mm,
        origin_mm=nodes.origin_mm,
        floor_from_scan=frame.lay_on(plane.a, plane.b, plane.c),
        outline=(outline,),
        noise=NoiseModel(
            white_mm=0.0,
            correlated_mm=float(np.sqrt(np.mean(posterior.sd_mm**2))),
            length_mm=spacing_mm,
            systematic_mm=0.0,
            how=f"posterior of {int(observations.was_read.sum())} readings, some {said.tape(spacing_mm)} apart",
        ),
        slope=_slope(field, nodes, posterior, plane),
        kind="readings",
        realisations_mm=draws,
        fit=_fit(observations, posterior, SMALLEST_WAVE * spacing_mm, modes),
        inferences=field.inferences,
        caveats=(
            *field.caveats,
            *_doubts(field, spacing_mm),
            *standing_out(observations, posterior.prior, posterior.kappa),
            *bend_caveats(modes),
        ),
    )


def _name(field: FieldReadings) -> str:
    return ", ".join(str(item.path) for item in field.inputs[:3]) or "readings"


def _outline(field: FieldReadings) -> NDArray[np.float64]:
    """(k, 2) the room, closed: as stated, or as far as anything was read, ends of bars too."""
    places = _places_mm(field)
    if not field.shows_shape:
        raise InputError(
            _name(field),
            "no row tells of the floor's heights",
            "Add straightedge, hump, staff or height rows: joints and lips alone make no surface",
        )
    if len(places) < _LEAST_PLACES:
        raise InputError(
            _name(field), f"heights were read at {len(places)} places", f"A floor takes at least {_LEAST_PLACES}"
        )
    spread = np.linalg.svd(places - places.mean(axis=0), compute_uv=False) / np.sqrt(len(places))
    if spread[1] < _LINE_MM:
        raise InputError(
            _name(field),
            f"everything was read on one line, within {said.thickness(float(spread[1]), 0)}",
            "A floor needs readings beside that line too",
        )
    if field.outline is not None:
        ring = np.asarray(field.outline, dtype=np.float64)
        return ring if np.array_equal(ring[0], ring[-1]) else np.vstack([ring, ring[:1]])
    return hull_mm(places) if field.placements or field.humps else reach_mm(places)


def _places_mm(field: FieldReadings) -> NDArray[np.float64]:
    """(m, 2) every place that heights were read at, ends of bars too, each once."""
    points = [p.start for p in field.placements] + [p.end for p in field.placements]
    points += [h.start for h in field.humps] + [h.end for h in field.humps] + [r.at for r in field.levels]
    stations = [p.xy_mm(p.at_mm) for p in field.placements]
    places = np.concatenate([np.array(points, dtype=np.float64).reshape(-1, 2), *stations])
    return np.unique(np.round(places, 1), axis=0)


def _on_grid(values: NDArray[np.float64], nodes: Nodes) -> NDArray[np.float32]:
    grid = np.full(nodes.inside.shape, np.nan, dtype=np.float32)
    grid[nodes.inside] = values
    return grid


def _count(observations: Observations, nodes: Nodes) -> NDArray[np.int32]:
    """(rows, cols) readings taken within each cell; those at a wall belong to the nearest cell."""
    rows, cols = nodes.inside.shape
    place = (observations.at_mm[observations.was_read] - nodes.origin_mm) / nodes.spacing_mm
    col, row = np.floor(place).astype(np.int64).T
    count = np.zeros((rows, cols), dtype=np.int32)
    np.add.at(count, (np.clip(row, 0, rows - 1), np.clip(col, 0, cols - 1)), 1)
    return count


def _fit(
    observations: Observations, posterior: Posterior, smallest_wave_mm: float, modes: tuple[LongMode, ...]
) -> ReadingsFit:
    read = observations.was_read
    return ReadingsFit(
        row=observations.row[read],
        number=tuple(n for n, was_read in zip(observations.number, read, strict=True) if was_read),
        at_mm=observations.at_mm[read],
        read_mm=observations.value_mm[read],
        fitted_mm=(observations.design @ posterior.mean_mm)[read],
        u_mm=observations.sigma_mm[read],
        smoothness=posterior.kappa,
        smallest_wave_mm=smallest_wave_mm,
        modes=modes,
    )


def _slope(field: FieldReadings, nodes: Nodes, posterior: Posterior, plane: Plane) -> Slope | None:
    """Fall of the plane against gravity, where a level's readings tell it. The instrument's tilt is in the draws."""
    at = np.array([reading.at for reading in field.levels], dtype=np.float64).reshape(-1, 2)
    if not field.gravity or len(at) < 3:  # noqa: PLR2004 - a plane takes three
        return None
    if np.linalg.svd(at - at.mean(axis=0), compute_uv=False)[1] / np.sqrt(len(at)) < _LINE_MM:
        return None
    xy = nodes.xy_mm - nodes.xy_mm.mean(axis=0)
    drawn = np.linalg.lstsq(xy, posterior.draws_mm.T, rcond=None)[0]
    direction = float(np.arctan2(-plane.b, -plane.a))
    scatter = np.std(drawn.T @ [np.cos(direction), np.sin(direction)], ddof=1)
    fall = MM_PER_M * float(np.hypot(plane.a, plane.b))
    return Slope(Quantity.from_budget(fall, "mm/m", readings=MM_PER_M * float(scatter)), direction)


def _doubts(field: FieldReadings, spacing_mm: float) -> tuple[Caveat, ...]:
    wave_m = SMALLEST_WAVE * spacing_mm / MM_PER_M
    rows = [caveat("readings_spacing", spacing_m=spacing_mm / MM_PER_M, wave_m=wave_m)]
    if not field.gravity or not field.levels:
        rows.append(caveat("slope_not_read"))
    return tuple(rows)
