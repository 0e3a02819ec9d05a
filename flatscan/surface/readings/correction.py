"""A scan and readings by hand of one floor: the readings correct the scan's slow bends.

A scan shows every bump but may bend the whole room by a millimetre or more; a bar shows the bend beneath it to a tenth.
Their differences, where both saw the floor, tell the scan's slow error, which is taken off; what is left of its doubt
takes the place of the stated one.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.caveats import caveat
from flatscan.constants import MM_PER_M
from flatscan.errors import InputError
from flatscan.quantity import Quantity
from flatscan.surface.planes import fit_least_squares
from flatscan.surface.readings.control import control_of, where_both_saw
from flatscan.surface.readings.fit import ReadingsFit
from flatscan.surface.readings.long_bends import POWERS, long_fields
from flatscan.surface.readings.modes import modes_of
from flatscan.surface.readings.posterior import without_plane
from flatscan.surface.readings.slow_error import QUADRATIC, SIZES, slow_error, slow_prior
from flatscan.surface.readings.spacing import SMALLEST_WAVE, typical_spacing_mm
from flatscan.surface.surface import Slope

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.settings import SurfaceSettings
    from flatscan.sources.hand.field_readings import FieldReadings
    from flatscan.surface.planes import Plane
    from flatscan.surface.readings.control import Control
    from flatscan.surface.readings.fit import LongMode
    from flatscan.surface.readings.slow_error import SlowError, SlowPrior
    from flatscan.surface.surface import Surface

#: A reading further than this many standard uncertainties from what scan and other readings foretell contradicts them:
#: among 500 sound ones it happens once in 30 floors.
_CONTRADICTS = 4.0
#: Up to this share of the readings (two at least) may be slips; more, and readings and scan do not belong together.
_MOST_SLIPS = 0.05
#: Readings that scatter about the scan more than this many times as much as both allow (chi-square over its degrees of
#: freedom) contradict it as a whole: each is then twice as far off as it should be.
_MOST_SCATTER = 4.0
#: Less often than this would chance scatter them so.
_BY_CHANCE = 1e-3
_NAMED = 5
_FLAT_PLACES = 3


def corrected_by(
    surface: Surface, field: FieldReadings, settings: SurfaceSettings, *, rng: np.random.Generator
) -> Surface:
    """The scan's surface with its slow error taken off, as placements, humps and levels of the same floor tell it.

    Readings and scan share the floor frame. Readings where the scan saw no floor are left out and counted. A reading
    that scan and all other readings contradict by more than four standard uncertainties is left out and named. Where
    more than one in twenty does, or all together scatter twice as far as both allow, nobody can say which is wrong:
    the scan is left as it is, its slow error's doubt is raised to what they differ by, and a caveat says so.

    The correction is freed of its plane: the frame and the reference plane stay. A plane that levels tell is the
    floor's slope, and becomes :attr:`Surface.slope` where it is better known than before.

    Parameters
    ----------
    settings : a ``systematic_mm`` stated there is taken at its word; else the readings may show that the scan's slow
        error is 2, 4 or 8 times as large as is usual for its kind, and ``fit.systematic_mm`` starts from that
    rng : picks the places of the floor over which root mean squares are taken

    Raises
    ------
    InputError : the scan saw no floor at any of the readings
    """
    if not field.shows_shape or surface.realisations_mm is not None:
        return surface
    usable, left_out = where_both_saw(field, surface)
    if not usable.shows_shape:
        raise InputError(
            ", ".join(str(item.path) for item in field.inputs[:3]) or "readings",
            "the scan saw no floor where the heights were read",
            "Give x and y of the readings from the corner and along the walls that the scan's map shows",
        )
    prior = slow_prior(surface, rng)
    sizes = SIZES if settings.systematic_mm is None else SIZES[:1]
    control, slips = _without_slips(control_of(usable, surface), prior, sizes)
    error = slow_error(control, prior, sizes=sizes)
    scatter = error.chi_square(control) / max(1, error.freedom)
    if left_out:
        told = f"{left_out} of the readings by hand lie where the scan saw no floor; they did not correct it"
        surface = replace(surface, inferences=(*surface.inferences, told))
    if len(slips) > max(2, int(_MOST_SLIPS * len(control.apart_mm))) or _contradicts(scatter, error.freedom):
        return _contradicted(surface, usable, control_of(usable, surface), prior)
    if scatter > 1.0:
        # Readings that scatter a little more than stated are trusted less (Birge 1932, from memory).
        error = slow_error(control, prior, sizes=(error.grown,), scale=scatter)
    return _corrected(surface, usable, control, prior, error, slips)


def _without_slips(control: Control, prior: SlowPrior, sizes: tuple[float, ...]) -> tuple[Control, list[str]]:
    """The readings less those that all others and the scan contradict, the worst first; and the names of those."""
    slips: list[str] = []
    most = max(2, int(_MOST_SLIPS * len(control.apart_mm)))
    while len(slips) <= most:
        misfit = np.where(control.observations.was_read, slow_error(control, prior, sizes=sizes).misfit(control), 0.0)
        worst = int(np.argmax(np.abs(misfit)))
        if abs(misfit[worst]) <= _CONTRADICTS:
            break
        slips.append(_name(control, worst))
        control = control.without(worst)
    return control, slips


def _contradicts(scatter: float, freedom: int) -> bool:
    from scipy.special import chdtrc

    return scatter > _MOST_SCATTER and float(chdtrc(freedom, scatter * freedom)) < _BY_CHANCE


def _contradicted(surface: Surface, field: FieldReadings, control: Control, prior: SlowPrior) -> Surface:
    """The scan as it is, in as much doubt as the readings throw on it."""
    error = slow_error(control, prior, sizes=SIZES[:1])
    misfit = np.abs(error.misfit(control))
    names = dict.fromkeys(_name(control, int(i)) for i in np.argsort(-misfit)[: 4 * _NAMED])
    apart = control.apart_mm - error.free @ np.linalg.lstsq(error.free, control.apart_mm, rcond=None)[0]
    before = surface.noise.systematic_mm
    excess = float(np.sum(apart**2)) / max(1, error.freedom) - float(np.mean(np.diag(control.covariance_mm2)))
    after = max(before, float(np.sqrt(max(0.0, excess))))
    doubt = caveat(
        "readings_contradict_scan",
        numbers=", ".join(list(names)[:_NAMED]),
        how=f"all together they differ by {said.thickness(float(np.sqrt(np.mean(apart**2))))}, more than both allow",
        done=f"the scan was not corrected, and slow bends of {said.thickness(after)} are counted in its doubt",
    )
    how = f"{surface.noise.how}; readings by hand contradict the scan, so its slow bends may be what they differ by"
    return replace(
        surface,
        noise=replace(surface.noise, systematic_mm=after, how=how),
        fit=_fit(surface, field, control, prior, error, (before, after), control.observations.value_mm - apart),
        caveats=(*surface.caveats, doubt),
    )


def _corrected(
    surface: Surface, field: FieldReadings, control: Control, prior: SlowPrior, error: SlowError, slips: list[str]
) -> Surface:
    shift, plane = _over_cells(surface, prior, error.mean_mm)
    before = error.grown * surface.noise.systematic_mm
    after = min(before, prior.size_mm(error.covariance))
    readings = int(control.observations.was_read.sum())
    stated = surface.noise.systematic_mm
    larger = "" if error.grown == 1.0 else f" ({said.thickness(stated)} as stated; the readings show it to be more)"
    told = (
        f"{readings} readings corrected the scan's slow bends: systematic u {said.thickness(before)} before{larger}, "
        f"{said.thickness(after)} after"
    )
    how = f"{surface.noise.how}; slow bends taken off by {readings} readings by hand, {said.about(after)} left"
    noise_part = control.covariance_mm2 @ error.precision @ control.apart_mm
    doubts = () if not slips else (_slips_caveat(slips),)
    return replace(
        surface,
        height_mm=surface.height_mm + shift,
        estimate_mm=surface.estimate_mm + shift,
        noise=replace(surface.noise, systematic_mm=after, how=how),
        slope=_slope(surface, field, error, control, plane),
        fit=_fit(surface, field, control, prior, error, (before, after), control.observations.value_mm - noise_part),
        inferences=(*surface.inferences, told),
        caveats=(*surface.caveats, *doubts),
    )


def _slips_caveat(slips: list[str]) -> Caveat:
    return caveat(
        "readings_contradict_scan",
        numbers=", ".join(dict.fromkeys(slips)),
        how="the scan and all other readings agree, these do not",
        done="they were left out of the scan's correction",
    )


def _name(control: Control, reading: int) -> str:
    number, row = control.observations.number[reading], control.observations.row[reading]
    return f"{number} (line {row})" if number else f"line {row}"


def _over_cells(surface: Surface, prior: SlowPrior, slow_mm: NDArray[np.float64]) -> tuple[NDArray[np.float32], Plane]:
    """(rows, cols) float32 the slow field on the surface's cells less its plane over the cells seen, and that plane."""
    row, col = np.nonzero(surface.seen)
    xy = np.column_stack([col + 0.5, row + 0.5]) * surface.cell_mm + surface.origin_mm
    values = prior.nodes.weights(np.asarray(xy, dtype=np.float64)) @ slow_mm
    plane = fit_least_squares(xy[:, 0], xy[:, 1], values).plane
    shift = np.zeros(surface.seen.shape, dtype=np.float32)
    shift[surface.seen] = plane.vertical_mm(xy[:, 0], xy[:, 1], values)
    return shift, plane


