"""What a full record of a floor holds, and which of it a survey records: a list that report and page can show too."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from flatscan import said
from flatscan.sources.survey import told
from flatscan.sources.survey.kinds import ASBESTOS, COVERING, HEATING, OLD_COVERING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from flatscan.sources.survey.site import Climate, Covering, Heating, Moisture, Site, Tapped
    from flatscan.sources.survey.survey import Survey

Group = Literal[
    "place_and_date", "new_floor", "moisture", "climate", "soundness", "old_covering", "levelling", "photos"
]
TITLES: Mapping[Group, str] = {
    "place_and_date": "Place and date",
    "new_floor": "New floor and its data sheet",
    "moisture": "Moisture",
    "climate": "Climate and heating",
    "soundness": "Soundness",
    "old_covering": "Old covering",
    "levelling": "What binds the levelling",
    "photos": "Photos and notes",
}
#: Floors that nobody taps tile by tile.
_NOT_TAPPED = ("sheet", "screed", "concrete", "timber")
_BARE = ("screed", "concrete", "timber")
_HEATED = ("water", "electric", "unknown")
_TILES = ("ceramic_tile", "stone", "resilient_tile")


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing of a full record. ``told``: what is recorded, in words; "": it is missing. ``key``: where it goes."""

    group: Group
    name: str
    told: str
    key: str


def entries(survey: Survey) -> tuple[Entry, ...]:
    """Everything that a full record of this floor holds, group by group, recorded or not.

    What does not apply to this floor (heating in a floor without any, tapping of a screed) is left out, and so is
    what nobody needs, where it is not recorded.
    """
    return tuple(
        Entry(group, name, words, key)
        for group, listed in _GROUPS.items()
        for name, words, key, needed in listed(survey)
        if needed or words
    )


def missing(survey: Survey) -> tuple[Entry, ...]:
    """What is not recorded of ``entries``."""
    return tuple(entry for entry in entries(survey) if not entry.told)


#: Name, what is recorded, key, whether a full record needs it.
_Row = tuple[str, str, str, bool]


def _place_and_date(survey: Survey) -> Iterator[_Row]:
    visit, outline = survey.site.visit, survey.site.outline_mm
    yield "place", visit.place, "name in [place]", True
    yield "address", visit.address, "address in [place]", False
    yield "room", visit.room, "room in [place]", True
    yield "client", visit.client, "client in [place]", True
    yield "reference", visit.reference, "reference in [place]", False
    yield "date", "" if visit.date is None else visit.date.isoformat(), "date in [visit]", True
    yield "measured by", visit.measured_by, "measured_by in [visit]", True
    yield "firm", visit.firm, "firm in [visit]", False
    yield "instruments", ", ".join(visit.instruments), "instruments in [visit]", True
    yield "notes of the visit", told.in_short(visit.notes), "notes in [visit]", False
    yield "outline of the room", "" if outline is None else f"{len(outline)} corners", "outline in [room]", False


def _new_floor(survey: Survey) -> Iterator[_Row]:
    covering = survey.site.covering
    yield "kind", "" if covering.kind is None else COVERING[covering.kind][0], "kind in [covering]", True
    yield "name", covering.name, "name in [covering]", True
    yield "thickness", _length(covering.thickness_mm), "thickness_mm in [covering]", True
    yield "limit sets", ", ".join(covering.limits), "limits in [covering]", True
    yield "acclimatised", _acclimatised(covering), "acclimatised_since in [covering]", True
    yield "data sheet, least hours", _hours(covering.least_hours), "least_hours in [covering]", True
    yield "data sheet, coolest", _degrees(covering.least_c), "least_c in [covering]", True
    yield "data sheet, warmest", _degrees(covering.most_c), "most_c in [covering]", True
    yield "data sheet, humidity", _percent(covering.most_humidity_percent), "most_humidity_percent in [covering]", True


def _acclimatised(covering: Covering) -> str:
    if covering.acclimatised_since is not None:
        return f"since {covering.acclimatised_since.isoformat(' ', 'minutes')}"
    return _hours(covering.acclimatised_hours)


def _moisture(survey: Survey) -> Iterator[_Row]:
    readings = survey.site.moisture
    if not readings:
        yield "a reading", "", "a section [[moisture]]", True
    for number, one in enumerate(readings, start=1):
        yield f"reading {number}", told.reading(one), "[[moisture]]", True
        yield from _lacks(f"reading {number}", one, survey.site)


def _lacks(name: str, one: Moisture, site: Site) -> Iterator[_Row]:
    """Of a reading only what is missing has a row of its own: what is there stands in the reading's own."""
    if one.base is None:
        yield f"{name}, base", "", "base in [[moisture]]", True
    if one.plus_minus is None:
        yield f"{name}, how sure it is", "", "plus_minus in [[moisture]]", True
    if one.at_mm is None:
        yield f"{name}, place", "", "at in [[moisture]]", True
    if one.depth_mm is None and one.method == "in_base_humidity":
        yield f"{name}, depth", "", "depth_mm in [[moisture]]", True
    if one.beneath_tiles is None and site.old.kind in (None, "sheet", *_TILES):
        yield f"{name}, taken in the base", "", "beneath_tiles in [[moisture]]", True


