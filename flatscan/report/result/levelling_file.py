"""``levelling.json``: a plan that was worked out anew from a result that is already there."""

# ruff: noqa: TC001 - the schema is built from these names when the program runs
from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal

import msgspec
from msgspec import Meta, Struct

from flatscan.judgement.verdict import AnswerCode
from flatscan.report.result.levelling import levelling_record
from flatscan.report.result.levelling_records import LevellingRecord
from flatscan.report.result.records import CautionRecord, CaveatRecord, as_schema
from flatscan.report.result.result import json_text, versions
from flatscan.report.words.told_files import told_level_settings
from flatscan.settings import LevelSettings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.levelling.plan import LevellingPlan
    from flatscan.report.words.cautions import Caution

SCHEMA_NAME: Literal["flatscan-levelling/1"] = "flatscan-levelling/1"
SCHEMA_ID = "urn:flatscan:levelling:1"


class LevellingFile(Struct, frozen=True, kw_only=True, rename={"from_sha256": "from"}):
    """The levelling of a floor that was measured before. Lengths in mm, coordinates in the result's floor frame.

    from: SHA-256 of the floor's file in the result that this plan was made from. answer: the code that the result
    gave to the floor as it is.
    """

    schema: Literal["flatscan-levelling/1"] = SCHEMA_NAME
    from_sha256: Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]
    answer: AnswerCode
    settings: LevelSettings
    versions: dict[str, str]
    levelling: LevellingRecord
    caveats: list[CaveatRecord]
    cautions: list[CautionRecord]


def levelling_file(
    plan: LevellingPlan, *, from_sha256: str, answer: AnswerCode, settings: LevelSettings, cautions: Sequence[Caution]
) -> LevellingFile:
    """The file's record; the caveats are the plan's."""
    return LevellingFile(
        from_sha256=from_sha256,
        answer=answer,
        settings=told_level_settings(settings),
        versions=versions(),
        levelling=levelling_record(plan),
        caveats=[CaveatRecord(name=c.name, text=c.text, advice=c.advice) for c in dict.fromkeys(plan.caveats)],
        cautions=[CautionRecord(name=c.name, text=c.text) for c in cautions],
    )


def levelling_json(
    plan: LevellingPlan, *, from_sha256: str, answer: AnswerCode, settings: LevelSettings, cautions: Sequence[Caution]
) -> bytes:
    """The file's text, laid out as ``result.json`` is."""
    return json_text(levelling_file(plan, from_sha256=from_sha256, answer=answer, settings=settings, cautions=cautions))


def levelling_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of ``levelling.json``, generated from the records above."""
    return as_schema(msgspec.json.schema(LevellingFile), "LevellingFile", SCHEMA_ID)
