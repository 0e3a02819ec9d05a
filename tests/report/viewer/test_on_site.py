"""What was found on site, as the page is given it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from flatscan.report.report import Report
from flatscan.report.viewer.on_site import on_site_of, tape_outline
from flatscan.sources.hand.field_readings import Crack, Sounding
from flatscan.sources.scan import InputFile
from flatscan.sources.survey.site import NO_SITE, Moisture, Note, SeenCrack, Sound, Tapped
from flatscan.sources.survey.survey import Door, Survey

FILE = InputFile(Path("survey.toml"), "ab" * 32, "toml")


@pytest.fixture(scope="module")
def room(build: Callable[..., Report]) -> Report:
    return build(cell_mm=50.0)


def test_each_fact_with_a_place_is_a_mark_with_its_name(room: Report) -> None:
    sound = Sound(
        tapped=Tapped(30, 1, 1, hollow_at_mm=((1.0, 2.0),), loose_at_mm=((3.0, 4.0),)),
        cracks=(SeenCrack(((0.0, 0.0), (5.0, 5.0)), name="at the door"), SeenCrack(((7.0, 7.0), (8.0, 8.0)))),
    )
    moisture = (Moisture("carbide", 2.0), Moisture("carbide", 1.0, at_mm=(9.0, 9.0)))
    site = replace(NO_SITE, sound=sound, moisture=moisture, notes=(Note("no place"), Note("x" * 200, (6.0, 6.0))))
    doors = (Door("hall door", ((10.0, 0.0), (20.0, 0.0))),)
    survey = Survey(FILE, doors=doors, movement_joints_mm=(((0.0, 1.0), (2.0, 1.0)),), site=site)
    marks = on_site_of(replace(room, survey=survey))
    assert [(one["kind"], one["name"], one["line"]) for one in marks] == [
        ("hollow", "hollow", [[1.0, 2.0]]),
        ("loose", "loose", [[3.0, 4.0]]),
        ("crack", "at the door", [[0.0, 0.0], [5.0, 5.0]]),
        ("crack", "crack 2", [[7.0, 7.0], [8.0, 8.0]]),
        ("movement_joint", "movement joint 1", [[0.0, 1.0], [2.0, 1.0]]),
        ("door", "hall door", [[10.0, 0.0], [20.0, 0.0]]),
        ("moisture", "moisture 2", [[9.0, 9.0]]),
        ("note", "note 2", [[6.0, 6.0]]),
    ]
    assert marks[-1]["words"].startswith("note 2: xxx")
    assert len(marks[-1]["words"]) <= 90


def test_taps_and_cracks_of_the_readings_are_marks_too(room: Report) -> None:
    from flatscan.sources.hand.field_readings import FieldReadings

    taps = (Sounding(1, "1", (1.0, 1.0), "sound"), Sounding(2, "2", (2.0, 2.0), "hollow"))
    field = FieldReadings.__new__(FieldReadings)
    object.__setattr__(field, "soundings", taps)
    object.__setattr__(field, "cracks", (Crack(3, "7", (0.0, 0.0), (4.0, 4.0), None),))
    marks = on_site_of(replace(room, field=field))
    assert [(one["kind"], one["name"]) for one in marks] == [("hollow", "hollow"), ("crack", "crack 7")]


def test_the_room_by_tape_is_closed(room: Report) -> None:
    corners = np.array([[0.0, 0.0], [3400.0, 0.0], [3400.0, 2600.0]])
    survey = Survey(FILE, site=replace(NO_SITE, outline_mm=corners))
    assert tape_outline(replace(room, survey=survey)) == [[0.0, 0.0], [3400.0, 0.0], [3400.0, 2600.0], [0.0, 0.0]]
    assert tape_outline(room) == []
    assert on_site_of(room) == []
