"""Level readings without line names: rows and columns of their grid are the lines, and lines that were asked for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.measures.f_numbers import f_numbers
from flatscan.measures.level_grid import grid_of
from flatscan.measures.level_runs import level_run_f_numbers, with_level_runs
from flatscan.measures.measurement import Flatness, FNumbers, Measurement
from flatscan.quantity import Quantity
from flatscan.sources.hand.field_readings import FieldReadings, LevelReading

ROWS, COLS = 13, 17  # every fourth row and column is the same from either end
CORNER = np.array([100.0, 200.0])
FLOOR = np.cumsum(np.cumsum(np.random.default_rng(3).normal(0.0, 0.4, (ROWS, COLS)), axis=0), axis=1)
ZERO = Quantity(0.0, 0.0, "mm")
NOTHING = Measurement(Flatness(ZERO, ZERO, ZERO, ZERO, ZERO), (), (), (), None, ())


def grid(
    height: np.ndarray, dx: float = 300.0, dy: float = 300.0, *, degrees: float = 0.0, off_mm: float = 0.0
) -> list[LevelReading]:
    """Readings at the nodes that are not NaN, the floor turned, every place some way off its node."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    rng, found = np.random.default_rng(9), []
    for (r, k), z in np.ndenumerate(height):
        x, y = CORNER + np.array([k * dx, r * dy]) + rng.uniform(-off_mm, off_mm, 2)
        if np.isfinite(z):
            found.append(LevelReading(len(found) + 2, str(len(found)), (c * x - s * y, s * x + c * y), float(z), 1e-4))
    return found


def numbers(readings: list[LevelReading], **field: object) -> FNumbers | None:
    return level_run_f_numbers(FieldReadings((), levels=tuple(readings), **field), rng=np.random.default_rng(0))


def combined(*lines: np.ndarray) -> tuple[float, float]:
    _, _, ff, fl = f_numbers(list(lines), 300.0)
    return ff, fl


def every_fourth(height: np.ndarray) -> list[np.ndarray]:
    """Rows and columns at least 1.2 m apart on a grid of 300 mm."""
    return [*height[::4], *height[:, ::4].T]


@pytest.mark.parametrize("degrees", [0.0, 31.0, 90.0, 222.0])
def test_rows_and_columns_of_a_grid_are_its_lines(degrees: float) -> None:
    """Rows 1, 5, 9, 13 and columns 1, 5, 9, 13, 17, of an odd grid however it lies, in any order."""
    readings = grid(FLOOR, degrees=degrees)
    found = numbers([readings[i] for i in np.random.default_rng(1).permutation(len(readings))])
    assert found is not None
    assert found.ff is not None
    assert found.fl is not None
    assert sorted(line.readings for line in found.lines) == [ROWS] * 5 + [COLS] * 4
    ff, fl = combined(*every_fourth(FLOOR))
    # u is 1e-4 mm; positions are exact but for rounding, and the step's square goes into FF.
    assert found.ff.value == pytest.approx(ff, rel=1e-6)
    assert found.fl.value == pytest.approx(fl, rel=1e-6)


def test_set_out_with_a_tape() -> None:
    found, ff = numbers(grid(FLOOR, off_mm=8.0)), combined(*every_fourth(FLOOR))[0]
    assert found is not None
    assert found.ff is not None
    # Steps are fitted to places ± 8 mm off: 8 mm of 13 × 300 mm is 0.2 %, its square 0.4 %.
    assert found.ff.value == pytest.approx(ff, rel=0.005)
    assert any("Lines R and C are rows and columns" in note for note in found.notes)


def test_only_ways_with_a_reading_each_foot_are_read() -> None:
    """300 mm along lines 1.2 m apart: every line, none across. 400 mm: none at all."""
    found = numbers(grid(FLOOR[:5], dy=1200.0))
    assert found is not None
    assert found.ff is not None
    assert len(found.lines) == 5
    assert found.ff.value == pytest.approx(combined(*FLOOR[:5])[0], rel=1e-6)
    assert numbers(grid(FLOOR, 400.0, 400.0)) is None
    foot = numbers(grid(FLOOR, 304.8, 304.8))
    assert foot is not None
    assert {round(line.step_mm, 1) for line in foot.lines} == {304.8}


def test_off_any_grid_or_too_short_there_is_no_line() -> None:
    assert numbers(grid(FLOOR, off_mm=60.0)) is None
    assert numbers(grid(FLOOR[:11, :11])) is None  # 3.0 m
    assert numbers(grid(FLOOR[:1, :3])) is None


def test_a_line_ends_where_a_place_was_not_read() -> None:
    """The corner of an L, and a row parted by one place: pieces of 12 readings or more stay."""
    floor = np.random.default_rng(5).normal(0.0, 1.0, (14, 27)).cumsum(axis=1)
    floor[1:, 14:] = np.nan
    floor[4, 7] = np.nan
    floor[0, 13] = np.nan
    found = numbers(grid(floor))
    assert found is not None
    # Row 1 in two pieces of 13; rows 9 and 13 of 14; row 5 has 7 and 6 left; columns 1, 5, 9, 13 of 14.
    assert sorted(line.readings for line in found.lines) == [13, 13, *[14] * 6]
    rows = [line for line in found.lines if line.start[1] == pytest.approx(line.end[1])]
    assert sorted(line.readings for line in rows) == [13, 13, 14, 14]


