"""Survey files: metres on the map become floor-frame mm, words become kinds, nothing asked for is nothing said."""

from __future__ import annotations

import hashlib
from dataclasses import astuple
from pathlib import Path
from typing import get_args

import numpy as np
import pytest

from flatscan.sources import read
from flatscan.sources.survey import Survey, ZoneKind, read_survey
from flatscan.sources.table import choose

KITCHEN = Path(__file__).parents[3] / "sample_scans" / "old_tiled_kitchen"
FULL = """
[levelling]
greatest_build_up_mm = 8
remove_hollow_mm = 14
movement_joints = [[[0, 2.4], [2.5, 2.4], [5.1, 2.4]]]
dams = [[1.0, 0], [1.0, 0.9]]

[[door]]
name = "hall door"
line = [[0.5, 0], [1.4, 0]]
greatest_build_up_mm = 3

[[door]]
line = [[0, 1], [0, 2]]

[[zone]]
name = "drain"
kind = "no fill"
corners = [[1, 1], [2, 1], [2, 1.25], [1, 1]]

[[zone]]
kind = "fixed height"
corners = [[3, 1], [4, 1], [4, 1.5]]

[[zone]]
name = "cracked tiles"
kind = "tiles come out"
tiles_at = [[0.45, 1.2], [0.75, 1.2]]
depth_mm = 12.5
"""


def survey_of(folder: Path, text: str) -> Survey:
    path = folder / "survey.toml"
    path.write_text(text, encoding="utf-8")
    return read_survey(path)


def test_a_full_file(tmp_path):
    survey = survey_of(tmp_path, FULL)
    assert (survey.greatest_build_up_mm, survey.remove_hollow_mm) == (8.0, 14.0)
    assert survey.movement_joints_mm == (((0.0, 2400.0), (2500.0, 2400.0), (5100.0, 2400.0)),)
    assert survey.dams_mm == (((1000.0, 0.0), (1000.0, 900.0)),)
    hall, other = survey.doors
    assert (hall.name, hall.line_mm, hall.greatest_build_up_mm) == ("hall door", ((500.0, 0.0), (1400.0, 0.0)), 3.0)
    assert (other.name, other.greatest_build_up_mm) == ("door 2", None)
    drain, fixed, tiles = survey.zones
    assert (drain.kind, drain.name, drain.value_mm) == ("no_fill", "drain", None)
    # A ring that was closed by hand is not closed twice.
    np.testing.assert_array_equal(drain.polygon_mm, [[1000, 1000], [2000, 1000], [2000, 1250]])
    assert (fixed.name, fixed.value_mm, fixed.tiles_at_mm) == ("zone 2", 0.0, ())
    assert (tiles.polygon_mm, tiles.tiles_at_mm, tiles.value_mm) == (None, ((450.0, 1200.0), (750.0, 1200.0)), 12.5)


def test_an_empty_file_asks_for_nothing(tmp_path):
    survey = survey_of(tmp_path, "# nothing yet\n")
    assert astuple(survey)[1:-1] == astuple(Survey(file=survey.file))[1:-1]
    assert survey.data == b"# nothing yet\n"
    path = tmp_path / "survey.toml"
    assert (survey.file.path, survey.file.kind) == (path, "survey")
    assert survey.file.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize("kind", get_args(ZoneKind))
def test_every_kind_by_its_own_name_and_by_words(tmp_path, kind):
    words = {
        "no_fill": "No fill",
        "no_grind": "no grinding",
        "keep_slope": "keeps its slope",
        "fixed_height": "FIXED-height",
        "greatest_build_up": "greatest build-up",
        "remove_tiles": "tiles come out",
    }[kind]
    key = {"fixed_height": "stands_mm", "greatest_build_up": "thickness_mm", "remove_tiles": "depth_mm"}.get(kind)
    for said in (kind, words):
        own = f"\n{key} = 4" if key else ""
        text = f'[[zone]]\nkind = "{said}"\ncorners = [[0, 0], [1, 0], [1, 1]]{own}\n'
        zone = survey_of(tmp_path, text).zones[0]
        assert (zone.kind, zone.value_mm) == (kind, 4.0 if key else None)


def test_the_sample_lies_on_its_kitchen_and_is_not_taken_for_a_capture():
    survey = read_survey(KITCHEN / "survey.toml")
    kinds = {zone.kind for zone in survey.zones}
    assert {"fixed_height", "no_grind"} <= kinds
    for zone in survey.zones:
        assert (zone.polygon_mm >= 0.0).all()
        assert (zone.polygon_mm <= [3400.0, 2600.0]).all()
    assert [one.reader.name for one in choose(KITCHEN)] == ["transforms"]
    assert not {"survey.toml", "product.toml"} & {file.path.name for file in read(KITCHEN).inputs}
