"""Readings by hand beside a scan: what they may change, what they must not, and when they are not believed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.errors import InputError
from flatscan.quantity import Quantity
from flatscan.settings import SurfaceSettings
from flatscan.sources.hand.field_readings import Bar, FieldReadings, HumpReading, LevelReading, Placement
from flatscan.surface.noise.draws import draw_truth, posterior_of
from flatscan.surface.readings.control import _covariance_by_lag, _left_covariance, control_of, where_both_saw
from flatscan.surface.readings.correction import corrected_by
from flatscan.surface.readings.slow_error import slow_error, slow_prior
from flatscan.surface.surface import NoiseModel, Slope, Surface

CELL = 50.0
SHAPE = (70, 100)
BAR = Bar("2 m", 2000.0, 0.5, 0.2, 0.0)
SETTINGS = SurfaceSettings()


def grid(shape=SHAPE):
    y, x = np.mgrid[: shape[0], : shape[1]]
    return (x + 0.5) * CELL, (y + 0.5) * CELL


def flattened(z, inside):
    row, col = np.nonzero(inside)
    terms = np.column_stack([np.ones(len(row)), col, row])
    out = np.full(z.shape, np.nan)
    out[inside] = z[inside] - terms @ np.linalg.lstsq(terms, z[inside], rcond=None)[0]
    return out


def twist(size_mm, shape=SHAPE):
    """x·y, rms ``size_mm`` over the room."""
    x, y = grid(shape)
    u, v = x / (shape[1] * CELL) * 2 - 1, y / (shape[0] * CELL) * 2 - 1
    return 3.0 * size_mm * u * v


def scan(heights, *, systematic=2.0, white=0.05, inside=None, rng=None, slope=None):
    """A surface whose cells read ``heights`` with a little white noise."""
    inside = np.ones(heights.shape, dtype=bool) if inside is None else inside
    noisy = heights + (0.0 if rng is None else rng.normal(0, white, heights.shape))
    height = flattened(noisy, inside).astype(np.float32)
    return Surface(
        height_mm=height,
        estimate_mm=height.copy(),
        white_mm=np.where(inside, white, np.nan).astype(np.float32),
        count=inside.astype(np.int32),
        inside=inside,
        cell_mm=CELL,
        origin_mm=(0.0, 0.0),
        floor_from_scan=np.eye(4),
        outline=(),
        noise=NoiseModel(white, 0.0, CELL, systematic, "invented"),
        slope=slope,
        kind="depth_frames",
    )


def bar_on(truth_at, start, end, number=1, rng=None, u=0.25, lift=0.0, rise=0.0, slip=None):
    at = np.linspace(0.0, float(np.hypot(end[0] - start[0], end[1] - start[1])), 9)
    line = Placement(number, str(number), start, end, "line", at, np.zeros(9), np.zeros(9, bool), np.full(9, u), BAR)
    gap = 30.0 + lift + rise * at / 1000.0 - truth_at(line.xy_mm(at))
    gap = gap + (0.0 if rng is None else rng.normal(0, u, 9))
    if slip is not None:
        gap[4] += slip
    return replace(line, gap_mm=gap)


def zero(xy):
    return np.zeros(len(xy))


def laid(truth_at, rng=None, **more):
    """Ten placements: both ways and along the diagonals."""
    lines = [((x, y), (x + 2000.0, y)) for x in (200.0, 2600.0) for y in (400.0, 3000.0)]
    lines += [((x, y), (x, y + 2000.0)) for x in (600.0, 4300.0) for y in (200.0, 1200.0)]
    lines += [((400.0, 400.0), (2000.0, 1600.0)), ((3000.0, 2000.0), (4600.0, 3200.0))]
    return [bar_on(truth_at, a, b, 1 + k, rng, **more) for k, (a, b) in enumerate(lines)]


def levels_on(truth_at, places, rng=None, off=0.0, fall=(0.0, 0.0)):
    xy = np.array(places)
    read = truth_at(xy) + off + xy @ np.array(fall) + (0.0 if rng is None else rng.normal(0, 0.4, len(xy)))
    return [
        LevelReading(50 + k, f"s{k}", tuple(p), float(h), 0.4) for k, (p, h) in enumerate(zip(xy, read, strict=True))
    ]


PLACES = [(300.0, 300.0), (4700.0, 300.0), (4700.0, 3200.0), (300.0, 3200.0), (2500.0, 1700.0)]


def readings(placements=(), levels=(), **more):
    return FieldReadings((), placements=tuple(placements), levels=tuple(levels), **more)


def rms(z):
    return float(np.sqrt(np.nanmean(np.square(z))))


def correct(surface, field, seed=0, settings=SETTINGS):
    return corrected_by(surface, field, settings, rng=np.random.default_rng(seed))


def test_a_twisted_scan_of_a_flat_floor_is_straightened():
    rng = np.random.default_rng(1)
    surface = scan(twist(2.0), rng=rng)
    after = correct(surface, readings(laid(zero, rng), levels_on(zero, PLACES, rng)))
    assert rms(surface.height_mm) == pytest.approx(2.0, abs=0.05)
    assert rms(after.estimate_mm) < 0.5
    before_u, after_u = after.fit.systematic_mm
    assert before_u == surface.noise.systematic_mm
    assert after_u < 0.5 * before_u
    assert after.noise.systematic_mm == after_u
    assert {mode.name for mode in after.fit.modes} == {"twist", "bow along x", "bow along y"}
    assert all(mode.seen for mode in after.fit.modes)
    assert "2.0 mm before" in after.inferences[-1]
    assert f"{after_u:.1f} mm after" in after.inferences[-1]
    assert not after.caveats


def test_a_bump_that_only_the_scan_saw_stays():
    # A 6 mm bump 300 mm wide between the bars: the slow error cannot follow it.
    x, y = grid()
    bump = 6.0 * np.exp(-0.5 * ((x - 2500.0) ** 2 + (y - 2300.0) ** 2) / 100.0**2)
    after = correct(scan(twist(2.0) + bump), readings(laid(zero), levels_on(zero, PLACES)))
    peak = np.unravel_index(np.argmax(bump), bump.shape)
    around = after.estimate_mm[peak] - np.median(after.estimate_mm)
    assert around == pytest.approx(6.0, abs=0.7)


def test_a_true_scan_is_not_harmed():
    rng = np.random.default_rng(2)
    surface = scan(np.zeros(SHAPE), rng=rng)
    after = correct(surface, readings(laid(zero, rng), levels_on(zero, PLACES, rng)))
    shift = after.height_mm - surface.height_mm
    # What the readings' own noise brings in is no more than the doubt that is stated.
    assert rms(shift) < 2.0 * after.noise.systematic_mm
    assert after.noise.systematic_mm < 0.5 * surface.noise.systematic_mm


def test_the_correction_carries_no_plane():
    inside = np.ones(SHAPE, dtype=bool)
    inside[40:, 60:] = False
    after = correct(scan(twist(2.0), inside=inside), readings(laid(zero)[:9], levels_on(zero, PLACES[:2])))
    x, y = grid()
    terms = np.column_stack([np.ones(inside.sum()), x[inside] / 1000.0, y[inside] / 1000.0])
    fitted = np.linalg.lstsq(terms, after.height_mm[inside].astype(float), rcond=None)[0]
    # Heights are float32: a millimetre or two to 1e-7.
    np.testing.assert_allclose(fitted, 0.0, atol=1e-5)
    assert np.isnan(after.height_mm[~inside]).all()


def test_bars_on_blocks_and_a_tilted_level_change_nothing():
    surface = scan(twist(1.0))
    plain = correct(surface, readings(laid(zero), levels_on(zero, PLACES), gravity=False))
    moved = readings(
        laid(zero, lift=40.0, rise=7.0), levels_on(zero, PLACES, off=1234.0, fall=(0.004, -0.003)), gravity=False
    )
    np.testing.assert_allclose(correct(surface, moved).height_mm, plain.height_mm, atol=2e-4)


def test_readings_of_an_offset_plane_alone_leave_the_heights():
    # Bars that read exactly what the scan shows, however high they lay.
    surface = scan(np.zeros(SHAPE))
    after = correct(surface, readings(laid(zero, lift=25.0, rise=-3.0)))
    np.testing.assert_allclose(after.height_mm, surface.height_mm, atol=1e-5)


def test_nothing_that_shows_shape_gives_the_same_surface():
    surface = scan(twist(1.0))
    assert correct(surface, readings()) is surface


def test_the_posterior_agrees_with_a_twin_on_parameters():
    """Dense twin: unknown bars as very wide Gaussians instead of combinations blind to them."""
    surface = scan(twist(2.0), rng=np.random.default_rng(3))
    control = control_of(readings(laid(zero), levels_on(zero, PLACES)), surface)
    prior = slow_prior(surface, np.random.default_rng(0))
    error = slow_error(control, prior, sizes=(1.0,))
    felt = control.sign[:, None] * prior.nodes.weights(control.observations.at_mm).toarray()
    sigma = np.where(np.isfinite(control.observations.nuisance_sigma_mm), control.observations.nuisance_sigma_mm, 1e4)
    xy = (control.observations.at_mm - 2000.0) / 1000.0
    plane = control.sign[:, None] * np.column_stack([np.ones(len(xy)), xy])
    total = felt @ prior.covariance @ felt.T + control.covariance_mm2 + control.others * sigma**2 @ control.others.T
    total += 1e8 * plane @ plane.T
    gain = prior.covariance @ felt.T @ np.linalg.inv(total)
    # Variances of 1e8 beside 0.06 mm²: 1e-16 · 1e8 / 0.06, some 1e-6, times the sums' own growth.
    np.testing.assert_allclose(gain @ control.apart_mm, error.mean_mm, atol=2e-3)
    np.testing.assert_allclose(prior.covariance - gain @ felt @ prior.covariance, error.covariance, atol=2e-3)
    assert prior.size_mm(prior.covariance) == pytest.approx(2.0)


def test_leaving_one_out_is_what_it_says():
    surface = scan(twist(2.0), rng=np.random.default_rng(3))
    rng = np.random.default_rng(5)
    control = control_of(readings(laid(zero, rng), levels_on(zero, PLACES, rng)), surface)
    prior = slow_prior(surface, np.random.default_rng(0))
    whole = slow_error(control, prior, sizes=(1.0,))
    k = 13
    rest = slow_error(control.without(k), prior, sizes=(1.0,))
    # The bar's own height and rise are fitted to its other eight readings, by generalised least squares.
    others, free = control.without(k), np.delete(whole.free, k, axis=0)
    weight = np.linalg.inv(rest.scatter)
    beta = np.linalg.pinv(free.T @ weight @ free, rcond=1e-10) @ free.T @ weight @ others.apart_mm
    cross = whole.scatter[k, np.arange(len(control.apart_mm)) != k]
    foretold = whole.free[k] @ beta + cross @ weight @ (others.apart_mm - free @ beta)
    ratio = whole.misfit(control)[k]
    own = whole.precision[k, k]
    assert (control.apart_mm[k] - foretold) * np.sqrt(own) == pytest.approx(ratio, rel=1e-5)


def test_a_slip_is_named_and_left_out():
    rng = np.random.default_rng(6)
    surface = scan(twist(2.0), rng=rng)
    placements = laid(zero, rng)
    placements[3] = bar_on(zero, placements[3].start, placements[3].end, 4, rng, slip=5.0)
    field = readings(placements, levels_on(zero, PLACES, rng))
    after = correct(surface, field)
    assert [c.name for c in after.caveats] == ["readings_contradict_scan"]
    assert "4 (line 4)" in after.caveats[0].text
    assert len(after.fit.row) == 9 * 10 + 5 - 1
    assert rms(after.estimate_mm) < 0.5


def test_readings_of_another_room_do_not_move_the_scan():
    rng = np.random.default_rng(7)
    surface = scan(np.zeros(SHAPE), systematic=1.0, rng=rng)

    def rough(xy):
        return 8.0 * np.sin(xy[:, 0] / 110.0) * np.cos(xy[:, 1] / 90.0)

    after = correct(surface, readings(laid(rough, rng)))
    assert [c.name for c in after.caveats] == ["readings_contradict_scan"]
    np.testing.assert_array_equal(after.height_mm, surface.height_mm)
    # Nobody knows which is wrong: the scan is in as much doubt as the readings throw on it (sin·cos of 8 mm: rms 4).
    assert 2.0 < after.noise.systematic_mm < 6.0
    assert after.fit.systematic_mm == (1.0, after.noise.systematic_mm)


def test_a_bend_larger_than_usual_is_believed_and_said():
    rng = np.random.default_rng(8)
    surface = scan(twist(3.0), systematic=0.3, rng=rng)
    field = readings(laid(zero, rng), levels_on(zero, PLACES, rng))
    after = correct(surface, field)
    assert not after.caveats
    assert rms(after.estimate_mm) < 0.5
    assert after.fit.systematic_mm[0] in (0.6, 1.2, 2.4)
    assert "as stated" in after.inferences[-1]
    # A figure the person gave is kept.
    stated = correct(surface, field, settings=SurfaceSettings(systematic_mm=0.3))
    assert stated.fit.systematic_mm[0] == 0.3


def test_readings_off_the_floor_are_left_out_and_counted():
    surface = scan(twist(2.0))
    outside = bar_on(zero, (4000.0, 1000.0), (6000.0, 1000.0), 90)
    far = LevelReading(91, "far", (-500.0, 300.0), 3.0, 0.4)
    field = readings([*laid(zero), outside], [*levels_on(zero, PLACES), far])
    usable, left = where_both_saw(field, surface)
    # Stations every 250 mm from x = 4000: those up to 4750 lie on the floor, five do not.
    assert left == 5 + 1
    assert len(usable.placements[-1].at_mm) == 4
    after = correct(surface, field)
    assert any("6 of the readings" in said for said in after.inferences)
    with pytest.raises(InputError, match="saw no floor where the heights were read"):
        correct(surface, readings([bar_on(zero, (7000.0, 0.0), (9000.0, 0.0))]))


def test_a_hole_in_the_scan_takes_no_reading():
    x, y = grid()
    hole = twist(2.0).copy()
    seen = (x - 1200.0) ** 2 + (y - 400.0) ** 2 > 300.0**2
    surface = scan(hole, inside=seen)
    usable, left = where_both_saw(readings(laid(zero)), surface)
    assert left > 0
    assert sum(len(p.at_mm) for p in usable.placements) + left == 90


def test_levels_tell_the_slope_where_they_know_it_better():
    surface = scan(np.zeros(SHAPE), systematic=0.3)
    rng = np.random.default_rng(9)
    field = readings(laid(zero, rng), levels_on(zero, PLACES, rng, off=900.0, fall=(0.004, 0.003)))
    slope = correct(surface, field).slope
    # Heights rise by 4 and 3 mm/m along x and y: the fall is 5 mm/m, towards -x, -y.
    assert slope.fall.value == pytest.approx(5.0, abs=3.0 * slope.fall.u)
    assert slope.fall.u < 0.5
    assert np.cos(slope.direction_rad - np.arctan2(-3.0, -4.0)) > 0.99
    sure = Slope(Quantity(5.2, 0.01, "mm/m"), 0.3)
    assert correct(scan(np.zeros(SHAPE), systematic=0.3, slope=sure), field).slope is sure
    assert correct(surface, readings(laid(zero))).slope is None
    assert correct(surface, replace(field, gravity=False)).slope is None


def test_a_hump_reading_counts():
    surface = scan(twist(2.0))
    hump = HumpReading(70, "h", (1500.0, 1700.0), (3500.0, 1700.0), Quantity(0.0, 0.2, "mm"), BAR)
    field = replace(readings(), humps=(hump,))
    after = correct(surface, field)
    assert after.fit.row.tolist() == [70]
    assert after.noise.systematic_mm <= surface.noise.systematic_mm


def test_floors_read_by_hand_are_left_alone():
    drawn = replace(scan(twist(1.0)), realisations_mm=np.zeros((2, *SHAPE), dtype=np.float32))
    assert correct(drawn, readings(laid(zero))) is drawn


def test_covariance_by_lag_is_the_mean_product_of_drawn_fields():
    from scipy.fft import idctn

    rng = np.random.default_rng(10)
    ky, kx = np.mgrid[:12, :20]
    energy = np.exp(-0.05 * (ky**2 + kx**2))
    fields = np.array([idctn(np.sqrt(energy) * rng.standard_normal(energy.shape), norm="ortho") for _ in range(4000)])
    lag = _covariance_by_lag(energy)
    # Mean over all pairs at a lag, walls and all, of 4000 fields: the walls' reflections average out but for a share of
    # one wave in the whole side; 10 % of the variance covers that and the scatter.
    for dy, dx in ((0, 0), (2, 0), (0, 3), (2, 5)):
        a, b = fields[:, : 12 - dy, : 20 - dx], fields[:, dy:, dx:]
        assert np.mean(a * b) == pytest.approx(lag[dy, dx], abs=0.1 * lag[0, 0])


def test_left_covariance_is_that_of_drawn_floors():
    rng = np.random.default_rng(11)
    surface = scan(twist(0.2), white=0.3, systematic=0.0, rng=rng)
    known = posterior_of(surface)
    at = (np.array([20, 20, 35]), np.array([30, 31, 60]))
    draws = np.array([(draw_truth(surface, rng, known) - surface.estimate_mm)[at] for _ in range(400)])
    found = _left_covariance(surface, *at)
    # Drawn floors count the floor's own lost waves cautiously, so they may scatter more, never much less.
    assert np.all(np.sqrt(np.diag(found)) < 1.15 * draws.std(axis=0))
    assert np.all(np.sqrt(np.diag(found)) > 0.4 * draws.std(axis=0))


def test_a_bar_and_a_staff_on_one_cell_feel_the_scans_noise_with_opposite_signs():
    # A gap grows where the floor falls, a height where it rises: noise of the scan there pulls them apart.
    surface = scan(twist(0.2), white=0.3, rng=np.random.default_rng(12))
    place = (1200.0, 400.0)
    control = control_of(readings([bar_on(zero, (200.0, 400.0), (2200.0, 400.0))], levels_on(zero, [place])), surface)
    staff, station = 9, int(np.flatnonzero(control.observations.at_mm[:9, 0] == place[0])[0])
    assert control.sign[staff] == -control.sign[station] == 1.0
    shared = control.covariance_mm2[staff, station]
    assert shared < 0.0
    assert shared == pytest.approx(-_left_covariance(surface, np.array([8]), np.array([24]))[0, 0], rel=0.2)
