"""Joint finding on photos that scikit-image carries (skimage.data; sources and licences in its README).

``brick``: a brick floor seen at a slant. Counted by hand in the picture: twelve rows lie between the joints at x = 10
and x = 510 at its lower edge (pitch 41.8 px), and twelve between x = 42 and x = 398 at its upper edge (29.7 px),
fanning about the upright joint at x = 220. Those four corners undo the slant, after which a row is 40 px.
"""

from __future__ import annotations

import importlib.util
import math
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
from skimage import data

from flatscan.measures.joints.finding.find import find_network
from flatscan.settings import JointSettings


def _drawn_floors():
    path = Path(__file__).parents[1] / "oracles" / "drawn_floors.py"
    spec = importlib.util.spec_from_file_location("drawn_floors", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["drawn_floors"] = module
    spec.loader.exec_module(module)
    return module


floors = _drawn_floors()


def found_in(picture, pixel_mm):
    linear = (picture.astype(np.float32) / 255.0) ** 2.2
    return find_network([floors.as_picture(linear, pixel_mm)], JointSettings())


def brick_from_above():
    at_top, at_foot = 6 * 29.7, 6 * 41.8
    seen = np.float32([(220 - at_top, 0), (220 + at_top, 0), (220 + at_foot, 511), (220 - at_foot, 511)])
    flat = np.float32([(20, 0), (500, 0), (500, 700), (20, 700)])
    return cv2.warpPerspective(data.brick(), cv2.getPerspectiveTransform(seen, flat), (500, 700))


@pytest.mark.parametrize("pixel_mm", [1.0, 2.0])
def test_brick_rows_bond_and_pitch(pixel_mm):
    network = found_in(brick_from_above(), pixel_mm)
    tile = network.format
    # Corners read to 1 px over twelve rows: 40 px within 0.2 px; the bricks' own scatter is about 0.3 px.
    assert tile.pitch_short.value == pytest.approx(40 * pixel_mm, abs=0.5 * pixel_mm)
    # By hand: three bricks from y = 151 to 616 in one row, three from 227 to 691 in another: 155 px; read to 1 px, and
    # the bricks are not alike.
    assert tile.pitch_long.value == pytest.approx(155 * pixel_mm, abs=2.5 * pixel_mm)
    assert math.degrees(abs(tile.direction_rad - math.pi / 2)) < 0.5
    # Rows are shifted by about a quarter, by eye between a fifth and a third, and not the same all over.
    assert tile.bond in {"running", "mixed"}
    # The twelve upright joints run through from top to bottom: 12 times about 690 px.
    upright = sum(p.length_mm for p in network.pieces if abs(p.end[1] - p.start[1]) > abs(p.end[0] - p.start[0]))
    assert upright > 0.93 * 12 * 680 * pixel_mm


@pytest.mark.parametrize("name", ["gravel", "grass", "moon", "coins"])
@pytest.mark.parametrize("pixel_mm", [0.5, 1.0, 2.0, 4.0])
def test_no_joints_in_gravel_grass_moon_or_coins(name, pixel_mm):
    network = found_in(getattr(data, name)(), pixel_mm)
    assert network.pieces == ()
    assert [c.name for c in network.caveats] == ["no_joints_found"]
