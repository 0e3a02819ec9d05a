"""The main job on one page: a capture goes in, an answer comes out."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from flatscan.judgement import edges_needed, judge, load_limits
from flatscan.levelling import plan_levelling
from flatscan.measures import measure
from flatscan.measures.hand import take_in
from flatscan.measures.joints.bridging import bridge_joints
from flatscan.measures.joints.measuring import measure_joints
from flatscan.progress import SILENT, Progress
from flatscan.report.report import Report
from flatscan.settings import Settings
from flatscan.sources import read
from flatscan.sources.guard import fingerprint
from flatscan.sources.hand.read_readings import read_hand_readings
from flatscan.surface import find_surface
from flatscan.surface.picture.build import aligned_photos, floor_picture, height_picture

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from flatscan.sources.hand.hand_reading import HandReading
    from flatscan.sources.scan import InputFile

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
    clock = _Clock()
    surface_rng, measure_rng, level_rng, joint_rng = np.random.default_rng(settings.seed).spawn(4)
    limits = load_limits(settings.limits)
    readings, sheet = _hand_readings(settings)
    scan = clock.time("read", lambda: read(sources, settings.read, progress=progress))
    surface = clock.time(
        "surface", lambda: find_surface(scan, settings.surface, seed_rng=surface_rng, progress=progress)
    )
    picture = joints = None
    if settings.joints.find:
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
    measurement = take_in(replace(measurement, joints=joints), readings, settings.joints, surface=surface)
    verdict = clock.time("judge", lambda: judge(measurement, surface, limits, settings.judge, place=settings.place))
    plan = clock.time(
        "level",
        lambda: plan_levelling(surface, limits, settings.level, settings.measure, rng=level_rng, progress=progress),
    )
    return Report((*scan.inputs, *sheet), settings, limits, surface, measurement, verdict, plan, clock.seconds, picture)


def _hand_readings(settings: Settings) -> tuple[tuple[HandReading, ...], tuple[InputFile, ...]]:
    """The filled-in sheet, before the capture is read: a mistake in it shows at once."""
    if settings.joints.readings_file is None:
        return (), ()
    path = Path(settings.joints.readings_file)
    return read_hand_readings(path), (fingerprint(path, "readings"),)


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
