"""Is the old floor sound, and what is it: ``[sound]``, every ``[[crack]]``, and ``[old_covering]``."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.sources.survey.keys import section_of, sections_of
from flatscan.sources.survey.kinds import ASBESTOS, OLD_COVERING, one_of
from flatscan.sources.survey.map_places import line_mm, places_mm
from flatscan.sources.survey.section import Range
from flatscan.sources.survey.site import OldCovering, SeenCrack, Sound, Tapped
from flatscan.sources.survey.values import texts, whole, yes_no

if TYPE_CHECKING:
    from flatscan.sources.survey.section import Section

_TAPPED_KEYS = ("tiles_tapped", "tiles_hollow", "tiles_loose", "hollow_at", "loose_at")
_TAPPED = Range(1.0, 100_000.0, "from 1 to 100000")
_COUNT = Range(0.0, 100_000.0, "from 0 to 100000")
#: Screeds hold 0.2 to 4 N/mm²; 145 psi or 1000 kPa is 1 N/mm².
_PULL_OFF = Range(0.0, 10.0, "more than 0 and at most 10 N/mm²; more is most likely another unit", open_below=True)
_CRACK = Range(0.0, 50.0, "more than 0 and at most 50 mm", open_below=True)
_YEAR = Range(1500.0, 2100.0, "from 1500 to 2100")


def read_sound(top: Section) -> Sound:
    """``[sound]`` and every ``[[crack]]``."""
    section = section_of(top, "sound")
    looked = yes_no(section, "cracks_looked_for")
    cracks = tuple(_crack(one) for one in sections_of(top, "crack"))
    if looked is False and cracks:
        what = "cracks_looked_for is false, and a [[crack]] is written down"
        raise section.refuse(what, "Write cracks_looked_for = true, or take the cracks out")
    clean, contamination = yes_no(section, "clean"), texts(section, "contamination")
    if clean and contamination:
        raise section.refuse(
            f"clean is true, and contamination names {contamination[0]}", "Write clean = false, or take it out"
        )
    return Sound(
        tapped=_tapped(section),
        cracks_looked_for=looked,
        cracks=cracks,
        clean=clean,
        contamination=contamination,
        pull_off_n_per_mm2=section.number("pull_off_n_per_mm2", _PULL_OFF),
        movement_joints_carried=yes_no(section, "movement_joints_carried"),
    )


def read_old_covering(top: Section) -> OldCovering:
    """``[old_covering]``."""
    section = section_of(top, "old_covering")
    return OldCovering(
        kind=one_of(section, "kind", OLD_COVERING),
        name=section.text("name") or "",
        laid_year=whole(section, "laid_year", _YEAR),
        adhesive=section.text("adhesive") or "",
        asbestos=one_of(section, "asbestos", ASBESTOS, "answer"),
    )


def _tapped(section: Section) -> Tapped | None:
    if not any(key in section.values for key in _TAPPED_KEYS):
        return None
    tapped = Tapped(
        tiles=whole(section, "tiles_tapped", _TAPPED),
        hollow=whole(section, "tiles_hollow", _COUNT),
        loose=whole(section, "tiles_loose", _COUNT),
        hollow_at_mm=places_mm(section, "hollow_at") or (),
        loose_at_mm=places_mm(section, "loose_at") or (),
    )
    for word, count, at_mm in (
        ("hollow", tapped.hollow, tapped.hollow_at_mm),
        ("loose", tapped.loose, tapped.loose_at_mm),
    ):
        _check_count(section, word, count, len(at_mm), tapped.tiles)
    return tapped


def _check_count(section: Section, word: str, count: int | None, places: int, tapped: int | None) -> None:
    if count is not None and count < places:
        what = f"tiles_{word} is {count}, and {word}_at names {places} place{'' if places == 1 else 's'}"
        raise section.refuse(what, f"Count the {word} tiles again")
    most = max(count or 0, places)
    if tapped is not None and most > tapped:
        raise section.refuse(f"{most} of {tapped} tiles tapped are said to be {word}", "Count them again")


def _crack(section: Section) -> SeenCrack:
    line = line_mm(section, "line")
    if line is None:
        raise section.refuse("line is missing", "Give the crack's course: line = [[0.5, 0], [1.4, 0.3]]")
    return SeenCrack(
        line_mm=line,
        width_mm=section.number("width_mm", _CRACK),
        moves=yes_no(section, "moves"),
        name=section.text("name") or "",
    )
