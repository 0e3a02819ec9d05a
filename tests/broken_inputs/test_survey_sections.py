"""Every key of a survey file with a value it cannot have: one sentence with section, fault and cure."""

from __future__ import annotations

from pathlib import Path

import pytest

from flatscan.errors import InputError
from flatscan.sources.survey import read_survey, survey_from
from flatscan.sources.survey.keys import KEYS, heading

#: What each section needs before the key under test is reached.
NEEDED = {
    "moisture": 'method = "carbide"\nvalue = 1.7\n',
    "crack": "line = [[0, 0], [1, 0]]\n",
    "note": 'text = "a"\n',
    "photo": 'file = "a.jpg"\n',
    "door": "line = [[0, 0], [1, 0]]\n",
    "zone": 'kind = "fixed height"\ncorners = [[0, 0], [1, 0], [1, 1]]\n',
}
NOT_PRINTABLE = "is empty or holds signs that cannot be printed. Write a few plain words."

#: Section, key, value, what is said of it. Tests below add to every text key.
TABLE = [
    ("place", "name", "3", 'name is the number 3, not a text. Put it in quotes: name = "..."'),
    ("place", "address", f'"{"a" * 201}"', "address is 201 letters long. Use 200 at most."),
    ("place", "room", "true", "room is a yes or no, not a text."),
    ("place", "client", '""', f"client {NOT_PRINTABLE}"),
    ("place", "reference", "2026-05-04", "reference is a date or time, not a text."),
    ("visit", "date", '"2026-05-04"', 'date is the text "2026-05-04", not a date. Write year, month and day without'),
    ("visit", "date", "2026-05-04 10:00:00", "date is a date with a time, not a date."),
    ("visit", "date", "0026-05-04", "date is in the year 26, not from 2000 to 2100. Check the year."),
    ("visit", "date", "10:00:00", "date is a time alone, not a date."),
    ("visit", "measured_by", '"a\\u001b[2Jb"', f"measured_by {NOT_PRINTABLE}"),
    ("visit", "firm", '"a\\u202etxt.exe"', f"firm {NOT_PRINTABLE}"),
    ("visit", "instruments", "[1]", "entry 1 of instruments is the number 1, not a text."),
    ("visit", "instruments", '{a = "b"}', "instruments is a table, not a list of texts."),
    ("visit", "instruments", str(["a"] * 21).replace("'", '"'), "instruments has 21 entries. Give 20 at most."),
    ("visit", "notes", f'"{"a" * 4001}"', "notes is 4001 letters long. Use 4000 at most."),
    ("visit", "notes", '"""' + "a\n" * 101 + '"""', "notes has 101 lines. Use 100 at most."),
    ("visit", "notes", '"   "', "notes is empty. Write a few plain words, or leave the line out."),
    ("room", "outline", "[[0, 0], [1, 1], [1, 0], [0, 1]]", "the sides between the outline cross each other. Give"),
    ("room", "outline", "[[0, 0], [1, 1]]", "outline has 2 corners. Give three or more, in order round the room."),
    ("covering", "kind", '"laminat"', 'there is no kind "laminat". Did you mean "laminate"?'),
    ("covering", "kind", '"grass"', 'there is no kind "grass". Known kinds: "click vinyl", "planks on a mat", "glued'),
    ("covering", "name", "[]", "name is a list, not a text."),
    ("covering", "thickness_mm", "0.005", "thickness_mm is 0.005 mm, thinner than any layer. Give millimetres, not"),
    ("covering", "thickness_mm", "101", "thickness_mm must be more than 0 and at most 100 mm, not 101."),
    ("covering", "limits", "3", "limits is the number 3, not a list of texts."),
    ("covering", "limits", "[3]", "entry 1 of limits is the number 3, not a text."),
    ("covering", "acclimatised_since", "2026-05-04", "acclimatised_since is a date alone, not a date with a time."),
    ("covering", "acclimatised_since", "1026-05-04 08:00:00", "acclimatised_since is in the year 1026, not from 2000"),
    ("covering", "acclimatised_hours", "-1", "acclimatised_hours must be from 0 to 10000 hours, not -1."),
    ("covering", "least_hours", '"48 h"', 'least_hours is the text "48 h", not a number. Give from 0 to 10000 hours'),
    ("covering", "least_c", "65", "least_c must be from -20 to 45 °C, in °C and not in °F, not 65."),
    ("covering", "most_c", "nan", "most_c must be from -20 to 45 °C, in °C and not in °F, not nan."),
    ("covering", "most_humidity_percent", "0.65", "most_humidity_percent must be from 5 to 100 %, in percent and"),
    ("moisture", "method", '"carbid"', 'there is no method "carbid". Did you mean "carbide"?'),
    ("moisture", "value", "70", "value must be from 0 to 15 CM-%; more is most likely another unit, not 70."),
    ("moisture", "plus_minus", "0", "plus_minus must be more than 0 and at most 50, in the unit of the value, not 0."),
    ("moisture", "base", '"clay"', 'there is no base "clay". Known bases: "cement screed", "calcium sulfate screed",'),
    ("moisture", "base", '"timber"', '"carbide" is no way to read timber. Correct the method or the base.'),
    ("moisture", "at", "[[1, 2]]", "at has 1 numbers, not two. Write [x, y] in metres."),
    ("moisture", "at", "[1200, 800]", "at holds 1200, further than any floor reaches. Give metres, not mm."),
    ("moisture", "depth_mm", "0.04", "depth_mm is 0.04 mm, thinner than any layer. Give millimetres, not metres."),
    ("moisture", "beneath_tiles", "1", "beneath_tiles is the number 1, not a yes or no. Write beneath_tiles = true or"),
    ("moisture", "limit", "2", "limit is given and limit_source is missing. Say both what is allowed and who says so."),
    ("moisture", "limit_source", '"a"', "limit_source is given and limit is missing."),
    ("climate", "air_c", "68", "air_c must be from -20 to 45 °C, in °C and not in °F, not 68."),
    ("climate", "floor_c", "inf", "floor_c must be from -20 to 45 °C, in °C and not in °F, not inf."),
    ("climate", "humidity_percent", "101", "humidity_percent must be from 5 to 100 %, in percent and not as a share"),
    ("climate", "held_hours", "-3", "held_hours must be from 0 to 10000 hours, not -3."),
    ("heating", "kind", '"gas"', 'there is no kind "gas". Known kinds: "none", "water", "electric", "unknown".'),
    ("heating", "surface_most_c", "82", "surface_most_c must be from 15 to 60 °C, in °C and not in °F, not 82."),
    ("heating", "off", '"maybe"', 'off is the text "maybe", not a yes or no. Write off = true or off = false, or'),
    ("heating", "cover_mm", "-1", "cover_mm must be from 0 to 500 mm, not -1."),
    ("sound", "tiles_tapped", "0", "tiles_tapped must be from 1 to 100000, not 0."),
    ("sound", "tiles_hollow", "2.5", "tiles_hollow must be a whole number, not 2.5."),
    ("sound", "tiles_loose", "-1", "tiles_loose must be from 0 to 100000, not -1."),
    ("sound", "hollow_at", "[0.45, 1.05]", "hollow_at is a list of numbers, not of places."),
    ("sound", "loose_at", "[]", "loose_at is empty, not a list of places."),
    ("sound", "cracks_looked_for", "0", "cracks_looked_for is the number 0, not a yes or no."),
    ("sound", "clean", '"fairly"', 'clean is the text "fairly", not a yes or no.'),
    ("sound", "contamination", "[true]", "entry 1 of contamination is a yes or no, not a text."),
    ("sound", "pull_off_n_per_mm2", "145", "pull_off_n_per_mm2 must be more than 0 and at most 10 N/mm²; more is most"),
    ("sound", "movement_joints_carried", "[]", "movement_joints_carried is a list, not a yes or no."),
    ("crack", "line", "[[0, 0]]", "line has one place, and a line needs two."),
    ("crack", "width_mm", "51", "width_mm must be more than 0 and at most 50 mm, not 51."),
    ("crack", "moves", "[1]", "moves is a list, not a yes or no."),
    ("crack", "name", '"\\t"', f"name {NOT_PRINTABLE}"),
    ("old_covering", "kind", '"tile"', 'there is no kind "tile".'),
    ("old_covering", "name", "1988", "name is the number 1988, not a text."),
    ("old_covering", "laid_year", "88", "laid_year must be from 1500 to 2100, not 88."),
    ("old_covering", "laid_year", "1988-01-01", "laid_year is a date or time, not a number."),
    ("old_covering", "adhesive", '"\\u0000"', f"adhesive {NOT_PRINTABLE}"),
    (
        "old_covering",
        "asbestos",
        '"no"',
        'there is no answer "no". Known answers: "not tested", "none found", "found".',
    ),
    ("levelling", "greatest_build_up_mm", "501", "greatest_build_up_mm must be from 0 to 500 mm, not 501."),
    ("levelling", "remove_hollow_mm", "0", "remove_hollow_mm must be more than 0 and at most 500 mm, not 0."),
    ("levelling", "movement_joints", "3", "movement_joints is the number 3, not a list of lines."),
    ("levelling", "dams", "true", "dams is a yes or no, not a list of lines."),
    ("door", "name", '""', f"name {NOT_PRINTABLE}"),
    ("door", "line", "[]", "line is empty, not a list of places."),
    ("door", "greatest_build_up_mm", "-1", "greatest_build_up_mm must be from 0 to 500 mm, not -1."),
    ("zone", "name", "1", "name is the number 1, not a text."),
    ("zone", "kind", '"wet"', 'there is no kind "wet". Known kinds: "no fill", "no grinding",'),
    ("zone", "corners", "[[0, 0]]", "corners has 1 corners. Give three or more, in order round the zone."),
    ("zone", "tiles_at", "[1, 2]", "tiles_at is a list of numbers, not of places."),
    ("zone", "stands_mm", "-1", "stands_mm must be from 0 to 500 mm, for grinding down to a height is not planned"),
    ("zone", "thickness_mm", "1", 'thickness_mm does not go with "fixed height".'),
    ("zone", "depth_mm", "1", 'depth_mm does not go with "fixed height".'),
    ("note", "text", "[]", 'text is a list, not a text. Put it in quotes: text = """..."""'),
    ("note", "text", '"a\\tb"', f"text {NOT_PRINTABLE}"),
    ("note", "text", '"a\\rb"', f"text {NOT_PRINTABLE}"),
    ("note", "at", "3", "at is the number 3, not two numbers."),
    ("photo", "file", "3", "file is the number 3, not a text."),
    ("photo", "caption", f'"{"a" * 301}"', "caption is 301 letters long. Use 300 at most."),
    ("photo", "at", "[1]", "at has 1 numbers, not two."),
]


