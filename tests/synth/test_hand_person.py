"""A person's readings of floors whose gaps are known in closed form, and the files they are written to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.synth.floor import make_floor
from flatscan.synth.hand import Laying, Layout, SetUp, read_by_hand
from flatscan.synth.hand.bar import end_pressed, on_feet, resting, upper_hull
from flatscan.synth.hand.layout import crossed_rows, diagonals, scattered, staff_grid
from flatscan.synth.hand.person import METRIC
from flatscan.synth.laying import Tiling
from flatscan.synth.outline import inside, l_shape, rectangle
from flatscan.synth.shape import Bay, Tilt
from flatscan.synth.truth import true_joints

ROOM = rectangle(4000.0, 3000.0)
#: Reads to a thousandth, never errs, and lays things where they should lie.
EXACT = replace(
    METRIC,
    bar=replace(METRIC.bar, step_mm=0.0, repeat_mm=0.0, bow_mm=0.0, feet_mm=10.0),
    string=replace(METRIC.string, step_mm=0.0, repeat_mm=0.0),
    level=replace(METRIC.level, step_mm=0.0, repeat_mm=0.0, tilt_mm_per_m=0.0, drift_mm=0.0),
    place_sd_mm=0.0,
    sees_contact_mm=1e-9,
)
#: The record wants an uncertainty above nothing.
SURE = replace(EXACT, bar=replace(EXACT.bar, repeat_mm=1e-9), string=replace(EXACT.string, repeat_mm=1e-9))
EXACT_LEVEL = replace(EXACT, level=replace(EXACT.level, repeat_mm=1e-9))
ACROSS = Laying((1000.0, 1500.0), (3000.0, 1500.0))


def rng() -> np.random.Generator:
    return np.random.default_rng(5)


def dish(depth_mm: float, *, tilt: float = 7.0):
    """A parabola of radius 1.4 m about the middle of the bar, on a slope that a bar must not feel."""
    bay = Bay((2000.0, 1500.0), (1400.0, 1400.0), depth_mm, profile="dish")
    return make_floor(ROOM, rng=rng(), tilt=Tilt(tilt, 0.7), bays=(bay,))


def light(floor, laying, person=SURE, station_mm=250.0):
    return read_by_hand(floor, Layout(layings=(laying,), station_mm=station_mm), person, rng=rng()).placements[0]


def test_a_bar_over_a_dish_shows_the_parabola() -> None:
    """Depth · (1 − r²) beneath the chord of r = L/2R: gap(s) = depth · ((L/2R)² − ((s − L/2)/R)²)."""
    read = light(dish(6.0), ACROSS)
    s = read.at_mm - 1000.0
    np.testing.assert_allclose(read.gap_mm, 6.0 * (1000.0**2 - s**2) / 1400.0**2, atol=1e-6)
    assert read.at_mm.tolist() == [0, 250, 500, 750, 1000, 1250, 1500, 1750, 2000]


def test_a_bar_on_a_crest_rocks_and_is_held_to_one_side() -> None:
    """A dome touches a straight bar at one point: held at a fifth, it is the tangent there, gap = depth (s − t)²/R²."""
    read = light(dish(-6.0), ACROSS)
    s = read.at_mm - 1000.0
    tangents = [6.0 * (s - t) ** 2 / 1400.0**2 for t in (-600.0, 600.0)]
    # The contact falls between points of the profile 4 mm apart: 6 · 1.6 m · 4 mm / R² < 0.03 mm at the far end.
    assert min(np.abs(read.gap_mm - t).max() for t in tangents) < 0.03


def test_feet_show_the_chord_of_the_ends_and_a_hump_as_less_than_the_foot() -> None:
    read = light(dish(-6.0), replace(ACROSS, rule="feet"))
    s = read.at_mm - 1000.0
    np.testing.assert_allclose(read.gap_mm, 10.0 - 6.0 * (1000.0**2 - s**2) / 1400.0**2, atol=1e-6)
    assert read.at_mm[0] == 250.0
    assert read.at_mm[-1] == 1750.0
    assert not read.contact.any()


def test_a_free_line_differs_from_the_floor_by_a_straight_line() -> None:
    read = light(dish(6.0), replace(ACROSS, rule="line"))
    s = read.at_mm - 1000.0
    rest = read.gap_mm - 6.0 * (1000.0**2 - s**2) / 1400.0**2
    np.testing.assert_allclose(np.diff(rest, 2), 0.0, atol=1e-6)
    assert rest.min() > 15.0


def test_a_hump_reading_is_the_crest_above_the_chord_of_its_ends() -> None:
    """Over a dome of parabola depth d the end pressed down makes the tangent from it: clearance 4 d (L/2R)².

    The tangent at the crest's own place cannot be had with one end held; for a sharp crest of height h at mid-length
    the free end stands 2 h clear, so the half is h. That is the case here: a narrow ridge.
    """
    ridge = Bay((2000.0, 1500.0), (30.0, 2000.0), -4.0)
    floor = make_floor(ROOM, rng=rng(), tilt=Tilt(5.0, 0.2), bays=(ridge,))
    field = read_by_hand(floor, Layout(humps=((ACROSS.start, ACROSS.end),)), SURE, rng=rng())
    # The crest's flank may be met a few mm before its top: 4 mm of 1000 is 0.4 % of 4 mm.
    assert field.humps[0].height.value == pytest.approx(4.0, abs=0.02)


def test_a_bow_is_read_as_a_gap_and_turning_the_bar_turns_its_skew() -> None:
    floor = make_floor(ROOM, rng=rng())
    person = replace(SURE, bar=replace(SURE.bar, bow_mm=0.5))
    feet = replace(ACROSS, rule="feet")
    both = read_by_hand(floor, Layout(layings=(feet, replace(feet, turned=True))), person, rng=rng()).placements
    one, other = (read.gap_mm - 10.0 for read in both)
    np.testing.assert_allclose(one, other[::-1], atol=1e-9)
    # What is the same both ways is the bow, a parabola; what changes sign is the skew, odd about the middle.
    s = (both[0].at_mm - 1000.0) / 1000.0
    np.testing.assert_allclose((one + other) / 2.0, one[3] * (1.0 - s**2), atol=1e-9)
    assert abs(one[3]) > 0.01
    assert np.abs(one - other).max() > 0.01


def test_a_resting_bar_lies_on_two_points_either_side_of_its_middle() -> None:
    """Against every pair of points, slowly: the one line that is nowhere below and bears on both sides."""
    chance = np.random.default_rng(2)
    for _ in range(40):
        s = np.arange(21) * 100.0
        z = chance.normal(0, 2, 21)
        lie = resting(s, z, load_at_mm=1010.0)
        above = [
            (s[i], s[j])
            for i in range(21)
            for j in range(i + 1, 21)
            if s[i] <= 1010.0 <= s[j] and (z[i] + (z[j] - z[i]) * (s - s[i]) / (s[j] - s[i]) - z).min() > -1e-9
        ]
        assert above == [lie.contacts]
        assert (lie.at(s) - z).min() > -1e-9
        hull = upper_hull(s, z)
        assert (np.interp(s, s[hull], z[hull]) - z).min() > -1e-9
        held = end_pressed(s, z)
        assert held.at(s[:1])[0] == pytest.approx(z[0])
        assert (held.at(s) - z).min() == pytest.approx(0.0, abs=1e-9)
        feet = on_feet(s, z, feet_mm=10.0)
        np.testing.assert_allclose(feet.at(s[[0, -1]]), z[[0, -1]] + 10.0)


def test_the_staff_grows_as_the_floor_falls_and_set_ups_differ_by_a_constant() -> None:
    floor = dish(6.0)
    at = ((300.0, 300.0), (2000.0, 1500.0), (3000.0, 2000.0))
    field = read_by_hand(
        floor, Layout(set_ups=(SetUp("A", at, ("1", "1", "1")), SetUp("B", at[::-1]))), EXACT_LEVEL, rng=rng()
    )
    heights = np.array([one.height_mm for one in field.levels])
    true = floor.face_mm(*np.array(at).T)
    np.testing.assert_allclose(np.ptp(heights[:3] - true), 0.0, atol=1e-6)
    np.testing.assert_allclose(np.ptp(heights[3:][::-1] - true), 0.0, atol=1e-6)
    assert abs(heights[0] - heights[5]) > 1.0
    assert [one.order for one in field.levels] == [0, 1, 2, 0, 1, 2]
    assert {one.line for one in field.levels[:3]} == {"1"}


def test_readings_scatter_as_the_person_is_said_to() -> None:
    """Rounded to 0.5 with 0.2 mm of reader: root of 0.2² + 0.5²/12 = 0.246 mm; 40 bars of 7 give 280: ± 4.2 %, 4 sd."""
    floor = dish(12.0)
    person = replace(METRIC, bar=replace(METRIC.bar, bow_mm=0.0), place_sd_mm=0.0, sees_contact_mm=1e-9)
    field = read_by_hand(floor, Layout(layings=(ACROSS,) * 40), person, rng=rng())
    s = field.placements[0].at_mm[1:-1] - 1000.0
    off = np.array([one.gap_mm[1:-1] for one in field.placements]) - 12.0 * (1000.0**2 - s**2) / 1400.0**2
    # Rounding errors of one station share the true value's place between two steps: their mean is not 0.
    assert float(np.sqrt(np.mean(off**2))) == pytest.approx(0.246, rel=0.17)


def test_the_worst_joints_and_lips_are_read_where_they_are() -> None:
    tiling = Tiling(
        size_mm=(300.0, 200.0), width_sd_mm=0.8, depth_sd_mm=0.3, lip_sd_mm=0.2, bad=((1500.0, 1500.0, 2.4),)
    )
    floor = make_floor(ROOM, rng=rng(), tiling=tiling)
    person = replace(METRIC, rule_repeat_mm=1e-9, feeler_repeat_mm=1e-9, rule_step_mm=0.001, feeler_step_mm=0.001)
    field = read_by_hand(floor, Layout(widest=3, highest=2), person, rng=rng())
    joints = [one for one in true_joints(floor) if np.hypot(*np.subtract(one.end_mm, one.start_mm)) > 60.0]
    width = [one.value.value for one in field.spots if one.what == "joint_width"]
    assert width == pytest.approx(sorted((one.top_width_mm for one in joints), reverse=True)[:3], abs=1e-3)
    lips = [one for one in field.spots if one.what == "lip"]
    assert [one.value.value for one in lips] == pytest.approx([2.4, 2.4], abs=1e-3)
    assert field.joints_searched
    for one in lips:  # beside the raised tile
        assert np.hypot(one.at[0] - 1500.0, one.at[1] - 1500.0) < 350.0


@pytest.mark.parametrize("outline", [ROOM, l_shape(5000.0, 4000.0, 1800.0, 1500.0)])
def test_layouts_stay_in_the_room(outline) -> None:
    laid = (
        *crossed_rows(outline, length_mm=2000.0, spacing_mm=1000.0),
        *diagonals(outline, length_mm=2000.0),
        *scattered(outline, length_mm=2000.0, count=7, rng=rng()),
    )
    assert len(laid) > 15
    assert len(set(laid)) == len(laid)
    ends = np.array([end for one in laid for end in (one.start, one.end)])
    assert inside(outline, *ends.T).all()
    for one in laid:
        assert np.hypot(*np.subtract(one.end, one.start)) == pytest.approx(2000.0, abs=0.2)
    grid = np.array(staff_grid(outline, spacing_mm=900.0).at)
    assert inside(outline, *grid.T).all()


def test_the_same_chance_gives_the_same_readings() -> None:
    layout = Layout(layings=(ACROSS,), set_ups=(staff_grid(ROOM, spacing_mm=1500.0),), widest=1)
    first, second = (read_by_hand(dish(3.0), layout, METRIC, rng=rng()) for _ in range(2))
    assert np.array_equal(first.placements[0].gap_mm, second.placements[0].gap_mm)
    assert first.levels == second.levels
