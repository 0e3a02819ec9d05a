"""Every other condition at its boundary, with the source of the figure beside it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from flatscan.said import speaking
from flatscan.sources.hand.field_readings import Crack, FieldReadings, Sounding
from flatscan.sources.scan import InputFile
from flatscan.sources.survey.site import (
    Climate,
    Covering,
    Heating,
    OldCovering,
    SeenCrack,
    Sound,
    Tapped,
    Visit,
)

SHEET = (InputFile(Path("readings.csv"), "0a" * 32, "readings"),)
LINE = ((500.0, 500.0), (1500.0, 600.0))


def sheet(**parts) -> FieldReadings:
    return FieldReadings(SHEET, **parts)


def taps(sound: int, hollow: int = 0, loose: int = 0) -> FieldReadings:
    words = ["sound"] * sound + ["hollow"] * hollow + ["loose"] * loose
    return sheet(soundings=tuple(Sounding(30 + n, str(n), (100.0 * n, 400.0), w) for n, w in enumerate(words)))


# Climate


@pytest.mark.parametrize(
    ("climate", "covering", "word"),
    [
        # NHBC Standards: 18 °C or more; makers' sheets: 18 to 29 °C, for 48 h
        (Climate(18.0, 18.0, None, 48.0), Covering(), "met"),
        (Climate(29.0, 29.0, None, 48.0), Covering(), "met"),
        (Climate(17.9, 18.0, None, 48.0), Covering(), "not_met"),
        (Climate(18.0, 17.9, None, 48.0), Covering(), "not_met"),
        (Climate(29.1, 18.0, None, 48.0), Covering(), "not_met"),
        (Climate(18.0, 18.0, None, 47.9), Covering(), "not_met"),
        # the data sheet comes first
        (Climate(16.0, 15.0, None, 24.0), Covering(least_c=15.0, least_hours=24.0), "met"),
        (Climate(19.0, 19.0, None, 48.0), Covering(least_c=20.0), "not_met"),
        (Climate(26.0, 25.0, None, 48.0), Covering(most_c=25.0), "not_met"),
        # humidity only where the data sheet limits it
        (Climate(19.0, 19.0, 95.0, 48.0), Covering(), "met"),
        (Climate(19.0, 19.0, 65.0, 48.0), Covering(most_humidity_percent=65.0), "met"),
        (Climate(19.0, 19.0, 65.1, 48.0), Covering(most_humidity_percent=65.0), "not_met"),
        (Climate(19.0, 19.0, None, 48.0), Covering(most_humidity_percent=65.0), "open"),
        # a part is missing
        (Climate(None, 19.0, None, 48.0), Covering(), "open"),
        (Climate(19.0, None, None, 48.0), Covering(), "open"),
        (Climate(19.0, 19.0, None, None), Covering(), "open"),
        (Climate(15.0, None, None, None), Covering(), "not_met"),
        (Climate(None, None, 50.0, None), Covering(), "open"),
        (Climate(), Covering(), "not_recorded"),
    ],
)
def test_room_climate(condition_of, climate, covering, word):
    assert condition_of("climate", climate=climate, covering=covering).word == word


def test_climate_says_what_is_wrong_and_what_is_missing(condition_of):
    found = condition_of("climate", climate=Climate(air_c=16.0, held_hours=60.0))
    assert found.recorded == "air 16 °C, held for 60 h"
    assert found.short == "room climate (air 16 °C, at least 18 °C)"
    assert found.advice.endswith("Write down the floor's temperature")
    assert found.asked.startswith("air and floor 18 to 29 °C, for 48 h")
    assert "NHBC Standards ask for 24 h" in found.asked
    with speaking("imperial"):
        assert condition_of("climate", climate=Climate(air_c=16.0)).recorded == "air 60.8 °F"


# Acclimatised

VISIT = Visit(date=dt.date(2031, 3, 5))


@pytest.mark.parametrize(
    ("covering", "visit", "word"),
    [
        # makers' sheets: 48 h
        (Covering(acclimatised_hours=48.0), Visit(), "met"),
        (Covering(acclimatised_hours=47.9), Visit(), "not_met"),
        (Covering(acclimatised_hours=24.0, least_hours=24.0), Visit(), "met"),
        # up to the visit: midnight is the earliest it can have been, the next midnight the latest
        (Covering(acclimatised_since=dt.datetime(2031, 3, 3, 0, 0)), VISIT, "met"),  # noqa: DTZ001
        (Covering(acclimatised_since=dt.datetime(2031, 3, 3, 0, 1)), VISIT, "open"),  # noqa: DTZ001
        (Covering(acclimatised_since=dt.datetime(2031, 3, 4, 0, 0)), VISIT, "open"),  # noqa: DTZ001
        (Covering(acclimatised_since=dt.datetime(2031, 3, 4, 0, 1)), VISIT, "not_met"),  # noqa: DTZ001
        (Covering(acclimatised_since=dt.datetime(2031, 3, 9, 8, 0)), VISIT, "not_met"),  # noqa: DTZ001
        (Covering(acclimatised_since=dt.datetime(2031, 3, 1, 8, 0, tzinfo=dt.UTC)), VISIT, "met"),
        (Covering(acclimatised_since=dt.datetime(2031, 3, 1, 8, 0)), Visit(), "open"),  # noqa: DTZ001
        (Covering(), VISIT, "not_recorded"),
        (Covering(kind="parquet"), VISIT, "not_recorded"),
        (Covering(kind="thin_tile"), VISIT, "not_needed"),
        (Covering(kind="thin_tile", least_hours=12.0), VISIT, "not_recorded"),
    ],
)
def test_acclimatised_by_the_visit_never_by_the_clock(condition_of, covering, visit, word):
    assert condition_of("acclimatised", covering=covering, visit=visit).word == word


# Heating


@pytest.mark.parametrize(
    ("heating", "word"),
    [
        (Heating(), "not_recorded"),
        (Heating("unknown"), "open"),
        (Heating("none"), "not_needed"),
        # Dutch parquet trade rules: surface at most 27 °C (ASTM F710: 29); 25 mm over pipes
        (Heating("water", 27.0, True, 25.0), "met"),
        (Heating("water", 27.1, True, 25.0), "not_met"),
        (Heating("water", 27.0, False, 25.0), "not_met"),
        (Heating("water", 27.0, True, 24.9), "open"),
        (Heating("water", 27.0, True), "met"),
        (Heating("electric", 27.0, True, 10.0), "met"),
        (Heating("electric", None, True), "open"),
        (Heating("electric", 26.0, None), "open"),
        (Heating(None, 26.0, True), "open"),
    ],
)
def test_heating(condition_of, heating, word):
    assert condition_of("heating", heating=heating).word == word


def test_a_data_sheet_cooler_than_the_trade_rule_binds_the_heated_surface(condition_of):
    heat = Heating("water", 26.0, True)
    assert condition_of("heating", heating=heat, covering=Covering(most_c=25.0)).word == "not_met"
    assert condition_of("heating", heating=heat, covering=Covering(most_c=30.0)).word == "met"


# Sound


@pytest.mark.parametrize(
    ("tapped", "field", "word", "advice"),
    [
        (None, None, "not_recorded", "Tap every tile"),
        (Tapped(), None, "not_recorded", "Tap every tile"),
        (Tapped(10, 0, 0), None, "met", ""),
        (Tapped(9, 0, 0), None, "open", "Too few"),
        (None, taps(10), "met", ""),
        # both files together
        (Tapped(4, 0, 0), taps(6), "met", ""),
        # CSTB Cahier 3635_V2 as restated: more than a tenth, the whole covering; up to it, only the bad tiles
        (Tapped(50, 3, 2), None, "not_met", "Take out the bad tiles"),
        (Tapped(50, 4, 2), None, "not_met", "Take the whole covering up"),
        (Tapped(40, 3, 0), taps(8, hollow=1, loose=1), "not_met", "Take out the bad tiles"),
        (Tapped(40, 4, 0), taps(8, hollow=1, loose=1), "not_met", "Take the whole covering up"),
        # how many were tapped is not known, so no share
        (Tapped(None, 12, 0), None, "not_met", "Take out or fix what is bad"),
        (Tapped(None, None, None, hollow_at_mm=((1.0, 2.0),)), None, "not_met", "Take out or fix what is bad"),
        (Tapped(9, 1, 0), None, "not_met", "Take out or fix what is bad"),
    ],
)
def test_sound_by_tapping(condition_of, tapped, field, word, advice):
    found = condition_of("sound", sound=Sound(tapped=tapped), field=field)
    assert (found.word, found.advice[: len(advice)]) == (word, advice)


def test_places_and_counts_of_one_survey_are_not_counted_twice(condition_of):
    two_of_three = Tapped(60, 3, 0, hollow_at_mm=((1.0, 1.0), (2.0, 2.0)))
    found = condition_of("sound", sound=Sound(tapped=two_of_three))
    assert found.recorded == "60 places tapped, 3 hollow or loose (5 %)"
    assert found.short == "3 hollow places"


@pytest.mark.parametrize(
    ("pull_off", "tapped", "word"),
    [
        # BEB 2004 guide value: 1.0 N/mm² (Dutch trade rules: 0.7)
        (1.0, Tapped(20, 0, 0), "met"),
        (0.99, Tapped(20, 0, 0), "not_met"),
        (1.5, None, "open"),
        (0.5, None, "not_met"),
        (1.5, Tapped(20, 1, 0), "not_met"),
    ],
)
def test_pull_off_where_it_was_recorded(condition_of, pull_off, tapped, word):
    found = condition_of("sound", sound=Sound(tapped=tapped, pull_off_n_per_mm2=pull_off))
    assert found.word == word
    assert f"pull-off {pull_off:g} N/mm² (± not stated)" in found.recorded
    assert "pull-off at least 1.0 N/mm²" in found.asked
    assert "BEB" in found.source


@pytest.mark.parametrize(("kind", "word"), [("screed", "met"), ("concrete", "met"), ("timber", "open"), (None, "open")])
def test_pull_off_alone_settles_only_a_bare_base(condition_of, kind, word):
    found = condition_of("sound", sound=Sound(pull_off_n_per_mm2=1.2), old=OldCovering(kind=kind))
    assert found.word == word


@pytest.mark.parametrize(
    ("asbestos", "said"),
    [
        ("found", "A licensed firm decides what is done with it: the old floor holds asbestos"),
        ("not_tested", "Not before the asbestos test"),
        (None, "Not before the asbestos test"),
        ("none_found", "write down how it sounds then"),
    ],
)
def test_no_tile_comes_out_before_the_laboratory_has_spoken(condition_of, asbestos, said):
    hollow = Sound(tapped=Tapped(50, 1, 0), clean=False)
    old = OldCovering(kind="ceramic_tile", asbestos=asbestos)
    advice = condition_of("sound", sound=hollow, old=old).advice
    assert said in advice
    assert ("Take out" in advice) == (asbestos != "found")
    scraping = condition_of("clean", sound=hollow, old=old).advice
    assert scraping.startswith("Leave scraping, sanding and grinding") == (asbestos == "found")


# Cracks


@pytest.mark.parametrize(
    ("looked", "moves", "on_sheet", "word"),
    [
        (True, (), 0, "met"),
        (False, (), 0, "not_recorded"),
        (None, (), 0, "not_recorded"),
        (True, (False,), 0, "open"),
        (None, (None,), 0, "open"),
        (True, (False, True), 0, "not_met"),
        (True, (), 1, "open"),
        (True, (True,), 1, "not_met"),
    ],
)
def test_cracks(condition_of, looked, moves, on_sheet, word):
    field = sheet(cracks=tuple(Crack(9, "C1", *LINE, None) for _ in range(on_sheet))) if on_sheet else None
    cracks = tuple(SeenCrack(LINE, moves=m) for m in moves)
    found = condition_of("crack_free", sound=Sound(cracks_looked_for=looked, cracks=cracks), field=field)
    assert found.word == word
    assert bool(found.advice) == (word != "met")


@pytest.mark.parametrize(
    ("cracks", "told"),
    [
        ((SeenCrack(LINE, name="by the door"),), "1 crack (by the door): nobody knows whether it moves"),
        ((SeenCrack(LINE, moves=False),), "1 crack: it does not move"),
        (
            (SeenCrack(LINE, moves=True), SeenCrack(LINE, moves=False), SeenCrack(LINE), SeenCrack(LINE)),
            "4 cracks: 1 moves, 1 does not move, of 2 nobody knows whether they move",
        ),
    ],
)
def test_what_is_known_of_cracks_is_said_plainly(condition_of, cracks, told):
    assert condition_of("crack_free", sound=Sound(cracks=cracks)).recorded == told


def test_a_visit_without_a_time_says_why_the_hours_are_a_range(condition_of):
    since = Covering(acclimatised_since=dt.datetime(2031, 3, 4, 17, 0))  # noqa: DTZ001
    found = condition_of("acclimatised", covering=since, visit=VISIT)
    assert found.recorded == "7 to 31 h: the visit has a date and no time"
    assert found.short == "acclimatising (31 h at most, 48 h asked)"


def test_a_bare_floor_has_no_tiles_to_tap_or_to_take_out(condition_of):
    concrete = OldCovering(kind="concrete", asbestos="none_found")
    for tapped in (None, Tapped(5, 0, 0), Tapped(50, 1, 0), Tapped(20, 9, 0)):
        found = condition_of("sound", sound=Sound(tapped=tapped), old=concrete)
        assert found.advice
        assert "tile" not in found.advice + found.asked
        assert "covering" not in found.advice


# Clean, movement joints, old covering


@pytest.mark.parametrize(
    ("clean", "contamination", "word"),
    [
        (True, (), "met"),
        (False, (), "not_met"),
        (None, (), "not_recorded"),
        (None, ("wax",), "not_met"),
        (True, ("wax",), "not_met"),
    ],
)
def test_clean(condition_of, clean, contamination, word):
    assert condition_of("clean", sound=Sound(clean=clean, contamination=contamination)).word == word


@pytest.mark.parametrize(
    ("carried", "drawn", "word"),
    [
        (True, (), "met"),
        (True, (LINE,), "met"),
        (False, (), "not_met"),
        (None, (LINE,), "open"),
        # a file without a movement joint does not say that there is none
        (None, (), "not_recorded"),
    ],
)
def test_movement_joints(condition_of, carried, drawn, word):
    sound = Sound(movement_joints_carried=carried)
    found = condition_of("movement_joints", sound=sound, survey_parts={"movement_joints_mm": drawn})
    assert found.word == word


@pytest.mark.parametrize("kind", [None, "ceramic_tile", "resilient_tile", "screed", "concrete", "timber"])
@pytest.mark.parametrize("year", [None, 1974, 2024])
@pytest.mark.parametrize(
    ("asbestos", "word"),
    [(None, "not_recorded"), ("not_tested", "open"), ("found", "not_met"), ("none_found", "met")],
)
def test_only_a_laboratory_settles_asbestos_never_kind_or_year(condition_of, kind, year, asbestos, word):
    """HSE asbestos essentials A23: looks, size and age prove nothing."""
    found = condition_of("old_covering", old=OldCovering(kind=kind, laid_year=year, asbestos=asbestos))
    assert found.word == word
    if word == "not_met":
        assert "never grind" in found.advice
        assert "licensed firm" in found.advice


def test_reasons_tell_the_survey_files_taps_and_cracks_too():
    from dataclasses import replace

    from flatscan.judgement.soundness import Soundness, soundness_reasons
    from flatscan.sources.survey.survey import Survey

    from .conftest import FILE, READY

    cracks = (SeenCrack(((0.0, 0.0), (500.0, 100.0), (900.0, 0.0)), width_mm=0.4, moves=False),)

    def reasons(tapped: Tapped, field=None) -> list[str]:
        found = replace(READY, sound=Sound(tapped=tapped, cracks=cracks))
        return soundness_reasons(Soundness.of(field, Survey(FILE, site=found)))

    uncounted, crack = reasons(Tapped(None, 3, 0, hollow_at_mm=((1000.0, 2000.0),)))
    assert uncounted.startswith("3 places tapped sound hollow or loose: hollow at (1.00, 2.00) (metres from the left")
    assert "Tap at least 10 places" in uncounted
    assert crack == (
        "1 crack recorded: from (0.00, 0.00) to (0.90, 0.00), 0.4 mm wide (metres from the left and the bottom wall)"
    )
    counted, _ = reasons(Tapped(20, 2, 1), taps(10, hollow=1))
    assert counted.startswith("4 of 31 places tapped sound hollow or loose: hollow at (1.00, 0.40)")
    assert "By places that is 13 %: above a tenth" in counted
