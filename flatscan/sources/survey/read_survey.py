"""Read a survey file. A new section is one function and one row here."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flatscan.sources.scan import InputFile
from flatscan.sources.survey.section import Section, read_toml, toml_section
from flatscan.sources.survey.survey import Survey
from flatscan.sources.survey.zones import read_doors, read_levelling, read_zones

if TYPE_CHECKING:
    from collections.abc import Callable

_WHAT = "survey file"
#: Section: what reads it. Each takes the file's top level and gives fields of ``Survey``.
_SECTIONS: dict[str, Callable[[Section], dict[str, Any]]] = {
    "levelling": read_levelling,
    "door": read_doors,
    "zone": read_zones,
}


def read_survey(path: Path | str) -> Survey:
    """What a person wrote down about a room (TOML), all of it optional.

    Positions are metres on the map, from corner 0 (x to the right, y up); heights and thicknesses are mm.

    Raises
    ------
    InputError
        for a file that cannot be read, and for the first thing in it that cannot be used, with its section
    """
    path = Path(path)
    return survey_from(path, read_toml(path, _WHAT)[1])


def survey_from(path: Path, data: bytes) -> Survey:
    """The survey from the bytes of its file, which need not be there any more; raises as ``read_survey``."""
    top = toml_section(path.name, data, _WHAT)
    top.check_keys(_SECTIONS)
    said: dict[str, Any] = {}
    for read in _SECTIONS.values():
        said |= read(top)
    return Survey(file=InputFile(path, hashlib.sha256(data).hexdigest(), "survey"), data=data, **said)
