"""The records of ``comparison.json``: a public contract, version ``flatscan-comparison/1``.

Lengths in mm. Places are on the map after the work unless their field says before. A field may be added within a
version; none is renamed or removed. The JSON Schema is generated from these records.
"""

# ruff: noqa: TC001 - the schema is built from these names when the program runs
from __future__ import annotations

from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta, Struct

from flatscan.comparing.comparison import DatumKind, History
from flatscan.judgement.verdict import AnswerCode, VerdictWord
from flatscan.report.result.measured import XY, NotNegative, QuantityRecord, Rings, Share
from flatscan.report.result.records import as_schema

SCHEMA_NAME: Literal["flatscan-comparison/1"] = "flatscan-comparison/1"
SCHEMA_ID = "urn:flatscan:comparison:1"
Sha256 = Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]


class ResultRecord(Struct, frozen=True, kw_only=True):
    """One of the two results: its folder's name, what its files are known by, its limit sets and answer."""

    folder: str
    result_sha256: Sha256
    floor_sha256: Sha256
    captures: list[str]
    limits: list[str]
    answer: AnswerCode
    answer_text: str


class AlignmentRecord(Struct, frozen=True, kw_only=True):
    """Where the map before lies on the map after.

    after_from_before: (3 x 3) of homogeneous places (x, y, 1). sigma_mm: standard uncertainty of a place in one
    direction; sigma_turn_rad of the turn. exact: both results hold the same measurement. overlap: share of the smaller
    outline that lies on the other; wall_share: share of its walls that lie on walls; null where exact.
    """

    after_from_before: list[list[float]]
    turned_deg: int
    sigma_mm: NotNegative
    sigma_turn_rad: NotNegative
    exact: bool
    overlap: Share | None
    wall_share: Share | None


class DatumRecord(Struct, frozen=True, kw_only=True):
    """How the heights were brought together; u_mm over the planned areas. shape_only: the rise is not known."""

    kind: DatumKind
    share: Share
    agrees: Share
    u_mm: NotNegative
    why: str


class ChangeRecord(Struct, frozen=True, kw_only=True):
    """A place that has certainly changed; rise: its mean, most_mm: its largest, at."""

    at: XY
    area_m2: NotNegative
    rise: QuantityRecord
    most_mm: float
    planned: bool


class DifferenceRecord(Struct, frozen=True, kw_only=True):
    """After minus before. changed_share: part of the floor seen twice that certainly changed.

    threshold: how many standard uncertainties a patch's mean must be off to be called changed, such that one pair of
    captures of an unchanged floor in twenty shows any change at all. least_mm: what that is over a hand's breadth.
    """

    cell_mm: float
    seen_m2: NotNegative
    u_mm: NotNegative
    threshold: NotNegative
    least_mm: NotNegative
    changed_share: Share
    changes: list[ChangeRecord]


class GapNowRecord(Struct, frozen=True, kw_only=True):
    """Largest gap in the area under one edge; null: not measured. verdict: now."""

    edge_mm: float
    limit_mm: float
    before: QuantityRecord | None
    now: QuantityRecord | None
    verdict: VerdictWord


class AreaNowRecord(Struct, frozen=True, kw_only=True):
    """One planned area now. polygon: on the map after.

    placed null: not known; for an area to grind it is what came off. planned: the plan's volume. thickest: largest
    mean over a small patch; planned_max_mm: the plan's.
    """

    number: int
    polygon: Rings
    verdict: VerdictWord
    seen: Share
    grinds: bool
    gaps: list[GapNowRecord]
    placed: QuantityRecord | None
    planned: QuantityRecord
    thickest: QuantityRecord | None
    planned_max_mm: float
    too_thick: bool


class OpenSpotRecord(Struct, frozen=True, kw_only=True):
    """A place that is over or not decided now, worst first. before: the gap there before, null: not measured.

    history: new (it was within), still (it was over), unsure (it was not decided), not_measured.
    """

    what: str
    edge_mm: float | None
    limit_mm: float
    value: QuantityRecord
    verdict: VerdictWord
    at: XY
    area: int | None
    before: QuantityRecord | None
    history: History
    joint: str | None


class ComparisonRecord(Struct, frozen=True, kw_only=True):
    """Two measurements of one floor, before the work and after it. placed, planned null: not known.

    untold: what the result after cannot tell of the floor as a whole. how: sentences on how the two were compared.
    """

    schema: Literal["flatscan-comparison/1"] = SCHEMA_NAME
    headline: str
    before: ResultRecord
    after: ResultRecord
    seed: int
    turned_deg: int | None
    versions: dict[str, str]
    alignment: AlignmentRecord
    datum: DatumRecord
    difference: DifferenceRecord
    areas: list[AreaNowRecord]
    placed: QuantityRecord | None
    planned: QuantityRecord | None
    same_limits: bool
    open_spots: list[OpenSpotRecord]
    next_steps: list[str]
    untold: list[str]
    how: list[str]


def comparison_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of ``comparison.json``, generated from the records above."""
    return as_schema(msgspec.json.schema(ComparisonRecord), "ComparisonRecord", SCHEMA_ID)
