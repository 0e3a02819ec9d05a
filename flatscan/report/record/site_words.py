"""What was found and read on site, in words: for the record and the page alike.

A fact that was not recorded has no row; a group without rows is *not recorded*, which is never the same as in order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.report.record.kind_words import ASBESTOS, COVERING, HEATING, METHOD, OLD
from flatscan.report.words import places
from flatscan.sources.survey.site import MOISTURE_UNIT

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable

    from flatscan.measures.measurement import Point
    from flatscan.sources.survey.site import (
        Climate,
        Covering,
        Heating,
        Moisture,
        Note,
        OldCovering,
        SeenCrack,
        Site,
        Sound,
        Visit,
        YesNo,
    )


@dataclass(frozen=True, slots=True)
class Facts:
    """One group of facts: its title and its rows of name and text; without rows nothing of it was recorded."""

    title: str
    rows: tuple[tuple[str, str], ...]


def site_facts(site: Site) -> tuple[Facts, ...]:
    """Every group, in the order in which a person works through a site."""
    named: tuple[tuple[str, Iterable[tuple[str, str]]], ...] = (
        ("Visit", _visit(site.visit)),
        ("New covering", _covering(site.covering)),
        ("Old covering", _old(site.old)),
        ("Moisture", [(str(number), moisture_line(one)) for number, one in enumerate(site.moisture, 1)]),
        ("Climate", _climate(site.climate)),
        ("Heating in the floor", _heating(site.heating)),
        ("Soundness", _sound(site.sound)),
        ("Cracks", _cracks(site.sound)),
        ("Notes", [(str(number), _note(one)) for number, one in enumerate(site.notes, 1)]),
    )
    return tuple(Facts(title, tuple(row for row in rows if row[1])) for title, rows in named)


def not_recorded(site: Site) -> list[str]:
    """What nobody wrote down, by the names that people use; notes are not asked for."""
    visit, sound, old = site.visit, site.sound, site.old
    asked: tuple[tuple[str, object], ...] = (
        ("place", visit.place or visit.address),
        ("room", visit.room),
        ("date", visit.date),
        ("who measured", visit.measured_by),
        ("client", visit.client),
        ("instruments", visit.instruments),
        ("new covering", site.covering.kind or site.covering.name),
        ("moisture of the base", site.moisture),
        ("climate of the room", any(value is not None for value in _values(site.climate))),
        ("heating in the floor", site.heating.kind),
        ("tapping for hollow tiles", sound.tapped),
        ("whether cracks were looked for", sound.cracks_looked_for is not None or sound.cracks),
        ("whether the floor is clean", sound.clean is not None or sound.contamination),
        ("whether movement joints are carried through", sound.movement_joints_carried is not None),
        ("old covering", old.kind or old.name),
        ("year the old covering was laid", old.laid_year),
        ("asbestos test", old.asbestos),
    )
    return [name for name, value in asked if not value]


def covering_text(covering: Covering) -> str:
    """The new floor in half a sentence; "" where it was not recorded.

    >>> from flatscan.sources.survey.site import Covering
    >>> covering_text(Covering("laminate", "invented planks", 8.0))
    'laminate (invented planks, 8 mm)'
    """
    kind = "" if covering.kind is None else COVERING[covering.kind]
    more = ", ".join(part for part in (covering.name, _length(covering.thickness_mm)) if part)
    return f"{kind} ({more})" if kind and more else kind or more


def moisture_line(one: Moisture) -> str:
    """One reading of moisture with its unit, place and limit.

    >>> from flatscan.sources.survey.site import Moisture
    >>> moisture_line(Moisture("carbide", 2.4, "cement_screed", 0.2, beneath_tiles=True, limit=2.0))
    'carbide method, 2.4 ± 0.2 CM-%, cement screed, taken in the base itself; limit 2 CM-%'
    """
    unit = MOISTURE_UNIT[one.method]
    give = "" if one.plus_minus is None else f" ± {one.plus_minus:g}"
    parts = [METHOD[one.method], f"{one.value:g}{give} {unit}"]
    parts += [one.base.replace("_", " ")] if one.base else []
    parts += [f"{said.length(one.depth_mm)} deep"] if one.depth_mm is not None else []
    if one.beneath_tiles is not None:
        parts.append("taken in the base itself" if one.beneath_tiles else "taken through the old covering")
    parts += _at(one.at_mm)
    if one.limit is None:
        return ", ".join(parts)
    source = f" ({one.limit_source})" if one.limit_source else ""
    return f"{', '.join(parts)}; limit {one.limit:g} {unit}{source}"


def _visit(visit: Visit) -> list[tuple[str, str]]:
    return [
        ("Place", visit.place),
        ("Address", visit.address),
        ("Room", visit.room),
        ("Date", date_text(visit.date)),
        ("Measured by", visit.measured_by),
        ("Firm", visit.firm),
        ("Client", visit.client),
        ("Reference", visit.reference),
        ("Instruments", "; ".join(visit.instruments)),
        ("Notes", visit.notes),
    ]


def date_text(date: dt.date | None) -> str:
    """A date that is read the same everywhere; "" for none.

    >>> import datetime as dt
    >>> date_text(dt.date(2025, 3, 4))
    '4 March 2025'
    """
    return "" if date is None else f"{date.day} {_MONTHS[date.month - 1]} {date.year}"


#: Not ``strftime``: the month's name would be in the language of the machine.
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def _covering(covering: Covering) -> list[tuple[str, str]]:
    since = covering.acclimatised_since
    held = "" if since is None else f"since {date_text(since.date())}, {since:%H:%M}"
    if covering.acclimatised_hours is not None:
        held = ", ".join(part for part in (held, _hours(covering.acclimatised_hours)) if part)
    asks = [f"at least {_hours(covering.least_hours)}"] if covering.least_hours is not None else []
    asks += [f"at least {said.temperature(covering.least_c)}"] if covering.least_c is not None else []
    asks += [f"at most {said.temperature(covering.most_c)}"] if covering.most_c is not None else []
    if covering.most_humidity_percent is not None:
        asks.append(f"air humidity at most {covering.most_humidity_percent:g} %")
    return [
        ("Kind", "" if covering.kind is None else COVERING[covering.kind]),
        ("Name", covering.name),
        ("Thickness", _length(covering.thickness_mm)),
        ("Limits it asks for", ", ".join(covering.limits)),
        ("Laid open in the room", held),
        ("Its data sheet asks", ", ".join(asks)),
    ]


def _old(old: OldCovering) -> list[tuple[str, str]]:
    return [
        ("Kind", "" if old.kind is None else OLD[old.kind]),
        ("Name", old.name),
        ("Laid in", "" if old.laid_year is None else str(old.laid_year)),
        ("Adhesive", old.adhesive),
        ("Asbestos", "" if old.asbestos is None else ASBESTOS[old.asbestos]),
    ]


def _climate(climate: Climate) -> list[tuple[str, str]]:
    humidity = climate.humidity_percent
    return [
        ("Air", _temperature(climate.air_c)),
        ("Floor", _temperature(climate.floor_c)),
        ("Air humidity", "" if humidity is None else f"{humidity:g} %"),
        ("Held so for", "" if climate.held_hours is None else _hours(climate.held_hours)),
    ]


def _heating(heating: Heating) -> list[tuple[str, str]]:
    return [
        ("Kind", "" if heating.kind is None else HEATING[heating.kind]),
        ("Hottest surface in use", _temperature(heating.surface_most_c)),
        ("Switched off now", _yes_no(heating.off)),
        ("Cover over it", _length(heating.cover_mm)),
    ]


def _sound(sound: Sound) -> list[tuple[str, str]]:
    pull_off = sound.pull_off_n_per_mm2
    return [
        ("Tapped", _tapped(sound)),
        ("Clean", _yes_no(sound.clean)),
        ("On the floor", ", ".join(sound.contamination)),
        ("Pull-off strength", "" if pull_off is None else f"{pull_off:g} N/mm²"),
        ("Movement joints carried through", _yes_no(sound.movement_joints_carried)),
    ]


def _tapped(sound: Sound) -> str:
    tapped = sound.tapped
    if tapped is None:
        return ""
    counts = ((tapped.tiles, "tapped"), (tapped.hollow, "hollow"), (tapped.loose, "loose"))
    parts = [f"{number} {word}" for number, word in counts if number is not None]
    for word, found in (("hollow", tapped.hollow_at_mm), ("loose", tapped.loose_at_mm)):
        parts += [f"{word} at {'; '.join(places.point(at) for at in found)}"] if found else []
    return ", ".join(parts)


def _cracks(sound: Sound) -> list[tuple[str, str]]:
    looked = _yes_no(sound.cracks_looked_for)
    none = " (none were found)" if sound.cracks_looked_for and not sound.cracks else ""
    rows = [("Looked for", f"{looked}{none}" if looked else "")]
    return rows + [(one.name or f"Crack {number}", crack_line(one)) for number, one in enumerate(sound.cracks, 1)]


def crack_line(crack: SeenCrack) -> str:
    """A crack's length, width and place, and whether it moves."""
    length_mm = sum(math.dist(a, b) for a, b in zip(crack.line_mm, crack.line_mm[1:], strict=False))
    parts = [f"{said.tape(length_mm)} long"] if len(crack.line_mm) > 1 else []
    parts += [f"{said.length(crack.width_mm)} wide"] if crack.width_mm is not None else []
    parts.append({True: "moves", False: "does not move", None: "nobody knows whether it moves"}[crack.moves])
    ends = [places.point(at) for at in (*crack.line_mm[:1], *crack.line_mm[1:][-1:])]
    return f"{', '.join(parts)}; from {' to '.join(ends)}" if ends else ", ".join(parts)


def _note(note: Note) -> str:
    return f"{note.text} ({_at(note.at_mm)[0]})" if note.at_mm is not None else note.text


def _at(at_mm: Point | None) -> list[str]:
    return [] if at_mm is None else [f"at {places.point(at_mm)}"]


def _values(climate: Climate) -> tuple[float | None, ...]:
    return climate.air_c, climate.floor_c, climate.humidity_percent, climate.held_hours


def _length(length_mm: float | None) -> str:
    return "" if length_mm is None else said.length(length_mm)


def _temperature(celsius: float | None) -> str:
    return "" if celsius is None else said.temperature(celsius)


def _hours(hours: float) -> str:
    return f"{hours:g} {'hour' if hours == 1.0 else 'hours'}"


def _yes_no(value: YesNo) -> str:
    return "" if value is None else "yes" if value else "no"
