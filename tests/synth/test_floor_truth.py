"""Invented floors are what they claim: closed forms for shapes, tiles, lips and joints."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatscan.synth.floor import InventedFloor, make_floor
from flatscan.synth.laying import Tiling
from flatscan.synth.outline import inside, l_shape, rectangle, signed_area_mm2
from flatscan.synth.shape import NO_WAVES, Bay, Tilt, Waves
from flatscan.synth.truth import true_heights, true_joints

#: Heights are sums of a few terms of at most 100 mm in float64: rounding stays below 1e-12 mm.
ROUNDING_MM = 1e-11


def bare(**shape: object) -> InventedFloor:
    parts = {"tilt": Tilt(), "waves": NO_WAVES, "bays": (), "tiles": None} | shape
    return InventedFloor(outline_mm=l_shape(5000.0, 3000.0, 1200.0, 700.0), **parts)


def test_tilt_falls_by_its_own_figure_towards_its_direction() -> None:
    floor = bare(tilt=Tilt(3.0, np.deg2rad(30.0)))
    # Two metres downhill at 3 mm/m is 6 mm down; across the fall nothing changes.
    x, y = 2000.0 * np.cos(np.deg2rad(30.0)), 2000.0 * np.sin(np.deg2rad(30.0))
    assert floor.height_mm(np.array(x), np.array(y)) == pytest.approx(-6.0, abs=ROUNDING_MM)
    assert floor.height_mm(np.array(-y), np.array(x)) == pytest.approx(0.0, abs=ROUNDING_MM)


def test_one_wave_is_its_cosine() -> None:
    k = 2.0 * np.pi / 2000.0
    wave = Waves(np.array([1.5]), np.array([k]), np.array([0.0]), np.array([0.0]))
    floor = bare(waves=wave)
    heights = floor.height_mm(np.array([0.0, 500.0, 1000.0, 2000.0]), np.zeros(4))
    assert heights == pytest.approx([1.5, 0.0, -1.5, 1.5], abs=ROUNDING_MM)


@pytest.mark.parametrize(("profile", "halfway"), [("cosine", 0.5), ("dish", 0.75)])
def test_bay_has_its_depth_at_the_centre_and_none_at_the_rim(profile: str, halfway: float) -> None:
    bay = Bay((1000.0, 800.0), (600.0, 300.0), 5.0, profile, turn_rad=0.5)
    cos, sin = np.cos(0.5), np.sin(0.5)
    along = np.array([0.0, 0.5, 1.0, 1.5]) * 600.0
    across = np.array([0.0, 0.5, 1.0, 1.5]) * 300.0
    for dx, dy in ((along * cos, along * sin), (-across * sin, across * cos)):
        heights = bay.height_mm(1000.0 + dx, 800.0 + dy)
        assert heights == pytest.approx([-5.0, -5.0 * halfway, 0.0, 0.0], abs=ROUNDING_MM)


def test_a_dish_shows_the_gap_its_docstring_states() -> None:
    # An edge of length L on a diameter of the parabola depth·(r² − 1) rests at r = ±L/2R: gap depth·(L/2R)².
    floor = bare(bays=(Bay((2000.0, 1500.0), (1200.0, 1200.0), 6.0, "dish"),))
    ends, middle = floor.height_mm(np.array([1000.0, 2000.0, 3000.0]), np.full(3, 1500.0))[[0, 2]], -6.0
    assert ends.mean() - middle == pytest.approx(6.0 * (1000.0 / 1200.0) ** 2, abs=ROUNDING_MM)


def test_waves_have_the_rms_asked_for_over_the_room() -> None:
    floor = make_floor(
        l_shape(7000.0, 4000.0, 2000.0, 1500.0), rng=np.random.default_rng(5), waves_rms_mm=1.7, wavelength_mm=2000.0
    )
    truth = true_heights(floor, 10.0)
    # Exact on a 25 mm grid; a 10 mm grid of a wave 80 cells long differs by the border cells, far below 1 %.
    assert np.nanstd(truth.height_mm) == pytest.approx(1.7, rel=0.01)
    assert np.isnan(truth.height_mm[-1, -1])
    assert truth.height_mm.shape == (400, 700)


def tiled(rng: np.random.Generator, **changes: object) -> InventedFloor:
    tiling = {"width_sd_mm": 0.6, "depth_sd_mm": 0.3, "lip_sd_mm": 0.4, "tilt_sd_mm_per_m": 2.0} | changes
    outline = l_shape(3300.0, 2500.0, 900.0, 600.0)
    return make_floor(outline, rng=rng, waves_rms_mm=1.0, tilt=Tilt(4.0, 1.0), tiling=Tiling(**tiling))


@pytest.mark.parametrize("bond", ["stack", "half", "third"])
def test_joints_are_as_wide_deep_and_stepped_on_the_floor_as_their_truth_says(bond: str) -> None:
    floor = tiled(np.random.default_rng(11), bond=bond, size_mm=(300.0, 200.0))
    joints = true_joints(floor)
    assert len(joints) > 100
    tiny = 1e-6
    for joint in joints[::5]:
        start, end = np.array(joint.start_mm), np.array(joint.end_mm)
        along = (end - start) / np.linalg.norm(end - start)
        across = np.array([1.0, 0.0]) if along[1] > 0.5 else np.array([0.0, 1.0])
        for share in (0.1, 0.5, 0.9):
            at = start + share * (end - start)

            def height(offset: float, at: np.ndarray = at, across: np.ndarray = across) -> float:
                """Floor less its large shape, so that neighbouring points compare exactly."""
                p = at + offset * across
                return float(floor.height_mm(p[0], p[1]) - floor.shape_mm(p[0], p[1]))

            wall, top = joint.width_mm / 2.0, joint.top_width_mm / 2.0
            grout = height(0.0)
            # Faces carried on to the centre line: two points on the flat face give its slope across.
            first = height(-top - 1.0) + (height(-top - 1.0) - height(-top - 2.0)) * (top + 1.0)
            second = height(top + 1.0) + (height(top + 1.0) - height(top + 2.0)) * (top + 1.0)
            assert second - first == pytest.approx(joint.lip_at_mm(share), abs=1e-9)
            assert min(first, second) - grout == pytest.approx(joint.depth_mm, abs=1e-9)
            # The grout lies as deep on either side of the centre line, below the lower face there.
            slopes = [height(-top - 1.0) - height(-top - 2.0), height(top + 2.0) - height(top + 1.0)]
            for off in (-0.4 * wall, 0.4 * wall):
                lower = min(first + slopes[0] * off, second + slopes[1] * off)
                assert lower - height(off) == pytest.approx(joint.depth_mm, abs=1e-9)
            # The flat face ends where the top width says: 0.1 mm on, a round of 0.5 mm has dropped 0.01 mm.
            for sign, face, slope in ((-1.0, first, slopes[0]), (1.0, second, slopes[1])):
                assert height(sign * top) == pytest.approx(face + slope * sign * top, abs=1e-9)
                assert height(sign * (top - 0.1)) < face + slope * sign * (top - 0.1) - 0.009
            # The wall stands where the width says: grout this side, rounded edge (radius down) that side.
            radius = floor.tiles.radius_mm
            for sign, face in ((-1.0, first), (1.0, second)):
                assert height(sign * (wall - tiny)) < face - radius
                # Just on the tile the round has dropped by the radius, less √(2 r tiny) ≈ 1e-3.
                assert height(sign * (wall + tiny)) == pytest.approx(face - radius, abs=0.02)


@pytest.mark.parametrize("bond", ["stack", "half", "third"])
@pytest.mark.parametrize("lip", [2.0, -2.5])
def test_a_bad_tile_has_its_lip_all_round(bond: str, lip: float) -> None:
    floor = tiled(np.random.default_rng(3), bond=bond, bad=((1500.0, 1200.0, lip),))
    at = floor.tiles.place(np.array([1500.0]), np.array([1200.0]))
    tile = (int(at.row[0]), int(at.col[0]))
    round_it = [joint for joint in true_joints(floor) if tile in (joint.first, joint.second)]
    assert len(round_it) == (4 if bond == "stack" else 6)
    for joint in round_it:
        up = 1.0 if joint.second == tile else -1.0
        assert joint.lip_start_mm * up == pytest.approx(lip, abs=ROUNDING_MM)
        assert joint.lip_end_mm * up == pytest.approx(lip, abs=ROUNDING_MM)


def test_lips_have_the_spread_asked_for() -> None:
    floor = make_floor(
        rectangle(20_000.0, 20_000.0), rng=np.random.default_rng(1), tiling=Tiling(lip_sd_mm=0.5, depth_mm=3.0)
    )
    lips = np.array([joint.lip_start_mm for joint in true_joints(floor)])
    # √2 · 0.5; some 4300 tiles give the sd to 1/√(2·4300) = 1.1 %, four times that allowed.
    assert np.std(lips) == pytest.approx(0.5 * np.sqrt(2.0), rel=0.045)


def test_faces_bridge_joints_and_agree_with_the_floor_elsewhere() -> None:
    floor = tiled(np.random.default_rng(2))
    truth = true_heights(floor, 3.0)
    at = floor.tiles.place(truth.x_mm[None, :] + 0 * truth.y_mm[:, None], truth.y_mm[:, None] + 0 * truth.x_mm)
    flat = floor.tiles.wall_distance_mm(at) > floor.tiles.radius_mm
    same = np.abs(truth.height_mm - truth.face_mm)
    assert np.nanmax(same[flat]) < ROUNDING_MM
    assert np.nanmax(truth.height_mm - truth.face_mm) <= ROUNDING_MM  # a face may only lie above
    # Share of joint: 1 − (300/304)² = 2.6 % and rounded edges 0.7 % more.
    assert np.isfinite(same).sum() * 0.02 < (same > 1e-6).sum() < np.isfinite(same).sum() * 0.045


def test_height_bounds_hold() -> None:
    floor = tiled(np.random.default_rng(8))
    x, y = np.random.default_rng(0).uniform(0.0, 2400.0, (2, 200_000))
    relief = floor.tiles.relief_mm(x, y)
    assert floor.tiles.lowest_mm <= relief.min()
    assert relief.max() <= floor.tiles.highest_mm


def test_the_same_seed_gives_the_same_floor_and_another_does_not() -> None:
    x, y = np.random.default_rng(0).uniform(0.0, 2000.0, (2, 1000))
    one, again, other = (tiled(np.random.default_rng(seed)).height_mm(x, y) for seed in (7, 7, 8))
    assert np.array_equal(one, again)
    assert np.abs(one - other).max() > 0.5


def test_l_shape_has_its_area_and_its_notch_is_outside() -> None:
    outline = l_shape(5000.0, 3000.0, 1200.0, 700.0)
    assert signed_area_mm2(outline) == pytest.approx(5000.0 * 3000.0 - 1200.0 * 700.0)
    x, y = np.array([4500.0, 3000.0, 4500.0, -1.0]), np.array([2700.0, 2700.0, 2000.0, 10.0])
    assert inside(outline, x, y).tolist() == [False, True, True, False]


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-100, 3500), st.floats(-100, 2600)), min_size=1, max_size=20),
    st.sampled_from(["stack", "half", "third"]),
)
def test_height_at_a_point_does_not_depend_on_its_company(points: list[tuple[float, float]], bond: str) -> None:
    floor = tiled(np.random.default_rng(4), bond=bond)
    x, y = np.array(points).T
    together = floor.height_mm(x, y)
    alone = [float(floor.height_mm(np.array(a), np.array(b))) for a, b in points]
    assert together == pytest.approx(alone, abs=ROUNDING_MM)


def test_what_cannot_be_a_floor_is_refused() -> None:
    with pytest.raises(ValueError, match="anticlockwise"):
        make_floor(rectangle(1000.0, 500.0)[::-1], rng=np.random.default_rng(0))
    with pytest.raises(ValueError, match="edge radius"):
        make_floor(rectangle(1000.0, 500.0), rng=np.random.default_rng(0), tiling=Tiling(depth_mm=0.4, radius_mm=0.5))
