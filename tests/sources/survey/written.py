"""A survey written down as a person would: the TOML of given records, by a hand of its own."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

from flatscan.sources.survey.site import Site
from flatscan.sources.survey.survey import Survey

#: Each kind in words; written out here, so that a word lost in the program shows.
WORDS = {
    "click_vinyl": "click vinyl",
    "planks_on_mat": "planks on a mat",
    "glued_vinyl": "glued vinyl",
    "laminate": "laminate",
    "parquet": "parquet",
    "thin_tile": "thin tiles",
    "other": "other",
    "carbide": "carbide",
    "in_base_humidity": "in-base humidity",
    "surface_humidity": "surface humidity",
    "emission": "emission",
    "wood_moisture": "wood moisture",
    "cement_screed": "cement screed",
    "calcium_sulfate_screed": "calcium sulfate screed",
    "concrete": "concrete",
    "timber": "timber",
    "none": "none",
    "water": "water",
    "electric": "electric",
    "unknown": "unknown",
    "ceramic_tile": "ceramic tiles",
    "stone": "stone",
    "resilient_tile": "resilient tiles",
    "sheet": "sheet",
    "screed": "screed",
    "not_tested": "not tested",
    "none_found": "none found",
    "found": "found",
}


def metres(point: tuple[float, float]) -> list[float]:
    return [v / 1000.0 for v in point]


def value(given: Any) -> str:
    """One TOML value."""
    if isinstance(given, bool):
        return "true" if given else "false"
    if isinstance(given, dt.datetime):
        return given.isoformat(" ")
    if isinstance(given, dt.date):
        return given.isoformat()
    return json.dumps(given, ensure_ascii=False)  # numbers, strings and lists are written alike


def section(head: str, **keys: Any) -> str:
    """A section with the keys that hold something."""
    lines = [f"{key} = {value(v)}" for key, v in keys.items() if v not in (None, "", (), [])]
    return "\n".join([head, *lines, ""])


def words(kind: str | None) -> str | None:
    return None if kind is None else WORDS[kind]


def at(point: tuple[float, float] | None) -> list[float] | None:
    return None if point is None else metres(point)


def toml_of(site: Site) -> str:
    """The whole file, photos left out."""
    visit, covering, climate, heating, sound, old = (
        site.visit,
        site.covering,
        site.climate,
        site.heating,
        site.sound,
        site.old,
    )
    parts = [
        section(
            "[place]",
            name=visit.place,
            address=visit.address,
            room=visit.room,
            client=visit.client,
            reference=visit.reference,
        ),
        section(
            "[visit]",
            date=visit.date,
            measured_by=visit.measured_by,
            firm=visit.firm,
            instruments=list(visit.instruments),
            notes=visit.notes,
        ),
        section("[room]", outline=None if site.outline_mm is None else [metres(p) for p in site.outline_mm.tolist()]),
        section(
            "[covering]",
            kind=words(covering.kind),
            name=covering.name,
            thickness_mm=covering.thickness_mm,
            limits=list(covering.limits),
            acclimatised_since=covering.acclimatised_since,
            acclimatised_hours=covering.acclimatised_hours,
            least_hours=covering.least_hours,
            least_c=covering.least_c,
            most_c=covering.most_c,
            most_humidity_percent=covering.most_humidity_percent,
        ),
        section(
            "[climate]",
            air_c=climate.air_c,
            floor_c=climate.floor_c,
            humidity_percent=climate.humidity_percent,
            held_hours=climate.held_hours,
        ),
        section(
            "[heating]",
            kind=words(heating.kind),
            surface_most_c=heating.surface_most_c,
            off=heating.off,
            cover_mm=heating.cover_mm,
        ),
        section(
            "[old_covering]",
            kind=words(old.kind),
            name=old.name,
            laid_year=old.laid_year,
            adhesive=old.adhesive,
            asbestos=words(old.asbestos),
        ),
    ]
    tapped: dict[str, Any] = {}
    if sound.tapped is not None:
        tapped = {
            "tiles_tapped": sound.tapped.tiles,
            "tiles_hollow": sound.tapped.hollow,
            "tiles_loose": sound.tapped.loose,
            "hollow_at": [metres(p) for p in sound.tapped.hollow_at_mm],
            "loose_at": [metres(p) for p in sound.tapped.loose_at_mm],
        }
    parts.append(
        section(
            "[sound]",
            **tapped,
            cracks_looked_for=sound.cracks_looked_for,
            clean=sound.clean,
            contamination=list(sound.contamination),
            pull_off_n_per_mm2=sound.pull_off_n_per_mm2,
            movement_joints_carried=sound.movement_joints_carried,
        )
    )
    for crack in sound.cracks:
        line = [metres(p) for p in crack.line_mm]
        parts.append(section("[[crack]]", line=line, width_mm=crack.width_mm, moves=crack.moves, name=crack.name))
    parts += [
        section(
            "[[moisture]]",
            method=words(one.method),
            value=one.value,
            plus_minus=one.plus_minus,
            base=words(one.base),
            at=at(one.at_mm),
            depth_mm=one.depth_mm,
            beneath_tiles=one.beneath_tiles,
            limit=one.limit,
            limit_source=one.limit_source,
        )
        for one in site.moisture
    ]
    parts += [section("[[note]]", text=note.text, at=at(note.at_mm)) for note in site.notes]
    return "\n".join(parts)


def parts_of(survey: Survey) -> tuple[Any, ...]:
    """All of a site that can be compared with ``==``."""
    site = survey.site
    outline = None if site.outline_mm is None else site.outline_mm.tolist()
    return (
        site.visit,
        site.covering,
        site.moisture,
        site.climate,
        site.heating,
        site.sound,
        site.old,
        outline,
        site.notes,
    )
