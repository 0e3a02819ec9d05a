"""Floors whose readings are known in closed form come back; and what must not matter does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.quantity import Quantity
from flatscan.sources.hand.field_readings import Bar, HumpReading, Level, StepLine
from flatscan.surface.readings.bounds import GIVE_MM
from flatscan.surface.readings.evidence import KAPPAS
from flatscan.surface.readings.flat import without_plane
from flatscan.surface.readings.nodes import lay_nodes
from flatscan.surface.readings.observations import observe
from flatscan.surface.readings.posterior import predicted_sd_mm, solve
from flatscan.surface.readings.prior import thin_plate
from flatscan.synth.outline import l_shape, rectangle

ROOM = rectangle(3600.0, 2600.0)
SURE = Bar("sure", 2000.0, 0.0, 0.01, 0.0, feet_mm=10.0)


def dish(x, y):
    """5 mm beneath the middle of any 2 m bar: u = c r², gap c s (L − s)."""
    return 5e-6 * ((x - 1800.0) ** 2 + (y - 1300.0) ** 2)


def crossed(hand, floor, **how):
    """Rows, columns and diagonals over a 3.6 x 2.6 m room, 0.01 mm sure."""
    rows = [((300 + 1000 * k, y), (2300 + 1000 * k, y)) for y in (200, 900, 1600, 2400) for k in (0, 1)]
    rows += [((x, 300), (x, 2300)) for x in (200, 1000, 1800, 2600, 3400)]
    rows += [
        ((300, 300), (1900, 1500)),
        ((1700, 1000), (3300, 2200)),
        ((300, 2300), (1900, 1100)),
        ((1700, 1600), (3300, 400)),
    ]
    how = {"bar": SURE, "u_mm": 0.01} | how
    return [hand.laid(floor, *ends, row=k + 1, **how) for k, ends in enumerate(rows)]


def heights(field, *, draws=4, kappas=KAPPAS, room=None):
    nodes = lay_nodes(field.outline if room is None else room)
    found = solve(
        observe(field, nodes),
        thin_plate(nodes, field.steps),
        nodes,
        draws=draws,
        rng=np.random.default_rng(0),
        kappas=kappas,
    )
    return nodes, found, without_plane(found.mean_mm[: nodes.count], nodes)


def off_mm(nodes, found, floor, wall_mm=250.0):
    """Greatest error of heights away from the walls, plane left out: at walls a plate runs on straight, a dish not."""
    x, y = nodes.xy_mm.T
    at = (np.minimum(x, 3600.0 - x) > wall_mm) & (np.minimum(y, 2600.0 - y) > wall_mm)
    error = (found - floor(x, y))[at]
    plane = np.column_stack([np.ones(at.sum()), nodes.xy_mm[at]])
    return float(np.abs(error - plane @ np.linalg.lstsq(plane, error, rcond=None)[0]).max())


def test_a_plane_is_flat_whatever_its_fall(hand, grid):
    flat = hand.field(crossed(hand, lambda x, y: 0.02 * x - 0.013 * y + 1e3), outline=ROOM)
    assert np.abs(heights(flat)[2]).max() < 1e-4
    levels = hand.levels(lambda x, y: 0.02 * x - 0.013 * y, grid((100, 100), (3500, 2500), (5, 4)), shift=1e6)
    assert np.abs(heights(hand.field(levels=levels, outline=ROOM))[2]).max() < 1e-3


def test_gaps_over_a_dish_give_the_dish(hand):
    placements = crossed(hand, dish)
    length = placements[0].length_mm
    np.testing.assert_allclose(
        placements[0].gap_mm, 5e-6 * placements[0].at_mm * (length - placements[0].at_mm), atol=1e-9
    )
    nodes, _, found = heights(hand.field(placements, outline=ROOM))
    # Bilinear between nodes 100 mm apart: chords stand up to 2 · c h²/4 = 0.025 mm above the dish.
    assert off_mm(nodes, found, dish) < 0.06


def test_o4b_a_dish_of_100_m_radius_shows_5_mm_under_2_m(hand):
    """Analytic: 5.000125 mm; L²/8R = 5.000."""

    def sphere(x, y):
        return 1e5 - np.sqrt(1e10 - (x - 1800.0) ** 2 - (y - 1300.0) ** 2)

    placement = hand.laid(sphere, (800.0, 1300.0), (2800.0, 1300.0))
    assert placement.gap_mm[4] == pytest.approx(5.000125, abs=1e-6)
    nodes, _, found = heights(hand.field(crossed(hand, sphere), outline=ROOM))
    at = nodes.weights(np.array([[800.0, 1300.0], [1800.0, 1300.0], [2800.0, 1300.0]])) @ found
    assert 0.5 * (at[0] + at[2]) - at[1] == pytest.approx(5.000125, abs=0.05)


def test_feet_and_free_lines_tell_the_same_as_resting(hand):
    _, _, resting = heights(hand.field(crossed(hand, dish), outline=ROOM))
    _, _, feet = heights(hand.field(crossed(hand, dish, rule="feet", stations=11), outline=ROOM))
    lines = [
        replace(p, gap_mm=p.gap_mm + 7.0 + 0.004 * p.at_mm, contact=np.zeros_like(p.contact), rule="line")
        for p in crossed(hand, dish)
    ]
    _, _, line = heights(hand.field(lines, outline=ROOM))
    # The feet stand within 0.1 mm: over 2 m that is all the doubt there is.
    np.testing.assert_allclose(feet, resting, atol=0.06)
    np.testing.assert_allclose(line, resting, atol=0.02)


def test_a_crest_is_read_with_its_sign(hand, grid):
    """Crest 3 mm above the chord of the ends at mid-length: the free end hangs at 6 mm."""
    base = hand.levels(hand.flat, grid((100, 100), (3500, 2500), (3, 3)), u_mm=5.0)
    hump = HumpReading(50, "50", (800.0, 1300.0), (2800.0, 1300.0), Quantity(3.0, 0.05, "mm"), SURE)
    nodes, _, found = heights(hand.field(levels=base, humps=(hump,), outline=ROOM), kappas=(1e-2,))
    at = nodes.weights(np.array([[800.0, 1300.0], [1800.0, 1300.0], [2800.0, 1300.0]])) @ found
    assert at[1] - 0.5 * (at[0] + at[2]) == pytest.approx(3.0, abs=0.1)


def test_a_bowed_bar_is_found_out_by_turning_it_only_where_it_is_skew(hand, grid):
    """Levels know the floor; the bar's own shape is then what is left, and turns with it."""
    skewed = replace(SURE, bow_mm=0.3)
    places = grid((100, 100), (3500, 2500), (9, 7))
    levels = hand.levels(hand.flat, places, u_mm=0.02, row=60)
    flat = crossed(hand, hand.flat, bar=skewed, u_mm=0.02)
    shaped = []
    for k, p in enumerate(flat):
        t = p.at_mm / p.length_mm
        gap = 0.25 * 4 * t * (1 - t) + (-1) ** k * 0.2 * np.sin(2 * np.pi * t) + 1.0
        shaped.append(replace(p, gap_mm=gap, contact=np.zeros_like(p.contact), turned=bool(k % 2), rule="line"))
    nodes, found, left = heights(hand.field(shaped, levels, ROOM))
    bow, skew = found.mean_mm[nodes.count : nodes.count + 2]
    assert (bow, skew) == (pytest.approx(0.25, abs=0.02), pytest.approx(0.2, abs=0.01))
    assert np.abs(left).max() < 0.05


