"""Records of ``result.json`` for joints, lips, tiles and hand readings; ``result_joints`` fills them."""

# ruff: noqa: TC001 - the schema is built from these names when the program runs
from __future__ import annotations

from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct, UnsetType

from flatscan.judgement.verdict import VerdictWord
from flatscan.measures.joints.joints import Refusal
from flatscan.measures.joints.network import Bond, FoundIn
from flatscan.report.result.measured import XY, Line, NotNegative, QuantityRecord, Share
from flatscan.sources.hand.hand_reading import HandWhat

Figure = Literal["width", "depth", "lip"]


class RefusedRecord(Struct, frozen=True, kw_only=True):
    """A figure that could not be measured at a station, and why."""

    figure: Figure
    why: Refusal


class StationRecord(Struct, frozen=True, kw_only=True):
    """One place along a joint; null: could not be measured there.

    width: what a limit means that does not say which, between the walls or between the ends of the flat faces;
    wall_width: between the tiles' sides. lip: face to the left of the way from the line's first point to its last
    minus face to the right. stretch_mm: length of joint that the station stands for.
    """

    at: XY
    width: QuantityRecord | None
    depth: QuantityRecord | None
    lip: QuantityRecord | None
    wall_width: QuantityRecord | None = None
    along_mm: float | None = None
    stretch_mm: float | None = None
    refused: list[RefusedRecord] = []


class JointWordsRecord(Struct, frozen=True, kw_only=True):
    """Verdicts on a joint's worst stations; null: no limit was asked for."""

    width: VerdictWord | None
    depth: VerdictWord | None
    lip: VerdictWord | None


class JointRecord(Struct, frozen=True, kw_only=True):
    """A joint between tiles with its worst station's quantities, the lip signed as at the stations."""

    id: str
    line: Line
    width: QuantityRecord | None
    wall_width: QuantityRecord | UnsetType | None = UNSET
    depth: QuantityRecord | None
    lip: QuantityRecord | None
    stations: list[StationRecord]
    length_mm: float | None = None
    verdicts: JointWordsRecord | None = None


class FaceRecord(Struct, frozen=True, kw_only=True):
    """A tile: the ring of its joints' centre lines. whole: neither cut nor several tiles in one.

    tilt: against the floor around it, mm/m; warp: bow of its middle, + is a crown; null: not resolved.
    """

    ring: Annotated[list[XY], Meta(min_length=3)]
    whole: bool
    tilt: QuantityRecord | None
    warp: QuantityRecord | None


class TilesRecord(Struct, frozen=True, kw_only=True):
    """Where joints were looked for, and the commonest tile with one joint (null: none stands out).

    direction_deg: the long side, anticlockwise from x. shift: of running bond, each row against the one before, as a
    share of the pitch along the row. share: of the whole tiles that have this format.
    """

    found_in: FoundIn
    how: str
    notes: list[str]
    joints_mm: NotNegative
    pitch_long: QuantityRecord | None
    pitch_short: QuantityRecord | None
    direction_deg: float | None
    bond: Bond | None
    shift: float | None
    share: Share | None
    faces: list[FaceRecord]


class HandReadingRecord(Struct, frozen=True, kw_only=True):
    """A hand reading that was taken in. scan: what the capture said there; taken: what was judged.

    taken null with conflict: reading and capture contradict each other and were not averaged.
    """

    row: int
    what: HandWhat
    at: XY
    value: QuantityRecord
    edge_mm: float | None
    joint: str | None
    note: str
    scan: QuantityRecord | None
    taken: QuantityRecord | None
    conflict: bool


class JointSharesRecord(Struct, frozen=True, kw_only=True):
    """Shares of the joints' length; together 1."""

    over: Share
    not_decided: Share
    within: Share
    not_seen: Share


class JointTallyRecord(Struct, frozen=True, kw_only=True):
    """How much of the joints is over what was asked. Shares null: no such limit was asked for.

    fill_m: joint over in width or depth, fill_undecided_m: that may be, beyond it. lips_over: joints whose lip is over
    somewhere; lips_undecided: joints whose lip is not decided.
    """

    length_m: NotNegative
    width: JointSharesRecord | None
    depth: JointSharesRecord | None
    lip: JointSharesRecord | None
    fill_m: NotNegative
    fill_undecided_m: NotNegative
    lips_over: int
    lips_over_m: NotNegative
    lips_undecided: int
    lips_undecided_m: NotNegative
