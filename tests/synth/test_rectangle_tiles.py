"""Fields of rectangles are what they claim: joints against shapely's distances, heights against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import LineString, MultiPolygon, Point, Polygon, STRtree, box

from flatscan.synth.outline import l_shape, rectangle
from flatscan.synth.patterns import PATTERNS
from flatscan.synth.rays import FLOOR, cast
from flatscan.synth.rectangles import RectangleField
from flatscan.synth.scene import Scene
from flatscan.synth.shape import Tilt
from flatscan.synth.tiled_room import Repair, tiled_scene
from flatscan.synth.truth import TrueJoint, true_joints

#: Heights are sums of a few terms of at most 100 mm in float64, positions of at most 1e4 mm turned and turned back.
ROUNDING_MM = 1e-9
SIZES = {"herringbone": (280.0, 70.0), "boards": (600.0, 90.0), "mixed": (120.0, 150.0)}


def room(pattern: str, seed: int = 5, **changes: object) -> Scene:
    options = {
        "pattern": pattern, "size_mm": SIZES.get(pattern, (210.0, 140.0)), "turn_rad": 0.4,
        "outline_mm": l_shape(1900.0, 1300.0, 700.0, 500.0), "joint_sd_mm": 0.5, "depth_sd_mm": 0.3,
        "lip_sd_mm": 0.4, "tilt_sd_mm_per_m": 2.0, "tilt": Tilt(4.0, 1.0), "waves_rms_mm": 1.0,
        "missing": ((600.0, 900.0),), "broken": ((300.0, 300.0),),
        "repairs": (Repair(box_mm=(800.0, 300.0, 1200.0, 700.0), size_mm=(90.0, 90.0), raised_mm=0.8),),
    } | changes  # fmt: skip
    return tiled_scene(np.random.default_rng(seed), **options)


def walls_of(field: RectangleField, tile: int) -> Polygon:
    """The tile's sides as a polygon of the room."""
    ring = np.array(box(*field.wall_mm[tile]).exterior.coords)
    return Polygon(np.column_stack(field.room_from_field(ring[:, 0], ring[:, 1])))


@pytest.mark.parametrize("pattern", PATTERNS)
def test_joints_run_midway_between_walls_their_width_apart(pattern: str) -> None:
    floor = room(pattern).floor
    joints = true_joints(floor)
    assert len(joints) > 60
    for joint in joints:
        first, second = (walls_of(floor.tiles, tile[0]) for tile in (joint.first, joint.second))
        assert first.distance(second) == pytest.approx(joint.width_mm, abs=ROUNDING_MM)
        for end in (joint.start_mm, joint.end_mm):
            for tile in (first, second):
                assert tile.distance(Point(end)) == pytest.approx(joint.width_mm / 2.0, abs=ROUNDING_MM)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_no_joint_is_left_out_and_none_runs_past_a_node(pattern: str) -> None:
    """Spots by chance: a spot between two tiles that face each other there lies on their joint, and only there."""
    scene = room(pattern)
    floor, field = scene.floor, scene.floor.tiles
    tiles = np.flatnonzero(~field.mortar)
    walls = [walls_of(field, tile) for tile in tiles]
    tree = STRtree(walls)
    mortar = MultiPolygon([walls_of(field, tile) for tile in np.flatnonzero(field.mortar)])
    joints = true_joints(floor)
    bodies = STRtree([LineString([j.start_mm, j.end_mm]).buffer(j.width_mm / 2.0, cap_style="flat") for j in joints])
    rng = np.random.default_rng(1)
    x, y = rng.uniform((0.0, 0.0), (1900.0, 1300.0), (20_000, 2)).T
    at = field.place(x, y)
    grout = floor.inside(x, y) & (field.wall_distance_mm(at) < 0)
    seen = 0
    for px, py in zip(x[grout], y[grout], strict=True):
        spot = Point(px, py)
        near = tree.query(spot, predicate="dwithin", distance=8.0)
        # The spot's nearest points on two tiles and the spot lie on one line when the tiles face each other there.
        faced = set()
        for a in near:
            for b in near:
                if a < b:
                    gap = walls[a].distance(spot) + walls[b].distance(spot)
                    if gap == pytest.approx(walls[a].distance(walls[b]), abs=1e-9):
                        faced.add((int(tiles[a]), int(tiles[b])))
        on = {
            tuple(sorted((joints[k].first[0], joints[k].second[0])))
            for k in bodies.query(spot)
            if bodies.geometries[k].contains(spot)
        }
        if faced or on:
            seen += 1
        # Two tiles may face each other across a sliver of mortar: no joint, whatever shapely says.
        if not near_wall(floor.outline_mm, spot) and mortar.distance(spot) > 12.0:
            assert on == faced, (px, py)
    assert seen > 150


