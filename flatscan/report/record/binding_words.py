"""What a survey file says that binds the levelling, in words: doors, zones, movement joints, tiles to take out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan import said
from flatscan.report.record.site_words import Facts
from flatscan.report.words import places
from flatscan.sources.survey.kinds import ZONE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.measures.measurement import Point
    from flatscan.sources.survey.survey import Door, Survey, Zone


def binding_facts(survey: Survey | None) -> Facts:
    """Name and words of everything that binds, with its place; without rows nothing does."""
    if survey is None:
        return Facts("What binds the levelling", ())
    rows = [(door.name, _door(door)) for door in survey.doors]
    rows += [(zone.name, _zone(zone)) for zone in survey.zones]
    if survey.greatest_build_up_mm is not None:
        rows.append(("Whole floor", f"may rise by {said.length(survey.greatest_build_up_mm)} at most"))
    if survey.remove_hollow_mm is not None:
        hole = said.length(survey.remove_hollow_mm)
        rows.append(("Hollow and loose tiles", f"come out; each leaves a hole {hole} deep"))
    for title, lines in (("Movement joint", survey.movement_joints_mm), ("Dam", survey.dams_mm)):
        rows += [(f"{title} {number}", _along(line)) for number, line in enumerate(lines, 1)]
    return Facts("What binds the levelling", tuple(rows))


def _door(door: Door) -> str:
    most = door.greatest_build_up_mm
    rise = "" if most is None else f"; the floor may rise by {said.length(most)} at most"
    return f"{_along(door.line_mm)}{rise}"


def _along(line: Sequence[Point]) -> str:
    return f"from {places.point(line[0])} to {places.point(line[-1])}"


def _zone(zone: Zone) -> str:
    told = ZONE[zone.kind][0]
    value = zone.value_mm
    if zone.kind == "fixed_height" and value is not None:
        above = f"{said.length(value)} above the old one" if value else "as high as the old one"
        told += f", the finished floor stands {above}"
    elif value is not None:
        told += f", {said.length(value)}{' deep' if zone.kind == 'remove_tiles' else ''}"
    if zone.polygon_mm is None:
        return f"{told}; the tiles at {'; '.join(places.point(at) for at in zone.tiles_at_mm)}"
    low, high = zone.polygon_mm.min(axis=0), zone.polygon_mm.max(axis=0)
    return f"{told}; {places.box((float(low[0]), float(low[1])), (float(high[0]), float(high[1])))}"
