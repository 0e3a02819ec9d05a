"""The sections of a survey file that bind the levelling: ``[levelling]``, every ``[[door]]`` and ``[[zone]]``."""

from __future__ import annotations

import difflib
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from flatscan.sources.survey.map_places import line_mm, lines_mm, outline_mm, places_mm
from flatscan.sources.survey.section import Range
from flatscan.sources.survey.survey import Door, Zone

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.sources.survey.section import Section
    from flatscan.sources.survey.survey import ZoneKind

_HIGHEST_MM = 500.0
#: Thinner than any layer: whoever writes 0.008 means metres.
_THINNEST_MM = 0.1
_FROM_ZERO = Range(0.0, _HIGHEST_MM, "from 0 to 500 mm")
_ABOVE_ZERO = Range(0.0, _HIGHEST_MM, "more than 0 and at most 500 mm", open_below=True)


@dataclass(frozen=True, slots=True)
class _Kind:
    """How people write a kind of zone, and the key that says its height, if it has one."""

    kind: ZoneKind
    words: str
    key: str | None = None
    allowed: Range = _FROM_ZERO
    default_mm: float | None = None


_KINDS = (
    _Kind("no_fill", "no fill"),
    _Kind("no_grind", "no grinding"),
    _Kind("keep_slope", "keeps its slope"),
    _Kind(
        "fixed_height",
        "fixed height",
        "stands_mm",
        Range(0.0, _HIGHEST_MM, "from 0 to 500 mm, for grinding down to a height is not planned"),
        default_mm=0.0,
    ),
    _Kind("greatest_build_up", "greatest build-up", "thickness_mm"),
    _Kind("remove_tiles", "tiles come out", "depth_mm", _ABOVE_ZERO),
)
_BY_WORDS = {key.replace("-", " ").replace("_", " "): k for k in _KINDS for key in (k.words, k.kind)}
_OWN_KEYS = {k.key: k for k in _KINDS if k.key is not None}


def read_levelling(top: Section) -> dict[str, Any]:
    """``[levelling]``: what holds for the whole floor, movement joints, dams."""
    section = top.table("levelling")
    if section is None:
        return {}
    section.check_keys(("greatest_build_up_mm", "remove_hollow_mm", "movement_joints", "dams"))
    return {
        "greatest_build_up_mm": _millimetres(section, "greatest_build_up_mm", _FROM_ZERO),
        "remove_hollow_mm": _millimetres(section, "remove_hollow_mm", _ABOVE_ZERO),
        "movement_joints_mm": lines_mm(section, "movement_joints"),
        "dams_mm": lines_mm(section, "dams"),
    }


def read_doors(top: Section) -> dict[str, Any]:
    """Every ``[[door]]``."""
    sections = top.tables("door")
    doors = tuple(_door(section, f"door {k}") for k, section in enumerate(sections, start=1))
    _check_names(sections, [door.name for door in doors])
    return {"doors": doors}


def read_zones(top: Section) -> dict[str, Any]:
    """Every ``[[zone]]``."""
    sections = top.tables("zone")
    zones = tuple(_zone(section, f"zone {k}") for k, section in enumerate(sections, start=1))
    _check_names(sections, [zone.name for zone in zones])
    return {"zones": zones}


def _door(section: Section, default_name: str) -> Door:
    section.check_keys(("name", "line", "greatest_build_up_mm"))
    line = line_mm(section, "line")
    if line is None:
        raise section.refuse("line is missing", "Give both ends of the door: line = [[0.5, 0], [1.4, 0]]")
    if len(line) != 2:  # noqa: PLR2004 - two ends
        raise section.refuse(f"line has {len(line)} places, and a door has two ends", "Give both ends")
    return Door(
        name=section.text("name") or default_name,
        line_mm=(line[0], line[1]),
        greatest_build_up_mm=_millimetres(section, "greatest_build_up_mm", _FROM_ZERO),
    )


def _zone(section: Section, default_name: str) -> Zone:
    section.check_keys(("name", "kind", "corners", "tiles_at", *_OWN_KEYS))
    kind = _kind_of(section)
    corners, tiles_at = outline_mm(section, "corners"), places_mm(section, "tiles_at")
    if corners is None and tiles_at is None:
        advice = "Give corners = [[x, y], ...], or tiles_at = [[x, y], ...] with a place in each tile"
        raise section.refuse("corners are missing", advice)
    if corners is not None and tiles_at is not None:
        raise section.refuse("both corners and tiles_at are given", "Give one of them, and a [[zone]] for the other")
    return Zone(
        kind=kind.kind,
        name=section.text("name") or default_name,
        polygon_mm=corners,
        tiles_at_mm=tiles_at or (),
        value_mm=_value_of(section, kind),
    )


def _kind_of(section: Section) -> _Kind:
    listed = ", ".join(f'"{k.words}"' for k in _KINDS)
    said = section.text("kind")
    if said is None:
        raise section.refuse("kind is missing", f"Say what the zone is: {listed}")
    words = " ".join(said.lower().replace("-", " ").replace("_", " ").split())
    if words in _BY_WORDS:
        return _BY_WORDS[words]
    near = difflib.get_close_matches(words, _BY_WORDS, n=1)
    advice = f'Did you mean "{_BY_WORDS[near[0]].words}"?' if near else f"Known kinds: {listed}"
    raise section.refuse(f'there is no kind "{said}"', advice)


def _value_of(section: Section, kind: _Kind) -> float | None:
    """The height that goes with the kind; a height of another kind is a slip of the pen."""
    for key, owner in _OWN_KEYS.items():
        if key in section.values and owner is not kind:
            what = f'{key} does not go with "{kind.words}"'
            raise section.refuse(what, f'It is for "{owner.words}": take it out or change the kind')
    if kind.key is None:
        return None
    value = _millimetres(section, kind.key, kind.allowed)
    if value is None and kind.default_mm is None:
        raise section.refuse(f'{kind.key} is missing, which "{kind.words}" needs', f"Add {kind.key} = ... in mm")
    return kind.default_mm if value is None else value


def _millimetres(section: Section, key: str, allowed: Range) -> float | None:
    value = section.number(key, allowed)
    if value is not None and 0.0 < value < _THINNEST_MM:
        raise section.refuse(f"{key} is {value:g} mm, thinner than any layer", "Give millimetres, not metres")
    return value


def _check_names(sections: Sequence[Section], names: Sequence[str]) -> None:
    """Messages and drawings call each by its name, so no two may share one."""
    times = Counter(names)
    for section, name in zip(sections, names, strict=True):
        if times[name] > 1:
            raise section.refuse(f"another one is called '{name}' too", "Give each a name of its own")
