"""The main job on one page: a capture goes in, an answer comes out."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from flatscan.errors import InputError, LimitSetError, SettingsError
from flatscan.judgement import edges_needed, judge, load_limits
from flatscan.judgement.limit_files import DEFAULT_LIMITS, names_file
from flatscan.levelling import basis_of, load_product, plan_levelling
from flatscan.levelling.plan import method_named
from flatscan.measures import measure
from flatscan.measures.hand import take_in
from flatscan.measures.joints.bridging import bridge_joints
from flatscan.measures.joints.measuring import measure_joints
from flatscan.measures.level_runs import with_level_runs
from flatscan.measures.placements import placement_figures
from flatscan.progress import SILENT, Progress
from flatscan.report.report import Report
from flatscan.said import speaking
from flatscan.settings import Settings
from flatscan.sources import read
from flatscan.sources.guard import fingerprint
from flatscan.sources.hand.merging import merged
from flatscan.sources.hand.read_field import read_field_readings, sort_sources
from flatscan.sources.survey import read_survey
from flatscan.surface import find_surface
from flatscan.surface.picture.build import aligned_photos, floor_picture, height_picture
from flatscan.surface.readings.build import surface_from_readings
from flatscan.surface.readings.correction import corrected_by

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from flatscan.judgement.limits import LimitSet
    from flatscan.sources.hand.field_readings import FieldReadings
    from flatscan.sources.scan import InputFile, Scan
    from flatscan.sources.survey.survey import Survey
    from flatscan.surface.surface import Surface

T = TypeVar("T")


def check(
    sources: Path | str | Sequence[Path | str], *, settings: Settings | None = None, progress: Progress = SILENT
) -> Report:
    """Read a capture, find the floor, measure it, judge it and plan the levelling.

    Parameters
    ----------
    sources : files or folders of one capture (see ``flatscan.read``)
    settings : every choice that changes a number; the defaults are those of ``flatscan check``
    progress : told about loops that take a while

    Returns
    -------
    Report
        everything the outputs may say; nothing has been written

    Raises
    ------
    flatscan.errors.FlatscanError
        for input that cannot be used; doubt is a caveat in the report instead
    """
    settings = settings or Settings()
    with speaking(settings.units):
        return _check(sources, settings, progress)


def _check(sources: Path | str | Sequence[Path | str], settings: Settings, progress: Progress) -> Report:
    clock = _Clock()
    surface_rng, measure_rng, level_rng, joint_rng, run_rng = np.random.default_rng(settings.seed).spawn(5)
    survey = None if settings.level.survey_file is None else read_survey(Path(settings.level.survey_file))
    named = bool(settings.limits)
    asked = settings.limits or (survey.site.covering.limits if survey is not None else ()) or (DEFAULT_LIMITS,)
    settings = replace(settings, limits=asked)
    limits = _limits(settings, None if survey is None or named else survey.file.path.name)
    product = load_product(settings.level.product_file)
    captures, field = _by_hand(sources, settings)
    scan = clock.time("read", lambda: read(captures, settings.read, progress=progress)) if captures else None
    surface = clock.time("surface", lambda: _surface(scan, field, settings, rng=surface_rng, progress=progress))
    picture = joints = None
    if scan is not None and settings.joints.find:
        photos = clock.time("photos", lambda: aligned_photos(scan, surface, progress=progress))
        picture = clock.time(
            "picture", lambda: floor_picture(scan, surface, settings.joints, photos=photos, progress=progress)
        )
        relief = clock.time("relief", lambda: height_picture(scan, surface, settings.joints))
        pictures = [one for one in (picture, relief) if one is not None]
        joints = clock.time(
            "joints",
            lambda: measure_joints(scan, surface, pictures, photos, settings.joints, rng=joint_rng, progress=progress),
        )
        surface = bridge_joints(surface, joints.network.pieces)
    edges_mm = edges_needed(limits, surface.longest_mm)
    measurement = clock.time(
        "measure", lambda: measure(surface, settings.measure, edges_mm=edges_mm, rng=measure_rng, progress=progress)
    )
    measurement = replace(measurement, joints=joints)
    if field is not None:
        measurement = take_in(measurement, field.spots, settings.joints, surface=surface)
        measurement = replace(measurement, placements=placement_figures(field, surface))
        measurement = with_level_runs(
            measurement, field, asked_mm=settings.measure.lines_mm, alone=scan is None, rng=run_rng
        )
    verdict = clock.time(
        "judge",
        lambda: judge(measurement, surface, limits, settings.judge, place=settings.place, field=field, survey=survey),
    )
    basis = basis_of(surface, measurement, verdict, limits, settings, field, product=product, survey=survey)
    plan = clock.time(
        "level",
        lambda: plan_levelling(
            basis,
            product,
            rng=level_rng,
            margin_mm=settings.level.margin_mm,
            survey=survey,
            asked=method_named(settings.level.method),
            progress=progress,
        ),
    )
    inputs = (
        *(scan.inputs if scan is not None else ()),
        *(field.inputs if field is not None else ()),
        *_said_beside(settings, survey),
    )
    return Report(
        inputs, settings, limits, surface, measurement, verdict, plan, clock.seconds, picture, field, basis, survey
    )


def _limits(settings: Settings, survey_name: str | None) -> tuple[LimitSet, ...]:
    """The limit sets; one that a survey names and nobody knows is a mistake in that file."""
    try:
        return load_limits(settings.limits)
    except LimitSetError as error:
        if survey_name is None:
            raise
        raise LimitSetError(
            survey_name, f"[covering]: limits names {error.where}: {error.what}", error.advice
        ) from error


def _said_beside(settings: Settings, survey: Survey | None) -> Iterator[InputFile]:
    """The files that a person wrote beside the capture: what binds, what is asked, what it costs."""
    if survey is not None:
        yield survey.file
        yield from (photo.file for photo in survey.site.photos)
    if settings.level.product_file is not None:
        yield fingerprint(Path(settings.level.product_file), "product")
    yield from (fingerprint(Path(name), "limits") for name in settings.limits if names_file(name))


def _by_hand(sources: Path | str | Sequence[Path | str], settings: Settings) -> tuple[list[Path], FieldReadings | None]:
    """The captures among the sources, and what was read by hand: first, since a mistake in it then shows at once.

    Several tables are one floor's: those named as sources in their order, then ``--readings``.
    """
    captures, tables = sort_sources([Path(sources)] if isinstance(sources, (str, Path)) else [Path(s) for s in sources])
    if settings.joints.readings_file is not None:
        tables.append(Path(settings.joints.readings_file))
    up = settings.read.up
    if tables and not captures and up not in {None, "z"}:
        raise SettingsError("--up", f"readings by hand have z up, not {up}", "Leave it out")
    field = None
    for table in tables:
        read_now = read_field_readings(table, settings.read, room=None if field is None else field.outline)
        field = read_now if field is None else merged(field, read_now)
    return captures, field


def _surface(
    scan: Scan | None, field: FieldReadings | None, settings: Settings, *, rng: np.random.Generator, progress: Progress
) -> Surface:
    """The scan's surface, corrected by readings where there are any, or the one that readings alone give."""
    if scan is None:
        if field is None:
            raise InputError("no path", "nothing to read was given", "Give a capture, or a table of readings")
        return surface_from_readings(field, settings.surface, rng=rng, progress=progress)
    surface = find_surface(scan, settings.surface, seed_rng=rng, progress=progress)
    if field is None or not field.shows_shape:
        return surface
    return corrected_by(surface, field, settings.surface, rng=rng)


class _Clock:
    """Seconds per stage, in the order they ran."""

    def __init__(self) -> None:
        self._seconds: list[tuple[str, float]] = []

    def time(self, stage: str, work: Callable[[], T]) -> T:
        start = time.perf_counter()
        result = work()
        self._seconds.append((stage, time.perf_counter() - start))
        return result

    @property
    def seconds(self) -> tuple[tuple[str, float], ...]:
        return tuple(self._seconds)
