"""Measure invented rooms by hand and write the readings as a person would hand them in."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.sources.hand.field_readings import Level
from flatscan.synth.hand.layout import Layout, SetUp, crossed_rows, diagonals, staff_grid
from flatscan.synth.hand.person import INCHES, METRIC
from flatscan.synth.hand.reading import read_by_hand
from flatscan.synth.hand.write import write_readings
from flatscan.synth.recordings import Recording
from flatscan.units import MM_PER

if TYPE_CHECKING:
    from pathlib import Path

    from flatscan.sources.hand.field_readings import Point
    from flatscan.synth.scene import Scene

_FILE = "readings.csv"
#: Levels along lines: a reading every 300 mm, lines 0.6 m and more from walls and 1.2 m and more apart (ASTM E1155M
#: as restated in a test record of 2003).
_LINE_STEP_MM = 300.0
_LINE_WALL_MM = 600.0
_LINES_APART_MM = 1500.0
#: A digital level with a bar-code staff, read to 0.1 mm (common practice, no source). Half a millimetre would drown the
#: curvatures that FF is made of.
_DIGITAL = replace(METRIC, level=Level(step_mm=0.1, repeat_mm=0.1, tilt_mm_per_m=0.03, drift_mm=0.1))


def record_straightedge(folder: Path, scene: Scene, rng: np.random.Generator) -> Recording:
    """A 2 m bar in crossed rows and along the diagonals, a few staff readings, the worst joints, taps, a crack."""
    outline = scene.floor.outline_mm
    length, width = outline.max(axis=0)
    bar_mm = METRIC.bar.length_mm
    layout = Layout(
        layings=(
            *crossed_rows(outline, length_mm=bar_mm, spacing_mm=1250.0),
            *diagonals(outline, length_mm=bar_mm),
        ),
        set_ups=(staff_grid(outline, spacing_mm=2500.0),),
        widest=4,
        highest=8,
        soundings=(
            ((0.2 * length, 0.3 * width), "sound"),
            ((0.5 * length, 0.5 * width), "sound"),
            ((0.75 * length, 0.8 * width), "hollow"),
        ),
        cracks=(((0.0, 0.6 * width), (0.2 * length, 0.65 * width), 0.4),),
    )
    field = read_by_hand(scene.floor, layout, METRIC, rng=rng)
    path = write_readings(field, folder / _FILE, title="an invented room, measured with a 2 m straightedge")
    return Recording(path, METRIC.bar.name, np.eye(4))


def record_level_lines(folder: Path, scene: Scene, rng: np.random.Generator) -> Recording:
    """Staff readings every 300 mm along named lines both ways; two set-ups with their crossings in common."""
    outline = scene.floor.outline_mm
    low, high = outline.min(axis=0) + _LINE_WALL_MM, outline.max(axis=0) - _LINE_WALL_MM
    x, y = (np.arange(low[k], high[k] + 1.0, _LINE_STEP_MM) for k in (0, 1))
    apart = round(_LINES_APART_MM / _LINE_STEP_MM)
    along = {f"x{i}": _run(x, np.full(len(x), at)) for i, at in enumerate(y[::apart], start=1)}
    across = {f"y{i}": _run(np.full(len(y), at), y) for i, at in enumerate(x[:: 2 * apart], start=1)}
    common = tuple((float(a), float(b)) for a in x[:: 2 * apart] for b in y[:: 2 * apart])
    field = read_by_hand(
        scene.floor, Layout(set_ups=(_set_up("A", along), _set_up("B", across, common))), _DIGITAL, rng=rng
    )
    path = write_readings(field, folder / _FILE, title="an invented shop floor, levelled along lines from two set-ups")
    return Recording(path, "digital level and staff", np.eye(4))


def record_feet_and_inches(folder: Path, scene: Scene, rng: np.random.Generator) -> Recording:
    """A 6 ft bar and a staff, written in feet, inches and fractions."""
    outline = scene.floor.outline_mm
    inch, foot = MM_PER["in"], MM_PER["ft"]
    bar_mm = INCHES.bar.length_mm
    layout = Layout(
        layings=(
            *crossed_rows(outline, length_mm=bar_mm, spacing_mm=4.0 * foot, wall_mm=4.0 * inch, division_mm=inch),
            *diagonals(outline, length_mm=bar_mm, wall_mm=6.0 * inch, division_mm=inch),
        ),
        station_mm=foot,
        set_ups=(staff_grid(outline, spacing_mm=6.0 * foot, wall_mm=6.0 * inch, division_mm=inch),),
        soundings=(((6.0 * foot, 4.0 * foot), "sound"),),
    )
    field = read_by_hand(scene.floor, layout, replace(INCHES, place_sd_mm=6.0), rng=rng)
    title = "an invented basement, measured with a 6 ft straightedge and a staff"
    path = write_readings(field, folder / _FILE, units="imperial", title=title)
    return Recording(path, INCHES.bar.name, np.eye(4))


def _run(x_mm: np.ndarray, y_mm: np.ndarray) -> tuple[Point, ...]:
    return tuple(zip(x_mm.tolist(), y_mm.tolist(), strict=True))


def _set_up(name: str, lines: dict[str, tuple[Point, ...]], common: tuple[Point, ...] = ()) -> SetUp:
    at = [*common, *(point for run in lines.values() for point in run)]
    line = [*("" for _ in common), *(name for name, run in lines.items() for _ in run)]
    return SetUp(name, tuple(at), tuple(line))
