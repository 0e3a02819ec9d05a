"""The records of ``result.json``: a public contract, version ``flatscan-result/1``.

Coordinates are floor-frame millimetres. A field may be added within a version; none is renamed or removed.
The JSON Schema is generated from these records, so their docstrings are its descriptions.
"""

# ruff: noqa: TC001 - the schema is built from these names when the program runs
from __future__ import annotations

from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta, Struct

from flatscan.judgement.limits import LimitKind, Mark
from flatscan.judgement.verdict import AnswerCode, VerdictWord
from flatscan.report.result.field_records import FieldRecord, FitRecord, PlacementRecord
from flatscan.report.result.joint_records import HandReadingRecord, JointRecord, JointTallyRecord, TilesRecord
from flatscan.report.result.levelling_records import LevellingRecord
from flatscan.report.result.measured import (
    XY,
    FlatnessRecord,
    FNumbersRecord,
    GapRecord,
    HumpRecord,
    QuantityRecord,
    Share,
    SurfaceRecord,
)
from flatscan.report.result.readiness import ReadinessRecord
from flatscan.report.result.survey_records import SurveyRecord
from flatscan.settings import Settings
from flatscan.sources.hand.hand_reading import HandWhat

SCHEMA_NAME: Literal["flatscan-result/1"] = "flatscan-result/1"
SCHEMA_ID = "urn:flatscan:result:1"


class AnswerRecord(Struct, frozen=True, kw_only=True):
    """Whether the new floor can be laid over this one, and why."""

    code: AnswerCode
    text: str
    reasons: list[str]


class InputRecord(Struct, frozen=True, kw_only=True):
    """A file that was read."""

    path: str
    sha256: Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]
    kind: str


class LimitRecord(Struct, frozen=True, kw_only=True):
    """One limit of a set."""

    what: LimitKind
    limit_mm: float
    edge_mm: float | None
    note: str


class LimitSetRecord(Struct, frozen=True, kw_only=True):
    """A limit set with its source; mark says how far the values can be trusted."""

    id: str
    title: str
    document: str
    table: str
    year: str
    reference: str
    mark: Mark
    limits: list[LimitRecord]
    spans: list[tuple[float, float]]


class FindingRecord(Struct, frozen=True, kw_only=True):
    """One limit held against one measured value. p_over: the chance that the true value is over (JCGM 106).

    joint: of a joint's finding. share: of what was not seen, the share of the joints' length that it speaks for.
    conflict: a hand reading and the capture contradict each other there. placement: the straightedge reading that is
    judged by itself.
    """

    what: str
    limit_id: str
    limit_mm: float
    value: QuantityRecord | None
    p_over: Share | None
    verdict: VerdictWord
    at: XY | None
    where: str
    edge_mm: float | None
    contacts: tuple[XY, XY] | None
    joint: str | None = None
    share: Share | None = None
    conflict: bool = False
    placement: str | None = None


class ReadingRecord(Struct, frozen=True, kw_only=True):
    """A hand reading that would help decide. kind null: a job that gives no value, such as clearing the floor."""

    at: XY
    what: str
    instrument: str
    resolves: str
    number: int = 0
    kind: HandWhat | None = None
    edge_mm: float | None = None
    joint: str | None = None


class CaveatRecord(Struct, frozen=True, kw_only=True):
    """A doubt that rides on the result."""

    name: str
    text: str
    advice: str


class CautionRecord(Struct, frozen=True, kw_only=True):
    """A safety caution that the suggested work calls for."""

    name: str
    text: str


class Result(Struct, frozen=True, kw_only=True):
    """The whole result of one run of flatscan. Lengths in mm, coordinates in the floor frame."""

    schema: Literal["flatscan-result/1"] = SCHEMA_NAME
    answer: AnswerRecord
    inputs: list[InputRecord]
    settings: Settings
    versions: dict[str, str]
    limits: list[LimitSetRecord]
    surface: SurfaceRecord
    flatness: FlatnessRecord
    gaps: list[GapRecord]
    humps: list[HumpRecord]
    f_numbers: FNumbersRecord | None
    joints: list[JointRecord]
    findings: list[FindingRecord]
    next_readings: list[ReadingRecord]
    levelling: LevellingRecord
    caveats: list[CaveatRecord]
    cautions: list[CautionRecord]
    tiles: TilesRecord | None = None
    joint_tally: JointTallyRecord | None = None
    more_readings: int = 0
    hand_readings: list[HandReadingRecord] = []
    placements: list[PlacementRecord] = []
    fit: FitRecord | None = None
    field: FieldRecord | None = None
    readiness: ReadinessRecord | None = None
    survey: SurveyRecord | None = None


def result_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of ``result.json``, generated from the records above."""
    return as_schema(msgspec.json.schema(Result), "Result", SCHEMA_ID)


def as_schema(body: dict[str, Any], name: str, identity: str) -> dict[str, Any]:
    """The schema ``body`` of the record ``name`` as a document of its own."""
    # A default marks a field as optional, but a file without its version is not one of ours.
    top = body["$defs"][name]
    top["required"] = ["schema", *(field for field in top["required"] if field != "schema")]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": identity, **body}
