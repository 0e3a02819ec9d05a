"""The noise model is found again in simulated captures of floors that are anything but flat."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from flatscan.surface.cells.gridding import CellStats
from flatscan.surface.noise.noise import ASSUMED_BEND_MM, calibrated_white, estimate_noise, split_views
from flatscan.surface.noise.noise_covariance import RingCovariance, detrend, fit_detrended, ring_covariance

CELL = 10.0
SHAPE = (400, 500)


def correlated(rng, sigma, length_mm, shape=SHAPE):
    """Independent recipe: Gaussian-filtered white noise of filter width l/√2 has covariance exp(-½ d²/l²)."""
    width = length_mm / CELL / math.sqrt(2)
    pad = math.ceil(5 * width) + 1
    field = gaussian_filter(rng.standard_normal((shape[0] + 2 * pad, shape[1] + 2 * pad)), width, mode="wrap")
    return sigma * field[pad:-pad, pad:-pad] * math.sqrt(4 * math.pi) * width


def old_floor(rng, shape=SHAPE):
    """3 mm waves of 3 to 4 m and 300 mm tiles with lips of 0.5 mm standard deviation."""
    y, x = np.mgrid[: shape[0], : shape[1]] * CELL
    tiles = rng.normal(0, 0.5, (shape[0] // 30 + 1, shape[1] // 30 + 1))
    return 3 * np.sin(x / 700) + 2 * np.cos(y / 500) + tiles[(y // 300).astype(int), (x // 300).astype(int)]


def stats(height, white, count=20) -> CellStats:
    seen = np.isfinite(height)
    return CellStats(
        height.astype(np.float32),
        np.full(height.shape, np.nan, np.float32),
        np.where(seen, white, np.nan).astype(np.float32),
        np.where(seen, count, 0).astype(np.int32),
        np.zeros(height.shape, bool),
    )


def two_views(rng, floor, white, sigma, length_mm):
    """Two groups whose mean has this noise: each has √2 of it."""
    root = math.sqrt(2)
    groups = [
        floor + rng.normal(0, root * white, floor.shape) + correlated(rng, root * sigma, length_mm, floor.shape)
        for _ in range(2)
    ]
    return 0.5 * (groups[0] + groups[1]), groups


# A correlated field of length l over an area A has about A/(4 π l²) independent patches: 20 m² and 150 mm make 70,
# so its variance is known to √(2/70) = 17 % and its size to 8 %; 60 mm: 440 patches, 3.4 %. Three times that.
@pytest.mark.parametrize(
    ("white", "sigma", "length", "within"), [(0.2, 0.3, 60.0, 0.1), (0.1, 0.5, 150.0, 0.25), (0.5, 0.2, 50.0, 0.1)]
)
def test_two_views_show_white_and_correlated_noise_whatever_the_floor(white, sigma, length, within):
    rng = np.random.default_rng(1)
    joint, groups = two_views(rng, old_floor(rng), white, sigma, length)
    noise = estimate_noise(
        stats(joint, 0.7 * white),
        cell_mm=CELL,
        kind="cloud",
        view_stats=[stats(g, 0.7 * white * math.sqrt(2)) for g in groups],
    )
    assert noise.white_mm == pytest.approx(white, rel=0.15)
    assert noise.correlated_mm == pytest.approx(sigma, rel=within)
    assert noise.length_mm == pytest.approx(length, rel=within)
    assert "differences of two groups of views" in noise.how


def test_two_views_of_white_noise_show_no_correlated_part():
    rng = np.random.default_rng(2)
    joint, groups = two_views(rng, old_floor(rng), 0.3, 0.0, 10.0)
    noise = estimate_noise(
        stats(joint, 0.3), cell_mm=CELL, kind="cloud", view_stats=[stats(g, 0.3 * math.sqrt(2)) for g in groups]
    )
    assert noise.white_mm == pytest.approx(0.3, rel=0.03)
    assert noise.correlated_mm < 0.03


def test_unequal_groups_still_give_the_joint_noise():
    rng = np.random.default_rng(3)
    floor = old_floor(rng)
    # One group has a quarter of the readings: noise² 4 c and 4/3 c make c when joined by share.
    few = floor + rng.normal(0, 0.2 * 2, SHAPE) + correlated(rng, 0.3 * 2, 60.0)
    many = floor + rng.normal(0, 0.2 / math.sqrt(0.75), SHAPE) + correlated(rng, 0.3 / math.sqrt(0.75), 60.0)
    joint = 0.25 * few + 0.75 * many
    noise = estimate_noise(
        stats(joint, 0.2, 20),
        cell_mm=CELL,
        kind="cloud",
        view_stats=[stats(few, 0.4, 5), stats(many, 0.2 / math.sqrt(0.75), 15)],
    )
    assert noise.white_mm == pytest.approx(0.2, rel=0.15)
    # Half the difference overstates noise that goes with the readings' number by 1/(2 √(s(1-s))), 15 % at a quarter.
    assert noise.correlated_mm == pytest.approx(0.3 * 0.5 / math.sqrt(0.25 * 0.75), rel=0.1)


def test_views_of_few_and_many_readings_alike_inside_are_not_taken_for_better_than_they_are():
    """Stations whose readings hang together along scan lines: the noise was stated at 0.7 of what it is."""
    rng = np.random.default_rng(18)
    many, few = (rng.normal(0, 0.2, SHAPE) for _ in range(2))
    joint = 0.9 * many + 0.1 * few
    parts = [stats(many, 0.2, 90), stats(few, 0.2, 10)]
    noise = estimate_noise(stats(joint, 0.2, 100), cell_mm=CELL, kind="cloud", view_stats=parts)
    assert noise.height_sigma_mm > 0.2 / math.sqrt(2) * 0.95


def test_half_overlap_counts_the_rest_as_seen_once():
    rng = np.random.default_rng(4)
    joint, groups = two_views(rng, old_floor(rng), 0.1, 0.3, 60.0)
    groups[0][:, 300:] = np.nan
    groups[1][:, :200] = np.nan
    once = np.where(np.isfinite(groups[0]), groups[0], groups[1])
    joint[:, 300:], joint[:, :200] = once[:, 300:], once[:, :200]
    noise = estimate_noise(
        stats(joint, 0.1), cell_mm=CELL, kind="cloud", view_stats=[stats(g, 0.1 * math.sqrt(2)) for g in groups]
    )
    # A fifth seen twice (0.3²), four fifths once (2 · 0.3²): mean square 1.8 · 0.3². A fifth of the patches: 3 · 8 %.
    assert noise.correlated_mm == pytest.approx(0.3 * math.sqrt(1.8), rel=0.24)


def test_a_slow_disagreement_of_the_views_becomes_the_bend():
    rng = np.random.default_rng(5)
    joint, groups = two_views(rng, old_floor(rng), 0.2, 0.05, 60.0)
    u = np.linspace(-1, 1, SHAPE[1])[None, :]
    groups[0] = groups[0] + 2.0 * u**2
    noise = estimate_noise(
        stats(joint, 0.2), cell_mm=CELL, kind="cloud", view_stats=[stats(g, 0.2 * math.sqrt(2)) for g in groups]
    )
    # Half of the difference, whose root mean square is 2·√(1/5), joined with half of what is usual.
    expected = math.hypot(0.5 * 2.0 * math.sqrt(0.2), 0.5 * ASSUMED_BEND_MM["cloud"])
    assert noise.systematic_mm == pytest.approx(expected, rel=0.05)
    assert noise.correlated_mm < 0.15


# One view cannot tell lips from noise: 0.5 mm lips among 300 mm tiles leave about a tenth of a millimetre.
@pytest.mark.parametrize(("white", "sigma", "length"), [(0.2, 0.3, 60.0), (0.3, 0.1, 30.0)])
def test_one_view_finds_short_noise_and_never_less_than_there_is(white, sigma, length):
    rng = np.random.default_rng(6)
    noisy = rng.normal(0, white, SHAPE) + correlated(rng, sigma, length)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]] * CELL
    smooth = 3 * np.sin(x / 700) + 2 * np.cos(y / 500) + noisy
    noise = estimate_noise(stats(smooth, 0.7 * white), cell_mm=CELL, kind="cloud")
    assert noise.white_mm == pytest.approx(white, rel=0.05)
    assert noise.correlated_mm == pytest.approx(sigma, rel=0.1)
    assert noise.length_mm == pytest.approx(length, rel=0.15)
    assert noise.systematic_mm == ASSUMED_BEND_MM["cloud"]
    assert "one view" in noise.how
    tiled = estimate_noise(stats(old_floor(rng) + noisy, 0.7 * white), cell_mm=CELL, kind="cloud")
    assert tiled.correlated_mm > 0.9 * sigma
    assert math.hypot(tiled.white_mm, tiled.correlated_mm) < math.hypot(white, sigma, 0.4)


def test_one_view_never_goes_far_below_the_scatter_of_the_points():
    """Heights smoother than their readings say (a smoothed mesh) are not certain: a quarter of the scatter stays."""
    noise = estimate_noise(stats(np.zeros((50, 60)), 0.25), cell_mm=CELL, kind="cloud")
    assert noise.white_mm == pytest.approx(0.0625, rel=1e-6)
    assert noise.correlated_mm == 0.0


def test_one_view_is_not_misled_by_what_cells_hold_of_the_floors_shape():
    """Tiles within 50 mm cells trebled their readings' scatter, and a worst gap of 1.6 mm was stated as 0.0."""
    rng = np.random.default_rng(16)
    claimed = np.full(SHAPE, 0.3)
    claimed[::9, ::7] = 3.0  # and a few cells hold an edge
    noise = estimate_noise(stats(rng.normal(0, 0.1, SHAPE), claimed), cell_mm=CELL, kind="cloud")
    white = calibrated_white(claimed.astype(np.float32), noise)
    assert np.median(white) < 0.1


