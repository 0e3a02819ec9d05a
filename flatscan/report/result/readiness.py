"""Records of ``result.json`` for readiness: every condition before a new floor is laid."""

# ruff: noqa: TC001 - the schema is built from these names when the program runs
from __future__ import annotations

from msgspec import Struct

from flatscan.judgement.readiness.readiness import ConditionName, ConditionWord, Readiness


class ConditionRecord(Struct, frozen=True, kw_only=True):
    """One condition. recorded: what was found, asked: what is asked for, advice: what to do; each may be empty.

    word open: something was recorded and does not settle it. source, mark: where what is asked comes from and how far
    it can be trusted.
    """

    name: ConditionName
    title: str
    word: ConditionWord
    recorded: str
    asked: str
    source: str
    mark: str
    advice: str


class ReadinessRecord(Struct, frozen=True, kw_only=True):
    """ready: every condition is met or not needed. conditions: each once, those from the measurement first."""

    ready: bool
    conditions: list[ConditionRecord]


def readiness_record(readiness: Readiness | None) -> ReadinessRecord | None:
    """The record of all conditions; None where a verdict was not asked for them."""
    if readiness is None:
        return None
    return ReadinessRecord(
        ready=readiness.ready,
        conditions=[
            ConditionRecord(
                name=c.name,
                title=c.title,
                word=c.word,
                recorded=c.recorded,
                asked=c.asked,
                source=c.source,
                mark=c.mark,
                advice=c.advice,
            )
            for c in readiness.conditions
        ],
    )