def text_of(section: str, key: str, value: str) -> str:
    needed = "".join(line + "\n" for line in NEEDED.get(section, "").splitlines() if not line.startswith(f"{key} ="))
    return f"{heading(section)}\n{needed}{key} = {value}\n"


def refused(text: str) -> str:
    with pytest.raises(InputError) as caught:
        survey_from(Path("survey.toml"), text.encode("utf-8"))
    said = str(caught.value)
    assert said.startswith("survey.toml: ")
    assert said.endswith((".", "?"))
    assert said.isprintable()
    return said.removeprefix("survey.toml: ")


def test_the_table_holds_every_key_of_every_section() -> None:
    assert {(section, key) for section, key, _, _ in TABLE} == {
        (section, key) for section, keys in KEYS.items() for key in keys
    }


@pytest.mark.parametrize(("section", "key", "value", "says"), TABLE)
def test_a_value_that_a_key_cannot_have(section: str, key: str, value: str, says: str) -> None:
    said = refused(text_of(section, key, value))
    assert said.startswith(heading(section))
    assert says in said


TEXT_KEYS = [
    (section, key)
    for section, key in (
        *[("place", key) for key in KEYS["place"]],
        *[("visit", key) for key in ("measured_by", "firm", "instruments", "notes")],
        *[("covering", key) for key in ("kind", "name", "limits")],
        *[("moisture", key) for key in ("method", "base", "limit_source")],
        ("heating", "kind"),
        ("sound", "contamination"),
        ("crack", "name"),
        *[("old_covering", key) for key in ("kind", "name", "adhesive", "asbestos")],
        ("door", "name"),
        *[("zone", key) for key in ("name", "kind")],
        ("note", "text"),
        *[("photo", key) for key in ("file", "caption")],
    )
]
#: Bell, escape, delete, C1 control, turn the way of writing (three ways), no width, line and paragraph separators,
#: byte order mark, private use.
SIGNS = ["07", "1b", "7f", "9b", "202e", "2066", "200f", "200b", "2028", "2029", "feff", "e000"]


