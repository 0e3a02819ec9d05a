"""The surface made of readings: its record, slope, caveats, and what cannot be used."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.caveats import caveat
from flatscan.errors import InputError
from flatscan.quantity import Quantity
from flatscan.settings import SurfaceSettings
from flatscan.sources.hand.field_readings import Level
from flatscan.sources.hand.hand_reading import HandReading
from flatscan.surface.readings.build import surface_from_readings
from flatscan.surface.readings.spacing import typical_spacing_mm
from flatscan.synth.floor import make_floor
from flatscan.synth.hand import Layout, read_by_hand
from flatscan.synth.hand.layout import crossed_rows, diagonals, staff_grid
from flatscan.synth.hand.person import METRIC
from flatscan.synth.outline import l_shape, rectangle
from flatscan.synth.shape import Tilt

FEW = SurfaceSettings(realisations=40)


def surface(field, settings=FEW, seed=0):
    return surface_from_readings(field, settings, rng=np.random.default_rng(seed))


@pytest.fixture(scope="module")
def kitchen():
    """An L-shaped kitchen that falls by 6 mm/m, read with rows, diagonals and a level."""
    room = l_shape(3600.0, 2700.0, 1200.0, 900.0)
    floor = make_floor(room, rng=np.random.default_rng(2), waves_rms_mm=1.5, tilt=Tilt(6.0, 0.7))
    layout = Layout(
        crossed_rows(room, length_mm=2000.0, spacing_mm=900.0) + diagonals(room, length_mm=2000.0),
        set_ups=(staff_grid(room, spacing_mm=1100.0),),
    )
    field = read_by_hand(floor, layout, METRIC, rng=np.random.default_rng(3))
    return floor, field, surface(field)


def names(made):
    return {c.name for c in made.caveats}


def test_the_record_is_whole(kitchen):
    _, field, made = kitchen
    assert made.kind == "readings"
    assert made.realisations_mm.shape == (40, *made.height_mm.shape)
    np.testing.assert_array_equal(np.isfinite(made.height_mm), made.inside)
    np.testing.assert_array_equal(np.isfinite(made.realisations_mm[7]), made.inside)
    np.testing.assert_array_equal(made.height_mm, made.estimate_mm)
    np.testing.assert_array_equal(made.outline[0][0], made.outline[0][-1])
    # Cells of the room that the outline holds, but for those the walls cut.
    assert made.area_m2 == pytest.approx(3.6 * 2.7 - 1.2 * 0.9, rel=0.03)
    read = sum(len(p.at_mm) for p in field.placements) + len(field.levels)
    assert made.count.sum() == len(made.fit.row) == len(made.fit.number) == read
    assert np.all(np.diff(made.fit.row) >= 0)
    assert made.noise.white_mm == 0.0
    assert made.noise.correlated_mm == pytest.approx(np.sqrt(np.nanmean(np.square(made.white_mm))), rel=1e-5)
    assert len(made.fit.modes) == 7


def test_heights_and_draws_are_free_of_their_plane(kitchen):
    _, _, made = kitchen
    row, col = np.nonzero(made.inside)
    plane = np.column_stack([np.ones(len(row)), col, row])
    for one in (made.height_mm, *made.realisations_mm[:5]):
        # float32 keeps 1e-7 of some millimetres.
        assert np.abs(np.linalg.lstsq(plane, one[made.inside].astype(float), rcond=None)[0]).max() < 1e-5


def test_the_truth_lies_among_what_is_said(kitchen):
    floor, _, made = kitchen
    row, col = np.nonzero(made.inside)
    x, y = (made.origin_mm[k] + (v + 0.5) * made.cell_mm for k, v in ((0, col), (1, row)))
    truth = floor.shape_mm(x, y)
    plane = np.column_stack([np.ones(len(x)), x, y])
    slope = np.linalg.lstsq(plane, truth, rcond=None)[0]
    error = made.height_mm[made.inside] - (truth - plane @ slope)
    assert np.sqrt(np.mean(error**2)) < 1.5 * made.noise.height_sigma_mm < 1.2
    fall = made.slope.fall
    assert abs(fall.value - 1000.0 * np.hypot(slope[1], slope[2])) < 3.0 * fall.u
    assert made.slope.direction_rad == pytest.approx(np.arctan2(-slope[2], -slope[1]), abs=0.15)
    # The level's own tilt of 0.1 mm/m is part of the doubt.
    assert 0.1 <= fall.u < 0.5


def test_each_reading_is_met_within_its_uncertainty(kitchen):
    _, _, made = kitchen
    left = (made.fit.read_mm - made.fit.fitted_mm) / made.fit.u_mm
    # Met readings scatter by less than their own uncertainty: the floor was fitted to them.
    assert 0.3 < np.sqrt(np.mean(left**2)) < 1.0
    assert "reading_stands_out" not in names(made)


def test_frame_lays_the_plane_and_keeps_places(kitchen):
    _, _, made = kitchen
    matrix = made.floor_from_scan
    at = matrix @ np.array([1000.0, 800.0, 0.0, 1.0])
    # A fall of 6 mm/m turns the frame by 0.006: places move by 2e-5 of themselves.
    np.testing.assert_allclose(at[:2], [1000.0, 800.0], atol=0.3)
    np.testing.assert_allclose(matrix[:3, :3] @ matrix[:3, :3].T, np.eye(3), atol=1e-12)


def test_same_seed_same_surface(kitchen):
    _, field, made = kitchen
    again, other = surface(field), surface(field, seed=1)
    np.testing.assert_array_equal(again.realisations_mm, made.realisations_mm)
    np.testing.assert_allclose(other.height_mm, made.height_mm, atol=1e-6)
    assert np.nanmax(np.abs(other.realisations_mm - made.realisations_mm)) > 0.05


def test_bars_alone_tell_no_slope(kitchen):
    _, field, made = kitchen
    bars = surface(replace(field, levels=(), level=None))
    assert bars.slope is None
    assert "slope_not_read" in names(bars)
    assert "slope_not_read" not in names(made)
    assert surface(replace(field, gravity=False)).slope is None
    # Levels on one line tell no slope either.
    line = [r for r in field.levels if r.at[1] == field.levels[0].at[1]]
    assert surface(replace(field, levels=tuple(line))).slope is None


def test_a_slip_of_the_pen_is_named_and_used_all_the_same(kitchen):
    _, field, made = kitchen
    bars = list(field.placements)
    gap = bars[4].gap_mm.copy()
    gap[5] += 8.0
    bars[4] = replace(bars[4], gap_mm=gap)
    wrong = surface(replace(field, placements=tuple(bars)))
    (said,) = [c for c in wrong.caveats if c.name == "reading_stands_out"]
    assert f"{bars[4].number} (line {bars[4].row})" in said.text
    # That one alone, or at most what lay next to it.
    assert said.text.count("(line") <= 2
    assert len(wrong.fit.row) == len(made.fit.row)


def test_two_slips_are_both_named(kitchen):
    _, field, _ = kitchen
    levels = list(field.levels)
    for k, by in ((1, 10.0), (6, -15.0)):
        levels[k] = replace(levels[k], height_mm=levels[k].height_mm + by)
    (said,) = [c for c in surface(replace(field, levels=tuple(levels))).caveats if c.name == "reading_stands_out"]
    assert all(f"(line {levels[k].row})" in said.text for k in (1, 6))


def test_without_a_room_the_floor_ends_at_the_readings(hand):
    bars = [hand.laid(hand.flat, (300.0, y), (2300.0, y), row=k) for k, y in enumerate((200.0, 700.0, 1900.0))]
    levels = hand.levels(hand.flat, [(2800.0, 1000.0)], row=9)
    made = surface(hand.field(bars, levels))
    ring = {tuple(p) for p in made.outline[0].tolist()}
    assert ring == {(300.0, 200.0), (2300.0, 200.0), (2800.0, 1000.0), (2300.0, 1900.0), (300.0, 1900.0)}


def test_cells_as_asked_and_carried_words(kitchen):
    _, field, _ = kitchen
    doubt = caveat("coarse_step", step_mm=1.0)
    made = surface(replace(field, inferences=("x is east",), caveats=(doubt,)), replace(FEW, cell_mm=200.0))
    assert made.cell_mm == 200.0
    assert made.inferences[0] == "x is east"
    assert made.caveats[0] is doubt


def test_lines_and_places_apart(hand, grid):
    rows = [hand.laid(hand.flat, (200.0, y), (2200.0, y), row=k) for k, y in enumerate((200.0, 1200.0, 2200.0))]
    across = [hand.laid(hand.flat, (x, 200.0), (x, 2200.0), row=9 + k) for k, x in enumerate((200.0, 1200.0, 2200.0))]
    area = 2.4e3**2
    assert typical_spacing_mm(hand.field((*rows, *across)), area) == pytest.approx(1000.0)
    twice = [replace(p, start=(p.start[0], p.start[1] + 5.0), end=(p.end[0], p.end[1] + 5.0)) for p in rows]
    assert typical_spacing_mm(hand.field((*rows, *twice)), area) == pytest.approx(995.0)
    staff = hand.levels(hand.flat, grid((200, 200), (2200, 2200), (5, 3)))
    assert typical_spacing_mm(hand.field(levels=staff), area) == pytest.approx(500.0)
    assert typical_spacing_mm(hand.field((*rows, *across), staff), area) == pytest.approx(500.0)
    # A line that goes on where another ends is not beside it.
    onward = [replace(p, start=(p.end[0], p.end[1] + 300.0), end=(p.end[0] + 2000.0, p.end[1] + 300.0)) for p in rows]
    assert typical_spacing_mm(hand.field((*rows, *onward)), area) == pytest.approx(1000.0)
    # Lines that have no neighbour: as if their length were laid out evenly both ways.
    apart = [rows[0], across[2]]
    assert typical_spacing_mm(hand.field(apart), area) == pytest.approx(2 * area / 4000.0, rel=0.2)
    made = surface(hand.field((*rows, *across), outline=rectangle(2400.0, 2400.0)))
    assert made.fit.smallest_wave_mm == pytest.approx(3000.0)
    assert "readings_spacing" in names(made)


def test_what_makes_no_floor_is_said_with_the_files_name(hand):
    lip = HandReading(3, "lip", (0.0, 0.0), Quantity(1.0, 0.1, "mm"))
    for field, words in (
        (hand.field(spots=(lip,)), "no row tells of the floor's heights"),
        (hand.field(levels=hand.levels(hand.flat, [(0, 0), (1000, 0), (0, 1000)])), "at 3 places"),
        (hand.field([hand.laid(hand.flat, (0.0, 500.0), (2000.0, 500.0))]), "on one line"),
        (
            hand.field(levels=hand.levels(hand.flat, [(500.0 * k, 900.0 * k + 3 * (k % 2)) for k in range(6)])),
            "on one line",
        ),
    ):
        with pytest.raises(InputError, match=words) as caught:
            surface(field)
        assert "sheet.csv" in str(caught.value)


def test_four_levels_make_a_floor_with_much_doubt(hand):
    level = Level(0.5, 0.2, 0.1, 0.0)
    made = surface(hand.field(levels=hand.levels(hand.flat, [(0, 0), (3000, 0), (0, 2000), (3000, 2000)]), level=level))
    assert made.noise.height_sigma_mm > 0.5
