"""Widths from photos computed ray by ray, with the truth known: what is measured, and what must be refused."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.measures.joints.stations import Stations
from flatscan.measures.joints.widths.measure import Widths, measure_widths
from flatscan.measures.joints.widths.refusal import MEASURED, REASONS, told_by_others
from flatscan.measures.joints.widths.strips import Places, pixels_of, strip_grid

SIZE = (520, 360)
#: 0.25 mm a pixel from 450 mm.
FOCAL = 1800.0
WIDTHS = np.array([3.0, 4.2, 5.5])
LEVEL = np.zeros(4)


def take(photos, scene, *, at=(0.0, 0.0, 450.0), aim=(0.0, 0.0), seed=0, **options):
    rng = np.random.default_rng(seed)
    given = {"size": SIZE, "focal": FOCAL, "fine": 2, "index": seed} | options
    return photos.photograph(scene, photos.pose(at, aim), rng=rng, **given)


def scene_of(photos, **options):
    given = {"width_mm": WIDTHS, "height_mm": LEVEL, "pitch_mm": 38.0, "texture": 0.02, "sky": True, "edge_mm": 0.7,
             "side": 0.35, "depth_mm": 2.0} | options  # fmt: skip
    return photos.JointScene(**given)


def measured(photos, scene, shots, *, lip=None, off_mm=0.7, reach_mm=20.0) -> tuple[Widths, np.ndarray]:
    stations = photos.stations_of(scene, spacing_mm=20.0, reach_mm=reach_mm, off_mm=off_mm)
    truth, true_lip = photos.truth_of(scene, stations)
    known = {} if lip is None else {"lip_mm": true_lip, "lip_u_mm": np.full(len(true_lip), lip)}
    widths = measure_widths(shots, photos.flat_surface(), stations, rng=np.random.default_rng(1), **known)
    return widths, truth


@pytest.mark.parametrize("grout", [0.12, 0.85])
def test_dark_and_light_joints_are_measured_alike(joint_photos, grout: float):
    """Blur 1.3 px of 0.25 mm, noise 4 levels, a line 0.7 mm off and 3 degrees of turn."""
    scene = scene_of(joint_photos, grout=grout, turn_rad=0.05, bend_mm=0.3)
    shots = [
        take(joint_photos, scene, seed=i, blur_px=1.3, noise_levels=4.0, at=(10.0 * i, 5.0, 450.0)) for i in (0, 1)
    ]
    widths, truth = measured(joint_photos, scene, shots)
    assert widths.refused == (None,) * len(truth)
    off = widths.wall_width_mm - truth
    # The bounce of light in the groove and the side's tone are other than assumed.
    assert abs(off.mean()) < 0.15
    assert np.abs(off / widths.u_mm).max() < 2.0
    assert widths.photos_used.tolist() == [2] * len(truth)
    assert widths.u_mm.min() > 0.05


def test_light_grout_is_measured_to_the_tiles_and_not_to_its_own_edges(joint_photos):
    """Under an even sky light grout shades off towards the walls: its light band alone would read far too narrow."""
    scene = scene_of(joint_photos, width_mm=np.array([4.5, 5.5, 6.5]), grout=0.7, side=0.225)
    widths, truth = measured(joint_photos, scene, [take(joint_photos, scene, blur_px=0.9)])
    said = np.isfinite(widths.wall_width_mm)
    assert said.sum() >= 6
    assert np.abs(widths.wall_width_mm - truth)[said].max() < 0.4


def test_a_lip_seen_from_the_side_is_corrected(joint_photos):
    """Lips of 1 and -1 mm seen at tan 0.4: wrong by 0.4 mm either way when taken as level, right when known."""
    scene = scene_of(joint_photos, height_mm=np.array([0.5, -0.5, 0.5, -0.5]))
    shot = [take(joint_photos, scene, at=(180.0, 0.0, 450.0))]
    known, truth = measured(joint_photos, scene, shot, lip=0.05)
    unknown, _ = measured(joint_photos, scene, shot)
    both = np.isfinite(known.wall_width_mm)
    assert both.sum() >= 6
    assert np.abs(known.wall_width_mm - truth)[both].max() < 0.3
    assert np.abs(unknown.wall_width_mm - truth)[both].min() > 0.2
    assert (np.abs(unknown.wall_width_mm - truth) < 2.0 * unknown.u_mm)[both].all()
    assert (unknown.budget["lip_view"] > known.budget["lip_view"])[both].all()


@pytest.mark.parametrize("grout", [0.12, 0.40, 0.85])
@pytest.mark.parametrize("rise", [0.35, 0.6, 1.0])
def test_shadows_in_the_joint_are_refused_or_do_no_harm(joint_photos, grout: float, rise: float):
    """A sun across the joints: the shadow takes 0 to all of a joint 2 mm deep. What is said is right to 0.6 mm."""
    scene = scene_of(joint_photos, grout=grout, side=grout, depth_mm=2.0, sun=(rise, 1.0), ambient=0.3)
    widths, truth = measured(joint_photos, scene, [take(joint_photos, scene)])
    said = np.isfinite(widths.wall_width_mm)
    assert np.abs(widths.wall_width_mm - truth)[said].max(initial=0.0) < 0.6


def test_a_shadow_over_half_the_joint_is_called_one(joint_photos):
    """Grout nearly as light as the tile: the dark band of 2 mm has two clean edges, and one of them is wrong."""
    scene = scene_of(
        joint_photos, width_mm=np.full(3, 5.0), grout=0.4, side=0.3, depth_mm=2.0, sun=(0.8, 1.0), ambient=0.3
    )
    widths, _ = measured(joint_photos, scene, [take(joint_photos, scene)])
    assert set(widths.refused) == {"shadow"}
    assert np.isnan(widths.wall_width_mm).all()
    assert np.isnan(widths.u_mm).all()


def test_a_photo_from_too_far_is_too_coarse(joint_photos):
    """0.83 mm a pixel: 5.5 mm has 6.6 px."""
    scene = scene_of(joint_photos)
    widths, _ = measured(joint_photos, scene, [take(joint_photos, scene, at=(0.0, 0.0, 1500.0))])
    assert set(widths.refused) == {"too_coarse"}


def test_a_blurred_photo_is_too_blurred(joint_photos):
    """Blur of 7 px = 1.75 mm: 3 mm is 1.7, 5.5 mm is 3.1 of them."""
    scene = scene_of(joint_photos, width_mm=np.array([3.0, 3.5, 4.2]))
    widths, _ = measured(joint_photos, scene, [take(joint_photos, scene, blur_px=7.0)])
    assert set(widths.refused) <= {"too_blurred", "no_edges"}
    assert "too_blurred" in widths.refused


def test_grout_like_the_tile_is_low_contrast(joint_photos):
    scene = scene_of(joint_photos, grout=0.43, side=0.43, sky=False, edge_mm=0.0)
    widths, _ = measured(joint_photos, scene, [take(joint_photos, scene)])
    assert set(widths.refused) <= {"low_contrast", "no_edges"}


def test_a_steep_photo_is_a_steep_view(joint_photos):
    """The tangent across is 0.75."""
    scene = scene_of(joint_photos)
    widths, _ = measured(joint_photos, scene, [take(joint_photos, scene, at=(340.0, 0.0, 450.0))])
    assert set(widths.refused) == {"steep_view"}


def test_along_the_joint_a_view_may_slant(joint_photos):
    """The tangent along is 0.75: rows crowd, the width across is as square as before."""
    scene = scene_of(joint_photos)
    shot = take(joint_photos, scene, at=(0.0, 340.0, 450.0), size=(700, 420))
    widths, truth = measured(joint_photos, scene, [shot])
    said = np.isfinite(widths.wall_width_mm)
    assert said.sum() >= 6
    assert np.abs(widths.wall_width_mm - truth)[said].max() < 0.3


def test_two_tones_meeting_are_no_joint(joint_photos):
    """Tiles laid without a joint, dark beside light."""
    scene = scene_of(joint_photos, width_mm=np.full(3, 1e-6), tile_tone=np.array([0.5, 0.2, 0.5, 0.2]))
    widths, _ = measured(joint_photos, scene, [take(joint_photos, scene)])
    assert set(widths.refused) <= {"no_edges", "low_contrast", "too_coarse", "too_blurred"}


def test_what_no_photo_shows(joint_photos):
    scene = scene_of(joint_photos)
    widths, _ = measured(joint_photos, scene, [])
    assert set(widths.refused) == {"no_photo"}
    away, _ = measured(joint_photos, scene, [take(joint_photos, scene, at=(900.0, 0.0, 450.0), aim=(900.0, 0.0))])
    assert set(away.refused) == {"no_photo"}


def test_no_stations_no_widths(joint_photos):
    none = Stations(np.empty(0, np.int32), np.empty(0), np.empty((0, 2)), np.empty((0, 2)), np.empty(0))
    widths = measure_widths([], joint_photos.flat_surface(), none, rng=np.random.default_rng(0))
    assert widths.refused == ()
    assert widths.wall_width_mm.shape == (0,)


def test_stains_over_some_rows_do_no_harm(joint_photos):
    scene = scene_of(joint_photos, stains=60, seed=5)
    clean = scene_of(joint_photos, stains=0, seed=5)
    widths, truth = measured(joint_photos, scene, [take(joint_photos, scene)])
    without, _ = measured(joint_photos, clean, [take(joint_photos, clean)])
    said = np.isfinite(widths.wall_width_mm)
    assert said.sum() >= 5
    assert np.isfinite(without.wall_width_mm).all()
    assert (np.abs(widths.wall_width_mm - truth) < 2.0 * widths.u_mm + 0.1)[said].all()


def test_photos_are_opened_once_and_one_after_the_other(joint_photos):
    scene = scene_of(joint_photos)
    shots = [take(joint_photos, scene, seed=i) for i in range(2)]
    events = []

    class Tracked:
        def track(self, items, **_told):
            for item in items:
                events.append(sum(shot.loads for shot in shots))
                yield item

    stations = joint_photos.stations_of(scene, spacing_mm=20.0, reach_mm=20.0)
    measure_widths(shots, joint_photos.flat_surface(), stations, rng=np.random.default_rng(1), progress=Tracked())
    assert [shot.loads for shot in shots] == [1, 1]
    assert events == [0, 1]


def test_the_same_photo_twice_says_the_same(joint_photos):
    scene = scene_of(joint_photos)
    shot = [take(joint_photos, scene)]
    first, _ = measured(joint_photos, scene, shot)
    second, _ = measured(joint_photos, scene, shot)
    assert np.array_equal(first.wall_width_mm, second.wall_width_mm, equal_nan=True)


def test_the_strip_lies_where_the_camera_sees_it(joint_photos):
    """The polynomial through control points against the camera itself, tilted, 400 mm away: within 0.01 px."""
    pose = joint_photos.pose((170.0, 90.0, 400.0))
    photo = joint_photos.StandInPhoto(0, pose, 3000.0, np.zeros((1500, 2000, 3), np.uint8))
    places = Places(np.array([[20.0, -10.0, 1.5]]), np.array([[0.6, 0.8]]), np.array([[0.8, -0.6]]), np.array([22.0]))
    grid = strip_grid(18.0, 0.1, 20, np.random.default_rng(0))
    pixels, inside = pixels_of(photo, places, grid)
    u, v = np.meshgrid(grid.across_mm, grid.along * 22.0)
    flat = places.at_mm[0, :2] + u[..., None] * places.left[0] + v[..., None] * places.along[0]
    points = np.concatenate([flat, np.full((*u.shape, 1), 1.5)], axis=-1).reshape(-1, 3)
    assert inside.all()
    assert np.abs(pixels[0].reshape(-1, 2) - photo.project(points)[0]).max() < 0.01


def test_neighbours_in_the_same_light_give_a_shadow_away():
    """Four in ten of one way, an eighth of the photo: that way is doubted. A quarter of the photo: all of it is."""
    shadow, no_edges = REASONS.index("shadow"), REASONS.index("no_edges")
    along = np.array([[1.0, 0.0]] * 10 + [[0.0, 1.0]] * 22)
    reason = np.array([shadow] * 4 + [MEASURED] * 28, dtype=np.int8)
    assert told_by_others(reason, along, np.ones(32)).tolist() == [shadow] * 10 + [MEASURED] * 22
    assert told_by_others(reason[:16], along[:16], np.ones(16)).tolist() == [shadow] * 16
    soft = told_by_others(np.full(8, MEASURED, np.int8), along[:8], np.array([1.0] * 7 + [2.0]))
    assert soft.tolist() == [MEASURED] * 7 + [shadow]
    hardly = told_by_others(
        np.array([no_edges] * 6 + [MEASURED] * 5, np.int8), np.tile([1.0, 0.0], (11, 1)), np.ones(11)
    )
    assert hardly.tolist() == [no_edges] * 11


def test_a_strip_of_mortar_is_no_joint(joint_photos):
    """19 mm between two tiles is what is left of a tile; widths are looked for up to 16 mm."""
    scene = scene_of(joint_photos, width_mm=np.array([19.0, 19.0, 19.0]), pitch_mm=60.0, grout=0.12)
    widths, truth = measured(joint_photos, scene, [take(joint_photos, scene)])
    assert len(truth) > 0
    assert all(why is not None for why in widths.refused)