@pytest.mark.parametrize("sign", SIGNS)
@pytest.mark.parametrize(("section", "key"), TEXT_KEYS)
def test_no_text_takes_signs_that_change_what_is_shown(section: str, key: str, sign: str) -> None:
    extra = "limit = 2\n" if key == "limit_source" else ""
    said = refused(text_of(section, key, f'"a\\u{int(sign, 16):04x}b"') + extra)
    assert "holds signs that cannot be printed" in said


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[sound]\ntiles_tapped = 4\ntiles_hollow = 5", "[sound]: 5 of 4 tiles tapped are said to be hollow. Count"),
        ("[sound]\ntiles_tapped = 4\ntiles_loose = 5", "[sound]: 5 of 4 tiles tapped are said to be loose. Count them"),
        (
            "[sound]\ntiles_hollow = 1\nhollow_at = [[0, 0], [1, 0]]",
            "[sound]: tiles_hollow is 1, and hollow_at names 2 places. Count the hollow tiles again.",
        ),
        (
            "[sound]\ntiles_tapped = 1\nloose_at = [[0, 0], [1, 0]]",
            "[sound]: 2 of 1 tiles tapped are said to be loose. Count them again.",
        ),
        (
            "[sound]\ncracks_looked_for = false\n[[crack]]\nline = [[0, 0], [1, 0]]",
            "[sound]: cracks_looked_for is false, and a [[crack]] is written down. Write cracks_looked_for = true,",
        ),
        (
            '[sound]\nclean = true\ncontamination = ["wax"]',
            "[sound]: clean is true, and contamination names wax. Write clean = false, or take it out.",
        ),
        ('[heating]\nkind = "none"\noff = true', '[heating]: kind is "none", and off is given too. Take one of them'),
        ('[heating]\nkind = "none"\ncover_mm = 30', '[heating]: kind is "none", and cover_mm is given too.'),
        (
            "[covering]\nacclimatised_since = 2026-05-03 08:00:00\nacclimatised_hours = 48",
            "[covering]: both acclimatised_since and acclimatised_hours are given. Give one of them.",
        ),
        (
            "[covering]\nleast_c = 28\nmost_c = 18",
            "[covering]: least_c must be less than most_c, but 28 and 18 °C were given. Take both from the data sheet.",
        ),
        (
            "[visit]\ndate = 2026-05-04\n[old_covering]\nlaid_year = 2027",
            "[old_covering]: laid_year is 2027, and the visit was in 2026. Correct one of them.",
        ),
        ("[[moisture]]\nvalue = 1", '[[moisture]] 1: method is missing. Say how it was read: "carbide", "in-base'),
        ('[[moisture]]\nmethod = "emission"', "[[moisture]] 1: value is missing. Give from 0 to 50 lb per 1000"),
        (
            '[[moisture]]\nmethod = "in-base humidity"\nvalue = 101',
            "[[moisture]] 1: value must be from 5 to 100 % RH, in percent and not as a share of 1, not 101.",
        ),
        (
            '[[moisture]]\nmethod = "surface humidity"\nvalue = 0.7',
            "[[moisture]] 1: value must be from 5 to 100 % RH, in percent and not as a share of 1, not 0.7.",
        ),
        (
            '[[moisture]]\nmethod = "wood moisture"\nvalue = 11\nbase = "concrete"',
            '[[moisture]] 1: "wood moisture" is no way to read concrete. Correct the method or the base.',
        ),
        (
            '[[moisture]]\nmethod = "emission"\nvalue = 3\ndepth_mm = 40',
            '[[moisture]] 1: depth_mm does not go with "emission", which is read on the surface.',
        ),
        ("[[crack]]", "[[crack]] 1: line is missing. Give the crack's course: line = [[0.5, 0], [1.4, 0.3]]."),
        ("[[note]]\nat = [1, 1]", "[[note]] 1: text is missing. Write what is to be remembered: text ="),
        ("[[photo]]", '[[photo]] 1: file is missing. Name the picture: file = "photos/hall.jpg".'),
        ("[levelling]\nline = [[0, 0], [1, 0]]", "[levelling]: line does not belong here. Write the line [[crack]] or"),
        ('client = "a"\n[place]', "client does not belong above all sections. Write the line [place] above it."),
        ('[[place]]\nname = "a"', "place is several sections, not a section. Write one line [place] above its keys."),
        ('[photo]\nfile = "a.jpg"', "photo is one section with single brackets, not a list of sections. Write a line"),
        ("[[note]]\ntext = 'a'\n" * 501, "there are 501 sections [[note]]. Give 500 at most."),
        ("[sound]\nhollow_at = [" + "[1, 1], " * 1001 + "]", "[sound]: hollow_at has 1001 places. Give 1000 at most."),
        ("[levelling]\ndams = [" + "[[1, 1]], " * 1001 + "]", "[levelling]: dams has 1001 lines. Give 1000 at most."),
        ("".join(f'[[photo]]\nfile = "{k}.jpg"\n' for k in range(41)), "there are 41 photos. Keep the 40 that tell"),
        (
            '[[photo]]\nfile = "a.jpg"\n[[photo]]\nfile = "./a.jpg"',
            "[[photo]] 2 ('./a.jpg'): this file is named in a [[photo]] before it. Take one of them out.",
        ),
    ],
)
def test_what_contradicts_itself_or_lacks_its_other_half(text: str, says: str) -> None:
    assert refused(text).startswith(says)


