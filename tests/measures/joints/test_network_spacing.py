"""A known tile helps to believe faint lines a tile away from clear ones."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np

from flatscan.measures.joints.finding.find import find_network
from flatscan.measures.joints.finding.spacing import at_tile_distance
from flatscan.settings import JointSettings


def test_only_parallel_pieces_a_tile_and_a_joint_away_count() -> None:
    pieces = np.array(
        [
            [(0.0, 0.0), (300.0, 0.0)],  # clear
            [(20.0, 204.0), (280.0, 204.0)],  # a side of 200 and a joint of 4
            [(280.0, -204.0), (20.0, -204.0)],  # the same below, the other way round
            [(0.0, 190.0), (300.0, 190.0)],  # nearer than a tile
            [(0.0, 230.0), (300.0, 230.0)],  # farther than tile and joint
            [(900.0, 204.0), (1200.0, 204.0)],  # right distance, but not beside it
            [(204.0, 0.0), (204.0, 300.0)],  # square to it
        ]
    )
    clear = np.array([True] + [False] * 6)
    found = at_tile_distance(pieces, clear, (300.0, 200.0))
    assert found.tolist() == [False, True, True, False, False, False, False]


def test_nothing_clear_nothing_told() -> None:
    assert not at_tile_distance(np.zeros((3, 2, 2)), np.zeros(3, dtype=bool), (300.0, 300.0)).any()


def test_more_of_a_faint_floor_is_found_with_its_tile_and_none_of_it_wrong() -> None:
    """Joints 5 % darker than their tiles in noise of 2 % a pixel: 8.5 m instead of 7.5 m of 12.2 m when written."""
    path = Path(__file__).parents[2] / "oracles" / "drawn_floors.py"
    spec = importlib.util.spec_from_file_location("drawn_floors_faint", path)
    floors = importlib.util.module_from_spec(spec)
    sys.modules["drawn_floors_faint"] = floors
    spec.loader.exec_module(floors)
    drawn = floors.draw(
        np.random.default_rng(501), bond="half", long_mm=300.0, short_mm=200.0, joint_mm=5.0, contrast=0.04,
        noise=0.02, mottle=0.015, tile_spread=0.02,
    )  # fmt: skip
    picture = floors.as_picture(drawn.tone, drawn.pixel_mm)
    alone = find_network([picture], JointSettings())
    helped = find_network([picture], JointSettings(tile_mm=(295.0, 195.0)))
    assert helped.length_mm >= alone.length_mm
    assert floors.score(helped, drawn)[0] > 0.95