def _climate(survey: Survey) -> Iterator[_Row]:
    climate: Climate = survey.site.climate
    yield "air", _degrees(climate.air_c), "air_c in [climate]", True
    yield "floor", _degrees(climate.floor_c), "floor_c in [climate]", True
    yield "humidity of the air", _percent(climate.humidity_percent), "humidity_percent in [climate]", True
    yield "held so", _hours(climate.held_hours), "held_hours in [climate]", True
    heating: Heating = survey.site.heating
    heated = heating.kind in _HEATED
    yield "heating in the floor", "" if heating.kind is None else HEATING[heating.kind][0], "kind in [heating]", True
    yield "heated surface, warmest", _degrees(heating.surface_most_c), "surface_most_c in [heating]", heated
    yield "heating switched off", told.yes_no(heating.off), "off in [heating]", heated
    yield "cover over the heating", _length(heating.cover_mm), "cover_mm in [heating]", heated


def _soundness(survey: Survey) -> Iterator[_Row]:
    sound = survey.site.sound
    if survey.site.old.kind not in _NOT_TAPPED or sound.tapped is not None:
        yield from _tapped(sound.tapped)
    looked = told.yes_no(sound.cracks_looked_for)
    if sound.cracks:
        looked = f"{looked or 'yes'}, {len(sound.cracks)} found"
    elif sound.cracks_looked_for:
        looked = "yes, none found"
    yield "cracks looked for", looked, "cracks_looked_for in [sound]", True
    for number, crack in enumerate(sound.cracks, start=1):
        name = crack.name or f"crack {number}"
        yield name, told.crack(crack), "[[crack]]", True
        if crack.width_mm is None:
            yield f"{name}, width", "", "width_mm in [[crack]]", True
        if crack.moves is None:
            yield f"{name}, whether it moves", "", "moves in [[crack]]", True
    dirt = ", ".join(sound.contamination)
    clean = told.yes_no(sound.clean) or ("no" if dirt else "")
    yield "clean", f"{clean}: {dirt}" if dirt else clean, "clean in [sound]", True
    pull = sound.pull_off_n_per_mm2
    yield "pull-off strength", "" if pull is None else f"{pull:g} N/mm²", "pull_off_n_per_mm2 in [sound]", True
    carried = told.yes_no(sound.movement_joints_carried)
    yield "movement joints carried", carried, "movement_joints_carried in [sound]", True


def _tapped(tapped: Tapped | None) -> Iterator[_Row]:
    tiles = "" if tapped is None or tapped.tiles is None else str(tapped.tiles)
    hollow = "" if tapped is None else told.count(tapped, tapped.hollow, tapped.hollow_at_mm)
    loose = "" if tapped is None else told.count(tapped, tapped.loose, tapped.loose_at_mm)
    yield "tiles tapped", tiles, "tiles_tapped in [sound]", True
    yield "tiles that sound hollow", hollow, "tiles_hollow in [sound]", True
    yield "loose tiles", loose, "tiles_loose in [sound]", True


def _old_covering(survey: Survey) -> Iterator[_Row]:
    old = survey.site.old
    yield "kind", "" if old.kind is None else OLD_COVERING[old.kind][0], "kind in [old_covering]", True
    yield "name", old.name, "name in [old_covering]", False
    yield "laid in", "" if old.laid_year is None else str(old.laid_year), "laid_year in [old_covering]", True
    yield "adhesive", old.adhesive, "adhesive in [old_covering]", old.kind not in _BARE
    asbestos = "" if old.asbestos is None else ASBESTOS[old.asbestos][0]
    yield "asbestos", asbestos, "asbestos in [old_covering]", True


def _levelling(survey: Survey) -> Iterator[_Row]:
    yield "greatest build-up", _length(survey.greatest_build_up_mm), "greatest_build_up_mm in [levelling]", True
    hole = _length(survey.remove_hollow_mm)
    yield "hole of hollow tiles", hole, "remove_hollow_mm in [levelling]", False
    joints, dams = len(survey.movement_joints_mm), len(survey.dams_mm)
    yield "movement joints", f"{joints} lines" if joints else "", "movement_joints in [levelling]", False
    yield "dams", f"{dams} lines" if dams else "", "dams in [levelling]", False
    if not survey.doors:
        yield "doors", "", "a section [[door]] for each", True
    for door in survey.doors:
        yield door.name, told.door(door), "[[door]]", True
        if door.greatest_build_up_mm is None:
            yield f"{door.name}, rise", "", "greatest_build_up_mm in [[door]]", True
    for zone in survey.zones:
        yield zone.name, told.zone(zone), "[[zone]]", True


def _photos(survey: Survey) -> Iterator[_Row]:
    photos, notes = survey.site.photos, survey.site.notes
    if not photos:
        yield "photos", "", "a section [[photo]] for each", True
    for number, photo in enumerate(photos, start=1):
        words = [photo.file.path.name, *([photo.caption] if photo.caption else [])]
        yield f"photo {number}", ": ".join(words), "[[photo]]", True
        if not photo.caption:
            yield f"photo {number}, what it shows", "", "caption in [[photo]]", True
    for number, note in enumerate(notes, start=1):
        where = "" if note.at_mm is None else f" ({told.place(note.at_mm)})"
        yield f"note {number}", told.in_short(note.text) + where, "[[note]]", True


_GROUPS: Mapping[Group, Callable[[Survey], Iterator[_Row]]] = {
    "place_and_date": _place_and_date,
    "new_floor": _new_floor,
    "moisture": _moisture,
    "climate": _climate,
    "soundness": _soundness,
    "old_covering": _old_covering,
    "levelling": _levelling,
    "photos": _photos,
}


def _length(length_mm: float | None) -> str:
    return "" if length_mm is None else said.length(length_mm)


def _degrees(celsius: float | None) -> str:
    return "" if celsius is None else said.temperature(celsius)


def _percent(percent: float | None) -> str:
    return "" if percent is None else f"{percent:g} % RH"


def _hours(hours: float | None) -> str:
    return "" if hours is None else f"{hours:g} h"
