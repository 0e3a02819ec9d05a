"""What a full record lacks: nothing is asked of a floor that it cannot have, and what is there is told as it is."""

from __future__ import annotations

from pathlib import Path

import pytest

from flatscan.said import speaking
from flatscan.sources.survey import Survey, entries, missing, survey_beside, survey_from
from flatscan.sources.survey.keys import KEYS, heading
from flatscan.sources.survey.missing import TITLES


def survey_of(text: str = "") -> Survey:
    return survey_from(Path("survey.toml"), text.encode("utf-8"))


def names(survey: Survey) -> set[str]:
    return {entry.name for entry in missing(survey)}


def told(survey: Survey, name: str) -> str:
    (found,) = [entry.told for entry in entries(survey) if entry.name == name]
    return found


def test_of_an_empty_survey_everything_is_missing_in_every_group() -> None:
    survey = survey_of()
    assert missing(survey) == entries(survey)
    assert [*dict.fromkeys(entry.group for entry in missing(survey))] == list(TITLES)


def test_where_it_is_to_be_written_is_a_key_or_a_section_that_exists() -> None:
    text = '[heating]\nkind = "unknown"\n[[moisture]]\nmethod = "in-base humidity"\nvalue = 70\n'
    text += "[[crack]]\nline = [[0, 0], [1, 1]]\n[[door]]\nline = [[0, 0], [1, 0]]\n"
    for entry in missing(survey_of()) + missing(survey_of(text)):
        *key, section = entry.key.removesuffix(" for each").split(" in " if " in " in entry.key else "section ")
        (home,) = [name for name in KEYS if heading(name) == section]
        assert key in (["a "], [k for k in KEYS[home] if k in key])


@pytest.mark.parametrize(
    ("text", "asked", "not_asked"),
    [
        ('[heating]\nkind = "none"', set(), {"heating switched off", "cover over the heating", "heating in the floor"}),
        ('[heating]\nkind = "electric"', {"heating switched off", "cover over the heating"}, {"heating in the floor"}),
        ("", {"tiles tapped", "adhesive"}, {"heating switched off"}),
        ('[old_covering]\nkind = "concrete"', {"asbestos", "clean"}, {"tiles tapped", "loose tiles", "adhesive"}),
        ('[old_covering]\nkind = "stone"', {"tiles tapped"}, set()),
        ('[[moisture]]\nmethod = "carbide"\nvalue = 2', {"reading 1, base"}, {"a reading", "reading 1, depth"}),
        (
            '[old_covering]\nkind = "screed"\n[[moisture]]\nmethod = "in-base humidity"\nvalue = 70',
            {"reading 1, depth", "reading 1, how sure it is"},
            {"reading 1, taken in the base"},
        ),
        ("[sound]\ncracks_looked_for = false", set(), {"cracks looked for"}),
        ("[[crack]]\nline = [[0, 0], [1, 1]]", {"crack 1, width", "crack 1, whether it moves"}, {"cracks looked for"}),
        ('[[door]]\nname = "D"\nline = [[0, 0], [1, 0]]', {"D, rise"}, {"doors"}),
        ("[covering]\nacclimatised_hours = 0", set(), {"acclimatised"}),
        ("[sound]\ntiles_hollow = 0\nclean = false", {"loose tiles"}, {"tiles that sound hollow", "clean"}),
    ],
)
def test_what_is_asked_of_which_floor(text: str, asked: set[str], not_asked: set[str]) -> None:
    found = names(survey_of(text))
    assert asked <= found
    assert not not_asked & found


def test_what_is_recorded_is_told_with_its_unit_and_its_uncertainty() -> None:
    text = """
[covering]
thickness_mm = 4.7625
least_c = 18
[sound]
tiles_tapped = 40
tiles_hollow = 3
hollow_at = [[1, 1]]
loose_at = [[0.5, 0.5]]
[[moisture]]
method = "carbide"
value = 1.7
plus_minus = 0.2
base = "cement screed"
at = [1.2, 0.8]
depth_mm = 25.4
beneath_tiles = true
limit = 2
limit_source = "its data sheet"
[[crack]]
line = [[0, 0], [1, 0], [1, 2]]
width_mm = 0.4
moves = false
[[note]]
text = "mind the pipe"
at = [1, 2]
"""
    survey = survey_of(text)
    assert told(survey, "thickness") == "4.76 mm"
    assert told(survey, "tiles that sound hollow") == "3 of 40 tapped (place noted of 1)"
    assert told(survey, "loose tiles") == "1 or more of 40 tapped"
    assert told(survey, "reading 1") == (
        "1.7 ± 0.2 CM-% (carbide), cement screed, 25.4 mm deep, beneath the tiles, at 1.20, 0.80 m, "
        "limit 2 CM-% by its data sheet"
    )
    assert told(survey, "crack 1") == "from 0.00, 0.00 m to 1.00, 2.00 m, 0.4 mm wide, it does not move"
    assert told(survey, "note 1") == "mind the pipe (at 1.00, 2.00 m)"
    with speaking("imperial"):
        assert told(survey, "thickness") == "0.188 in [3/16 in]"
        assert told(survey, "data sheet, coolest") == "64.4 °F"
        assert "1 in deep" in told(survey, "reading 1")


def test_a_survey_file_beside_a_capture_is_found(tmp_path: Path) -> None:
    capture, other = tmp_path / "capture", tmp_path / "other"
    capture.mkdir()
    other.mkdir()
    (capture / "cloud.laz").write_bytes(b"")
    assert survey_beside([capture, capture / "cloud.laz"]) is None
    (capture / "survey.toml").write_text("", encoding="utf-8")
    for sources in ([capture], [str(capture / "cloud.laz")], [other, capture], [capture / "not there.laz"]):
        assert survey_beside(sources) == capture / "survey.toml"
    assert survey_beside([other]) is None
    (other / "survey.toml").mkdir()
    assert survey_beside([other]) is None
    assert survey_beside([]) is None