def near_wall(outline_mm: np.ndarray, spot: Point) -> bool:
    """A joint that a wall cuts at a slant ends, square, where its centre line does: by half a width at most."""
    return bool(Polygon(outline_mm).exterior.distance(spot) < 10.0)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_heights_across_a_joint_are_those_of_its_truth(pattern: str) -> None:
    floor = room(pattern).floor
    checked = 0
    for joint in true_joints(floor)[::3]:
        length = np.hypot(*np.subtract(joint.end_mm, joint.start_mm))
        if length > 20.0:
            check_heights(floor, joint)
            checked += 1
    assert checked > 15


def check_heights(floor: object, joint: TrueJoint) -> None:
    start, end = np.array(joint.start_mm), np.array(joint.end_mm)
    along = (end - start) / np.linalg.norm(end - start)
    # From the first tile to the second.
    towards = walls_of(floor.tiles, joint.second[0]).centroid
    across = np.array([-along[1], along[0]])
    across *= np.sign((np.array([towards.x, towards.y]) - start) @ across)
    for share in (0.01, 0.5, 0.99):
        at = start + share * (end - start)

        def height(offset: float, at: np.ndarray = at) -> float:
            p = at + offset * across
            return float(floor.height_mm(p[0], p[1]) - floor.shape_mm(p[0], p[1]))

        wall, top, radius = joint.width_mm / 2.0, joint.top_width_mm / 2.0, floor.tiles.radius_mm
        grout = height(0.0)
        # Near a corner of a tile both of its edges are rounded: faces are read there from a little further along.
        if share != 0.5:
            assert grout < min(height(-top - 1.0), height(top + 1.0)) - 0.5
            continue
        first = height(-top - 1.0) + (height(-top - 1.0) - height(-top - 2.0)) * (top + 1.0)
        second = height(top + 1.0) + (height(top + 1.0) - height(top + 2.0)) * (top + 1.0)
        assert second - first == pytest.approx(joint.lip_at_mm(share), abs=1e-8)
        assert min(first, second) - grout == pytest.approx(joint.depth_mm, abs=1e-8)
        for sign, face in ((-1.0, first), (1.0, second)):
            assert height(sign * (wall - 1e-6)) < face - radius
            # Just on the tile the round has dropped by the radius, less √(2 r tiny) ≈ 1e-3; the face tilts by 2 mm/m.
            assert height(sign * (wall + 1e-6)) == pytest.approx(face - radius, abs=0.03)
            slope = height(sign * (top + 2.0)) - height(sign * (top + 1.0))
            assert height(sign * top) == pytest.approx(face + slope * top, abs=1e-8)
            assert height(sign * (top - 0.1)) < face + slope * (top - 0.1) - 0.009


