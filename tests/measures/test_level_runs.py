"""F-numbers from level readings along lines: closed forms, set-ups, missing readings, layout rules."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from flatscan.measures.f_numbers import f_numbers
from flatscan.measures.level_layout import least_z_readings
from flatscan.measures.level_runs import level_run_f_numbers
from flatscan.sources.hand.field_readings import FieldReadings, Level, LevelReading, StepLine

FT = 304.8
ROOM = np.array([[0.0, 0.0], [12_000.0, 0.0], [12_000.0, 9000.0], [0.0, 9000.0], [0.0, 0.0]])


def run(
    height: np.ndarray,
    *,
    name: str = "A",
    start: tuple[float, float] = (1000.0, 1000.0),
    angle_deg: float = 0.0,
    step_mm: float = 300.0,
    u_mm: float = 1e-3,
    set_up: str = "",
) -> list[LevelReading]:
    along = np.array([math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))])
    return [
        LevelReading(
            10 + k, str(k), tuple(np.array(start) + k * step_mm * along), float(h), u_mm, set_up, order=k, line=name
        )
        for k, h in enumerate(height)
    ]


def numbers(*runs: list[LevelReading], **field: object):
    given = {"outline": ROOM, **field}
    readings = tuple(r for one in runs for r in one)
    return level_run_f_numbers(FieldReadings((), levels=readings, **given), rng=np.random.default_rng(0))


def rough(count: int, seed: int = 0) -> np.ndarray:
    return np.cumsum(np.random.default_rng(seed).normal(0.0, 1.0, count))


def test_long_sine_in_feet() -> None:
    """O-1d: amplitude A, wavelength 8 ft, 1 ft step: FF = 4.57 in / (3 · 4A sin²(π/8)/√2), FL likewise: 58.84, 66.67.

    80 readings hold whole waves but for the ends; S has n - 1: 1/160 of S at 78 readings.
    """
    height = 25.4 / 16.0 * np.sin(2.0 * np.pi * np.arange(83) / 8.0)
    found = numbers(run(height, step_mm=FT), outline=None)
    assert found is not None
    assert found.ff is not None
    assert found.fl is not None
    assert found.ff.value == pytest.approx(58.84, rel=0.02)
    assert found.fl.value == pytest.approx(66.67, rel=0.02)
    (line,) = found.lines
    assert line.step_mm == pytest.approx(FT)
    assert line.readings == 83
    assert line.start == pytest.approx((1000.0, 1000.0))
    assert found.ff_interval is None  # one line cannot be resampled


def test_two_set_ups_are_never_compared() -> None:
    """A line read in two set-ups 50 mm apart in height, sharing 12 places: as if read in one."""
    height = rough(30)
    first = run(height[:20], set_up="one")
    second = [replace(r, height_mm=r.height_mm + 50.0) for r in run(height, set_up="two")[8:]]
    both, one = numbers(first, second), numbers(run(height))
    assert both is not None
    assert one is not None
    assert both.ff is not None
    assert one.ff is not None
    assert both.fl is not None
    assert one.fl is not None
    # z of places 8, 9 from 18, 19 and on are all known: z needs ten steps in one set-up, and every pair has one.
    assert both.ff.value == pytest.approx(one.ff.value, rel=1e-9)
    assert both.fl.value == pytest.approx(one.fl.value, rel=1e-9)
    assert both.lines[0].readings == 30


def test_set_ups_without_shared_places_lose_what_spans_them() -> None:
    height = rough(30)
    second = [replace(r, height_mm=r.height_mm - 900.0) for r in run(height, set_up="two")[15:]]
    apart = numbers(run(height[:15], set_up="one"), second)
    ff, _, overall, _ = f_numbers([height[:15], height[15:]], 300.0)
    assert len(ff) == 2
    assert apart is not None
    assert apart.ff is not None
    # One line's 26 curvatures together: S about the common mean, not two lines combined, so only near to it.
    assert apart.ff.value == pytest.approx(overall, rel=0.1)
    assert apart.ff.value < 100.0


def test_a_missing_reading_loses_what_needs_it() -> None:
    height = rough(24)
    readings = run(height)
    found = numbers(readings[:9] + readings[10:])
    assert found is not None
    q = np.diff(height, 2)
    q = np.delete(q, [7, 8, 9])  # curvatures about readings 8, 9 and 10 hold reading 9
    assert found.ff is not None
    assert found.ff.value == pytest.approx(112.5 / (3.0 * q.std(ddof=1) + abs(q.mean())), rel=1e-3)
    assert found.lines[0].readings == 23


def test_a_fall_moves_fl_and_not_ff() -> None:
    """10 mm/m over ten steps of 300 mm: |mean z| grows by 30 mm, so FL is at most 312.5/30 and FF as it was."""
    height = rough(40)
    level, fallen = numbers(run(height)), numbers(run(height - 3.0 * np.arange(40)))
    assert level is not None
    assert fallen is not None
    assert level.ff is not None
    assert fallen.ff is not None
    assert fallen.fl is not None
    assert fallen.ff.value == pytest.approx(level.ff.value, rel=1e-6)
    assert fallen.fl.value < 312.5 / (30.0 - abs(height[10:] - height[:-10]).mean())


def test_no_gravity_no_fl() -> None:
    found = numbers(run(rough(20)), run(rough(20, 1), name="B", start=(1000.0, 4000.0)), gravity=False)
    assert found is not None
    assert found.fl is None
    assert found.fl_interval is None
    assert all(line.fl is None for line in found.lines)
    assert any("gravity" in note for note in found.notes)
    assert found.ff_interval is not None


def test_noise_that_drowns_the_curvature_gives_no_ff() -> None:
    """White noise u alone: q has the standard deviation √6 u, so the floor's FF is above 112.5/(3 √6 u) = 31."""
    noise = np.random.default_rng(4).normal(0.0, 0.5, 400)
    found = numbers(run(noise, u_mm=0.5), outline=None)
    assert found is not None
    assert found.ff is None
    assert found.ff_interval is None
    assert found.fl is not None
    (told,) = [note for note in found.notes if "u 0.50 mm" in note]
    least = int(told.partition("above ")[2].partition(";")[0])
    assert least == pytest.approx(112.5 / (3.0 * math.sqrt(6.0) * 0.5), rel=0.1)


