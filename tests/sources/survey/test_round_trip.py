"""Whatever a person can record comes back as it was recorded, and what was not recorded stays so."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import get_args

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from flatscan.sources.scan import InputFile
from flatscan.sources.survey import Survey, read_survey, survey_from
from flatscan.sources.survey import site as records

from .written import WORDS, parts_of, toml_of


def maybe(strategy: st.SearchStrategy) -> st.SearchStrategy:
    return st.none() | strategy


#: Letters of several scripts, and every sign that means something in TOML.
LETTERS = st.sampled_from("aZ9 éßøЖλ漢字עבأ±²µ€'\"\\#[]{}=,.;:-_%/🙂")
WORD = st.text(LETTERS, min_size=1, max_size=20).map(str.strip).filter(bool)
LINES = st.lists(WORD, min_size=1, max_size=4).map("\n".join)
#: Eighths of a metre: exact in binary, so that metres and millimetres say the same.
MM = st.integers(-400, 400).map(lambda eighths: 125.0 * eighths)
POINT = st.tuples(MM, MM)
YES_NO = maybe(st.booleans())


def number(least: float, most: float) -> st.SearchStrategy:
    return maybe(st.floats(least, most, allow_nan=False))


def kind(literal: object) -> st.SearchStrategy:
    return maybe(st.sampled_from(get_args(literal)))


VISITS = st.builds(
    records.Visit,
    *[st.just("") | WORD] * 5,
    maybe(st.dates(dt.date(2000, 1, 1), dt.date(2100, 12, 31))),
    st.just("") | WORD,
    st.just("") | WORD,
    st.lists(WORD, max_size=4).map(tuple),
    st.just("") | LINES,
)
SINCE = st.datetimes(dt.datetime(2000, 1, 1), dt.datetime(2100, 12, 31))  # noqa: DTZ001 - the room's own clock
COVERINGS = st.builds(
    records.Covering,
    kind=kind(records.CoveringKind),
    name=st.just("") | WORD,
    thickness_mm=number(0.1, 100.0),
    limits=st.lists(st.sampled_from(["over-old-tiles", "din18202-3", "astm-f710"]), unique=True).map(tuple),
    acclimatised_since=st.none(),
    acclimatised_hours=st.none(),
    least_hours=number(0.0, 1000.0),
    least_c=number(-20.0, 12.0),
    most_c=number(13.0, 45.0),
    most_humidity_percent=number(5.0, 100.0),
)
ACCLIMATISED = st.one_of(
    st.just({}),
    SINCE.map(lambda moment: {"acclimatised_since": moment}),
    st.floats(0.0, 9999.0).map(lambda hours: {"acclimatised_hours": hours}),
)


@st.composite
def moistures(draw: st.DrawFn) -> records.Moisture:
    method = draw(st.sampled_from(get_args(records.MoistureMethod)))
    most = {"carbide": 15.0, "emission": 50.0}.get(method, 100.0)
    least = {"carbide": 0.0, "emission": 0.0, "wood_moisture": 2.0}.get(method, 5.0)
    bases = {"wood_moisture": ["timber"], "carbide": list(get_args(records.MoistureBase))[:3]}
    bases["emission"] = bases["carbide"]
    limit = draw(number(least, most))
    return records.Moisture(
        method=method,
        value=draw(st.floats(least, most)),
        base=draw(maybe(st.sampled_from(bases.get(method, get_args(records.MoistureBase))))),
        plus_minus=draw(number(0.01, 50.0)),
        at_mm=draw(maybe(POINT)),
        depth_mm=None if method in ("surface_humidity", "emission") else draw(number(0.1, 500.0)),
        beneath_tiles=draw(YES_NO),
        limit=limit,
        limit_source="" if limit is None else draw(WORD),
    )


@st.composite
def sounds(draw: st.DrawFn) -> records.Sound:
    hollow_at, loose_at = (draw(st.lists(POINT, max_size=3).map(tuple)) for _ in range(2))
    most = max(len(hollow_at), len(loose_at), 1)
    count = maybe(st.integers(most, 50))
    tapped = records.Tapped(draw(maybe(st.integers(50, 500))), draw(count), draw(count), hollow_at, loose_at)
    line = st.lists(POINT, min_size=2, max_size=4, unique=True).map(tuple)
    crack = st.builds(records.SeenCrack, line, number(0.01, 50.0), YES_NO, st.just("") | WORD)
    cracks = draw(st.lists(crack, max_size=2).map(tuple))
    contamination = draw(st.lists(WORD, max_size=2).map(tuple))
    return records.Sound(
        tapped=None if tapped == records.Tapped() else tapped,
        cracks_looked_for=draw(st.sampled_from([None, True] if cracks else [None, True, False])),
        cracks=cracks,
        clean=draw(st.sampled_from([None, False] if contamination else [None, True, False])),
        contamination=contamination,
        pull_off_n_per_mm2=draw(number(0.01, 10.0)),
        movement_joints_carried=draw(YES_NO),
    )


@st.composite
def sites(draw: st.DrawFn) -> records.Site:
    visit = draw(VISITS)
    heating = draw(
        st.builds(records.Heating, kind(records.HeatingKind), number(15.0, 60.0), YES_NO, number(0.1, 500.0))
    )
    old = draw(
        st.builds(
            records.OldCovering,
            kind(records.OldCoveringKind),
            st.just("") | WORD,
            maybe(st.integers(1500, 2000)),
            st.just("") | WORD,
            kind(records.AsbestosTest),
        )
    )
    return records.Site(
        visit=visit,
        covering=replace(draw(COVERINGS), **draw(ACCLIMATISED)),
        moisture=draw(st.lists(moistures(), max_size=2).map(tuple)),
        climate=draw(
            st.builds(
                records.Climate, number(-20.0, 45.0), number(-20.0, 45.0), number(5.0, 100.0), number(0.0, 1000.0)
            )
        ),
        heating=records.Heating("none") if heating.kind == "none" else heating,
        sound=draw(sounds()),
        old=old,
        outline_mm=draw(maybe(st.just(np.array([[0.0, 0.0], [3400.0, 0.0], [3400.0, 2600.0], [0.0, 2600.0]])))),
        notes=draw(st.lists(st.builds(records.Note, LINES, maybe(POINT)), max_size=2).map(tuple)),
    )


@given(sites())
@settings(max_examples=100, deadline=None)
def test_what_is_written_is_what_is_read(site: records.Site) -> None:
    text = toml_of(site)
    assert parts_of(survey_from(Path("survey.toml"), text.encode("utf-8"))) == parts_of(
        Survey(InputFile(Path("survey.toml"), "0" * 64, "survey"), site=site)
    )


def test_every_kind_has_words_and_its_own_name_is_read_too(tmp_path: Path) -> None:
    path = tmp_path / "survey.toml"
    for key, literal in (
        ("[covering]\nkind", records.CoveringKind),
        ("[heating]\nkind", records.HeatingKind),
        ("[old_covering]\nkind", records.OldCoveringKind),
        ("[old_covering]\nasbestos", records.AsbestosTest),
    ):
        for name in get_args(literal):
            for said in (name, WORDS[name], WORDS[name].upper()):
                path.write_text(f'{key} = "{said}"\n', encoding="utf-8")
                site = read_survey(path).site
                assert name in (site.covering.kind, site.heating.kind, site.old.kind, site.old.asbestos)


def test_windows_line_ends_a_byte_order_mark_and_wide_spaces_are_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "survey.toml"
    path.write_bytes('\ufeff[place]\r\nname = "the\u00a0old\u202fhall"\r\n[[note]]\r\ntext = """a\r\nb"""\r\n'.encode())
    site = read_survey(path).site
    assert site.visit.place == "the old hall"
    assert site.notes == (records.Note("a\nb"),)


def test_an_offset_from_utc_is_the_rooms_own_clock(tmp_path: Path) -> None:
    path = tmp_path / "survey.toml"
    path.write_text("[covering]\nacclimatised_since = 2026-05-03T17:00:00+02:00\n", encoding="utf-8")
    since = read_survey(path).site.covering.acclimatised_since
    assert since is not None
    assert (since.tzinfo, since.hour) == (None, 17)


def test_a_file_of_limits_is_looked_for_beside_the_survey_file(tmp_path: Path) -> None:
    path = tmp_path / "survey.toml"
    (tmp_path / "ours.toml").write_text("", encoding="utf-8")
    path.write_text('[covering]\nlimits = ["din18202-3", "ours.toml"]\n', encoding="utf-8")
    assert read_survey(path).site.covering.limits == ("din18202-3", (tmp_path / "ours.toml").as_posix())
    path.write_text('[covering]\nlimits = "astm-f710"\n', encoding="utf-8")
    assert read_survey(path).site.covering.limits == ("astm-f710",)


def test_yes_and_no_may_be_words(tmp_path: Path) -> None:
    path = tmp_path / "survey.toml"
    path.write_text('[sound]\nclean = "No"\ncracks_looked_for = "yes"\n', encoding="utf-8")
    sound = read_survey(path).site.sound
    assert (sound.clean, sound.cracks_looked_for, sound.movement_joints_carried) == (False, True, None)