def test_lines_keep_off_the_edges_of_a_known_room() -> None:
    """Nodes nearer than 0.6 m to a wall are no line's: no rule about edges is broken."""
    x, y = (COLS - 1) * 300.0 + 200.0, (ROWS + 5) * 300.0 + 400.0
    room = np.array([[0.0, 0.0], [x, 0.0], [x, y], [0.0, y], [0.0, 0.0]])
    tall = np.cumsum(np.random.default_rng(6).normal(0.0, 0.5, (ROWS + 6, COLS)), axis=0)
    found = numbers(grid(tall), outline=room)
    assert found is not None
    assert found.lines
    assert not any("of an edge of the floor" in note for note in found.notes)
    ends = np.array([end for line in found.lines for end in (line.start, line.end)])
    # 20 mm for the tape.
    assert ends.min() >= 580.0
    assert np.all(ends <= np.array([x, y]) - 580.0)


def test_two_set_ups_with_common_places_read_as_one() -> None:
    whole = grid(FLOOR)
    first = [replace(r, set_up="one") for r in whole if r.at[0] < 3600.0]
    second = [replace(r, set_up="two", height_mm=r.height_mm + 40.0) for r in whole if r.at[0] > 700.0]
    both, one = numbers(first + second), numbers(whole)
    assert both is not None
    assert one is not None
    assert both.ff is not None
    assert one.ff is not None
    assert both.ff.value == pytest.approx(one.ff.value, rel=1e-6)


def test_a_place_read_again_at_the_end_counts_once() -> None:
    whole = grid(FLOOR)
    again, once = numbers([*whole, replace(whole[0], row=999, number="z", height_mm=9.0)]), numbers(whole)
    assert again is not None
    assert once is not None
    assert [line.ff.value for line in again.lines if line.ff] == [line.ff.value for line in once.lines if line.ff]
    assert len(again.lines) == 9


def asked(readings: list[LevelReading], *lines: object, alone: bool = True) -> Measurement:
    field = FieldReadings((), levels=tuple(readings))
    return with_level_runs(NOTHING, field, asked_mm=lines, alone=alone, rng=np.random.default_rng(0))


def at(row: float, col: float) -> tuple[float, float]:
    x, y = CORNER + np.array([col * 300.0, row * 300.0])
    return float(x), float(y)


def test_a_line_that_was_asked_for_is_read_from_place_to_place() -> None:
    """Ends are taken at the nearest places; slanting, beyond the readings and over a missing one there is no line."""
    floor = FLOOR.copy()
    floor[9, 4] = np.nan
    found = asked(
        grid(floor), (at(2, 0.3), at(2.2, 15)), (at(0, 0), at(5, 9)), (at(3, 0), at(3, 19)), (at(9, 0), at(9, 16))
    )
    assert found.f_numbers is not None
    (line,) = found.f_numbers.lines
    assert (line.start, line.end) == (pytest.approx(at(2, 0)), pytest.approx(at(2, 15)))
    assert line.ff is not None
    assert line.ff.value == pytest.approx(combined(FLOOR[2, :16])[0], rel=1e-6)
    assert [c.name for c in found.caveats] == ["line_not_read"] * 3
    assert [c.text.split()[1] for c in found.caveats] == ["2", "3", "4"]


def test_where_no_line_asked_for_can_be_read_the_others_stay() -> None:
    named = [replace(r, line="A") for r in grid(FLOOR[:1])]
    found = asked(named, (at(0, 0), at(5, 5)))
    assert found.f_numbers is not None
    assert len(found.f_numbers.lines) == 1
    assert [c.name for c in found.caveats] == ["line_not_read"]
    backwards = asked(named, (at(0, 12), at(0, 1)))
    assert backwards.f_numbers is not None
    assert backwards.f_numbers.lines[0].readings == 12
    assert backwards.caveats == ()


def test_beside_a_scan_only_named_lines_count() -> None:
    found = asked(grid(FLOOR), (at(0, 0), at(0, 14)), alone=False)
    assert found.f_numbers is None
    assert found.caveats == ()


def test_the_nearest_node_of_a_turned_grid() -> None:
    readings = grid(FLOOR[:6, :9], dx=305.0, dy=500.0, degrees=20.0, off_mm=10.0)
    laid = grid_of(readings)
    assert laid is not None
    assert sorted(laid.spacing_mm) == [pytest.approx(305.0, rel=0.01), pytest.approx(500.0, rel=0.01)]
    xy = np.array([r.at for r in readings])
    np.testing.assert_array_equal(laid.nearest(xy), laid.node)
    assert laid.node.max(axis=0).tolist() in ([8, 5], [5, 8])