def test_u_of_the_readings_is_carried() -> None:
    """Noise u on a floor whose q has the standard deviation s: read once more, FF falls by sqrt((s²+6u²)/(s²+12u²))."""
    u_mm, rng = 0.15, np.random.default_rng(4)
    floor = np.cumsum(np.cumsum(rng.normal(0.0, 0.6, 400)))
    found = numbers(run(floor + rng.normal(0.0, u_mm, 400), u_mm=u_mm), outline=None)
    assert found is not None
    assert found.ff is not None
    lower = 1.0 - math.sqrt((0.6**2 + 6.0 * u_mm**2) / (0.6**2 + 12.0 * u_mm**2))
    budget = dict(found.ff.budget)
    assert budget["noise_taken_for_floor"] == pytest.approx(lower * found.ff.value, rel=0.2)
    (told,) = [note for note in found.notes if f"u {u_mm:.2f} mm" in note]
    assert "or more higher" in told
    quiet = numbers(run(rough(40), u_mm=0.1))
    assert quiet is not None
    assert not any("curvature" in note for note in quiet.notes)


def test_tilt_and_drift_of_the_level_are_of_no_matter_to_ff() -> None:
    """Both are straight along a line read in order: no curvature, but a level difference over ten steps."""
    level = Level(1.0, 0.3, 1.0, 2.0)
    found = numbers(run(rough(40)), level=level)
    assert found is not None
    assert found.ff is not None
    assert found.fl is not None
    assert found.ff.u < 0.01 * found.ff.value
    assert found.fl.u > 0.02 * found.fl.value


def moved(which: int, at: tuple[float, float]) -> list[LevelReading]:
    return [replace(r, at=at) if k == which else r for k, r in enumerate(run(rough(20)))]


@pytest.mark.parametrize(
    ("readings", "why"),
    [
        (run(rough(20), step_mm=250.0), "250 mm apart"),
        (moved(5, (2500.0, 1030.0)), "beside it"),
        (moved(5, (2540.0, 1000.0)), "off the even"),
        (run(rough(20))[:2], "make no curve"),
        (run(rough(20)) + run(rough(20))[3:4], "twice"),
    ],
)
def test_lines_that_cannot_be_used_are_named(readings: list[LevelReading], why: str) -> None:
    found = numbers(readings)
    assert found is not None
    assert found.lines == ()
    assert found.ff is None
    assert any("Line A was left out" in note and why in note for note in found.notes)