@pytest.mark.parametrize(
    ("line", "advice"),
    [
        ("air_c = 20,5", "Write decimals with a point, such as 20.5."),
        ("air_c = 20,5 # warm", "Write decimals with a point, such as 20.5."),
        ("date = 04.05.2026", "Write dates as year-month-day, such as 2026-05-04."),
        ("date = 04/05/2026", "Write dates as year-month-day, such as 2026-05-04."),
        ("off = True", "For yes write true, in small letters and without quotes."),
        ("off = No", "For no write false, in small letters and without quotes."),
        ("air_c = 20 °C", "Write the number alone, without its unit: the key says which unit it is."),
        ("humidity_percent = 55 %", "Write the number alone, without its unit: the key says which unit it is."),
        ("width_mm = 0.4 mm", "Write the number alone, without its unit: the key says which unit it is."),
        ("name =", "Write a value behind the =, or a # before the line."),
        ("name = # nobody knows", "Write a value behind the =, or a # before the line."),
        ('file = "photos\\hall.jpg"', "Write / in place of \\ between folders."),
        ('notes = "one\ntwo"', 'End the text with a second ", and a text of several lines with """ at both ends.'),
        ("name = kitchen", 'Put texts in quotes: key = "...".'),
        ("[place]\n[place]", "Write each section once, with all of its keys below it."),
        ("a = [1, 2", 'Write one `key = value` on a line, texts in "quotes", decimals with a point.'),
    ],
)
def test_a_slip_of_a_first_time_writer_is_told_with_its_cure(line: str, advice: str) -> None:
    said = refused(f"# a survey\n{line}\n")
    assert said.startswith("not a readable TOML file (")
    assert said.endswith(f"). {advice}")


