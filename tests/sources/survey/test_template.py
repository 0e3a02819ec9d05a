"""The template: valid and empty as it is, a full survey once every example in it is taken out of its comment."""

from __future__ import annotations

import re
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from flatscan.errors import OutputError
from flatscan.sources.survey import missing, read_survey, survey_from
from flatscan.sources.survey.keys import KEYS, heading
from flatscan.sources.survey.kinds import ASBESTOS, BASE, COVERING, HEATING, METHOD, OLD_COVERING, ZONE
from flatscan.sources.survey.site import NO_SITE
from flatscan.sources.survey.template import template, write_template

from .written import parts_of

#: Two keys that say the same thing twice: an example of each is shown, and only one may be given.
EITHER = "# acclimatised_hours"


def filled_in() -> str:
    """Every example taken out of its comment, as a person would do it."""
    lines, note = [], False
    for line in template().splitlines():
        example = re.match(r"# (\[\[?\w+\]\]?$|\w+ = )", line) and not line.startswith(EITHER)
        lines.append(line.removeprefix("# ") if example or note else line)
        note = note != (line.count('"""') % 2 == 1)
    return "\n".join(lines).replace('kind = "none"  ', 'kind = "water" ')


def test_untouched_it_is_valid_and_records_nothing() -> None:
    survey = survey_from(Path("survey.toml"), template().encode("utf-8"))
    assert parts_of(survey) == (
        NO_SITE.visit, NO_SITE.covering, (), NO_SITE.climate, NO_SITE.heating, NO_SITE.sound, NO_SITE.old, None, (),
    )  # fmt: skip
    assert (survey.zones, survey.doors, survey.dams_mm, survey.movement_joints_mm) == ((), (), (), ())
    assert (survey.greatest_build_up_mm, survey.remove_hollow_mm) == (None, None)


def test_every_section_and_key_is_explained_in_it() -> None:
    shown: dict[str, set[str]] = {}
    section = ""
    for line in template().splitlines():
        if head := re.match(r"(?:# )?(\[\[?(\w+)\]\]?)$", line):
            section = head[2]
            assert head[1] == heading(section)
        elif key := re.match(r"# (\w+) = ", line):
            shown.setdefault(section, set()).add(key[1])
    assert shown == {name: set(keys) for name, keys in KEYS.items()}


def test_every_word_for_a_kind_stands_in_it() -> None:
    words = re.sub(r"\n#\s+", " ", template())
    for kinds in (COVERING, METHOD, BASE, HEATING, OLD_COVERING, ASBESTOS, ZONE):
        assert all(every[0] in words for every in kinds.values())


def empty_fields(record: Any, name: str = "") -> list[str]:
    """The fields of a record, and of records in it, that hold nothing."""
    if isinstance(record, tuple) and record and is_dataclass(record[0]):
        return [found for k, one in enumerate(record) for found in empty_fields(one, f"{name}[{k}]")]
    if is_dataclass(record):
        return [
            f for field in fields(record) for f in empty_fields(getattr(record, field.name), f"{name}.{field.name}")
        ]
    return [name] if record is None or (isinstance(record, (str, bytes, tuple)) and not record) else []


def test_filled_in_it_is_a_full_survey(tmp_path: Path) -> None:
    (tmp_path / "photos").mkdir()
    Image.new("RGB", (40, 30)).save(tmp_path / "photos" / "hollow-tile.jpg")
    path = tmp_path / "survey.toml"
    path.write_text(filled_in(), encoding="utf-8")
    survey = read_survey(path)
    assert missing(survey) == ()
    assert empty_fields(survey.site) == [".covering.acclimatised_hours"]
    assert {zone.kind for zone in survey.zones} == {"fixed_height", "remove_tiles", "greatest_build_up"}
    assert (len(survey.doors), len(survey.dams_mm), len(survey.movement_joints_mm)) == (1, 1, 1)
    assert survey.site.visit.notes.count("\n") == 1


def test_it_fits_a_printed_page() -> None:
    assert max(map(len, template().splitlines())) <= 120
    assert template().isascii() or set(template()) - set(map(chr, range(128))) <= set("°²±")


def test_it_replaces_nothing_unless_told_and_leaves_nothing_behind(tmp_path: Path) -> None:
    path = tmp_path / "survey.toml"
    write_template(path)
    path.write_text("[place]\n", encoding="utf-8")
    with pytest.raises(OutputError, match=r"the file exists\. Choose another name, or pass --force to replace it"):
        write_template(path)
    assert path.read_text(encoding="utf-8") == "[place]\n"
    write_template(path, force=True)
    assert path.read_text(encoding="utf-8") == template()
    assert list(tmp_path.iterdir()) == [path]


def test_where_it_cannot_be_written(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="this is a folder"):
        write_template(tmp_path, force=True)
    with pytest.raises(OutputError, match="there is no folder"):
        write_template(tmp_path / "none" / "survey.toml")
    (tmp_path / "dangling.toml").symlink_to(tmp_path / "none" / "survey.toml")
    with pytest.raises(OutputError, match="cannot be written"):
        write_template(tmp_path / "dangling.toml")
    assert not (tmp_path / "none").exists()