def test_the_doubt_of_a_bars_bow_is_not_averaged_away(hand):
    """Twenty bars of one bow: the dome they agree on is no better known than the bow, b over (L/2)²."""
    straight, bowed = SURE, replace(SURE, bow_mm=0.1)
    sds = []
    for bar in (straight, bowed):
        nodes = lay_nodes(ROOM)
        observations = observe(hand.field(crossed(hand, dish, bar=bar), outline=ROOM), nodes)
        sds.append(predicted_sd_mm(observations, thin_plate(nodes), nodes, kappa=2e-2))
    x, y = nodes.xy_mm.T
    dome = without_plane(0.1 * (x**2 + y**2) / 1000.0**2, nodes)
    np.testing.assert_allclose(np.sqrt(sds[1] ** 2 - sds[0] ** 2), np.abs(dome), atol=0.06)


def test_levels_of_several_set_ups_are_tied_by_common_places(hand, grid):
    def floor(x, y):
        return 2.0 * np.cos(x / 900.0) + np.sin(y / 700.0)

    left, right = grid((100, 100), (1900, 2500), (8, 9)), grid((1700, 100), (3500, 2500), (8, 9))
    one = hand.levels(floor, left, shift=1412.0, u_mm=0.02)
    two = hand.levels(lambda x, y: floor(x, y) + 1.5e-4 * x, right, row=100, set_up="B", shift=-388.0, u_mm=0.02)
    nodes, _, found = heights(hand.field(levels=one + two, outline=ROOM, level=Level(0.1, 0.02, 0.3, 0.0)))
    error = found - without_plane(floor(*nodes.xy_mm.T), nodes)
    # The second laser's plane leans by 0.15 mm/m, 0.27 mm over its half: allowed for, and seen where both read.
    assert np.abs(error).max() < 0.12


