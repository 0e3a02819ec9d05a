"""An invented floor read by hand, its record made by hand too: no solver is run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from flatscan.caveats import caveat
from flatscan.judgement import judge
from flatscan.measures.measurement import PlacementFigure
from flatscan.quantity import Quantity
from flatscan.report.report import Report
from flatscan.settings import JudgeSettings
from flatscan.sources.hand.field_readings import (
    Bar,
    Crack,
    FieldReadings,
    Level,
    LevelReading,
    Placement,
    Sounding,
    StepLine,
)
from flatscan.sources.scan import InputFile
from flatscan.surface.readings.fit import LongMode, ReadingsFit
from flatscan.surface.surface import NoiseModel

Build = Callable[..., Report]
BAR = Bar("2 m straightedge", 2000.0, 0.5, 0.2, 0.1)
MODES = (
    LongMode("twist", 2.4, 2.5, seen=False, cure="straightedge placements along both diagonals of the room"),
    LongMode("bow along x", 0.2, 2.0, seen=True),
)


def placement(index: int, start: tuple[float, float], end: tuple[float, float]) -> Placement:
    at = np.arange(0.0, 2001.0, 500.0)
    gap = np.array([0.0, 1.0, 2.0 + 0.1 * (index % 7), 1.0, 0.0])
    return Placement(
        row=9 + index,
        number=str(index),
        start=start,
        end=end,
        rule="resting",
        at_mm=at,
        gap_mm=gap,
        contact=gap == 0.0,
        u_mm=np.full(5, 0.25),
        bar=BAR,
    )


def bars(count: int, size: tuple[float, float]) -> tuple[Placement, ...]:
    """Rows along x and along y in turn, evenly over the room."""
    width, depth = size
    half = (count + 1) // 2
    found = []
    for i in range(count):
        share = (i // 2 + 0.5) / half
        if i % 2 == 0:
            x = 100.0 if i % 4 == 0 else width - 2100.0
            found.append(
                placement(i + 1, (x, 100.0 + share * (depth - 200.0)), (x + 2000.0, 100.0 + share * (depth - 200.0)))
            )
        else:
            y = 100.0 if i % 4 == 1 else depth - 2100.0
            found.append(
                placement(i + 1, (100.0 + share * (width - 200.0), y), (100.0 + share * (width - 200.0), y + 2000.0))
            )
    return tuple(found)


def figure(p: Placement, surface_mm: float | None = None) -> PlacementFigure:
    deepest = float(p.gap_mm.max())
    return PlacementFigure(
        row=p.row,
        number=p.number,
        edge_mm=2000.0,
        gap=Quantity(deepest, 0.3, "mm"),
        at=tuple(p.xy_mm(1000.0).tolist()),
        contacts=(p.start, p.end),
        span_mm=2000.0,
        surface=Quantity(deepest - 0.1 if surface_mm is None else surface_mm, 0.2, "mm"),
    )


def make_hand_read(
    build: Build,
    *,
    count: int = 12,
    size: tuple[float, float] = (4600.0, 3600.0),
    staff: int = 9,
    field: dict[str, object] | None = None,
) -> Report:
    """A whole run's record for a floor of ``count`` placements and ``staff`` staff readings, judged for real."""
    base = build(size=size, notch=None, hole=None, cell_mm=100.0, relief=0.4)
    placements = bars(count, size)
    side = max(1, round(staff**0.5))
    levels = tuple(
        LevelReading(
            200 + i, f"S{i + 1}", (size[0] * (i % side + 0.5) / side, size[1] * (i // side + 0.5) / side), 1.0, 0.4
        )
        for i in range(staff)
    )
    written = FieldReadings(
        inputs=(InputFile(Path("readings.csv"), "0b" * 32, "readings"),),
        placements=placements,
        levels=levels,
        level=Level(1.0, 0.3, 0.1, 0.5),
        soundings=(
            Sounding(300, "T1", (900.0, 700.0), "sound"),
            Sounding(301, "T2", (3400.0, 2900.0), "hollow", "drummy"),
            Sounding(302, "T3", (1400.0, 2500.0), "loose"),
        ),
        cracks=(Crack(303, "C1", (300.0, 2000.0), (1200.0, 2300.0), Quantity(0.4, 0.1, "mm")),),
        steps=(StepLine(304, (2300.0, 0.0), (2300.0, 3600.0)),),
        left_out=("readings.csv, row 14: 'two' is not a number",),
    )
    written = replace(written, **(field or {}))
    per_bar = [(p, k) for p in placements for k in range(len(p.at_mm))]
    at = np.array([p.xy_mm(p.at_mm[k]) for p, k in per_bar] + [r.at for r in levels]).reshape(-1, 2)
    read = np.array([p.gap_mm[k] for p, k in per_bar] + [r.height_mm for r in levels], dtype=np.float64)
    fit = ReadingsFit(
        row=np.array([p.row for p, _ in per_bar] + [r.row for r in levels], dtype=np.int64),
        number=tuple([p.number for p, _ in per_bar] + [r.number for r in levels]),
        at_mm=at,
        read_mm=read,
        fitted_mm=read - 0.125,
        u_mm=np.full(len(read), 0.25),
        smoothness=2.0,
        smallest_wave_mm=3000.0,
        modes=MODES,
    )
    rng = np.random.default_rng(3)
    estimate = base.surface.estimate_mm
    draws = (estimate + 0.45 * rng.standard_normal((8, *estimate.shape))).astype(np.float32)
    surface = replace(
        base.surface,
        kind="readings",
        slope=None,
        strip_mm=0.0,
        inferences=(),
        white_mm=np.where(np.isfinite(estimate), 0.45, np.nan).astype(np.float32),
        noise=NoiseModel(0.0, 0.45, 1000.0, 0.0, "posterior of 69 readings, some 1.00 m apart"),
        realisations_mm=draws,
        fit=fit,
        caveats=(caveat("readings_spacing", spacing_m=1.0, wave_m=3.0),),
    )
    measurement = replace(base.measurement, placements=tuple(figure(p) for p in placements), caveats=())
    verdict = judge(measurement, surface, base.limits, JudgeSettings(), field=written)
    return replace(
        base, inputs=written.inputs, surface=surface, measurement=measurement, verdict=verdict, field=written
    )


@pytest.fixture(scope="session")
def hand_read(build: Build) -> Report:
    """Twelve placements, nine staff readings, taps and a crack."""
    return make_hand_read(build)


@pytest.fixture(scope="session")
def build_hand_read(build: Build) -> Callable[..., Report]:
    """``make_hand_read``, for other rooms and readings."""
    return lambda **parts: make_hand_read(build, **parts)
