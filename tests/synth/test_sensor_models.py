"""Sensor models make the noise they state: size, correlation, constant parts, published figures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.synth.camera import pose
from flatscan.synth.floor import make_floor
from flatscan.synth.laying import Tiling
from flatscan.synth.outline import rectangle
from flatscan.synth.rooms import ROOMS
from flatscan.synth.scene import Scene
from flatscan.synth.sensors import laser, published
from flatscan.synth.sensors.depth import DepthSensor, draw_unit, read_depth
from flatscan.synth.sensors.drift import PHONE_DRIFT, Drift, recorded_poses
from flatscan.synth.sensors.fields import blur_off_plane, clusters, correlated_field
from flatscan.synth.sensors.laser import SURVEY_LASER, line_noise, range_sigma_mm, scan_station
from flatscan.synth.sensors.levels import LINE_LASER, LevelSet, read_staff
from flatscan.synth.sensors.presets import PHONE

SHAPE = (192, 256)


def at_distance(z_mm: float) -> tuple[np.ndarray, np.ndarray]:
    return np.full(SHAPE, z_mm), np.ones(SHAPE)


def only(preset: DepthSensor, *kept: str) -> DepthSensor:
    """The preset with every size but the named ones set to nothing."""
    sizes = ("white_mm", "correlated_mm", "fixed_share", "bow_mm", "offset_mm", "scale", "blur_px", "leak_mm",
             "lost_share", "step_mm")  # fmt: skip
    return replace(preset, half_float=False, **{name: 0.0 for name in sizes if name not in kept})


@pytest.mark.parametrize(("name", "sigma_mm"), [("optimistic", 0.8), ("typical", 1.5), ("pessimistic", 3.0)])
@pytest.mark.parametrize("z_m", [0.5, 1.0, 2.0])
def test_phone_white_noise_is_its_figure_times_distance(name: str, sigma_mm: float, z_m: float) -> None:
    rng = np.random.default_rng(1)
    unit = draw_unit(only(PHONE[name], "white_mm"), SHAPE, rng)
    true, cos = at_distance(1000.0 * z_m)
    noise = read_depth(unit, true, cos, rng).depth_mm - true
    # 49 152 independent pixels give the sd to 1/√(2n) = 0.32 %; four times that allowed.
    assert np.std(noise) == pytest.approx(sigma_mm * z_m, rel=0.013)
    assert np.corrcoef(noise[:, :-1].ravel(), noise[:, 1:].ravel())[0, 1] == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize("sigma_px", [2.0, 8.0, 12.0])
def test_field_has_unit_variance_and_the_gaussian_correlation(sigma_px: float) -> None:
    rng = np.random.default_rng(2)
    fields = np.array([correlated_field(SHAPE, sigma_px, rng) for _ in range(40)])
    # Each field holds about n/(4π σ²) independent patches; with 40 fields at least 1000: variance to 4.5 %.
    assert np.var(fields) == pytest.approx(1.0, rel=0.14)
    lags = np.array([0, 1, 2, 3]) * round(sigma_px)
    found = [np.mean(fields * np.roll(fields, lag, axis=2)) for lag in lags]
    assert found == pytest.approx(np.exp(-(lags**2) / (4.0 * sigma_px**2)), abs=0.1)


def test_independent_frames_differ_and_still_ones_agree_as_stated() -> None:
    rng = np.random.default_rng(3)
    sensor = only(PHONE["typical"], "correlated_mm")
    unit = draw_unit(sensor, SHAPE, rng)
    true, cos = at_distance(1000.0)
    fresh, held = [], []
    for _ in range(30):
        first = read_depth(unit, true, cos, rng)
        fresh.append(np.mean(first.field * read_depth(unit, true, cos, rng).field))
        held.append(np.mean(first.field * read_depth(unit, true, cos, rng, before=first.field).field))
    # 30 pairs of 39 patches each: 1/√1170 = 0.03.
    assert np.mean(fresh) == pytest.approx(0.0, abs=0.12)
    assert np.mean(held) == pytest.approx(0.8, abs=0.12)


def test_the_fixed_pattern_stays_when_many_frames_are_averaged() -> None:
    rng = np.random.default_rng(4)
    sensor = only(PHONE["pessimistic"], "correlated_mm", "fixed_share")
    unit = draw_unit(sensor, SHAPE, rng)
    true, cos = at_distance(1000.0)
    mean = np.mean([read_depth(unit, true, cos, rng).depth_mm for _ in range(60)], axis=0) - true
    # 3 mm · 0.4 of the unit's own field, and 3/√60 = 0.39 mm left of the frames'.
    assert np.corrcoef(mean.ravel(), unit.fixed.ravel())[0, 1] > 0.8
    assert np.polyfit(unit.fixed.ravel(), mean.ravel(), 1)[0] == pytest.approx(1.2, rel=0.3)


def test_bow_offset_and_scale_are_exact_for_a_unit() -> None:
    unit = draw_unit(only(PHONE["typical"], "bow_mm", "offset_mm", "scale"), SHAPE, np.random.default_rng(5))
    true, cos = at_distance(2000.0)
    error = read_depth(unit, true, cos, np.random.default_rng(0)).depth_mm - true
    middle = error[95:97, 127:129].mean()
    assert error[0, 0] == pytest.approx(unit.offset_mm + unit.scale * 2000.0 + unit.bow_mm * 2.0)
    # The four middle pixels lie 0.7 px off the centre: (0.7/159)² of the bow, 2e-5.
    assert middle == pytest.approx(unit.offset_mm + unit.scale * 2000.0, abs=1e-3)


def test_units_of_a_kind_differ_by_the_stated_spread() -> None:
    rng = np.random.default_rng(6)
    units = [draw_unit(PHONE["typical"], (4, 4), rng) for _ in range(2000)]
    # 1/√4000 = 1.6 %, four times that.
    assert np.std([u.offset_mm for u in units]) == pytest.approx(6.0, rel=0.065)
    assert np.std([u.scale for u in units]) == pytest.approx(0.005, rel=0.065)


def test_smoothing_leaves_planes_alone_and_wipes_out_narrow_joints() -> None:
    rows, cols = np.indices(SHAPE, dtype=float)
    inverse = 1e-3 + 1e-6 * rows - 2e-6 * cols
    seen = np.ones(SHAPE, dtype=bool)
    assert blur_off_plane(inverse, 6.0, seen) == pytest.approx(inverse, abs=1e-15)
    sensor = only(PHONE["typical"], "blur_px")
    true = np.full(SHAPE, 1000.0)
    true[:, 100:101] += 3.0  # a joint one pixel wide
    depth = read_depth(
        draw_unit(sensor, SHAPE, np.random.default_rng(0)), true, np.ones(SHAPE), np.random.default_rng(0)
    )
    # A unit impulse spread by a Gaussian of 6 px is 1/(6 √2π) = 6.6 % high: 0.2 mm of the 3 are left.
    assert depth.depth_mm[:, 100] - 1000.0 == pytest.approx(3.0 / (6.0 * np.sqrt(2.0 * np.pi)), abs=0.02)


def test_lost_pixels_cover_the_stated_share_and_are_rarely_trusted() -> None:
    rng = np.random.default_rng(7)
    sensor = only(PHONE["pessimistic"], "lost_share")
    unit = draw_unit(sensor, SHAPE, rng)
    true, cos = at_distance(1000.0)
    frames = [read_depth(unit, true, cos, rng) for _ in range(40)]
    depth = np.array([f.depth_mm for f in frames])
    poor = np.array([f.confidence for f in frames]) == 0
    # Clusters of some 50 px: 40 000 wrong ones are 800 independent, 3.5 % each way.
    assert (depth == 0).mean() == pytest.approx(0.01, rel=0.2)
    astray = (depth > 0) & (depth != 1000.0)
    assert astray.mean() == pytest.approx(0.01, rel=0.2)
    assert depth[astray].min() - 1000.0 >= 20.0
    assert depth[astray].max() - 1000.0 <= 200.0
    assert 0.5 < poor[astray].mean() < 0.9
    assert poor[depth == 0].all()
    assert clusters(SHAPE, 0.0, 2.0, rng).sum() == 0


def test_grazing_views_are_noisier_and_less_trusted() -> None:
    rng = np.random.default_rng(8)
    unit = draw_unit(only(PHONE["typical"], "white_mm"), SHAPE, rng)
    true = np.full(SHAPE, 1000.0)
    square = read_depth(unit, true, np.ones(SHAPE), rng)
    grazing = read_depth(unit, true, np.full(SHAPE, np.cos(np.deg2rad(75.0))), rng)
    assert np.std(grazing.depth_mm) == pytest.approx(3.0 * np.std(square.depth_mm), rel=0.03)
    assert (square.confidence == 2).all()
    assert (grazing.confidence == 1).all()


def test_half_floats_step_by_a_millimetre_between_one_and_two_metres() -> None:
    # binary16 has 11 significant bits: steps of 2⁻¹⁰ m = 0.977 mm in [1, 2) m.
    sensor = DepthSensor(name="x", white_mm=0.0, correlated_mm=0.0, correlation_px=1.0, half_float=True)
    true = np.linspace(1000.0, 1999.0, SHAPE[0] * SHAPE[1]).reshape(SHAPE)
    depth = read_depth(
        draw_unit(sensor, SHAPE, np.random.default_rng(0)), true, np.ones(SHAPE), np.random.default_rng(0)
    )
    assert np.diff(np.unique(depth.depth_mm)) == pytest.approx(1000.0 / 1024.0)


@pytest.mark.parametrize(("z_mm", "sigma_mm"), [(500.0, 1.2), (1000.0, 1.9), (2000.0, 6.1)])
def test_pattern_camera_has_the_published_values(z_mm: float, sigma_mm: float) -> None:
    # Nguyen, Izadi & Lovell 2012, evaluated by hand to one decimal at normal incidence.
    assert published.pattern_axial_mm(np.array(z_mm), np.array(0.0)) == pytest.approx(sigma_mm, abs=0.05)


@pytest.mark.parametrize(("z_mm", "sigma_mm"), [(500.0, 1.3), (1000.0, 1.3), (2000.0, 1.7)])
def test_time_of_flight_camera_has_the_published_values(z_mm: float, sigma_mm: float) -> None:
    # Fankhauser et al. 2015, to one decimal (1.325, 1.3, 1.7).
    assert published.time_of_flight_axial_mm(np.array(z_mm), np.array(0.0)) == pytest.approx(sigma_mm, abs=0.05)


@pytest.mark.parametrize(("z_mm", "theory_mm", "measured_mm"), [(500, 0.6, 3), (1000, 2.3, 6), (2000, 9.3, 19)])
def test_stereo_cameras_have_the_published_values(z_mm: float, theory_mm: float, measured_mm: float) -> None:
    assert published.stereo_axial_mm(np.array(z_mm)) == pytest.approx(theory_mm, abs=0.05)
    assert published.stereo_axial_mm(np.array(z_mm), focal_px=343.0) == pytest.approx(2.0 * theory_mm, abs=0.1)
    assert published.stereo_measured_mm(np.array(z_mm)) == pytest.approx(measured_mm, abs=0.5)


def test_obliqueness_terms_at_45_degrees() -> None:
    # θ = π/4: θ²/(π/2 − θ)² = 1, so the terms are 0.0001/√z m, 0.1 z^1.5 mm and 0.035 px.
    angle, z = np.array(np.pi / 4.0), np.array(1000.0)
    assert published.pattern_axial_mm(z, angle) - published.pattern_axial_mm(z, 0.0 * angle) == pytest.approx(0.1)
    extra = published.time_of_flight_axial_mm(4.0 * z, angle) - published.time_of_flight_axial_mm(4.0 * z, 0.0 * angle)
    assert extra == pytest.approx(0.8)
    assert published.pattern_lateral_px(angle) == pytest.approx(0.835)


def test_a_frame_by_formula_has_its_spread_along_and_across() -> None:
    rng = np.random.default_rng(9)
    true = np.full(SHAPE, 2000.0)
    flat = published.read_by_formula(true, np.zeros(SHAPE), rng, axial=published.pattern_axial_mm)
    assert np.std(flat) == pytest.approx(6.064, rel=0.013)
    step = true.copy()
    step[:, 128:] = 3000.0
    torn = published.read_by_formula(
        step, np.zeros(SHAPE), rng, axial=lambda z, _: 0.0 * z, lateral_px=published.pattern_lateral_px
    )
    # A pixel next to the edge sees the other side when its normal draw of 0.8 px rounds to 1 or more:
    # P(x > 0.5/0.8) = 0.266; 192 rows give that to 0.032.
    assert (torn[:, 127] == 3000.0).mean() == pytest.approx(0.266, abs=0.11)
    assert (
        published.read_by_formula(np.full(SHAPE, np.inf), np.zeros(SHAPE), rng, axial=published.pattern_axial_mm) == 0
    ).all()


def test_drift_grows_with_the_root_of_the_path_and_closes_when_told() -> None:
    poses = [pose((500.0 * k, 0.0, 1200.0), heading_rad=0.0, down_rad=1.0) for k in range(19)]
    drift = Drift(along_mm=8.0, up_mm=3.0, yaw_rad=0.0, tilt_rad=0.0, closes=False)
    rng = np.random.default_rng(10)
    off = np.array(
        [
            [p[:3, 3] - q[:3, 3] for p, q in zip(recorded_poses(poses, drift, rng), poses, strict=True)]
            for _ in range(800)
        ]
    )
    # 800 walks: 2.5 %, four times that. After 4 m twice, after 9 m three times the figure for one metre.
    assert np.std(off[:, 8], axis=0) == pytest.approx([16.0, 16.0, 6.0], rel=0.1)
    assert np.std(off[:, 18], axis=0) == pytest.approx([24.0, 24.0, 9.0], rel=0.1)
    assert np.abs(off[:, 0]).max() == 0.0
    closed = recorded_poses(poses, replace(drift, closes=True), rng)
    assert closed[-1][:3, 3] == pytest.approx(poses[-1][:3, 3])
    for before, after in zip(poses, recorded_poses(poses, PHONE_DRIFT["none"], rng), strict=True):
        assert after == pytest.approx(before)


def test_a_jump_moves_everything_after_it_by_its_size() -> None:
    poses = [pose((100.0 * k, 0.0, 1200.0), heading_rad=0.0, down_rad=1.0) for k in range(30)]
    jump = Drift(along_mm=0.0, up_mm=0.0, yaw_rad=0.0, tilt_rad=0.0, jump_mm=12.0, closes=False)
    off = [
        np.linalg.norm(p[:3, 3] - q[:3, 3])
        for p, q in zip(recorded_poses(poses, jump, np.random.default_rng(1)), poses, strict=True)
    ]
    assert sorted({round(value, 9) for value in off}) == [0.0, 12.0]


def test_laser_noise_is_its_formula_and_correlates_along_the_line_only() -> None:
    noise = line_noise((400, 500), 1.2, np.random.default_rng(11))
    # 200 000 points of which a quarter are independent: 0.4 %.
    assert np.std(noise) == pytest.approx(1.0, rel=0.02)
    for lag in (1, 2, 4):
        along = np.mean(noise[:, :-lag] * noise[:, lag:])
        assert along == pytest.approx(np.exp(-(lag**2) / (4.0 * 1.2**2)), abs=0.02)
    assert np.mean(noise[:-1] * noise[1:]) == pytest.approx(0.0, abs=0.02)
    # I = 0.4 at 10 m square on: √(0.3² + (0.15 · 0.4^−½)²) = 0.382.
    assert range_sigma_mm(SURVEY_LASER, np.array(0.4)) == pytest.approx(0.382, abs=0.001)


def test_a_perfect_scanner_puts_its_points_on_the_floor() -> None:
    floor = make_floor(
        rectangle(3000.0, 2000.0), rng=np.random.default_rng(0), waves_rms_mm=1.0, tiling=Tiling(lip_sd_mm=0.3)
    )
    perfect = replace(
        SURVEY_LASER, constant_mm=0.0, by_intensity_mm=0.0, spot_mm=0.0, join_mm=0.0, join_tilt_rad=0.0,
        azimuth_step_rad=np.deg2rad(2.0), elevation_step_rad=np.deg2rad(2.0),
    )  # fmt: skip
    points = scan_station(perfect, Scene(floor), (1400.0, 900.0, 1500.0), np.random.default_rng(0))
    x, y, z = points.point_mm[points.surface == 1].T
    off = np.abs(z - floor.height_mm(x, y))
    assert np.quantile(off, 0.97) < 1e-6  # the rest stands on the walls of joints
    noisy = scan_station(
        replace(perfect, constant_mm=0.5), Scene(floor), (1400.0, 900.0, 1500.0), np.random.default_rng(0)
    )
    away = np.linalg.norm(noisy.point_mm - points.point_mm, axis=1)
    # Root mean square of a normal is its sigma; some 4000 points in groups of 4.
    assert np.sqrt(np.mean(away**2)) == pytest.approx(0.5, rel=0.1)


def test_the_beam_averages_over_its_spot() -> None:
    """A beam wider than the joint cannot reach its ground; a fine one does."""
    floor = make_floor(
        rectangle(3000.0, 2000.0), rng=np.random.default_rng(0), tiling=Tiling(width_mm=3.0, depth_mm=3.0)
    )
    still = replace(
        SURVEY_LASER,
        constant_mm=0.0,
        by_intensity_mm=0.0,
        join_mm=0.0,
        join_tilt_rad=0.0,
        lowest_rad=np.deg2rad(88.0),
        highest_rad=np.deg2rad(-60.0),
        azimuth_step_rad=np.deg2rad(1.0),
    )
    at = (1400.0, 900.0, 1500.0)
    fine, broad = (
        scan_station(replace(still, spot_mm=spot), Scene(floor), at, np.random.default_rng(0)).point_mm
        for spot in (0.0, 6.0)
    )
    place = floor.tiles.place(fine[:, 0], fine[:, 1])
    crossing = np.minimum(np.abs(place.u_mm - 151.5), np.abs(place.v_mm - 151.5)) > 140.0
    bottom = (np.abs(fine[:, 2] + 3.0) < 1e-6) & ~crossing
    assert bottom.sum() > 50
    # The ring's places lie ±2.12 cos φ and ±2.12 sin φ off the middle across the joint: the outermost two span
    # at least 3 mm, the joint's width, so at most four of the five places fall in and the mean is 4/5 of 3 mm.
    assert broad[bottom, 2].min() > -2.4 - 1e-6


def test_staff_readings_grow_as_the_floor_falls_and_round_as_written() -> None:
    floor = make_floor(rectangle(4000.0, 3000.0), rng=np.random.default_rng(0), waves_rms_mm=3.0)
    x, y = np.meshgrid(np.arange(200.0, 4000.0, 50.0), np.arange(200.0, 3000.0, 50.0))
    x, y = x.ravel(), y.ravel()
    exact = LevelSet(name="exact", reading_sd_mm=0.0, resolution_mm=0.0)
    truth = floor.face_mm(x, y)
    assert read_staff(exact, floor, x, y, np.random.default_rng(1)) + truth == pytest.approx(1250.0)
    rounded = replace(LINE_LASER, plane_mm_per_m=0.0, drift_mm=0.0)
    error = read_staff(rounded, floor, x, y, np.random.default_rng(1)) + truth - 1250.0
    # 0.5 mm reading and 0.5/√12 rounding; 4256 readings: 1.1 %, four times that.
    assert np.std(error) == pytest.approx(np.hypot(0.5, 0.5 / np.sqrt(12.0)), rel=0.045)
    written = read_staff(rounded, floor, x, y, np.random.default_rng(1)) / 0.5
    assert written == pytest.approx(np.rint(written), abs=1e-9)


def test_leaving_out_the_spot_where_nothing_has_an_edge_changes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Over a ring a slanted plane averages to its middle; a curve of 0.15 m radius bends 0.01 mm in 2 mm.

    Steps of 8 mrad, so that a table leg cannot hide between two rays.
    """
    scene = ROOMS["hall"](np.random.default_rng(0))
    coarse = replace(
        SURVEY_LASER, constant_mm=0.0, by_intensity_mm=0.0, join_mm=0.0, join_tilt_rad=0.0,
        azimuth_step_rad=0.008, elevation_step_rad=0.008, highest_rad=0.0,
    )  # fmt: skip
    at = (2000.0, 2500.0, 1500.0)
    quick = scan_station(coarse, scene, at, np.random.default_rng(0)).point_mm
    monkeypatch.setattr(laser, "_on_one_plane", lambda _, hits, __: np.zeros(len(hits.distance), dtype=bool))
    slow = scan_station(coarse, scene, at, np.random.default_rng(0)).point_mm
    assert np.linalg.norm(quick - slow, axis=1).max() < 0.02