@pytest.mark.parametrize("pattern", PATTERNS)
def test_lips_at_the_ends_are_differences_of_the_two_faces(pattern: str) -> None:
    """Faces as planes through three points of each tile's flat, by least squares of nothing but heights."""
    floor = room(pattern).floor

    def plane(tile: int) -> np.ndarray:
        x0, y0, x1, y1 = floor.tiles.wall_mm[tile]
        inset = np.array([[0.3, 0.3], [0.7, 0.35], [0.4, 0.7]])
        spots = np.column_stack(floor.tiles.room_from_field(x0 + inset[:, 0] * (x1 - x0), y0 + inset[:, 1] * (y1 - y0)))
        rise = floor.height_mm(*spots.T) - floor.shape_mm(*spots.T)
        return np.linalg.solve(np.column_stack([spots, np.ones(3)]), rise)

    for joint in true_joints(floor)[::2]:
        first, second = plane(joint.first[0]), plane(joint.second[0])
        for end, lip in ((joint.start_mm, joint.lip_start_mm), (joint.end_mm, joint.lip_end_mm)):
            # Planes from three points some 40 mm apart, used up to 600 mm away.
            assert (second - first) @ np.array([*end, 1.0]) == pytest.approx(lip, abs=1e-7)


def test_a_herringbone_tile_meets_six_others_where_the_pattern_says() -> None:
    """A tile of k short sides: two long neighbours over k − 1 of them, four over one, each less a joint."""
    scene = room("herringbone", joint_sd_mm=0.0, missing=(), broken=(), repairs=(), joint_mm=4.0)
    field = scene.floor.tiles
    tile = int(field.place(np.array([650.0]), np.array([600.0])).row[0])
    lengths = sorted(
        float(np.hypot(*np.subtract(j.end_mm, j.start_mm)))
        for j in true_joints(scene.floor)
        if tile in (j.first[0], j.second[0])
    )
    # 280 and 70 mm with 4 mm joints are 284 and 74: the long side becomes 4 · 74 = 296.
    assert lengths == pytest.approx([70.0] * 4 + [3 * 74.0 - 4.0] * 2, abs=ROUNDING_MM)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_joints_end_at_the_walls_and_none_runs_along_one(pattern: str) -> None:
    floor = room(pattern, turn_rad=0.0).floor
    inside = Polygon(floor.outline_mm).buffer(1e-6)
    lines = [LineString([j.start_mm, j.end_mm]) for j in true_joints(floor)]
    assert all(line.within(inside) for line in lines)
    # Some joint must reach each long wall.
    assert min(line.bounds[1] for line in lines) == pytest.approx(0.0, abs=1e-6)
    along_wall = [line for line in lines if line.within(inside.exterior.buffer(1.5))]
    assert all(line.length < 5.0 for line in along_wall)


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("lip", [2.0, -1.4])
def test_a_bad_tile_has_its_lip_all_round(pattern: str, lip: float) -> None:
    floor = room(pattern, bad=((1000.0, 250.0, lip),), repairs=()).floor
    tile = (int(floor.tiles.place(np.array([1000.0]), np.array([250.0])).row[0]), 0)
    round_it = [joint for joint in true_joints(floor) if tile in (joint.first, joint.second)]
    assert len(round_it) >= 4
    for joint in round_it:
        up = 1.0 if joint.second == tile else -1.0
        assert joint.lip_start_mm * up == pytest.approx(lip, abs=ROUNDING_MM)
        assert joint.lip_end_mm * up == pytest.approx(lip, abs=ROUNDING_MM)


def test_mortar_fills_its_tile_and_the_joints_beside_it() -> None:
    scene = room("stack", missing=((600.0, 900.0),), broken=())
    field = scene.floor.tiles
    tile = int(field.place(np.array([600.0]), np.array([900.0])).row[0])
    assert field.mortar[tile]
    assert not [j for j in true_joints(scene.floor) if tile in (j.first[0], j.second[0])]
    x0, y0, x1, y1 = field.cell_mm[tile]
    y = np.full(41, 0.5 * (y0 + y1))
    x = np.linspace(x0 - 1.2, x1 + 1.2, 41)  # joints are at least 1.2 mm either side of the cell's edge
    px, py = field.room_from_field(x, y)
    index = np.full(41, tile)
    assert field.relief_mm(px, py) == pytest.approx(field.face_of(index, index, px, py), abs=ROUNDING_MM)


