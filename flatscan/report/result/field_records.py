"""Records of ``result.json`` for what was read by hand."""

# ruff: noqa: TC001 - the schema is built from these names when the program runs
from __future__ import annotations

from msgspec import Struct

from flatscan.judgement.verdict import VerdictWord
from flatscan.report.result.measured import XY, NotNegative, QuantityRecord
from flatscan.sources.hand.field_readings import SoundsLike


class PlacementRecord(Struct, frozen=True, kw_only=True):
    """One laying of a straightedge judged by itself. surface: the surface's gap of the same chord.

    hump: how far the floor stands above the line of the feet, for bars on feet. verdict null: no limit applies.
    conflict: its readings and the surface contradict each other.
    """

    row: int
    number: str
    edge_mm: float
    gap: QuantityRecord
    at: XY
    contacts: tuple[XY, XY]
    span_mm: float
    hump: QuantityRecord | None
    surface: QuantityRecord | None
    limit_id: str | None
    limit_mm: float | None
    verdict: VerdictWord | None
    conflict: bool


class LongModeRecord(Struct, frozen=True, kw_only=True):
    """A bend of room size, rms over the floor: how well it is known, and from the assumed smoothness alone.

    seen: the readings decide it. cure: what to read so that they would.
    """

    name: str
    sd_mm: NotNegative
    prior_sd_mm: NotNegative
    seen: bool
    cure: str


class UsedReadingRecord(Struct, frozen=True, kw_only=True):
    """A reading that had a say: what was read, what the surface makes of it, its standard uncertainty."""

    row: int
    number: str
    at: XY
    read_mm: float
    surface_mm: float
    u_mm: NotNegative


class FitRecord(Struct, frozen=True, kw_only=True):
    """How the surface meets the readings. systematic_mm: a scan's slow bends before and after, standard uncertainty.

    smallest_wave_mm: shorter waves can slip between the readings.
    """

    smoothness: float
    smallest_wave_mm: float
    modes: list[LongModeRecord]
    systematic_mm: tuple[float, float] | None
    readings: list[UsedReadingRecord]


class SoundingRecord(Struct, frozen=True, kw_only=True):
    """A tap test."""

    row: int
    number: str
    at: XY
    sounds: SoundsLike
    note: str


class CrackRecord(Struct, frozen=True, kw_only=True):
    """A crack from end to end. width null: not measured."""

    row: int
    number: str
    start: XY
    end: XY
    width: QuantityRecord | None
    note: str


class FieldRecord(Struct, frozen=True, kw_only=True):
    """What was written down on site, besides the readings themselves; left_out: rows that could not be used."""

    placements: int
    levels: int
    humps: int
    spots: int
    joints_searched: bool
    gaps_searched: bool
    soundings: list[SoundingRecord]
    cracks: list[CrackRecord]
    left_out: list[str]
