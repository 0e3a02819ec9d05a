"""Survey files that cannot be used: one sentence with file, section, what is wrong and what to do."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flatscan.errors import EXIT_BAD_INPUT, InputError
from flatscan.sources.survey import read_survey

ZONE = '[[zone]]\nname = "drain"\nkind = "no fill"\n'
SQUARE = "corners = [[0, 0], [1, 0], [1, 1], [0, 1]]\n"
DOOR = "[[door]]\nline = [[0, 0], [1, 0]]\n"
PLACE = "Write each place as [x, y] in metres from corner 0 of the map, with a point for decimals"


def fixed(value: str) -> str:
    return ZONE.replace("no fill", "fixed height") + SQUARE + f"stands_mm = {value}\n"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("doors = 1", "unknown key doors. Did you mean door?"),
        ("moisture = 1", "moisture is the number 1, not a list of sections. Write a line [[moisture]]"),
        ("drains = 1", "unknown key drains. Known here: place, visit, room, covering, moisture, climate, heating,"),
        ("client = 1", "client does not belong above all sections. Write the line [place] above it."),
        ("levelling = 3", "levelling is the number 3, not a section. Write one line [levelling] above its keys."),
        ("[[levelling]]", "levelling is several sections, not a section. Write one line [levelling] above its keys."),
        ("[door]", "door is one section with single brackets, not a list of sections. Write a line [[door]],"),
        ("zone = [1]", "zone is a list, not a list of sections. Write a line [[zone]]"),
        ("zone = 2024-01-01", "zone is a date or time, not a list of sections."),
        (
            "[levelling]\ngreatest_buildup_mm = 8",
            "[levelling]: unknown key greatest_buildup_mm. Did you mean greatest_build_up_mm?",
        ),
        (
            '[levelling]\ngreatest_build_up_mm = "8"',
            '[levelling]: greatest_build_up_mm is the text "8", not a number. Give from 0 to 500 mm, without quotes',
        ),
        (
            "[levelling]\ngreatest_build_up_mm = nan",
            "[levelling]: greatest_build_up_mm must be from 0 to 500 mm, not nan.",
        ),
        (
            "[levelling]\ngreatest_build_up_mm = -1",
            "[levelling]: greatest_build_up_mm must be from 0 to 500 mm, not -1.",
        ),
        (
            "[levelling]\ngreatest_build_up_mm = 0.008",
            "[levelling]: greatest_build_up_mm is 0.008 mm, thinner than any layer. Give millimetres, not metres.",
        ),
        (
            "[levelling]\nremove_hollow_mm = 0",
            "[levelling]: remove_hollow_mm must be more than 0 and at most 500 mm, not 0.",
        ),
        ("[levelling]\ndams = 4", "[levelling]: dams is the number 4, not a list of lines. Write dams ="),
        ("[levelling]\ndams = [4]", "[levelling]: dams, line 1 is the number 4, not a list of places."),
        (
            "[levelling]\nmovement_joints = [[[0, 1], [2, 1]], [[0, 2]]]",
            "[levelling]: movement_joints, line 2 has one place, and a line needs two. Give both its ends",
        ),
        (
            "[levelling]\ndams = [[0, 1], [0, 1], [1, 1]]",
            "[levelling]: places 1 and 2 of dams are the same. Give two places that are apart.",
        ),
        ("[[door]]", "[[door]] 1: line is missing. Give both ends of the door: line = [[0.5, 0], [1.4, 0]]."),
        (
            "[[door]]\nline = [0.5, 0, 1.4, 0]",
            f"[[door]] 1: line is a list of numbers, not of places. {PLACE}, and [ ] round them all.",
        ),
        ("[[door]]\nline = [[0, 0], [1, 0], [2, 0]]", "[[door]] 1: line has 3 places, and a door has two ends."),
        (
            "[[door]]\nline = [[0,5, 0], [1, 4, 0]]",
            "[[door]] 1: place 1 of line has 3 numbers, not two. Write [x, y] in metres, and use a point, not a comma,",
        ),
        (
            '[[door]]\nline = [["0", 0], [1, 0]]',
            f'[[door]] 1: place 1 of line holds the text "0" in place of a number. {PLACE}',
        ),
        ("[[door]]\nline = [[0, 0], true]", "[[door]] 1: place 2 of line is a yes or no, not two numbers."),
        ("[[door]]\nline = []", "[[door]] 1: line is empty, not a list of places."),
        (
            f"{DOOR}[[door]]\nline = [[0, 0], [1200, 0]]",
            "[[door]] 2: place 2 of line holds 1200, further than any floor reaches. Give metres, not mm.",
        ),
        ("[[door]]\nline = [[0, 0], [nan, 0]]", "[[door]] 1: place 2 of line holds nan, further than any floor"),
        (f'{DOOR}name = "a"\n{DOOR}name = "a"', "[[door]] 1 ('a'): another one is called 'a' too. Give each a name of"),
        (f'{DOOR}name = "door 2"\n{DOOR}', "[[door]] 1 ('door 2'): another one is called 'door 2' too."),
        (f"{DOOR}width_mm = 3", "[[door]] 1: width_mm does not belong here. Write the line [[crack]] above it."),
        (f'{DOOR}name = "\\u001b[31m"', "[[door]] 1 ('?[31m'): name is empty or holds signs that cannot be printed."),
        (f'{DOOR}name = "{"a" * 90}"', f"[[door]] 1 ('{'a' * 40}...'): name is 90 letters long. Use 80 at most."),
        (f"{ZONE}{SQUARE}" * 2, "[[zone]] 1 ('drain'): another one is called 'drain' too."),
        (ZONE, "[[zone]] 1 ('drain'): corners are missing. Give corners = [[x, y], ...], or tiles_at ="),
        (
            f"{ZONE}{SQUARE}tiles_at = [[0, 0]]",
            "[[zone]] 1 ('drain'): both corners and tiles_at are given. Give one of them, and a [[zone]]",
        ),
        (f"[[zone]]\n{SQUARE}", '[[zone]] 1: kind is missing. Say what the zone is: "no fill", "no grinding",'),
        (f'[[zone]]\nkind = "no fil"\n{SQUARE}', '[[zone]] 1: there is no kind "no fil". Did you mean "no fill"?'),
        (
            f'[[zone]]\nkind = "wet"\n{SQUARE}',
            '[[zone]] 1: there is no kind "wet". Known kinds: "no fill", "no grinding",',
        ),
        (
            f"{ZONE}corners = [[0, 0], [1, 0], [0, 0]]",
            "[[zone]] 1 ('drain'): corners has 2 corners. Give three or more, in order round the zone.",
        ),
        (
            f"{ZONE}corners = [[0, 0], [1, 1], [1, 0], [0, 1]]",
            "[[zone]] 1 ('drain'): the sides between the corners cross each other. Give them in order round the zone.",
        ),
        (
            f"{ZONE}corners = [[0, 0], [1, 0], [2, 0]]",
            "[[zone]] 1 ('drain'): corners lie on one line and enclose nothing. Give the corners of an area",
        ),
        (
            f"{ZONE}{SQUARE}depth_mm = 3",
            '[[zone]] 1 (\'drain\'): depth_mm does not go with "no fill". It is for "tiles come out": take it out',
        ),
        (
            ZONE.replace("no fill", "greatest build-up") + SQUARE,
            "[[zone]] 1 ('drain'): thickness_mm is missing, which \"greatest build-up\" needs. Add thickness_mm",
        ),
        (
            ZONE.replace("no fill", "tiles come out") + SQUARE,
            "[[zone]] 1 ('drain'): depth_mm is missing, which \"tiles come out\" needs.",
        ),
        (
            fixed("-3"),
            "[[zone]] 1 ('drain'): stands_mm must be from 0 to 500 mm, for grinding down to a height is not planned",
        ),
        (fixed("501"), "[[zone]] 1 ('drain'): stands_mm must be from 0 to 500 mm"),
        ("[levelling]\na = 2,4", "not a readable TOML file (Expected newline or end of document after a statement"),
        ("[levelling]\n[levelling]", "not a readable TOML file (Cannot declare ('levelling',) twice"),
    ],
)
def test_the_first_fault_is_told_in_one_sentence(tmp_path, text, says):
    path = tmp_path / "survey.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_survey(path)
    said = str(caught.value)
    assert said.startswith(f"survey.toml: {says}")
    assert said.endswith((".", "?"))
    assert "\n" not in said
    assert str(tmp_path) not in said


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"\x89PNG\r\n\x1a\n\0\0", "it is not text, so it cannot be a survey file"),
        ("name = 'Küche'".encode("latin-1"), "it is not text in UTF-8. Save it as UTF-8"),
        ("[levelling]".encode("utf-16"), "it is not text, so it cannot be a survey file"),
        (b"#" * 2_000_000, "it is 2.0 MB large, too large for a survey file"),
        (b"zone = " + b"[" * 9000 + b"]" * 9000, "not a readable TOML file (a number or list is too long)"),
        (b"zone = 1" + b"0" * 9000, "not a readable TOML file (a number or list is too long)"),
    ],
)
def test_what_is_no_survey_file_at_all(tmp_path, content, says):
    path = tmp_path / "survey.toml"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_survey(path)
    assert str(caught.value).startswith(f"survey.toml: {says}")


def test_a_missing_file_and_a_folder(tmp_path):
    with pytest.raises(InputError, match="there is no such survey file"):
        read_survey(tmp_path / "none.toml")
    with pytest.raises(InputError, match="it is a folder, not a survey file"):
        read_survey(tmp_path)
    assert EXIT_BAD_INPUT == 2


def read_or_refuse(path: Path) -> None:
    said = ""
    try:
        read_survey(path)
    except InputError as error:
        said = str(error)
    assert "\n" not in said


SCRAPS = st.sampled_from(
    [
        "[levelling]",
        "[[door]]",
        "[[zone]]",
        "name",
        "kind",
        "corners",
        "line",
        "tiles_at",
        "stands_mm",
        "dams",
        " = ",
        "[",
        "]",
        "[[0, 0], [1, 0], [1, 1]]",
        ",",
        '"no fill"',
        '"fixed height"',
        "nan",
        "-inf",
        "1e400",
        "true",
        "1979-05-27",
        "{}",
        "{a = 1}",
        "[[]]",
        "[[[]]]",
        "[[1, 2], 3]",
        "\n",
        "\n",
        "#",
        "0",
        "-0.0",
        "'",
        '"""',
        "\\u0000",
    ]
)