def test_uneven_views_do_not_shrink_the_noise():
    """Cells of one or two readings had figures so large that all others were scaled to two thirds of the truth."""
    rng = np.random.default_rng(17)
    few = rng.random(SHAPE) < 0.05
    groups = [rng.normal(0, 0.2, SHAPE) for _ in range(2)]
    claimed = np.where(few, 2.0, 0.2)
    joint = 0.5 * (groups[0] + groups[1])
    noise = estimate_noise(
        stats(joint, claimed / math.sqrt(2)), cell_mm=CELL, kind="cloud", view_stats=[stats(g, claimed) for g in groups]
    )
    white = calibrated_white((claimed / math.sqrt(2)).astype(np.float32), noise)
    assert np.median(white) == pytest.approx(0.2 / math.sqrt(2), rel=0.1)


@pytest.mark.parametrize("shape", [(1, 1), (1, 30), (7, 12), (3, 200)])
def test_small_and_empty_grids_have_a_model_too(shape):
    height = np.random.default_rng(7).normal(0, 0.3, shape)
    noise = estimate_noise(stats(height, 0.3), cell_mm=CELL, kind="mesh")
    assert noise.white_mm >= 0.25 * 0.3 - 1e-6
    area_m2 = shape[0] * shape[1] * CELL**2 / 1e6
    assert noise.systematic_mm == pytest.approx(ASSUMED_BEND_MM["mesh"] * area_m2 / 9.0)
    # A past bug: the bend of a single depth image shrank with the floor in it, and a stereo picture with 4 mm of
    # error claimed 0.3 mm.
    image = estimate_noise(stats(height, 0.3), cell_mm=CELL, kind="depth_frames")
    assert image.systematic_mm == ASSUMED_BEND_MM["depth_frames"]
    nothing = estimate_noise(stats(np.full(shape, np.nan), 0.3), cell_mm=CELL, kind="cloud")
    assert nothing.white_mm == 0.0


