"""The sections of a survey file that bind the levelling: ``[levelling]``, every ``[[door]]`` and ``[[zone]]``."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from flatscan.sources.survey.keys import section_of, sections_of
from flatscan.sources.survey.kinds import ZONE, listed, one_of
from flatscan.sources.survey.map_places import line_mm, lines_mm, outline_mm, places_mm
from flatscan.sources.survey.section import Range
from flatscan.sources.survey.survey import Door, Zone
from flatscan.sources.survey.values import millimetres

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.sources.survey.section import Section
    from flatscan.sources.survey.survey import ZoneKind

_HIGHEST_MM = 500.0
_FROM_ZERO = Range(0.0, _HIGHEST_MM, "from 0 to 500 mm")
_ABOVE_ZERO = Range(0.0, _HIGHEST_MM, "more than 0 and at most 500 mm", open_below=True)


@dataclass(frozen=True, slots=True)
class _Kind:
    """A kind of zone, and the key that says its height, if it has one."""

    kind: ZoneKind
    key: str | None = None
    allowed: Range = _FROM_ZERO
    default_mm: float | None = None

    @property
    def words(self) -> str:
        return ZONE[self.kind][0]


_KINDS = (
    _Kind("no_fill"),
    _Kind("no_grind"),
    _Kind("keep_slope"),
    _Kind(
        "fixed_height",
        "stands_mm",
        Range(0.0, _HIGHEST_MM, "from 0 to 500 mm, for grinding down to a height is not planned"),
        default_mm=0.0,
    ),
    _Kind("greatest_build_up", "thickness_mm"),
    _Kind("remove_tiles", "depth_mm", _ABOVE_ZERO),
)
_OWN_KEYS = {k.key: k for k in _KINDS if k.key is not None}


def read_levelling(top: Section) -> dict[str, Any]:
    """``[levelling]``: what holds for the whole floor, movement joints, dams."""
    section = section_of(top, "levelling")
    return {
        "greatest_build_up_mm": millimetres(section, "greatest_build_up_mm", _FROM_ZERO),
        "remove_hollow_mm": millimetres(section, "remove_hollow_mm", _ABOVE_ZERO),
        "movement_joints_mm": lines_mm(section, "movement_joints"),
        "dams_mm": lines_mm(section, "dams"),
    }


def read_doors(top: Section) -> dict[str, Any]:
    """Every ``[[door]]``."""
    sections = sections_of(top, "door")
    doors = tuple(_door(section, f"door {k}") for k, section in enumerate(sections, start=1))
    _check_names(sections, [door.name for door in doors])
    return {"doors": doors}


def read_zones(top: Section) -> dict[str, Any]:
    """Every ``[[zone]]``."""
    sections = sections_of(top, "zone")
    zones = tuple(_zone(section, f"zone {k}") for k, section in enumerate(sections, start=1))
    _check_names(sections, [zone.name for zone in zones])
    return {"zones": zones}


def _door(section: Section, default_name: str) -> Door:
    line = line_mm(section, "line")
    if line is None:
        raise section.refuse("line is missing", "Give both ends of the door: line = [[0.5, 0], [1.4, 0]]")
    if len(line) != 2:  # noqa: PLR2004 - two ends
        raise section.refuse(f"line has {len(line)} places, and a door has two ends", "Give both ends")
    return Door(
        name=section.text("name") or default_name,
        line_mm=(line[0], line[1]),
        greatest_build_up_mm=millimetres(section, "greatest_build_up_mm", _FROM_ZERO),
    )


def _zone(section: Section, default_name: str) -> Zone:
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
    found = one_of(section, "kind", ZONE)
    if found is None:
        raise section.refuse("kind is missing", f"Say what the zone is: {listed(ZONE)}")
    return next(k for k in _KINDS if k.kind == found)


def _value_of(section: Section, kind: _Kind) -> float | None:
    """The height that goes with the kind; a height of another kind is a slip of the pen."""
    for key, owner in _OWN_KEYS.items():
        if key in section.values and owner is not kind:
            what = f'{key} does not go with "{kind.words}"'
            raise section.refuse(what, f'It is for "{owner.words}": take it out or change the kind')
    if kind.key is None:
        return None
    value = millimetres(section, kind.key, kind.allowed)
    if value is None and kind.default_mm is None:
        raise section.refuse(f'{kind.key} is missing, which "{kind.words}" needs', f"Add {kind.key} = ... in mm")
    return kind.default_mm if value is None else value


def _check_names(sections: Sequence[Section], names: Sequence[str]) -> None:
    """Messages and drawings call each by its name, so no two may share one."""
    times = Counter(names)
    for section, name in zip(sections, names, strict=True):
        if times[name] > 1:
            raise section.refuse(f"another one is called '{name}' too", "Give each a name of its own")