@given(st.lists(SCRAPS, max_size=30))
@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_is_written_is_read_or_refused(tmp_path, scraps):
    path = tmp_path / "survey.toml"
    path.write_text("".join(scraps), encoding="utf-8")
    read_or_refuse(path)


VALUES = st.sampled_from(
    [
        "3",
        "-1",
        "nan",
        "0.2",
        '"no fill"',
        '"fixed height"',
        '"tiles come out"',
        "[[0, 0], [1, 0], [1, 1]]",
        "[[1, 1]]",
        "[[0, 0], [0, 1]]",
        "[]",
        "[[]]",
        "[[[0, 0], [1, 1]]]",
        "true",
        "{}",
        "[1, [2, 3]]",
        "[[0, 0], [nan, 1], [1e9, 0]]",
    ]
)
KEYS = st.sampled_from(
    [
        "name",
        "kind",
        "corners",
        "tiles_at",
        "stands_mm",
        "thickness_mm",
        "depth_mm",
        "line",
        "greatest_build_up_mm",
        "remove_hollow_mm",
        "movement_joints",
        "dams",
    ]
)


@given(st.lists(st.tuples(st.sampled_from(["[levelling]", "[[door]]", "[[zone]]"]), st.dictionaries(KEYS, VALUES))))
@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_value_under_any_key_is_read_or_refused(tmp_path, sections):
    path = tmp_path / "survey.toml"
    lines = [line for head, keys in sections for line in (head, *(f"{k} = {v}" for k, v in keys.items()))]
    path.write_text("\n".join(lines), encoding="utf-8")
    read_or_refuse(path)
