"""Read a survey file. A new section is a row in ``keys.py``, a function and a row here."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flatscan.sources.scan import InputFile
from flatscan.sources.survey.covering_section import (
    check_limit_files,
    limit_names,
    read_climate,
    read_covering,
    read_heating,
)
from flatscan.sources.survey.keys import check_top
from flatscan.sources.survey.moisture_section import read_moisture
from flatscan.sources.survey.photos import load_photo, read_entries
from flatscan.sources.survey.section import Section, read_toml, toml_section
from flatscan.sources.survey.site import Site
from flatscan.sources.survey.sound_section import read_old_covering, read_sound
from flatscan.sources.survey.survey import Survey
from flatscan.sources.survey.visit_section import read_notes, read_room, read_visit
from flatscan.sources.survey.zones import read_doors, read_levelling, read_zones

if TYPE_CHECKING:
    from collections.abc import Callable

_WHAT = "survey file"
#: What binds the levelling. Each takes the file's top level and gives fields of ``Survey``.
_BINDING: tuple[Callable[[Section], dict[str, Any]], ...] = (read_levelling, read_doors, read_zones)
#: Sections that bind none: fields of ``Site``, and what reads each from the file's top level.
_SITE: dict[str, Callable[[Section], Any]] = {
    "visit": read_visit,
    "outline_mm": read_room,
    "covering": read_covering,
    "moisture": read_moisture,
    "climate": read_climate,
    "heating": read_heating,
    "sound": read_sound,
    "old": read_old_covering,
    "notes": read_notes,
}


def read_survey(path: Path | str) -> Survey:
    """What a person wrote down about a room (TOML), all of it optional, with the photos that it names.

    Positions are metres on the map, from corner 0 (x to the right, y up); heights and thicknesses are mm.

    Raises
    ------
    InputError
        for a file that cannot be read, and for the first thing in it that cannot be used, with its section
    """
    path = Path(path)
    survey = survey_from(path, read_toml(path, _WHAT)[1])
    check_limit_files(path.name, survey.site.covering.limits)
    entries = read_entries(toml_section(path.name, survey.data, _WHAT))
    photos = tuple(load_photo(entry, path.parent) for entry in entries)
    return replace(survey, site=replace(survey.site, photos=photos))


def survey_from(path: Path, data: bytes) -> Survey:
    """The survey from the bytes of its file, without photos; raises as ``read_survey``.

    Neither the file nor anything beside it need be there any more.
    """
    top = toml_section(path.name, data, _WHAT)
    check_top(top)
    said: dict[str, Any] = {}
    for read in _BINDING:
        said |= read(top)
    read_entries(top)
    return Survey(
        file=InputFile(path, hashlib.sha256(data).hexdigest(), "survey"), data=data, site=_site(top, path), **said
    )


def _site(top: Section, path: Path) -> Site:
    site = Site(**{field: read(top) for field, read in _SITE.items()})
    laid, visited = site.old.laid_year, site.visit.date
    if laid is not None and visited is not None and laid > visited.year:
        what = f"[old_covering]: laid_year is {laid}, and the visit was in {visited.year}"
        raise top.refuse(what, "Correct one of them")
    covering = replace(site.covering, limits=limit_names(site.covering.limits, path.parent))
    return replace(site, covering=covering)