@pytest.mark.parametrize("limits", ['["none.toml"]', '["."]', '["/dev/zero"]', '["./"]', '["../"]', '["big.toml"]'])
def test_a_file_of_limits_that_is_none(tmp_path: Path, limits: str) -> None:
    (tmp_path / "big.toml").write_bytes(b"#" * 1_000_001)
    path = tmp_path / "survey.toml"
    path.write_text(f"[covering]\nlimits = {limits}\n", encoding="utf-8")
    if limits == '["."]':  # no slash: a name, which `flatscan limits` does not list
        assert read_survey(path).site.covering.limits == (".",)
        return
    with pytest.raises(InputError) as caught:
        read_survey(path)
    said = str(caught.value)
    assert "[covering]: limits names" in said
    assert str(tmp_path) not in said


def test_a_file_of_five_megabytes_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "survey.toml"
    path.write_bytes(b"# x\n" * 1_250_000)
    with pytest.raises(InputError, match=r"it is 5\.0 MB large, too large for a survey file"):
        read_survey(path)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        # The parser takes the square of a key's parts: a minute for this one.
        ("a" + ".a" * 50_000 + " = 1", "not a readable TOML file (a key of very many parts)."),
        ("[" + '"a" . ' * 9_000 + "a]", "not a readable TOML file (a key of very many parts)."),
        ("a = " + "{a = " * 3_000 + "1" + "}" * 3_000, "not a readable TOML file (a number or list is too long)."),
    ],
)
def test_deep_nesting_is_refused(text: str, says: str) -> None:
    assert refused(text).startswith(says)