def test_too_little_overlap_falls_back_to_one_view():
    rng = np.random.default_rng(8)
    height = rng.normal(0, 0.3, (60, 70))
    lone = height.copy()
    lone[5:] = np.nan
    noise = estimate_noise(
        stats(height, 0.3), cell_mm=CELL, kind="cloud", view_stats=[stats(height, 0.4), stats(lone, 0.4)]
    )
    assert "one view" in noise.how


def test_the_coordinate_step_is_the_least():
    noise = estimate_noise(stats(np.zeros((50, 60)), 0.01), cell_mm=CELL, kind="cloud", step_mm=10.0)
    assert noise.white_mm == pytest.approx(10 / math.sqrt(12))
    assert "step by 10 mm" in noise.how


def test_the_users_bend_is_kept():
    noise = estimate_noise(stats(np.zeros((50, 60)), 0.2), cell_mm=CELL, kind="mesh", systematic_mm=0.7)
    assert noise.systematic_mm == 0.7
    assert "as stated" in noise.how


def test_calibrated_white_keeps_the_pattern_and_takes_the_size():
    noise = estimate_noise(stats(np.zeros((50, 60)), 0.2), cell_mm=CELL, kind="cloud")
    white = np.array([[1.0, 2.0, np.nan], [3.0, 4.0, 5.0]], dtype=np.float32)
    out = calibrated_white(white, noise)
    assert np.isnan(out[0, 2])
    assert np.sqrt(np.nanmean(out**2)) == pytest.approx(noise.white_mm, rel=1e-6)
    assert out[1, 2] / out[0, 0] == pytest.approx(5.0)
    flat = calibrated_white(np.zeros((2, 3), dtype=np.float32), noise)
    assert flat == pytest.approx(noise.white_mm)