def test_without_gravity_every_set_up_may_lean_as_it_likes(hand, grid):
    places = grid((100, 100), (3500, 2500), (8, 6))
    one = hand.levels(lambda x, y: dish(x, y) + 0.02 * x, places, u_mm=0.02)
    two = hand.levels(lambda x, y: dish(x, y) - 0.03 * y, places, row=100, set_up="B", u_mm=0.02)
    nodes, _, found = heights(hand.field(levels=one + two, outline=ROOM, gravity=False))
    assert off_mm(nodes, found, dish, 600.0) < 0.08


def test_drift_goes_by_the_order_read(hand, grid):
    places = grid((100, 100), (3500, 2500), (8, 6))
    drifted = [
        replace(reading, height_mm=reading.height_mm + 1.2 * k / (len(places) - 1), order=7 + k)
        for k, reading in enumerate(hand.levels(dish, places, u_mm=0.05))
    ]
    # Read row by row a drift is a tilt; read twice, the second time from the other end, it is told from the floor.
    again = [replace(r, row=200 + r.row, order=1000 - r.order) for r in drifted]
    again = [replace(r, height_mm=float(dish(*r.at)) + 1.2 * (r.order - 7) / (986 - 7)) for r in (*drifted, *again)]
    nodes, found, left = heights(hand.field(levels=again, outline=ROOM, level=Level(0.0, 0.05, 0.0, 2.0)))
    assert off_mm(nodes, left, dish, 600.0) < 0.1
    assert found.mean_mm[nodes.count + 1] == pytest.approx(1.2, abs=0.06)


def wavy(x, y):
    return 1.3 * np.sin(x / 450.0) * np.cos(y / 610.0) + 0.2 * np.cos(x / 210.0)


def lines(hand, floor, rng, move=lambda x, y: (x, y)):
    """Noisy free lines all over a room; ``move`` carries places along."""
    made = []
    for k in range(18):
        start, end = rng.uniform((100, 100), (3500, 2500), (2, 2))
        at = np.linspace(0.0, np.hypot(*(end - start)), 8)
        x, y = start[:, None] + np.outer((end - start) / at[-1], at)
        gap = 30.0 - floor(x, y) + rng.normal(0, 0.2, 8)
        bar = Bar("string", 3000.0, 0.5, 0.2, 0.0)
        made.append(hand_placement(k + 1, move(*start), move(*end), at, gap, bar))
    return made


