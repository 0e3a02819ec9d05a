"""Which sections a survey file has, and which keys each may hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.sources.survey.section import Section, shown

if TYPE_CHECKING:
    from collections.abc import Mapping

#: In the order of the template.
KEYS: Mapping[str, tuple[str, ...]] = {
    "place": ("name", "address", "room", "client", "reference"),
    "visit": ("date", "measured_by", "firm", "instruments", "notes"),
    "room": ("outline",),
    "covering": (
        "kind", "name", "thickness_mm", "limits", "acclimatised_since", "acclimatised_hours",
        "least_hours", "least_c", "most_c", "most_humidity_percent",
    ),
    "moisture": (
        "method", "value", "plus_minus", "base", "at", "depth_mm", "beneath_tiles", "limit", "limit_source",
    ),
    "climate": ("air_c", "floor_c", "humidity_percent", "held_hours"),
    "heating": ("kind", "surface_most_c", "off", "cover_mm"),
    "sound": (
        "tiles_tapped", "tiles_hollow", "tiles_loose", "hollow_at", "loose_at", "cracks_looked_for", "clean",
        "contamination", "pull_off_n_per_mm2", "movement_joints_carried",
    ),
    "crack": ("line", "width_mm", "moves", "name"),
    "old_covering": ("kind", "name", "laid_year", "adhesive", "asbestos"),
    "levelling": ("greatest_build_up_mm", "remove_hollow_mm", "movement_joints", "dams"),
    "door": ("name", "line", "greatest_build_up_mm"),
    "zone": ("name", "kind", "corners", "tiles_at", "stands_mm", "thickness_mm", "depth_mm"),
    "note": ("text", "at"),
    "photo": ("file", "caption", "at"),
}  # fmt: skip
#: Sections of which there may be several, with two brackets on each side.
SEVERAL = frozenset({"moisture", "crack", "door", "zone", "note", "photo"})


def section_of(top: Section, name: str) -> Section:
    """The section ``[name]`` with its keys checked; one without keys where it is not there."""
    section = top.table(name) or Section(top.file, heading(name), {})
    _check(section, name)
    return section


def sections_of(top: Section, name: str) -> tuple[Section, ...]:
    """Every section ``[[name]]`` with its keys checked."""
    sections = top.tables(name)
    for section in sections:
        _check(section, name)
    return sections


def heading(name: str) -> str:
    """The line above a section's keys.

    >>> heading("room"), heading("door")
    ('[room]', '[[door]]')
    """
    return f"[[{name}]]" if name in SEVERAL else f"[{name}]"


def check_top(top: Section) -> None:
    """Refuse a section that is not known, and a key that stands above all of them."""
    _check_homes(top, KEYS)
    top.check_keys(KEYS)


def _check(section: Section, name: str) -> None:
    _check_homes(section, KEYS[name])
    section.check_keys(KEYS[name])


def _check_homes(section: Section, known: Mapping[str, object] | tuple[str, ...]) -> None:
    """A key that belongs elsewhere: most likely the heading above it is still commented out."""
    for key in section.values:
        homes = [heading(name) for name, keys in KEYS.items() if key in keys]
        if key not in known and homes:
            what = f"{shown(key)} does not belong {'here' if section.label else 'above all sections'}"
            raise section.refuse(what, f"Write the line {' or '.join(homes)} above it")
