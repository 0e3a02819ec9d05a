"""Records of ``result.json`` for what a survey file says; ``result_survey`` fills them.

null, "" and an empty list are *not recorded*, which is never the same as *in order*.
"""

# ruff: noqa: TC001, TC003 - the schema is built from these names when the program runs
from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from msgspec import Meta, Struct

from flatscan.report.result.measured import XY
from flatscan.sources.survey.missing import Group
from flatscan.sources.survey.site import (
    AsbestosTest,
    CoveringKind,
    HeatingKind,
    MoistureBase,
    MoistureMethod,
    OldCoveringKind,
)
from flatscan.sources.survey.survey import ZoneKind

Sha256 = Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]
Percent = Annotated[float, Meta(ge=0.0, le=100.0)]
SURVEY_CHECK_NAME: Literal["flatscan-survey-check/1"] = "flatscan-survey-check/1"
SURVEY_CHECK_ID = "urn:flatscan:survey-check:1"


class VisitRecord(Struct, frozen=True, kw_only=True):
    """Where, when, by whom, for whom and with what the floor was looked at."""

    place: str
    address: str
    room: str
    client: str
    reference: str
    date: dt.date | None
    measured_by: str
    firm: str
    instruments: list[str]
    notes: str


class CoveringRecord(Struct, frozen=True, kw_only=True):
    """The new floor. limits: limit sets it asks for. acclimatised_since: laid open in the room, the room's own time.

    least_hours, least_c, most_c, most_humidity_percent: as its data sheet says.
    """

    kind: CoveringKind | None
    name: str
    thickness_mm: float | None
    limits: list[str]
    acclimatised_since: Annotated[dt.datetime, Meta(tz=False)] | None
    acclimatised_hours: float | None
    least_hours: float | None
    least_c: float | None
    most_c: float | None
    most_humidity_percent: Percent | None


class MoistureRecord(Struct, frozen=True, kw_only=True):
    """One reading of the base's moisture. value, plus_minus (k = 2) and limit are in unit.

    beneath_tiles: true: taken in the base itself; false: through the covering. limit: as limit_source allows; null:
    the published limit for method and base.
    """

    method: MoistureMethod
    value: float
    plus_minus: float | None
    unit: str
    base: MoistureBase | None
    at: XY | None
    depth_mm: float | None
    beneath_tiles: bool | None
    limit: float | None
    limit_source: str


class ClimateRecord(Struct, frozen=True, kw_only=True):
    """The room when it was read, and how long it had been so."""

    air_c: float | None
    floor_c: float | None
    humidity_percent: Percent | None
    held_hours: float | None


class HeatingRecord(Struct, frozen=True, kw_only=True):
    """Heating in the floor. surface_most_c: hottest the surface gets in use. off: switched off now."""

    kind: HeatingKind | None
    surface_most_c: float | None
    off: bool | None
    cover_mm: float | None


class TappedRecord(Struct, frozen=True, kw_only=True):
    """Tiles tapped one by one, how many sounded hollow or are loose, and a place in each where it was noted."""

    tiles: int | None
    hollow: int | None
    loose: int | None
    hollow_at: list[XY]
    loose_at: list[XY]


class SeenCrackRecord(Struct, frozen=True, kw_only=True):
    """A crack that was seen. moves: it opens and closes; null: nobody knows."""

    name: str
    line: list[XY]
    width_mm: float | None
    moves: bool | None


class SoundRecord(Struct, frozen=True, kw_only=True):
    """Is the old floor sound? cracks_looked_for true with no cracks: somebody looked, and there are none."""

    tapped: TappedRecord | None
    cracks_looked_for: bool | None
    cracks: list[SeenCrackRecord]
    clean: bool | None
    contamination: list[str]
    pull_off_n_per_mm2: float | None
    movement_joints_carried: bool | None


class OldCoveringRecord(Struct, frozen=True, kw_only=True):
    """What lies there now. asbestos: what a laboratory said of samples of it and its adhesive."""

    kind: OldCoveringKind | None
    name: str
    laid_year: int | None
    adhesive: str
    asbestos: AsbestosTest | None


class SurveyDoorRecord(Struct, frozen=True, kw_only=True):
    """A door: its line, and how much the floor may rise there; null: not said."""

    name: str
    line: tuple[XY, XY]
    greatest_build_up_mm: float | None


class SurveyZoneRecord(Struct, frozen=True, kw_only=True):
    """A part of the floor with a rule of its own, bounded by ring or made of the tiles that hold tiles_at.

    value_mm: of fixed_height the finished floor above the old one, of greatest_build_up the thickness, of remove_tiles
    the depth of the hole; of the others null.
    """

    name: str
    kind: ZoneKind
    ring: list[XY]
    tiles_at: list[XY]
    value_mm: float | None


class NoteRecord(Struct, frozen=True, kw_only=True):
    """Something to remember, at a place or of the whole floor."""

    text: str
    at: XY | None


class PhotoRecord(Struct, frozen=True, kw_only=True):
    """A photograph of the record: its file's name and sha256 as it was taken, never its pixels."""

    file: str
    sha256: Sha256
    caption: str
    at: XY | None


class SurveyRecord(Struct, frozen=True, kw_only=True):
    """What a survey file says. null, "" and an empty list are *not recorded*, which is never *in order*."""

    file: str
    sha256: Sha256
    visit: VisitRecord
    room_outline: list[XY]
    covering: CoveringRecord
    moisture: list[MoistureRecord]
    climate: ClimateRecord
    heating: HeatingRecord
    sound: SoundRecord
    old_covering: OldCoveringRecord
    greatest_build_up_mm: float | None
    remove_hollow_mm: float | None
    movement_joints: list[list[XY]]
    dams: list[list[XY]]
    doors: list[SurveyDoorRecord]
    zones: list[SurveyZoneRecord]
    notes: list[NoteRecord]
    photos: list[PhotoRecord]


class EntryRecord(Struct, frozen=True, kw_only=True):
    """One thing of a full record. told: what is recorded, in words; "": it is missing. key: where to write it."""

    group: Group
    name: str
    told: str
    key: str


class SurveyCheck(Struct, frozen=True, kw_only=True):
    """What ``flatscan survey check --json`` prints. Lengths in mm, places in mm from corner 0 of the map."""

    schema: Literal["flatscan-survey-check/1"] = SURVEY_CHECK_NAME
    file: str
    sha256: Sha256
    recorded: list[EntryRecord]
    missing: list[EntryRecord]
    survey: SurveyRecord
