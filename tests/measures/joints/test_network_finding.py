"""The network found in drawn floors: right joints, right format, and the same floor turned, mirrored or relit."""

from __future__ import annotations

import importlib.util
import math
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely

from flatscan.measures.joints.finding.find import find_network
from flatscan.settings import JointSettings


def _drawn_floors():
    path = Path(__file__).parents[2] / "oracles" / "drawn_floors.py"
    spec = importlib.util.spec_from_file_location("drawn_floors", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["drawn_floors"] = module
    spec.loader.exec_module(module)
    return module


floors = _drawn_floors()
HALF = {"bond": "half", "long_mm": 200.0, "short_mm": 100.0, "joint_mm": 3.0, "size_mm": (840.0, 610.0)}


def find(tone, pixel_mm=1.0, **kw):
    return find_network([floors.as_picture(tone, pixel_mm, **kw)], JointSettings())


def ends(network):
    return np.array([(p.start, p.end) for p in network.pieces])


def alike(one, other, within_mm=1.0):
    """Share of either within a pixel of the other, but for the strip where one flank is out of the picture."""
    inner = shapely.MultiPoint(np.asarray(other).reshape(-1, 2)).envelope.buffer(-20.0)
    return min(
        floors.share_near(floors.clip(one, inner), other, within_mm),
        floors.share_near(floors.clip(other, inner), one, within_mm),
    )


@pytest.mark.parametrize(
    ("laid", "bond", "shift"),
    [
        ({"bond": "stack", "long_mm": 200.0, "short_mm": 150.0}, "stack", None),
        ({"bond": "half", "long_mm": 200.0, "short_mm": 100.0}, "running", 0.5),
        ({"bond": "third", "long_mm": 240.0, "short_mm": 120.0, "angle_rad": 0.5, "contrast": -0.15}, "running", 1 / 3),
        ({"bond": "herringbone", "long_mm": 240.0, "short_mm": 80.0, "angle_rad": 0.2}, "herringbone", None),
    ],
)
def test_joints_and_format_of_a_drawn_floor(laid, bond, shift):
    drawn = floors.draw(np.random.default_rng(3), size_mm=(1100.0, 830.0), stains=0.1, **laid)
    network = find(drawn.tone)
    precision, recall = floors.score(network, drawn)
    assert precision > 0.98
    assert recall > 0.95
    tile = network.format
    for found, true in ((tile.pitch_long, laid["long_mm"]), (tile.pitch_short, laid["short_mm"])):
        # Three standard uncertainties: a fair figure fails once in 400.
        assert abs(found.value - true) < 3 * found.u
    assert tile.bond == bond
    if shift is None:
        assert tile.shift is None
    else:
        assert tile.shift == pytest.approx(shift, abs=0.02)
    assert tile.share > 0.9


def test_every_face_is_anticlockwise_and_lies_on_the_side_its_pieces_say():
    network = find(floors.draw(np.random.default_rng(1), **HALF).tone)
    polygons = [shapely.Polygon(face.ring) for face in network.faces]
    assert len(polygons) >= 8
    assert all(p.exterior.is_ccw for p in polygons)
    for piece in network.pieces:
        way = np.subtract(piece.end, piece.start) / piece.length_mm
        left = np.array([-way[1], way[0]])
        middle = np.add(piece.start, piece.end) / 2
        for side, sign in zip(piece.faces, (1, -1), strict=True):
            inside = [k for k, p in enumerate(polygons) if p.contains(shapely.Point(middle + sign * 5 * left))]
            assert inside == ([] if side is None else [side])


@pytest.fixture(scope="module")
def floor():
    drawn = floors.draw(np.random.default_rng(5), angle_rad=0.1, **HALF)
    return drawn.tone, ends(find(drawn.tone))


def test_mirrored_and_turned_floor_gives_the_same_network(floor):
    tone, lines = floor
    width, height = tone.shape[1], tone.shape[0]
    mirrored = lines * (-1, 1) + (width, 0)
    assert alike(ends(find(tone[:, ::-1])), mirrored) > 0.98
    # Transposing swaps x and y: with the mirror it is a quarter turn.
    turned = lines[..., ::-1] * (-1, 1) + (height, 0)
    assert alike(ends(find(tone.T[:, ::-1])), turned) > 0.98


@pytest.mark.parametrize(("times", "plus"), [(0.2, 0.0), (1.0, 40.0), (-1.0, 1.0)])
def test_brightness_does_not_matter_nor_does_light_for_dark(floor, times, plus):
    tone, lines = floor
    assert alike(ends(find(times * tone + plus)), lines) > 0.99


def test_moved_picture_gives_the_moved_network(floor):
    tone, lines = floor
    assert np.abs(ends(find(tone, origin_mm=(1e5, -3e4))) - (1e5, -3e4) - lines).max() < 1e-6
    # Cut off at the left: what remains is found where it was.
    cut = ends(find(tone[:, 203:])) + np.array([203.0, 0.0])
    inner = floors.clip(lines, shapely.box(260, 20, tone.shape[1] - 60, tone.shape[0] - 20))
    assert floors.share_near(inner, cut, 1.0) > 0.98


def test_l_shape_with_a_column_unseen_keeps_to_what_was_seen():
    drawn = floors.draw(np.random.default_rng(8), hole=True, **{**HALF, "size_mm": (1100.0, 830.0)})
    network = find(drawn.tone)
    precision, recall = floors.score(network, drawn)
    assert precision > 0.98
    assert recall > 0.95
    at, _, _ = floors.sample(ends(network))
    row, col = np.floor(at[:, ::-1]).astype(int).T
    unseen = np.isnan(drawn.tone[np.clip(row, 0, 829), np.clip(col, 0, 1099)])
    assert unseen.mean() < 0.02


def test_print_within_the_tiles_and_a_shadow_edge_are_no_joints():
    drawn = floors.draw(
        np.random.default_rng(9),
        bond="stack",
        long_mm=200.0,
        short_mm=200.0,
        pattern=0.1,
        shadow=0.5,
        size_mm=(900, 700),
    )
    precision, recall = floors.score(find(drawn.tone), drawn)
    assert precision > 0.98
    assert recall > 0.95


@pytest.mark.parametrize("shape", [(1, 1), (7, 12), (300, 5), (400, 500)])
@pytest.mark.parametrize("fill", [0.5, math.nan])
def test_nothing_in_the_picture_is_a_result(shape, fill):
    network = find(np.full(shape, fill))
    assert network.pieces == ()
    assert network.faces == ()
    assert [c.name for c in network.caveats] == ["no_joints_found"]
    assert "1 mm a pixel" in network.how


def test_noise_has_no_joints_and_no_picture_is_no_error():
    rng = np.random.default_rng(0)
    assert find(rng.standard_normal((600, 700))).pieces == ()
    network = find_network([], JointSettings())
    assert network.pieces == ()
    # Where nothing was looked at nothing is said of what may be there.
    assert network.caveats == ()
    assert "not looked for" in network.how


def lipped(rng, lips_mm):
    """Heights with tiles of 200 x 150 mm: 1.5 mm deep joints of 4 mm, and faces that differ by chance."""
    rows, cols = np.mgrid[0:300, 0:400] * 2.0
    lips = lips_mm * rng.standard_normal((10, 10))
    height = lips[(rows // 150).astype(int), (cols // 200).astype(int)]
    return height, np.minimum(np.minimum(rows % 150, 150 - rows % 150), np.minimum(cols % 200, 200 - cols % 200))


def test_lips_alone_show_in_heights_but_a_step_in_tone_does_not():
    rng = np.random.default_rng(2)
    height, _ = lipped(rng, 1.0)
    relief = (height + 0.1 * rng.standard_normal(height.shape)).astype(np.float32)
    # 4.2 m of joint; lips of less than the noise by chance stay unseen.
    assert find(relief, 2.0, kind="heights").length_mm > 2500.0
    assert find(relief, 2.0, kind="photos").length_mm == 0.0


def test_two_pictures_are_united_and_say_so():
    rng = np.random.default_rng(4)
    drawn = floors.draw(rng, bond="stack", long_mm=200.0, short_mm=150.0, size_mm=(800.0, 600.0))
    photo = drawn.tone.copy()
    photo[:, 500:] = np.nan
    y, x = (np.mgrid[0:300, 0:400] + 0.5) * 2.0
    lines = shapely.union_all(shapely.linestrings(floors.shared_edges(drawn.tiles)))
    shapely.prepare(lines)
    in_joint = shapely.dwithin(lines, shapely.points(x, y), 2.0)
    heights = -1.5 * in_joint + 0.2 * rng.standard_normal(x.shape)
    pictures = [floors.as_picture(photo, 1.0), floors.as_picture(heights, 2.0, kind="heights")]
    network = find_network(pictures, JointSettings())
    precision, recall = floors.score(network, drawn)
    assert network.found_in == "both"
    # Two thirds of the floor are in the photo; all of it is in the heights.
    assert precision > 0.97
    assert recall > 0.95
    assert network.format.bond == "stack"


@pytest.mark.parametrize(
    ("stated", "named"), [((190.0, 92.0), True), ((195.0, 95.0), False), ((196.9, 97.1), False), (None, False)]
)
def test_stated_tile_size_checks_the_scale(stated, named):
    # 197 x 97 mm tiles with 3 mm joints; 195 x 95 mm with 5 mm joints would look the same.
    network = find_network(
        [floors.as_picture(floors.draw(np.random.default_rng(1), **HALF).tone, 1.0)], JointSettings(tile_mm=stated)
    )
    assert ("tile_size_disagrees" in [c.name for c in network.caveats]) is named