def hand_placement(row, start, end, at, gap, bar):
    from flatscan.sources.hand.field_readings import Placement

    return Placement(
        row, str(row), tuple(start), tuple(end), "line", at, gap, np.zeros(len(at), bool), np.full(len(at), 0.25), bar
    )


def test_mirror_and_quarter_turn_only_move_the_floor(hand):
    def found(move, room):
        field = hand.field(lines(hand, wavy, np.random.default_rng(4), move), outline=room)
        nodes, _, height = heights(field)
        grid = np.full(nodes.inside.shape, np.nan)
        grid[nodes.inside] = height
        return grid

    room = l_shape(3600.0, 2600.0, 0.0, 0.0)
    plain = found(lambda x, y: (x, y), room)
    mirrored = found(lambda x, y: (3600.0 - x, y), room)
    turned = found(lambda x, y: (2600.0 - y, x), rectangle(2600.0, 3600.0))
    far = found(lambda x, y: (x + 1e6, y - 4e5), room + np.array([1e6, -4e5]))
    np.testing.assert_allclose(mirrored[:, ::-1], plain, atol=1e-7)
    np.testing.assert_allclose(turned.T[::-1], plain, atol=1e-7)
    np.testing.assert_allclose(far, plain, atol=1e-6)


def test_order_of_rows_a_lift_and_the_unit_do_not_matter(hand):
    placements = lines(hand, wavy, np.random.default_rng(4))
    _, first, plain = heights(hand.field(placements, outline=ROOM))
    _, _, shuffled = heights(hand.field(placements[::-1], outline=ROOM))
    np.testing.assert_allclose(shuffled, plain, atol=1e-9)
    lifted = [replace(p, gap_mm=p.gap_mm + 3.0 * k + 0.01 * p.at_mm) for k, p in enumerate(placements)]
    np.testing.assert_allclose(heights(hand.field(lifted, outline=ROOM))[2], plain, atol=1e-7)
    tenth = [replace(p, gap_mm=0.1 * p.gap_mm, u_mm=0.1 * p.u_mm) for p in placements]
    _, small, less = heights(hand.field(tenth, outline=ROOM), kappas=[0.1 * k for k in KAPPAS])
    # The anchor of a metre is felt as (sd of a height / 1 m)² by the evidence: 1e-5 here.
    np.testing.assert_allclose(less, 0.1 * plain, atol=1e-4)
    np.testing.assert_allclose(small.weights, first.weights, atol=1e-3)


def test_the_mean_is_that_of_all_strengths_by_their_chance(hand):
    field = hand.field(lines(hand, wavy, np.random.default_rng(4)), outline=ROOM)
    _, found, mixed = heights(field)
    likely = np.flatnonzero(found.weights > 0)
    assert len(likely) > 1
    alone = [heights(field, kappas=(KAPPAS[k],))[2] for k in likely]
    np.testing.assert_allclose(found.weights[likely] @ alone, mixed, atol=1e-7)
    assert np.abs(np.mean(alone, axis=0) - mixed).max() > 1e-3


def test_a_longer_list_of_strengths_changes_nothing_it_need_not(hand):
    field = hand.field(lines(hand, wavy, np.random.default_rng(4)), outline=ROOM)
    _, found, plain = heights(field)
    _, more, same = heights(field, kappas=[*KAPPAS[:1], *KAPPAS[1:], 2 * KAPPAS[-1]])
    np.testing.assert_allclose(same, plain, atol=1e-9)
    assert more.kappa == found.kappa
    assert found.weights.sum() == pytest.approx(1.0)


