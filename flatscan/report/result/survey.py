"""From a survey to its record in ``result.json``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flatscan.report.result import rounding
from flatscan.report.result import survey_records as records
from flatscan.sources.survey.site import MOISTURE_UNIT

if TYPE_CHECKING:
    from collections.abc import Iterable

    from flatscan.measures.measurement import Point
    from flatscan.report.result.measured import XY
    from flatscan.sources.survey.site import Moisture, Site, Sound, Tapped
    from flatscan.sources.survey.survey import Survey, Zone


def survey_record(survey: Survey) -> records.SurveyRecord:
    """Everything that the survey says, photos by name only."""
    site = survey.site
    return records.SurveyRecord(
        file=survey.file.path.name,
        sha256=survey.file.sha256,
        **_of_site(site),
        greatest_build_up_mm=_figures(survey.greatest_build_up_mm),
        remove_hollow_mm=_figures(survey.remove_hollow_mm),
        movement_joints=[_places(line) for line in survey.movement_joints_mm],
        dams=[_places(line) for line in survey.dams_mm],
        doors=[
            records.SurveyDoorRecord(
                name=door.name,
                line=(rounding.xy(door.line_mm[0]), rounding.xy(door.line_mm[1])),
                greatest_build_up_mm=_figures(door.greatest_build_up_mm),
            )
            for door in survey.doors
        ],
        zones=[_zone(zone) for zone in survey.zones],
        notes=[records.NoteRecord(text=note.text, at=_at(note.at_mm)) for note in site.notes],
        photos=[
            records.PhotoRecord(
                file=photo.file.path.name, sha256=photo.file.sha256, caption=photo.caption, at=_at(photo.at_mm)
            )
            for photo in site.photos
        ],
    )


def _of_site(site: Site) -> dict[str, Any]:
    visit, covering, climate, heating, old = site.visit, site.covering, site.climate, site.heating, site.old
    return {
        "visit": records.VisitRecord(
            place=visit.place,
            address=visit.address,
            room=visit.room,
            client=visit.client,
            reference=visit.reference,
            date=visit.date,
            measured_by=visit.measured_by,
            firm=visit.firm,
            instruments=list(visit.instruments),
            notes=visit.notes,
        ),
        "room_outline": [] if site.outline_mm is None else _places(site.outline_mm),
        "covering": records.CoveringRecord(
            kind=covering.kind,
            name=covering.name,
            thickness_mm=_figures(covering.thickness_mm),
            limits=list(covering.limits),
            acclimatised_since=covering.acclimatised_since,
            acclimatised_hours=_figures(covering.acclimatised_hours),
            least_hours=_figures(covering.least_hours),
            least_c=_figures(covering.least_c),
            most_c=_figures(covering.most_c),
            most_humidity_percent=_figures(covering.most_humidity_percent),
        ),
        "moisture": [_moisture(reading) for reading in site.moisture],
        "climate": records.ClimateRecord(
            air_c=_figures(climate.air_c),
            floor_c=_figures(climate.floor_c),
            humidity_percent=_figures(climate.humidity_percent),
            held_hours=_figures(climate.held_hours),
        ),
        "heating": records.HeatingRecord(
            kind=heating.kind,
            surface_most_c=_figures(heating.surface_most_c),
            off=heating.off,
            cover_mm=_figures(heating.cover_mm),
        ),
        "sound": _sound(site.sound),
        "old_covering": records.OldCoveringRecord(
            kind=old.kind, name=old.name, laid_year=old.laid_year, adhesive=old.adhesive, asbestos=old.asbestos
        ),
    }


def _moisture(reading: Moisture) -> records.MoistureRecord:
    return records.MoistureRecord(
        method=reading.method,
        value=rounding.figures(reading.value),
        plus_minus=_figures(reading.plus_minus),
        unit=MOISTURE_UNIT[reading.method],
        base=reading.base,
        at=_at(reading.at_mm),
        depth_mm=_figures(reading.depth_mm),
        beneath_tiles=reading.beneath_tiles,
        limit=_figures(reading.limit),
        limit_source=reading.limit_source,
    )


def _sound(sound: Sound) -> records.SoundRecord:
    return records.SoundRecord(
        tapped=None if sound.tapped is None else _tapped(sound.tapped),
        cracks_looked_for=sound.cracks_looked_for,
        cracks=[
            records.SeenCrackRecord(
                name=crack.name, line=_places(crack.line_mm), width_mm=_figures(crack.width_mm), moves=crack.moves
            )
            for crack in sound.cracks
        ],
        clean=sound.clean,
        contamination=list(sound.contamination),
        pull_off_n_per_mm2=_figures(sound.pull_off_n_per_mm2),
        movement_joints_carried=sound.movement_joints_carried,
    )


def _tapped(tapped: Tapped) -> records.TappedRecord:
    return records.TappedRecord(
        tiles=tapped.tiles,
        hollow=tapped.hollow,
        loose=tapped.loose,
        hollow_at=_places(tapped.hollow_at_mm),
        loose_at=_places(tapped.loose_at_mm),
    )


def _zone(zone: Zone) -> records.SurveyZoneRecord:
    return records.SurveyZoneRecord(
        name=zone.name,
        kind=zone.kind,
        ring=[] if zone.polygon_mm is None else _places(zone.polygon_mm),
        tiles_at=_places(zone.tiles_at_mm),
        value_mm=_figures(zone.value_mm),
    )


def _places(points: Iterable[Iterable[float]]) -> list[XY]:
    return [rounding.xy(point) for point in points]


def _at(point: Point | None) -> XY | None:
    return None if point is None else rounding.xy(point)


def _figures(value: float | None) -> float | None:
    """A number that a person wrote, to six figures."""
    return None if value is None else rounding.figures(value)