def _slope(surface: Surface, field: FieldReadings, error: SlowError, control: Control, plane: Plane) -> Slope | None:
    """Fall of the floor's plane as the levels tell it, where they know it better than the scan does.

    The scan's heights are about the floor's own plane, so the plane in the differences is the floor's fall; it is
    fitted by generalised least squares, slow error and tilt of the instrument in the weights. ``plane``: what the slow
    error itself has of one over the floor.
    """
    if not field.gravity or len(field.levels) < _FLAT_PLACES:
        return surface.slope
    found = error.plane_of(control)
    if found is None:
        return surface.slope
    (a, b), covariance = (found[0][0] + plane.a, found[0][1] + plane.b), found[1]
    direction = float(np.arctan2(-b, -a))
    along = np.array([np.cos(direction), np.sin(direction)])
    u = MM_PER_M * float(np.sqrt(along @ covariance @ along))
    if surface.slope is not None and surface.slope.fall.u <= u:
        return surface.slope
    return Slope(Quantity.from_budget(MM_PER_M * float(np.hypot(a, b)), "mm/m", readings=u), direction)


def _fit(
    surface: Surface,
    field: FieldReadings,
    control: Control,
    prior: SlowPrior,
    error: SlowError,
    systematic_mm: tuple[float, float],
    fitted_mm: NDArray[np.float64],
) -> ReadingsFit:
    seen = control.observations
    read = seen.was_read
    return ReadingsFit(
        row=seen.row[read],
        number=tuple(n for n, was_read in zip(seen.number, read, strict=True) if was_read),
        at_mm=seen.at_mm[read],
        read_mm=seen.value_mm[read],
        fitted_mm=fitted_mm[read],
        u_mm=np.sqrt(np.diag(control.covariance_mm2))[read],
        smoothness=prior.kappa * error.grown,
        smallest_wave_mm=SMALLEST_WAVE * typical_spacing_mm(field, surface.area_m2 * MM_PER_M**2),
        modes=_modes(prior, error),
        systematic_mm=systematic_mm,
    )


def _modes(prior: SlowPrior, error: SlowError) -> tuple[LongMode, ...]:
    """Twist and bows of the scan's error: which of them the readings show. Of higher bends a scan has next to none."""
    nodes = prior.nodes

    def covariance(rows: NDArray[np.float64]) -> NDArray[np.float64]:
        free = without_plane(rows, nodes)
        return np.asarray(free @ error.covariance @ free.T)

    fields = np.stack(list(long_fields(nodes).values())) / nodes.count
    before = error.grown * np.sqrt(np.einsum("mn,nk,mk->m", fields, prior.covariance, fields))
    return tuple(mode for mode in modes_of(nodes, before, covariance) if sum(POWERS[mode.name]) == QUADRATIC)