def test_a_broken_tile_keeps_its_face_on_what_is_left() -> None:
    whole, broken = (room("stack", broken=where, missing=()).floor for where in ((), ((300.0, 300.0),)))
    assert broken.tiles.mortar.sum() == whole.tiles.mortar.sum() + 1
    tile = int(whole.tiles.place(np.array([300.0]), np.array([300.0])).row[0])
    x0, y0, x1, y1 = whole.tiles.wall_mm[tile]
    # At least half of it is left at the low end.
    x, y = whole.tiles.room_from_field(x0 + 0.4 * (x1 - x0), 0.5 * (y0 + y1))
    assert float(broken.height_mm(x, y)) == pytest.approx(float(whole.height_mm(x, y)), abs=ROUNDING_MM)


def test_widths_depths_and_lips_have_the_means_and_spreads_asked_for() -> None:
    scene = tiled_scene(
        np.random.default_rng(2), pattern="stack", size_mm=(200.0, 200.0), outline_mm=rectangle(9000.0, 7000.0),
        joint_mm=4.5, joint_sd_mm=0.6, depth_mm=2.5, depth_sd_mm=0.25, lip_sd_mm=0.3, tilt_sd_mm_per_m=0.0,
    )  # fmt: skip
    joints = true_joints(scene.floor)
    n = len(joints)  # some 3000: means to sd/√n, spreads to 1/√(2n) = 1.3 %, four times that allowed
    assert n > 2500
    for values, mean, sd in (
        ([j.width_mm for j in joints], 4.5, 0.6),
        # Depths of one tile's four joints share half of their variance: the spread is known half as well.
        ([j.depth_mm for j in joints], 2.5, 0.25),
        ([j.lip_start_mm for j in joints], 0.0, 0.3 * np.sqrt(2.0)),
    ):
        assert np.mean(values) == pytest.approx(mean, abs=8.0 * sd / np.sqrt(n))
        assert np.std(values) == pytest.approx(sd, rel=0.08)


def test_rays_meet_rectangles_where_the_slow_twin_does() -> None:
    """The twin walks each ray in 1 µm steps of height; the first point below the floor is the hit."""
    scene = room("herringbone")
    rng = np.random.default_rng(3)
    origin = np.array([600.0, 500.0, 700.0])
    azimuth, down = rng.uniform(0.0, 2.0 * np.pi, 150), np.deg2rad(rng.uniform(50.0, 80.0, 150))
    ray = np.stack([np.cos(azimuth) * np.cos(down), np.sin(azimuth) * np.cos(down), -np.sin(down)], axis=1)
    hits = cast(scene, origin, ray)
    assert (hits.surface == FLOOR).sum() > 100
    off = []
    for k in np.flatnonzero(hits.surface == FLOOR):
        t = np.linspace((15.0 - origin[2]) / ray[k, 2], (-15.0 - origin[2]) / ray[k, 2], 30_001)
        point = origin + t[:, None] * ray[k]
        first = t[np.argmax(point[:, 2] <= scene.floor.height_mm(point[:, 0], point[:, 1]))]
        off.append((hits.distance[k] - first) / (t[1] - t[0]))
    # One step of the twin; the march may step over an edge that is grazed for less than its 0.4 mm.
    assert np.mean(np.abs(off) > 1.01) < 0.02


def test_what_cannot_be_laid_is_refused() -> None:
    with pytest.raises(ValueError, match="edge radius"):
        room("stack", depth_mm=0.4, radius_mm=0.5)
    with pytest.raises(ValueError, match="as large as a tile"):
        room("stack", repairs=(Repair(box_mm=(500.0, 500.0, 505.0, 505.0), size_mm=(50.0, 50.0)),))
    one = np.array([[0.0, 0.0, 100.0, 100.0], [50.0, 0.0, 150.0, 100.0]])
    zero = np.zeros(2)
    with pytest.raises(ValueError, match="lies on another"):
        RectangleField((0.0, 0.0), 0.0, one, one, zero + 2.0, zero, zero, zero, 0.5, np.zeros(2, dtype=bool))
