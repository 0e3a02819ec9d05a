"""What was recorded on site, in words; what was not is told as not recorded."""

from __future__ import annotations

from dataclasses import fields, replace
from types import SimpleNamespace
from typing import get_args

import pytest

from flatscan.report.record import kind_words, site_words
from flatscan.report.record.site_words import moisture_line, not_recorded, site_facts
from flatscan.said import speaking
from flatscan.sources.survey import site as site_module
from flatscan.sources.survey.site import NO_SITE, Climate, Heating, Moisture, SeenCrack, Sound

Tools = SimpleNamespace


def test_nothing_recorded_is_said_of_everything() -> None:
    assert all(not facts.rows for facts in site_facts(NO_SITE))
    assert {"moisture of the base", "tapping for hollow tiles", "asbestos test", "client"} <= set(not_recorded(NO_SITE))


def test_all_that_was_recorded_is_told(tools: Tools) -> None:
    told = {facts.title: dict(facts.rows) for facts in site_facts(tools.site())}
    assert told["Visit"]["Date"] == "4 March 2025"
    assert told["Old covering"] == {
        "Kind": "ceramic tiles", "Name": "300 mm tiles", "Laid in": "1978", "Adhesive": "black glue",
        "Asbestos": "no sample was tested",
    }  # fmt: skip
    assert told["Moisture"]["1"] == (
        "carbide method, 2.4 ± 0.2 CM-%, cement screed, 40 mm deep, taken in the base itself, at 1.20 m from the left "
        "wall, 0.80 m from the bottom wall; limit 2 CM-% (data sheet)"
    )
    assert told["Climate"]["Floor"] == "16.5 °C"
    assert told["Soundness"]["Tapped"].startswith("24 tapped, 2 hollow, 0 loose, hollow at 1.20 m")
    # 0.92 m along, 0.18 m across: 0.937 m
    assert told["Cracks"]["Crack 1"].startswith("0.94 m long, 0.4 mm wide, nobody knows whether it moves")
    assert not_recorded(tools.site()) == ["whether movement joints are carried through"]


def test_a_zero_and_a_no_are_records() -> None:
    recorded = replace(
        NO_SITE,
        climate=Climate(air_c=0.0),
        heating=Heating(off=False),
        sound=Sound(cracks_looked_for=False, clean=False, movement_joints_carried=False),
    )
    told = {facts.title: dict(facts.rows) for facts in site_facts(recorded)}
    assert told["Climate"] == {"Air": "0 °C"}
    assert told["Heating in the floor"] == {"Switched off now": "no"}
    assert told["Soundness"] == {"Clean": "no", "Movement joints carried through": "no"}
    assert told["Cracks"] == {"Looked for": "no"}
    left = not_recorded(recorded)
    assert "climate of the room" not in left
    assert "whether the floor is clean" not in left
    assert "whether cracks were looked for" not in left


def test_imperial_facts() -> None:
    with speaking("imperial"):
        told = moisture_line(Moisture("emission", 4.1, depth_mm=25.4))
        air = dict(
            next(f for f in site_facts(replace(NO_SITE, climate=Climate(air_c=20.0))) if f.title == "Climate").rows
        )
    assert "4.1 lb/1000 ft² in 24 h" in told
    assert "1 in" in told
    assert air == {"Air": "68 °F"}


@pytest.mark.parametrize(
    ("kinds", "words"),
    [
        ("CoveringKind", "COVERING"),
        ("MoistureMethod", "METHOD"),
        ("HeatingKind", "HEATING"),
        ("OldCoveringKind", "OLD"),
        ("AsbestosTest", "ASBESTOS"),
    ],
)
def test_every_kind_has_its_words(kinds: str, words: str) -> None:
    assert set(getattr(kind_words, words)) == set(get_args(getattr(site_module, kinds)))


@pytest.mark.parametrize("part", ["visit", "covering", "climate", "heating", "sound", "old"])
def test_no_field_of_the_record_is_left_out(tools: Tools, part: str) -> None:
    """A field that a survey may hold and no row tells would be lost in silence."""
    whole = tools.site()
    record, empty = getattr(whole, part), getattr(NO_SITE, part)
    for field in fields(record):
        nothing = getattr(empty, field.name)
        if getattr(record, field.name) != nothing:
            blank = replace(whole, **{part: replace(record, **{field.name: nothing})})
            assert site_facts(blank) != site_facts(whole), f"{part}.{field.name}"


def test_a_crack_that_moves() -> None:
    told = site_words.crack_line(SeenCrack(((0.0, 0.0), (300.0, 400.0), (300.0, 1400.0)), None, True))
    assert told.startswith("1.50 m long, moves; from ")
    assert told.endswith("to 0.30 m from the left wall, 1.40 m from the bottom wall")