def test_more_readings_never_know_less(hand):
    placements = lines(hand, wavy, np.random.default_rng(4))
    nodes = lay_nodes(ROOM)
    plate = thin_plate(nodes)
    sd = [
        predicted_sd_mm(observe(hand.field(placements[:n], outline=ROOM), nodes), plate, nodes, kappa=3e-3)
        for n in (6, 12, 18)
    ]
    assert np.all(sd[1] <= sd[0] * (1 + 1e-9))
    assert np.all(sd[2] <= sd[1] * (1 + 1e-9))
    assert sd[2].mean() < 0.85 * sd[0].mean()
    found = solve(
        observe(hand.field(placements, outline=ROOM), nodes),
        plate,
        nodes,
        draws=2000,
        rng=np.random.default_rng(0),
        kappas=(3e-3,),
    )
    # 2000 draws know a standard deviation to 1.6 %.
    np.testing.assert_allclose(found.sd_mm, sd[2], rtol=0.07)


def test_a_step_line_lets_the_floor_jump(hand, grid):
    def jump(x, y):
        return np.where(np.asarray(x) > 1800.0, 3.0, 0.0) + 1e-3 * np.asarray(y)

    places = [p for p in grid((100, 100), (3500, 2500), (9, 7)) if abs(p[0] - 1800) > 50]
    levels = hand.levels(jump, places, u_mm=0.1)
    step = StepLine(99, (1800.0, -50.0), (1800.0, 2650.0))
    across = np.array([[1790.0, 1300.0], [1810.0, 1300.0]])
    rises = []
    for steps in ((step,), ()):
        field = hand.field(levels=levels, outline=ROOM, steps=steps)
        nodes, _, found = heights(field)
        low, high = nodes.weights(across, steps) @ found
        rises.append(high - low)
    assert rises[0] == pytest.approx(3.0, abs=0.15)
    assert rises[1] < 1.0


def test_bars_lie_across_a_step(hand):
    """A bar is straight whatever the floor does: contacts either side of a 2 mm step."""
    step = StepLine(99, (1800.0, -50.0), (1800.0, 2650.0))
    bars = [
        hand_placement(
            k,
            (900.0, y),
            (2900.0, y),
            np.linspace(0, 2000, 9),
            np.where(np.linspace(0, 2000, 9) < 900, 2.0, 0.0) + 1e-9,
            SURE,
        )
        for k, y in enumerate((300.0, 900.0, 1500.0, 2300.0))
    ]
    sides = [
        hand_placement(9 + k, (x, 200.0), (x, 2200.0), np.linspace(0, 2000, 9), np.zeros(9), SURE)
        for k, x in enumerate((950.0, 2700.0))
    ]
    nodes, _, found = heights(hand.field((*bars, *sides), outline=ROOM, steps=(step,)))
    low, high = nodes.weights(np.array([[1790.0, 1300.0], [1810.0, 1300.0]]), (step,)) @ found
    assert high - low == pytest.approx(2.0, abs=0.2)


def test_no_bar_goes_below_the_floor(hand):
    """A bar read as 0 at nine stations over a floor that levels say is humped by 1.5 mm: it is lifted, not sunk."""

    def crest(x, y):
        return -1.5e-6 * (x - 1800.0) ** 2

    places = [(x, y) for x in np.linspace(100, 3500, 9) for y in np.linspace(100, 2500, 7)]
    levels = hand.levels(crest, places, u_mm=0.3)
    at = np.linspace(0, 2000, 9)
    bar = hand_placement(80, (800.0, 1300.0), (2800.0, 1300.0), at, np.full(9, 0.05), SURE)
    bar = replace(bar, rule="resting", contact=np.ones(9, bool))
    nodes = lay_nodes(ROOM)
    observations = observe(hand.field([bar], levels, ROOM), nodes)
    found = solve(observations, thin_plate(nodes), nodes, draws=60, rng=np.random.default_rng(1))
    assert (observations.bounds @ found.mean_mm).min() > -GIVE_MM - 1e-5
    free = replace(observations, bounds=observations.bounds[:0])
    without = solve(free, thin_plate(nodes), nodes, draws=60, rng=np.random.default_rng(1))
    assert (observations.bounds @ without.mean_mm).min() < -GIVE_MM - 0.05