def test_the_order_of_writing_is_of_no_matter() -> None:
    readings = run(rough(25), angle_deg=37.0)
    mixed = [readings[i] for i in np.random.default_rng(5).permutation(25)]
    one, other = numbers(readings), numbers(mixed)
    assert one is not None
    assert other is not None
    assert one.ff is not None
    assert other.ff is not None
    assert other.ff.value == pytest.approx(one.ff.value, rel=1e-9)


def said(*runs: list[LevelReading], **field: object) -> list[str]:
    found = numbers(*runs, **field)
    assert found is not None
    return list(found.notes[2:])


def test_a_layout_that_keeps_the_rules() -> None:
    """108 m² is 1163 ft²: 2 √1163 = 68.2, so 69 z readings; lines of 36, 36, 26, 13 have 26 + 26 + 16 + 3 = 71."""
    lines = [
        run(rough(36), name="A", start=(700.0, 1000.0)),
        run(rough(36, 1), name="B", start=(700.0, 2250.0)),
        run(rough(26, 2), name="C", start=(700.0, 700.0), angle_deg=90.0),
        run(rough(13, 3), name="D", start=(5000.0, 4000.0)),
    ]
    assert said(*lines) == []
    assert said(*lines[:2]) == ["52 readings over ten steps, fewer than the 69 for 108 m² (rule from memory)"]


@pytest.mark.parametrize(
    ("run_", "told"),
    [
        (run(rough(10)), "Line A is 2.70 m long, less than 3.30 m"),
        (run(rough(10)), "Line A has 10 readings, fewer than 12"),
        (run(rough(11), step_mm=FT), "Line A is 3.05 m long, less than 3.35 m"),
        (run(rough(20), start=(1000.0, 400.0)), "Line A comes within 0.40 m of an edge"),
        (run(rough(20), start=(300.0, 1000.0)), "Line A comes within 0.30 m of an edge"),
    ],
)
def test_breaches_are_told_with_their_figures(run_: list[LevelReading], told: str) -> None:
    assert any(told in note for note in said(run_))


def test_parallel_lines_too_near() -> None:
    near = run(rough(20), name="B", start=(1000.0, 2000.0))
    assert any("Lines A and B are 1.00 m apart, less than 1.20 m" in n for n in said(run(rough(20)), near))
    beyond = run(rough(14), name="B", start=(7000.0, 2000.0))
    assert not any(" apart" in n for n in said(run(rough(20)), beyond))
    across = run(rough(20), name="B", start=(1500.0, 1100.0), angle_deg=90.0)
    assert not any(" apart" in n for n in said(run(rough(20)), across))


def test_steps_are_not_crossed() -> None:
    step = StepLine(4, (3000.0, 0.0), (3000.0, 9000.0))
    beside = StepLine(5, (0.0, 3000.0), (12_000.0, 3000.0))
    assert any("Line A crosses the step of row 4" in n for n in said(run(rough(20)), steps=(step, beside)))
    assert not any("row 5" in n for n in said(run(rough(20)), steps=(step, beside)))


def test_narrow_floors_are_read_askew() -> None:
    room = ROOM * np.array([1.0, 0.6])  # 12 x 5.4 m
    straight, askew = run(rough(14)), run(rough(12), start=(1500.0, 900.0), angle_deg=45.0)
    assert any("narrower than 7.50 m" in n and "line A is not" in n for n in said(straight, outline=room))
    assert not any("narrower" in n for n in said(askew, outline=room))


def test_without_an_outline_that_is_said() -> None:
    assert any("outline is not stated" in n for n in said(run(rough(20)), outline=None))


def test_least_z_readings() -> None:
    """2 √A to 1600 ft², A/30 above (from memory; the two do not meet there: 80 and 54)."""
    assert [least_z_readings(a * FT**2) for a in (400.0, 1600.0, 1620.0, 6000.0)] == [40, 80, 54, 200]