def test_views_are_dealt_out_in_turn():
    groups = split_views(np.array([7, 7, 9, 30, 9, 31], dtype=np.uint16))
    assert groups.tolist() == [False, False, True, False, True, True]


def test_ring_covariance_equals_the_mean_over_all_pairs():
    rng = np.random.default_rng(10)
    field = rng.normal(0, 1, (7, 12)) + 0.5
    field[2:4, 3:6] = np.nan
    rings = ring_covariance(field, 5)
    at = np.argwhere(np.isfinite(field))
    values = field[tuple(at.T)]
    first, second = np.triu_indices(len(at))
    gap = np.hypot(*(at[first] - at[second]).T)
    product = values[first] * values[second]
    expected = [
        (gap[near].mean(), product[near].mean(), near.sum())
        for ring in range(11)
        if (near := (np.rint(2 * gap) == ring) & (gap <= 5)).any()
    ]
    shown = np.column_stack([rings.distance, rings.covariance, rings.pairs])
    np.testing.assert_allclose(shown, expected, rtol=1e-9, atol=1e-12)


def test_detrending_passes_short_waves_and_stops_long_ones():
    x = np.arange(1000.0)
    for wave, passes in ((20.0, 1.0), (200.0, 0.011)):
        field = np.tile(np.sin(2 * np.pi * x / wave), (200, 1))
        out = detrend(field, 10.0)[60:-60, 60:-60]
        # (1 - exp(-½ (2 π 10 / wave)²))², the filter's closed form: 0.986 and 0.0023.
        closed = (1 - math.exp(-0.5 * (2 * math.pi * 10 / wave) ** 2)) ** 2
        assert out.std() * math.sqrt(2) == pytest.approx(closed, rel=0.03)
        assert closed <= passes


@pytest.mark.parametrize("width", [3.0, 8.0])
def test_white_noise_behind_the_detrending_is_known_exactly(width):
    # The covariance of filtered white noise is the autocorrelation of the filter's answer to a single spike.
    spike = np.zeros((161, 161))
    spike[80, 80] = 1.0
    answer = np.nan_to_num(detrend(spike, width))
    rings = ring_covariance(answer, 20)
    # A mean over all pairs of cells, as many as there are at each distance: times their number and per lag a sum.
    lags = np.rint(2 * np.hypot(*np.mgrid[-20:21, -20:21])).astype(int)
    per_ring = np.bincount(lags[np.hypot(*np.mgrid[-20:21, -20:21]) <= 20])
    per_ring = per_ring[per_ring > 0] / np.where(rings.distance == 0, 1, 2)
    exact = RingCovariance(rings.distance, rings.covariance * rings.pairs / per_ring, rings.pairs)
    parts = fit_detrended(exact, width)
    assert parts.white == pytest.approx(1.0, abs=5e-3)
    assert parts.correlated < 2e-3


def test_a_small_floor_bends_less():
    """2 mm over a bathroom of 3 m² made a gap of 5 mm under a 2 m edge: 0.0 to 2.6 mm was stated ± 6.5 mm."""
    side = round(math.sqrt(3.0) * 1000 / CELL)
    small = estimate_noise(stats(np.zeros((side, side)), 0.2), cell_mm=CELL, kind="mesh")
    assert small.systematic_mm == pytest.approx(ASSUMED_BEND_MM["mesh"] / 3.0, rel=0.01)


def test_what_one_stations_cells_share_is_the_floors():
    """Lips of 1 mm were taken for noise, smoothed away, and a gap of 1.9 mm was stated as 0.0.

    Readings of a scanner on a tripod share nothing over 100 mm, so all that does is floor; of a cloud from anywhere
    it may be noise.
    """
    rng = np.random.default_rng(19)
    height = old_floor(rng) + rng.normal(0, 0.1, SHAPE)
    station = estimate_noise(stats(height, 0.1), cell_mm=CELL, kind="cloud", one_station=True)
    anywhere = estimate_noise(stats(height, 0.1), cell_mm=CELL, kind="cloud")
    assert station.correlated_mm == 0.0
    assert station.floor_share == 0.0
    assert 0.09 < station.white_mm < 0.2  # steps of lips count as scatter between neighbours
    assert anywhere.correlated_mm > 0.05
